"""Where records are kept: one SQLite file or one PostgreSQL schema, the same code for both."""
