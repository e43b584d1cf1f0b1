"""What several commands ask for by the same options."""
