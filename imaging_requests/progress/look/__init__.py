"""Look and compare: every picture of an object at the same spot, in mm of its faces."""
