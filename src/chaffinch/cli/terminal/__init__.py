"""What a terminal can show and ask, and the files beside it."""
