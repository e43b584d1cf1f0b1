"""The book for phones and browsers: an API, pages for the desk, and the phone app's files."""
