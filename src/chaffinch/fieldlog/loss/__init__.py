"""What the field lost, and what was under way when a check was taken."""
