"""Envelopes and the rules by which two books agree: pure functions, no clock, no file, no network."""
