"""Deliverables, their checks and reviews, recalls and sealed packages."""
