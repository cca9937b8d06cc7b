"""Laying one picture over another when their values have nothing in common.

`align.align` maps moving px to reference px, `reading.open_picture` opens files, `output` writes
the moving picture on the grid of the reference. Method, limits and figures: docs/alignment.md.
"""
