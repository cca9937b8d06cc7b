"""Acts of the pages that read everything."""

from __future__ import annotations

from imaging_requests.people.policies import EVERYONE_INSIDE, act

SEE_BOARD = act("progress.see_board", "Seeing the catalogue board", roles=EVERYONE_INSIDE)
SEE_OBJECT = act("progress.see_object", "Seeing an object", roles=EVERYONE_INSIDE)
LOOK = act("progress.look", "Looking at pictures of an object", roles=EVERYONE_INSIDE)
SEE_TREATMENTS = act("progress.see_treatments", "Seeing treatments", roles=EVERYONE_INSIDE)
