"""Judge a delivered file: whole, new, deep enough, tagged, of the planned size, plain.

Rules G1 to G5 and G7 of every delivered file. G1, G3 and G7 say more once the pixels have been
decoded; before that they say "cannot tell" where only pixels can answer.
"""

from collections.abc import Callable
from dataclasses import asdict, dataclass
from enum import StrEnum
from typing import Any

from imaging_requests.imaging.files.derived import Derived
from imaging_requests.imaging.files.facts import Radiograph, Structure
from imaging_requests.imaging.files.file_checks import FileChecks
from imaging_requests.imaging.files.refusals import Unreadable, cut_short


class Outcome(StrEnum):
    """The four verdicts; "cannot tell" is never shown as good."""

    PASS = "pass"
    WARN = "warn"
    FAIL = "fail"
    CANNOT_TELL = "cannot_tell"


@dataclass(frozen=True, slots=True)
class Verdict:
    """One rule applied to one file, with what was measured and the limit it was held against."""

    rule_id: str
    rule_version: int
    outcome: Outcome
    value: str | float | None
    unit: str
    limit: str
    sentence: str

    def as_data(self) -> dict[str, Any]:
        """Return plain values that fit into JSON."""
        return asdict(self) | {"outcome": self.outcome.value}


@dataclass(frozen=True, slots=True)
class _Seen:
    structure: Structure
    decoded: Derived | Unreadable | None
    planned_size_px: tuple[int, int] | None
    checks: FileChecks

    def verdict(
        self,
        rule_id: str,
        outcome: Outcome,
        value: str | float | None,
        unit: str,
        limit: str,
        sentence: str,
    ) -> Verdict:
        return Verdict(rule_id, self.checks.version, outcome, value, unit, limit, sentence)


def check_structure(
    structure: Structure,
    *,
    checks: FileChecks,
    planned_size_px: tuple[int, int] | None = None,
    decoded: Derived | Unreadable | None = None,
) -> tuple[Verdict, ...]:
    """Apply rules G1, G3, G4, G5 and G7 to one file.

    ``planned_size_px``: width and height that were ordered; without it G5 cannot tell.
    ``decoded``: the outcome of the full decode; None while it has not run.
    """
    seen = _Seen(structure, decoded, planned_size_px, checks)
    return tuple(rule(seen) for rule in RULES)


def check_refused(refusal: Unreadable, *, checks: FileChecks) -> Verdict:
    """Return the verdict of G1 for a file that gave no header at all."""
    return Verdict(
        "G1", checks.version, Outcome.FAIL, refusal.reason.value, "", "opens", refusal.sentence
    )


def check_new(sha256: str, *, held_as: str | None, checks: FileChecks) -> Verdict:
    """Return the verdict of G2: ``held_as`` names the file that already has this content."""
    outcome, sentence = Outcome.PASS, "This content is new here."
    if held_as is not None:
        outcome = Outcome.FAIL
        sentence = (
            f"Already here: exactly this content was received as {held_as}. It is kept once, with "
            "both names; there is nothing to send again."
        )
    return Verdict("G2", checks.version, outcome, sha256, "SHA-256", "not yet held", sentence)


def _whole(seen: _Seen) -> Verdict:
    length = seen.structure.length
    value, unit, limit = length.actual_bytes, "bytes", "opens, every part decodes"
    if length.expected_bytes is not None:
        limit += f", {length.expected_bytes:,} bytes or more"
    if not length.is_complete:
        sentence = cut_short(length.shortfall).sentence
        return seen.verdict("G1", Outcome.FAIL, value, unit, limit, sentence)
    if isinstance(seen.decoded, Unreadable):
        return seen.verdict("G1", Outcome.FAIL, value, unit, limit, seen.decoded.sentence)
    if seen.decoded is None:
        sentence = (
            "The header is whole and the length is right; whether every part decodes is known when "
            "the picture has been decoded."
        )
        return seen.verdict("G1", Outcome.CANNOT_TELL, value, unit, limit, sentence)
    if seen.structure.preview is not None:
        sentence = (
            "The raw file has its full length and its preview was decoded; whether the sensor's "
            "data are whole is known only when it is developed."
        )
        return seen.verdict("G1", Outcome.CANNOT_TELL, value, unit, limit, sentence)
    sentence = "The file is whole: every part of the picture was decoded."
    return seen.verdict("G1", Outcome.PASS, value, unit, limit, sentence)


def _depth(seen: _Seen) -> Verdict:
    bits, required = seen.structure.bits_per_sample, seen.checks.required_bits
    limit = f"{required} bit"
    if seen.structure.preview is not None:
        sentence = "Only the preview of the raw file was read, so nothing is known of its depth."
        return seen.verdict("G3", Outcome.CANNOT_TELL, None, "bit", limit, sentence)
    if bits < required:
        sentence = (
            f"The picture has {bits} bits per channel, a master needs {required}. Develop it again "
            f"from the raw file with {required} bits; a file made deeper afterwards does not help."
        )
        return seen.verdict("G3", Outcome.FAIL, bits, "bit", limit, sentence)
    if not isinstance(seen.decoded, Derived) or not seen.decoded.levels:
        sentence = (
            f"The file says {bits} bits; whether the pixels use them is known when the picture has "
            "been decoded."
        )
        return seen.verdict("G3", Outcome.CANNOT_TELL, bits, "bit", limit, sentence)
    return _used_depth(seen, seen.decoded)


def _used_depth(seen: _Seen, decoded: Derived) -> Verdict:
    """Judge the levels: more than 256 in some channel is proof of more than 8 bits."""
    most = max(channel.distinct for channel in decoded.levels)
    span = max(channel.highest - channel.lowest + 1 for channel in decoded.levels)
    eight = seen.checks.levels_of_8_bit
    unit, limit = "distinct levels per channel", f"more than {eight}"
    highest = max(channel.highest for channel in decoded.levels)
    if most > 1 and highest < eight:
        sentence = (
            f"Only the lowest {highest + 1} of {2**seen.structure.bits_per_sample:,} levels are "
            "used: so look 8-bit data that were put into a deeper file without being scaled, and "
            "so looks a dark frame. If it is not one, develop it again from the raw file and keep "
            "16 bits in every step."
        )
        return seen.verdict("G3", Outcome.WARN, most, unit, limit, sentence)
    if most <= eight and span <= eight:
        sentence = (
            f"The picture is so even (levels {span} apart at the most) that 8-bit data could not "
            "be told from 16-bit data. If it is a flat field or a dark frame, that is as it should "
            "be; if not, look at the export settings."
        )
        return seen.verdict("G3", Outcome.CANNOT_TELL, most, unit, limit, sentence)
    if most <= eight:
        sentence = (
            f"Upgraded from 8 bit: no channel uses more than {most} levels, although the file has "
            f"{seen.structure.bits_per_sample} bits. Somewhere on the way the picture was 8 bit. "
            "Develop it again from the raw file and keep 16 bits in every step."
        )
        return seen.verdict("G3", Outcome.FAIL, most, unit, limit, sentence)
    share = min(channel.grid_share for channel in decoded.levels)
    if share >= seen.checks.grid_share_warn:
        sentence = (
            f"{share:.0%} of the pixels lie exactly on the 256 levels of an 8-bit picture: part of "
            "this picture has been 8 bit. Look for an 8-bit layer, a border or a tile that was "
            "pasted in."
        )
        return seen.verdict(
            "G3", Outcome.WARN, round(share, 4), "share on the 8-bit grid",
            f"less than {seen.checks.grid_share_warn}", sentence,
        )  # fmt: skip
    sentence = f"The picture has 16 bits and uses them: {most:,} levels in its richest channel."
    return seen.verdict("G3", Outcome.PASS, most, unit, limit, sentence)


def _profile(seen: _Seen) -> Verdict:
    structure, profile = seen.structure, seen.structure.profile
    is_grey = structure.colour == "grey"
    agreed = seen.checks.agreed_grey if is_grey else seen.checks.agreed_rgb
    unit, limit = "profile", " or ".join(agreed)
    if structure.radiograph is not None:
        return _polarity(seen, structure.radiograph, unit, limit)
    if structure.preview is not None:
        sentence = "A raw file has no colour profile; it gets one when it is developed."
        return seen.verdict("G4", Outcome.CANNOT_TELL, None, unit, limit, sentence)
    if profile is None:
        sentence = (
            "No colour profile is embedded, so nobody can know what the numbers mean. Export the "
            "picture again with the working profile embedded; the file itself is not changed here."
        )
        return seen.verdict("G4", Outcome.FAIL, "none", unit, limit, sentence)
    space = {"grey": "GRAY", "rgb": "RGB", "cmyk": "CMYK"}.get(structure.colour, "RGB")
    name = profile.description or "without a name"
    if not profile.is_sound or profile.colour_space != space:
        sentence = (
            f"The embedded profile ({name}) cannot be used for this picture: it is damaged or made "
            "for another kind of colour. Export the picture again with the working profile."
        )
        return seen.verdict("G4", Outcome.FAIL, name, unit, limit, sentence)
    if _folded(name) not in {_folded(one) for one in agreed}:
        sentence = (
            f"The embedded profile is {name}; agreed is {limit}. Colours can be read, but the file "
            "does not match its neighbours. Export it again with the agreed profile if you can."
        )
        return seen.verdict("G4", Outcome.WARN, name, unit, limit, sentence)
    return seen.verdict(
        "G4", Outcome.PASS, name, unit, limit, f"The agreed profile {name} is embedded."
    )


def _polarity(seen: _Seen, plate: Radiograph, unit: str, limit: str) -> Verdict:
    """Say how the levels of a plate are to be taken; its format states that in place of a profile.

    A plate keeps the order of its levels in the master; only what is shown is turned over.
    """
    light = "low levels are light" if plate.is_low_light else "low levels are dark"
    scale = ""
    if (plate.slope, plate.intercept) != (1.0, 0.0):
        scale = f", maker's value = {plate.slope:g} × level {plate.intercept:+g}"
    sentence = (
        f"The plate states its own scale: {plate.polarity}, {light}, {plate.stored_bits} of "
        f"{seen.structure.bits_per_sample} bits used{scale}. It is shown so; the master is kept as "
        "it came."
    )
    return seen.verdict("G4", Outcome.PASS, plate.polarity, unit, limit, sentence)


def _folded(name: str) -> str:
    return " ".join(name.casefold().split())


def _size(seen: _Seen) -> Verdict:
    width, height = seen.structure.width_px, seen.structure.height_px
    passing, warning = seen.checks.size_pass_percent, seen.checks.size_warn_percent
    unit, limit = "% off the planned size", f"±{passing:g} % (to ±{warning:g} % with a warning)"
    if seen.planned_size_px is None:
        sentence = (
            f"The picture is {width:,} × {height:,} px; no planned size is known for it, so "
            "nothing can be compared."
        )
        return seen.verdict("G5", Outcome.CANNOT_TELL, None, unit, limit, sentence)
    planned = seen.planned_size_px
    off = _percent_off((width, height), planned)
    facts = (
        f"The picture is {width:,} × {height:,} px, planned were {planned[0]:,} × {planned[1]:,}"
    )
    if off <= passing:
        return seen.verdict("G5", Outcome.PASS, round(off, 2), unit, limit, f"{facts}.")
    if off > warning and _percent_off((height, width), planned) <= warning:
        advice = "It fits when turned by 90°: deliver it in the planned position."
    else:
        advice = (
            "Distance, focal length or crop differ from the plan. Check the set-up card and shoot "
            "again, or let the lead accept the size."
        )
    outcome = Outcome.WARN if off <= warning else Outcome.FAIL
    sentence = f"{facts}: {off:.1f} % off. {advice}"
    return seen.verdict("G5", outcome, round(off, 2), unit, limit, sentence)


def _percent_off(size: tuple[int, int], planned: tuple[int, int]) -> float:
    return max(abs(is_ / ought - 1) * 100 for is_, ought in zip(size, planned, strict=True))


def _plain(seen: _Seen) -> Verdict:
    """Judge G7: the worst of orientation, pages, layers, compression and transparency."""
    structure = seen.structure
    faults: list[str] = []
    if structure.preview is not None:
        limit = "a developed picture"
        sentence = (
            "This is a raw file from a camera. It is kept as it is; what is shown is only the "
            f"preview inside it ({structure.width_px:,} × {structure.height_px:,} px), which "
            "nothing can be measured on. Develop it to a 16-bit TIFF with the studio's recipe and "
            "send that; set this one aside."
        )
        return seen.verdict("G7", Outcome.FAIL, "raw", "kind of file", limit, sentence)
    if structure.orientation != seen.checks.orientation:
        faults.append(
            f"it is stored turned (orientation flag {structure.orientation}); turn the pixels "
            "themselves on export"
        )
    if structure.has_layers:
        faults.append("it holds layers; flatten it on export")
    if structure.pages > 1:
        faults.append(f"it holds {structure.pages} pictures; deliver each as a file of its own")
    if structure.is_lossy:
        faults.append(
            f"it is compressed with loss ({structure.compression}); export it uncompressed or with "
            "LZW or deflate"
        )
    transparency, is_opaque = _transparency(seen)
    if transparency and is_opaque is False:
        faults.append(transparency)
    limit = f"orientation {seen.checks.orientation}, no layers, one picture, no loss, no alpha"
    if faults:
        sentence = f"The file is not plain: {'; '.join(faults)}."
        return seen.verdict("G7", Outcome.FAIL, len(faults), "faults", limit, sentence)
    if structure.is_lossy is None:
        sentence = (
            f"The compression ({structure.compression}) can be with or without loss; the header "
            "does not say which. Export it uncompressed or with LZW or deflate."
        )
        return seen.verdict("G7", Outcome.CANNOT_TELL, None, "faults", limit, sentence)
    if transparency and is_opaque is None:
        sentence = (
            "The file has a channel for transparency; whether it is used is known when the picture "
            "has been decoded."
        )
        return seen.verdict("G7", Outcome.CANNOT_TELL, None, "faults", limit, sentence)
    if transparency:
        sentence = (
            "The file has a channel for transparency that hides nothing. It does no harm; leave it "
            "out next time."
        )
        return seen.verdict("G7", Outcome.WARN, 0, "faults", limit, sentence)
    sentence = "The file is plain: upright, one picture, no layers, no transparency, no loss."
    return seen.verdict("G7", Outcome.PASS, 0, "faults", limit, sentence)


def _transparency(seen: _Seen) -> tuple[str, bool | None]:
    """Return the fault that used transparency would be ("" without), and whether it is opaque."""
    if not seen.structure.alpha:
        return "", None
    fault = "it has a channel for transparency that is used; flatten it on export"
    if not isinstance(seen.decoded, Derived):
        return fault, None
    return fault, seen.decoded.alpha_is_opaque


RULES: tuple[Callable[[_Seen], Verdict], ...] = (_whole, _depth, _profile, _size, _plain)
