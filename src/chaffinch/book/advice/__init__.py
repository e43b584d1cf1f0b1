"""What is most likely wrong, and which one step to try."""
