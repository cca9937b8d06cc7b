"""Where frames belong: coarse patterns of pictures, and evidence that they speak for a place."""
