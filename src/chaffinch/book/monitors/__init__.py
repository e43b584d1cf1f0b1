"""What the loss monitor of a combine shows, in real units."""
