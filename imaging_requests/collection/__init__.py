"""Catalogues, entries, objects, their facts, numbers, faces and whereabouts."""
