"""The sentences of the desk's pages, in tables by key: another language is another table."""
