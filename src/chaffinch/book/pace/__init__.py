"""How fast, at what cost: curves of the book, the price of an hour, the worth of a check."""
