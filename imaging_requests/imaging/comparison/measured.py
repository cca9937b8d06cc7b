"""What files show overrides what was typed, and a contradiction is said aloud."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from .limits import GradeLimits
from .set_up import SetUp, widest_turn


@dataclass(frozen=True, slots=True)
class _Watched:
    """A value that can be typed and measured: its name, its words, its tolerance."""

    name: str
    words: str
    format: str
    tolerance: Callable[[GradeLimits, float], float]


_NUMBERS = (
    _Watched("elevation_deg", "lamp elevation", "{:.1f}°", lambda to, _: to.rake_elevation_deg[0]),
    _Watched("tilt_deg", "tilt", "{:.2f}°", lambda to, _: to.tilt_deg[0]),
    _Watched(
        "px_per_mm", "density", "{:.2f} px/mm", lambda to, card: card * to.density_percent[0] / 100
    ),
    _Watched(
        "aperture",
        "aperture",
        "f/{:g}",
        lambda to, card: card * (2 ** (to.aperture_stops[0] / 2) - 1),
    ),
    _Watched("focus_mm", "focus distance", "{:.0f} mm", lambda to, _: to.focus_mm[0]),
    _Watched("voltage_kv", "voltage", "{:g} kV", lambda to, _: to.voltage_kv[0]),
)
_TEXTS = (
    ("camera_serial", "camera"),
    ("lens_serial", "lens"),
    ("camera", "camera model"),
    ("lens", "lens model"),
    ("polarity", "polarity"),
    ("sensor", "sensor"),
)


#: Files often leave the maker's name away, or give it in a field of its own.
NAMED_BY_MAKERS = ("camera", "lens")


def _is_named_alike(one: str, other: str) -> bool:
    """Whether two names are one, with or without the maker's name before it.

    >>> _is_named_alike("Fenwick Optical Bay One", "Bay One"), _is_named_alike("Bay One", "Bay Two")
    (True, False)
    """
    first, second = one.casefold().split(), other.casefold().split()
    shorter, longer = sorted((first, second), key=len)
    return bool(shorter) and longer[len(longer) - len(shorter) :] == shorter


def take_measured(
    typed: SetUp, measured: SetUp, *, limits: GradeLimits, which: str = ""
) -> tuple[SetUp, tuple[str, ...]]:
    """Let every measured value replace the typed one.

    Args:
        typed: From the set-up card and its use.
        measured: From the files; None and empty leave the typed value.
        which: Which picture it is, for the sentence: "before", "after" or empty.

    Returns:
        The set-up to grade by, and one sentence for each contradiction: a measured number that
        differs from the typed one by more than grade A allows, or another name.

    >>> import json, pathlib
    >>> data = json.loads(pathlib.Path("fixtures/checks/comparability-1.json").read_text("utf-8"))
    >>> limits = GradeLimits.from_settings(data)
    >>> used, said = take_measured(SetUp(elevation_deg=10), SetUp(elevation_deg=14), limits=limits)
    >>> used.elevation_deg, said
    (14, ('The card says lamp elevation 10.0°, the file shows 14.0°.',))
    """
    changes: dict[str, float | str] = {}
    said = []
    place = f" ({which})" if which else ""
    for watched in _NUMBERS:
        value, card = getattr(measured, watched.name), getattr(typed, watched.name)
        if value is None:
            continue
        changes[watched.name] = value
        if card is not None and abs(value - card) > watched.tolerance(limits, card) + 1e-9:
            shown = (watched.format.format(number) for number in (card, value))
            first, second = shown
            said.append(f"The card says {watched.words} {first}, the file shows {second}{place}.")
    for name, words in _TEXTS:
        value, card = getattr(measured, name), getattr(typed, name)
        if not value:
            continue
        if card and name in NAMED_BY_MAKERS and _is_named_alike(card, value):
            changes[name] = max(card, value, key=len)
            continue
        changes[name] = value
        if card and card != value:
            said.append(f"The card says {words} {card}, the file says {value}{place}.")
    if measured.azimuths_deg:
        turned = widest_turn(typed.azimuths_deg, measured.azimuths_deg)
        if typed.azimuths_deg and (turned is None or turned > limits.rake_azimuth_deg[0]):
            stated, seen = (
                " and ".join(f"{each:.0f}°" for each in angles)
                for angles in (typed.azimuths_deg, measured.azimuths_deg)
            )
            said.append(f"The card says light from {stated}, the file shows {seen}{place}.")
        return replace(typed, **changes, azimuths_deg=measured.azimuths_deg), tuple(said)  # type: ignore[arg-type]
    return replace(typed, **changes), tuple(said)  # type: ignore[arg-type]
