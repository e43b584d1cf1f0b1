"""From what a loss monitor shows to machine loss."""
