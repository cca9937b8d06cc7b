"""Who may change what is known of objects and catalogues."""

from __future__ import annotations

from imaging_requests.people.models import Role
from imaging_requests.people.policies import act

KEEP_CATALOGUE = act(
    "collection.keep_catalogue",
    "Changing entries and what belongs to them",
    roles=frozenset({Role.CURATOR, Role.LEAD, Role.KEEPER}),
)
RECORD_FACTS = act(
    "collection.record_facts",
    "Recording sizes and condition",
    roles=frozenset({Role.CONSERVATOR, Role.LEAD}),
)
RECORD_WHEREABOUTS = act(
    "collection.record_whereabouts",
    "Recording where an object is and when it cannot be had",
    roles=frozenset({Role.LEAD, Role.CONSERVATOR, Role.CURATOR}),
)
KEEP_NUMBERS = act(
    "collection.keep_numbers",
    "Giving and changing inventory numbers",
    roles=frozenset({Role.CURATOR, Role.LEAD, Role.KEEPER}),
)
