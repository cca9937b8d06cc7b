"""Which views an object is owed: conditions only, no geometry, quick enough for a whole museum."""

from collections.abc import Iterable
from dataclasses import dataclass

from imaging_requests.reckoning.shots.facts import ObjectFacts
from imaging_requests.reckoning.shots.protocol import Detail, Protocol, ProtocolLine, Replacement
from imaging_requests.reckoning.shots.words import BACK, FRONT, view_code

Key = tuple[str, str, str | None, str, Detail | None]


@dataclass(frozen=True, slots=True)
class NotApplicable:
    """The rule that makes a view not applicable, and its reason in words."""

    rule_id: str
    reason: str
    on_request: str = ""


@dataclass(frozen=True, slots=True)
class OwedView:
    """One duty: a technique on a face, from a direction, as of a state.

    ``line`` is the protocol or request line it comes from, ``also_asked_by`` the ids of further
    lines that ask for the same. ``technique`` differs from the line's where a replacement applies
    (``replaced_by_rule`` then names it). ``provisional_on`` names missing facts that could still
    change whether this view is owed. ``preferred`` is a state that every line that asks would
    rather have.
    """

    line: ProtocolLine
    technique: str
    face: str
    direction: str | None
    anchor: str
    not_applicable: NotApplicable | None = None
    provisional_on: tuple[str, ...] = ()
    also_asked_by: tuple[str, ...] = ()
    replaced_by_rule: str = ""
    preferred: str = ""

    @property
    def code(self) -> str:
        """Short code such as ``RK-F-L``."""
        return view_code(self.technique, self.face, self.direction)

    @property
    def line_id(self) -> str:
        """Id of the line the duty comes from."""
        return self.line.id

    @property
    def detail(self) -> Detail | None:
        """The region asked for, or None for the whole face."""
        return self.line.detail

    @property
    def method(self) -> str:
        """Name of the working method; a replaced technique brings its own."""
        return self.technique.lower() if self.replaced_by_rule else self.line.method

    @property
    def key(self) -> Key:
        """What makes two duties the same duty."""
        return (self.technique, self.face, self.direction, self.anchor, self.line.detail)


def derive_owed(
    facts: ObjectFacts,
    *,
    protocol: Protocol,
    extra_lines: Iterable[ProtocolLine] = (),
) -> tuple[OwedView, ...]:
    """Derive the views an object is owed, those not applicable included with their reason.

    Views come in the order of the protocol's lines, extra (request) lines last; the same duty
    asked for by two lines appears once. A missing fact never hides a view: it is listed with
    ``provisional_on`` naming the fact.
    """
    found: dict[Key, OwedView] = {}
    for line in (*protocol.lines, *extra_lines):
        holds = line.when.holds(facts)
        if holds is False:
            continue
        provisional = line.when.missing(facts) if holds is None else ()
        faces, unsure = _faces(line.face, facts)
        for face in faces:
            view = _judge(
                OwedView(
                    line,
                    line.technique,
                    face,
                    line.direction,
                    line.anchor,
                    provisional_on=provisional + unsure,
                    preferred=line.preferred,
                ),
                facts,
                protocol,
            )
            earlier = found.get(view.key)
            found[view.key] = view if earlier is None else _joined(earlier, view)
    return _apply_replacements(found, facts, protocol)


def _faces(selector: str, facts: ObjectFacts) -> tuple[tuple[str, ...], tuple[str, ...]]:
    painted = facts.painted_faces
    unsure = ("painted_faces",) if painted is None else ()
    if painted is None:
        painted = (FRONT,)
    if selector == "painted":
        return painted, unsure
    if selector == "unpainted_back":
        return ((), ()) if BACK in painted else ((BACK,), unsure)
    return (selector,), ()


def _judge(view: OwedView, facts: ObjectFacts, protocol: Protocol) -> OwedView:
    open_questions: tuple[str, ...] = ()
    for rule in protocol.not_applicable:
        if rule.id in view.line.despite:
            continue
        if not rule.covers(view.technique, view.face, view.code):
            continue
        holds = rule.when.holds(facts)
        if holds:
            why = NotApplicable(rule.id, rule.reason, rule.on_request)
            return _with(view, not_applicable=why)
        if holds is None:
            open_questions += rule.when.missing(facts)
    if not open_questions:
        return view
    return _with(view, provisional_on=view.provisional_on + open_questions)


def _joined(first: OwedView, second: OwedView) -> OwedView:
    """The same duty from two lines: owed if either owes it, certain if either is certain.

    A line that asks for the present state without more must be given that.
    """
    if first.not_applicable is not None and second.not_applicable is None:
        return _with(second, also_asked_by=(*first.also_asked_by, first.line.id))
    provisional = first.provisional_on if second.provisional_on else ()
    return _with(
        first,
        provisional_on=provisional,
        also_asked_by=(*first.also_asked_by, second.line.id),
        preferred=first.preferred if first.preferred == second.preferred else "",
    )


def _apply_replacements(
    found: dict[Key, OwedView], facts: ObjectFacts, protocol: Protocol
) -> tuple[OwedView, ...]:
    for rule in protocol.replacements:
        holds = rule.when.holds(facts)
        if holds is False:
            continue
        missing = rule.when.missing(facts) if holds is None else ()
        replaced: dict[Key, OwedView] = {}
        for view in found.values():
            concerned = (
                view.technique == rule.technique
                and view.face not in rule.except_faces
                and view.not_applicable is None
            )
            if concerned and holds is None:
                view = _with(view, provisional_on=view.provisional_on + missing)
            elif concerned:
                view = _replace(view, rule, found, facts, protocol)
            replaced[view.key] = view
        found = replaced
    return tuple(found.values())


def _replace(
    view: OwedView,
    rule: Replacement,
    found: dict[Key, OwedView],
    facts: ObjectFacts,
    protocol: Protocol,
) -> OwedView:
    moved = _judge(_with(view, technique=rule.by, replaced_by_rule=rule.id), facts, protocol)
    if moved.not_applicable is not None:
        return _with(view, not_applicable=moved.not_applicable)
    twin = found.get(moved.key)
    if twin is not None and twin.not_applicable is None:
        return _with(view, not_applicable=NotApplicable(rule.id, rule.reason))
    return moved


def _with(
    view: OwedView,
    *,
    technique: str | None = None,
    not_applicable: NotApplicable | None = None,
    provisional_on: tuple[str, ...] | None = None,
    also_asked_by: tuple[str, ...] | None = None,
    replaced_by_rule: str | None = None,
    preferred: str | None = None,
) -> OwedView:
    """A changed copy; spelt out because it is several times quicker than dataclasses.replace."""
    return OwedView(
        view.line,
        technique or view.technique,
        view.face,
        view.direction,
        view.anchor,
        not_applicable or view.not_applicable,
        view.provisional_on if provisional_on is None else provisional_on,
        view.also_asked_by if also_asked_by is None else also_asked_by,
        view.replaced_by_rule if replaced_by_rule is None else replaced_by_rule,
        view.preferred if preferred is None else preferred,
    )
