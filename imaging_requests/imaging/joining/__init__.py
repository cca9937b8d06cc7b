"""Joining overlapping tiles to one picture, with the evidence for every place and every level."""
