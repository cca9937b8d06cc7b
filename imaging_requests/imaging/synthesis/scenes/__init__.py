"""What is painted: everything that draws a design, from a cloud to a crucifixion."""
