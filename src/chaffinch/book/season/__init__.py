"""What a season left on the ground."""
