"""Requests, owed views, the demand that keeps them alive, waivers."""
