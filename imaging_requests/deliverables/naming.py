"""Names of filed masters, and the manifest of a package. Pure.

Names are labels for people; no meaning is ever read out of one.
"""

from __future__ import annotations

import hashlib
import json
import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

LONGEST = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class Master:
    """What the name of one master says: object, view, anchor, day, place, version."""

    object_id: int
    number: str
    surface: str
    technique: str
    variant: str
    anchor: str
    captured_on: date
    tile: int
    ev: float
    focus_slice: int
    has_slices: bool
    version: int
    chain: str
    extension: str


def cleaned(number: str) -> str:
    """Return an inventory number with letters, digits, `-`, `_` and `.` only.

    >>> cleaned("AR 12/1"), cleaned("Gemälde Nr. 7a")
    ('AR-12-1', 'Gemalde-Nr.-7a')
    """
    plain = unicodedata.normalize("NFKD", number).encode("ascii", "ignore").decode()
    return re.sub(r"[^A-Za-z0-9_.]+", "-", plain).strip("-") or "object"


def exposure(ev: float) -> str:
    """Return an exposure offset as a part of a name: m1, p0, p1; thirds keep two digits.

    >>> exposure(-1), exposure(0), exposure(2), exposure(-2 / 3)
    ('m1', 'p0', 'p2', 'm0.67')
    """
    sign = "m" if ev < 0 else "p"
    return f"{sign}{abs(round(ev, 2)):g}"


def file_names(masters: Sequence[Master]) -> list[str]:
    """Return a name for each master; a short id is added where two objects would be confused."""
    owners: dict[str, set[int]] = {}
    for master in masters:
        owners.setdefault(cleaned(master.number), set()).add(master.object_id)
    return [_name(m, is_doubtful=len(owners[cleaned(m.number)]) > 1) for m in masters]


def _name(master: Master, *, is_doubtful: bool) -> str:
    number = cleaned(master.number)
    tail = _tail(master, has_id=is_doubtful)
    if len(number) + len(tail) > LONGEST:
        tail = _tail(master, has_id=True)
    return number[: LONGEST - len(tail)] + tail


def _tail(master: Master, *, has_id: bool) -> str:
    """Return everything of a name that follows the object's number."""
    parts = [
        "",
        master.surface.replace(".", ""),
        f"{master.technique}-{cleaned(master.variant)}" if master.variant else master.technique,
        master.anchor,
        f"{master.captured_on:%Y%m%d}",
        f"t{master.tile:02}",
        exposure(master.ev),
    ]
    if master.has_slices:
        parts.append(f"s{master.focus_slice + 1}")
    parts.append(f"v{master.version:02}")
    if has_id:
        parts.append(master.chain.replace("-", "")[:8])
    return f"{'_'.join(parts)}_master.{master.extension.lstrip('.').lower()}"


def joined_name(
    *,
    number: str,
    surface: str,
    technique: str,
    variant: str,
    captured_on: date,
    version: int,
    role: str,
) -> str:
    """Return the name under which a joined picture is taken.

    >>> joined_name(number="AR 0052", surface="T", technique="XR", variant="",
    ...     captured_on=date(2025, 11, 20), version=2, role="inverted")
    'AR-0052_T_XR_20251120_v02_inverted.tif'
    """
    view = f"{technique}-{cleaned(variant)}" if variant else technique
    face = surface.replace(".", "")
    tail = f"_{face}_{view}_{captured_on:%Y%m%d}_v{version:02}_{role}.tif"
    return cleaned(number)[: LONGEST - len(tail)] + tail


def manifest_text(manifest: Mapping[str, Any]) -> str:
    """Return the one text of a manifest, the same wherever it is written."""
    return json.dumps(manifest, sort_keys=True, ensure_ascii=False, separators=(",", ":"))


def manifest_sha256(manifest: Mapping[str, Any]) -> str:
    """Return the SHA-256 of a manifest's text."""
    return hashlib.sha256(manifest_text(manifest).encode()).hexdigest()
