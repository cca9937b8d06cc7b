"""Derived statuses, the catalogue board and the pages that read everything."""
