"""Drops, arrivals, frames, the store, the sorting table and background jobs."""
