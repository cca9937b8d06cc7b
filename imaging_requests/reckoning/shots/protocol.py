"""A protocol version: what every object is owed, as data.

A version holds lines (condition, technique, face, direction, anchor, how it is measured and who
may waive it), rules for what is not applicable with the reason in words, and replacements such as
"where flash is forbidden, continuous light takes its place". A request uses the same line format,
with a region if it asks for a detail, and is handed to the derivation as an extra line.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from imaging_requests.reckoning.shots.facts import FACT_NAMES
from imaging_requests.reckoning.shots.predicates import BadConditionError, Condition, read_condition
from imaging_requests.reckoning.shots.words import FACES

FACE_SELECTORS: Final = ("painted", "unpainted_back", *FACES)
"""A line names one face, every painted face, or the back where it carries no paint."""

DIRECTIONS: Final = ("L", "R", "T", "B")

PREFERRED_STATES: Final = ("cleaned",)
"""States of a treatment that a line may prefer to the present one, which then is second best."""


class BadProtocolError(ValueError):
    """A protocol that cannot be read; the sentence says which line and what is wrong."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Detail:
    """A region of a face that is asked for at its own density.

    ``region_mm`` is (x, y, width, height) in face coordinates, ``px_per_mm`` the density wanted.
    A detail is a view of its own and never stands for the whole face.
    """

    name: str
    region_mm: tuple[float, float, float, float]
    px_per_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ProtocolLine:
    """One line of a protocol or of a request.

    ``method`` names the row of studio settings that says how the work is done (station, density
    rule, bracket rule, minutes). ``px_per_mm``, ``tolerance_percent``, ``overlap`` and
    ``exposures_ev`` are set only where the line departs from that row. ``despite`` lists the
    not-applicable rules that this line overrides, as a request may where ``on_request`` allows it.
    ``preferred`` names a state of a treatment whose picture meets a line as of ``CUR`` as well, and
    better.
    """

    id: str
    technique: str
    face: str
    when: Condition
    direction: str | None = None
    anchor: str = "CUR"
    preferred: str = ""
    method: str = ""
    mandatory: bool = True
    waived_by: tuple[str, ...] = ()
    px_per_mm: float | None = None
    tolerance_percent: float | None = None
    overlap: float | None = None
    exposures_ev: tuple[float, ...] | None = None
    detail: Detail | None = None
    despite: tuple[str, ...] = ()
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class NotApplicableRule:
    """Why certain views cannot or need not be made of certain objects.

    Empty ``techniques`` or ``faces`` mean every one; ``except_views`` are view codes that stay.
    ``on_request`` says under which condition somebody may ask for the view all the same.
    """

    id: str
    when: Condition
    reason: str
    techniques: tuple[str, ...] = ()
    faces: tuple[str, ...] = ()
    except_views: tuple[str, ...] = ()
    on_request: str = ""

    def covers(self, technique: str, face: str, code: str) -> bool:
        """Whether the rule speaks about this view at all, whatever the object."""
        return (
            (not self.techniques or technique in self.techniques)
            and (not self.faces or face in self.faces)
            and code not in self.except_views
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Replacement:
    """A technique that takes the place of another; a view that is then owed twice is owed once."""

    id: str
    when: Condition
    technique: str
    by: str
    reason: str
    except_faces: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Protocol:
    """An immutable protocol version, read by :func:`read_protocol`."""

    id: str
    version: int
    title: str
    published_on: str | None
    lines: tuple[ProtocolLine, ...]
    not_applicable: tuple[NotApplicableRule, ...]
    replacements: tuple[Replacement, ...]


def read_protocol(document: Mapping[str, Any]) -> Protocol:
    """Read a protocol version from its data (see ``fixtures/protocols/``).

    Raises :class:`BadProtocolError` with a sentence that names the line at fault.
    """
    try:
        lines = tuple(read_line(line) for line in document["lines"])
        protocol = Protocol(
            id=document["id"],
            version=document["version"],
            title=document["title"],
            published_on=document.get("published_on"),
            lines=lines,
            not_applicable=tuple(_read_rule(r) for r in document.get("not_applicable", ())),
            replacements=tuple(_read_replacement(r) for r in document.get("replacements", ())),
        )
    except KeyError as missing:
        raise BadProtocolError(
            f"The protocol lacks {missing}, which every version needs."
        ) from None
    ids = [line.id for line in lines]
    twice = sorted({i for i in ids if ids.count(i) > 1})
    if twice:
        raise BadProtocolError(f"Two lines of the protocol share the id {', '.join(twice)}.")
    return protocol


def read_line(document: Mapping[str, Any]) -> ProtocolLine:
    """Read one protocol or request line from data.

    >>> read_line({"id": "r12.1", "technique": "IR", "face": "B"}).method
    'ir'
    """
    name = str(document.get("id", "without id"))
    technique, face = document.get("technique"), document.get("face")
    direction = document.get("direction")
    if not document.get("id") or not isinstance(technique, str) or not technique:
        raise BadProtocolError(f"Line {name}: an id and a technique are needed.")
    if face not in FACE_SELECTORS:
        raise BadProtocolError(
            f"Line {name}: the face is “{face}”, but must be one of {', '.join(FACE_SELECTORS)}."
        )
    if direction is not None and direction not in DIRECTIONS:
        raise BadProtocolError(
            f"Line {name}: the light direction is “{direction}”, "
            f"but must be one of {', '.join(DIRECTIONS)}."
        )
    anchor, preferred = document.get("anchor", "CUR"), document.get("preferred", "")
    _demand_preference(name, anchor, preferred, face)
    return ProtocolLine(
        id=name,
        technique=technique,
        face=face,
        when=_condition(document.get("when"), f"Line {name}"),
        direction=direction,
        anchor=anchor,
        preferred=preferred,
        method=document.get("method") or technique.lower(),
        mandatory=document.get("mandatory", True),
        waived_by=tuple(document.get("waived_by", ())),
        px_per_mm=document.get("px_per_mm"),
        tolerance_percent=document.get("tolerance_percent"),
        overlap=document.get("overlap"),
        exposures_ev=_exposures(document.get("exposures_ev")),
        detail=_read_detail(document.get("detail"), name),
        despite=tuple(document.get("despite", ())),
        why=document.get("why", ""),
    )


def _demand_preference(name: str, anchor: object, preferred: object, face: object) -> None:
    """Refuse a preferred state that is none, or that no treatment could ever bring about."""
    if preferred == "":
        return
    if preferred not in PREFERRED_STATES:
        raise BadProtocolError(
            f"Line {name}: the preferred state is “{preferred}”, but must be a state of a "
            f"treatment: {', '.join(PREFERRED_STATES)}."
        )
    if anchor != "CUR":
        raise BadProtocolError(
            f"Line {name}: a preferred state stands beside the present one (CUR), which counts as "
            f"second best; this line asks for “{anchor}”."
        )
    if face in ("unpainted_back", "E"):
        where = "a back without paint" if face == "unpainted_back" else "the edges"
        raise BadProtocolError(
            f"Line {name}: retouching ends the cleaned state of a painted face; there is none of "
            f"{where}, so leave “preferred” out."
        )


def _exposures(values: Sequence[float] | None) -> tuple[float, ...] | None:
    return None if values is None else tuple(values)


def _read_detail(document: Mapping[str, Any] | None, line: str) -> Detail | None:
    if document is None:
        return None
    region = tuple(float(v) for v in document.get("region_mm", ()))
    density = float(document.get("px_per_mm", 0))
    if len(region) != 4 or min(region) < 0 or region[2] <= 0 or region[3] <= 0 or density <= 0:
        raise BadProtocolError(
            f"Line {line}: a detail needs region_mm as x, y, width, height in millimetres "
            f"and px_per_mm above zero."
        )
    x, y, width, height = region
    return Detail(
        name=str(document.get("name", "detail")),
        region_mm=(x, y, width, height),
        px_per_mm=density,
    )


def _read_rule(document: Mapping[str, Any]) -> NotApplicableRule:
    return NotApplicableRule(
        id=document["id"],
        when=_condition(document.get("when"), f"Rule {document['id']}"),
        reason=document["reason"],
        techniques=tuple(document.get("techniques", ())),
        faces=tuple(document.get("faces", ())),
        except_views=tuple(document.get("except_views", ())),
        on_request=document.get("on_request", ""),
    )


def _read_replacement(document: Mapping[str, Any]) -> Replacement:
    return Replacement(
        id=document["id"],
        when=_condition(document.get("when"), f"Replacement {document['id']}"),
        technique=document["technique"],
        by=document["by"],
        reason=document["reason"],
        except_faces=tuple(document.get("except_faces", ())),
    )


def _condition(source: object, where: str) -> Condition:
    try:
        return read_condition(source, known=FACT_NAMES)
    except BadConditionError as problem:
        raise BadProtocolError(f"{where}: {problem}") from None
