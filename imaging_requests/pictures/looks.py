"""The trail of full-size looks: one event for each download, one for each stretch of looking.

Tiles come by the hundred while somebody looks at a picture. They are one look: it is written down
with its first tile, and again if the looking goes on longer than a link lives.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from datetime import datetime, timedelta

from django.utils import timezone

from imaging_requests.deliverables.models import Deliverable
from imaging_requests.intake.models import Frame
from imaging_requests.people.models import User
from imaging_requests.pictures.actions import record_look
from imaging_requests.pictures.numbers import service_numbers

LOOKED, DOWNLOADED = "pictures.looked_in_full", "pictures.downloaded"
STOPPED = "pictures.transfer_stopped"
MOST_REMEMBERED = 20_000

_remembering = threading.Lock()
_looks: OrderedDict[tuple[int, str], datetime] = OrderedDict()


def forget() -> None:
    """Forget who is looking, so that the next tile is a new look; for tests."""
    with _remembering:
        _looks.clear()


def note_look(user: User, subject: Deliverable | Frame, identifier: str) -> None:
    """Write down that somebody looks at a picture in full size, once for each stretch."""
    now = timezone.now()
    known = (user.pk, identifier)
    with _remembering:
        last = _looks.get(known)
        if last is not None and now - last < timedelta(seconds=service_numbers().link_lives_s):
            return
        _looks[known] = now
        _looks.move_to_end(known)
        while len(_looks) > MOST_REMEMBERED:
            _looks.popitem(last=False)
    record_look(actor=user, subject=subject, code=LOOKED, after={"picture": identifier})


def note_download(user: User, subject: Deliverable | Frame, identifier: str, what: str) -> None:
    """Write down that somebody took a large cut-out or the whole picture."""
    record_look(
        actor=user, subject=subject, code=DOWNLOADED, after={"picture": identifier, "what": what}
    )


def note_stop(user: User, subject: Deliverable | Frame, identifier: str) -> None:
    """Write down that a transfer was ended because the picture was closed meanwhile."""
    record_look(actor=user, subject=subject, code=STOPPED, after={"picture": identifier})
