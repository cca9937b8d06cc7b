"""Optics, X-ray geometry and light dose: arithmetic with names, units and sources, never advice.

Depth of field of copy work by px/mm, focus positions by warp, the fall-off of a raking lamp and the
light of one view belong to the derivation of shots and live in ``reckoning.shots``.
"""
