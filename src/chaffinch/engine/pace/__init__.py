"""The speed at which grain and time cost least."""
