"""Drift of a station: control charts that tell a creeping change from ordinary scatter."""
