"""Treatments, interventions, incidents, decisions and what follows from them."""
