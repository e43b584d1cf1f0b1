"""Records that leave a book or come into one: open tables, other books, phones."""
