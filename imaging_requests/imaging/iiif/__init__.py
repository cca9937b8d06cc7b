"""Answers to requests for pictures as the IIIF Image API 3.0 words them, from tile pyramids."""
