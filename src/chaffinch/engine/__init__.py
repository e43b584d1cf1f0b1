"""Pure computation: plain numbers and small frozen dataclasses in and out."""
