"""Versions of the protocol, of the trigger table and of the studio's settings."""
