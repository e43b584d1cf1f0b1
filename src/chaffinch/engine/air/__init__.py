"""Moist air, and grain and straw in it."""
