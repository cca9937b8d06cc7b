"""Joining overlapping tiles to one picture, with the evidence for every place and every level."""

CODE_VERSION = 2
"""Raised whenever the same tiles would be joined differently."""
