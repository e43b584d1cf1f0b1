"""Yield logs of a combine: read whatever open format they come in, clean them with flags, write them again.

Everything ends in one table, :class:`~chaffinch.fieldlog.rows.Rows`. The libraries it needs are the extra ``fieldlog``
and are imported when a log is read, not before.
"""
