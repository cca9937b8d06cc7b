"""Commands of the intake."""
