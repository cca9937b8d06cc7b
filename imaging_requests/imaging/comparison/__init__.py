"""How far two pictures of one view can be compared, what changed, and how to rebuild a set-up."""
