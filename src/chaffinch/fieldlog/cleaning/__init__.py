"""Which records count: passes, overlap, delay, and a flag for each reason."""
