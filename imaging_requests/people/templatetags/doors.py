"""`{% if href|opens_for:user %}`: offer a link only to whom it opens."""

from __future__ import annotations

from django import template

from imaging_requests.people import doors

register = template.Library()
register.filter("opens_for", doors.opens_for)
