"""Files that the program made and hands out in full: kept with their digests, and proven again."""

from __future__ import annotations

import logging
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from django.conf import settings
from django.db import transaction
from django.urls import reverse
from django.utils import timezone

from imaging_requests.imaging.files.fixity import hash_stream
from imaging_requests.intake import store
from imaging_requests.intake.models import MadeCopy
from imaging_requests.intake.places import read_from_disk
from imaging_requests.intake.proofs import CopyOutcome, CopyReport
from imaging_requests.intake.rebuilding import rebuilders
from imaging_requests.people import audit
from imaging_requests.people.actions import tell
from imaging_requests.people.models import Role
from imaging_requests.people.queries import holders

logger = logging.getLogger(__name__)

#: The folder of everything that can be deleted and made again; its files lie in one place only.
DERIVED = "derived files"


@dataclass(frozen=True, slots=True)
class MadeFile:
    """A file that was just made: its digest, its name for people, and where it lies."""

    sha256: str
    size_bytes: int
    name: str
    path: str
    places: tuple[str, ...]


def keep_made(files: Iterable[MadeFile], *, now: datetime) -> None:
    """Keep the digests of files that were just written and proven, in the caller's transaction."""
    MadeCopy.objects.bulk_create(
        [
            MadeCopy(
                sha256=file.sha256,
                size_bytes=file.size_bytes,
                name=file.name[:200],
                place=place,
                path=file.path,
                written_at=now,
                verified_at=now,
                is_good=True,
            )
            for file in files
            for place in file.places
        ],
        update_conflicts=True,
        unique_fields=("place", "path"),
        update_fields=("sha256", "size_bytes", "name", "verified_at", "is_good", "asked_at"),
    )


def drop_made(path: str) -> None:
    """Forget a file that nothing needs any more; it is not proven again."""
    MadeCopy.objects.filter(path=path).delete()


def check_made(copy: MadeCopy, *, now: datetime | None = None) -> CopyReport:
    """Read one copy of a made file again; repair it, have it made again, or drop it."""
    now = now or timezone.now()
    try:
        if _is_good(copy):
            MadeCopy.objects.filter(pk=copy.pk).update(verified_at=now, is_good=True, asked_at=None)
            return _report(copy, CopyOutcome.GOOD, "matches")
    except store.StoreError as error:
        return _report(
            copy,
            CopyOutcome.UNREAD,
            f"The {copy.place} could not be read, so its copies were not proven: {error}",
        )
    logger.error("%s in the %s does not match", copy.path, copy.place)
    if _repaired(copy):
        return _settle(
            copy,
            CopyOutcome.REPAIRED,
            f"The {copy.place} of the {copy.name} did not match any more; it was restored from "
            f"the {store.other(copy.place)}, and the bad file is kept aside.",
            {"verified_at": now, "is_good": True, "asked_at": None},
            now,
        )
    return _have_made_again(copy, now)


def _is_good(copy: MadeCopy) -> bool:
    if not copy.sha256:
        return False
    if copy.place in store.PLACES:
        return store.is_good(copy.place, copy.sha256, _extension(copy))
    try:
        found = hash_stream(read_from_disk(Path(settings.DERIVED_DIR) / copy.path))
    except OSError:
        return False
    return found.sha256 == copy.sha256


def _extension(copy: MadeCopy) -> str:
    return Path(copy.path).suffix.lstrip(".")


def _repaired(copy: MadeCopy) -> bool:
    if copy.place not in store.PLACES or not copy.sha256:
        return False
    try:
        return store.repair(copy.place, copy.sha256, _extension(copy))
    except (store.StoreError, store.NotTheSameError) as error:
        logger.error("%s in the %s: %s", copy.path, copy.place, error)
        return False


def _have_made_again(copy: MadeCopy, now: datetime) -> CopyReport:
    """Ask whoever made the file to make it again from its masters, if anything needs it."""
    wanted = [(each, each.holders(copy.path)) for each in rebuilders()]
    if not any(ids for _, ids in wanted):
        return _settle(
            copy,
            CopyOutcome.DROPPED,
            f"The {copy.place} of the {copy.name} does not match. Nothing shows this file any "
            "more, since its tiles were laid anew; it is not proven again. Its masters are kept.",
            None,
            now,
        )
    sentence = (
        f"The {copy.place} of the {copy.name} does not match, and there is no good copy of it. "
        "It is being made again from its masters."
    )
    if not copy.sha256:
        sentence = (
            f"The {copy.name} was made before digests of such files were kept. It is being made "
            "again from its masters, so that it can be proven."
        )
    report = _settle(
        copy, CopyOutcome.MADE_AGAIN, sentence, {"is_good": False, "asked_at": now}, now
    )
    for each, ids in wanted:
        each.ask(ids)
    return report


@transaction.atomic
def _settle(
    copy: MadeCopy,
    outcome: CopyOutcome,
    sentence: str,
    values: dict[str, object] | None,
    now: datetime,
) -> CopyReport:
    """Store what was found (nothing: the row goes), write it down, and tell lead and keeper."""
    audit.record(
        f"intake.made_copy_{outcome.name.lower()}",
        actor=None,
        subject=copy,
        after={"place": copy.place, "path": copy.path, "sha256": copy.sha256},
        reason=sentence,
        now=now,
    )
    if values is None:
        MadeCopy.objects.filter(pk=copy.pk).delete()
    else:
        MadeCopy.objects.filter(pk=copy.pk).update(**values)
    tell(holders(Role.LEAD, Role.KEEPER), sentence, reverse("intake:store"), now=now)
    return _report(copy, outcome, sentence)


def _report(copy: MadeCopy, outcome: CopyOutcome, sentence: str) -> CopyReport:
    return CopyReport(copy.place, copy.sha256, copy.name, outcome, sentence, copy.size_bytes)


def bad_paths() -> frozenset[str]:
    """Return the made files of which a copy was found bad and is to be made again."""
    found = MadeCopy.objects.filter(is_good=False, asked_at__isnull=False)
    return frozenset(found.values_list("path", flat=True))
