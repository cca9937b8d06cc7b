"""Which way up, and which side: the eight turns and mirrors, and the silhouette of a back.

Method, limits and figures: docs/orientation.md.
"""
