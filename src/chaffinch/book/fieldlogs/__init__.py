"""A combine's own log, put together with the book's checks."""
