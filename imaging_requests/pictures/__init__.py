"""The picture service: regions of pictures on demand, manifests, restrictions, grants."""
