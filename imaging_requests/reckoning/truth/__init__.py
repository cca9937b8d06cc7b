"""What is true of an object's pictures at a valid instant, as known at another instant."""
