"""Campaigns, stations, sessions, shot lines, bookings and set-up cards."""
