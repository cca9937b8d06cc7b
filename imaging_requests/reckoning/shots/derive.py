"""The whole shot list of one object, composed from owed views and the spec of each."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace

from imaging_requests.reckoning.shots.answer import (
    FactQuestion,
    NearMiss,
    ShotList,
    ShotView,
    SkippedView,
    ViewSpec,
)
from imaging_requests.reckoning.shots.cautions import object_cautions, view_cautions
from imaging_requests.reckoning.shots.checking import ask_facts, refuse_facts
from imaging_requests.reckoning.shots.facts import ObjectFacts
from imaging_requests.reckoning.shots.near_miss import gather
from imaging_requests.reckoning.shots.owed import OwedView, derive_owed
from imaging_requests.reckoning.shots.protocol import Protocol, ProtocolLine
from imaging_requests.reckoning.shots.settings import StudioSettings
from imaging_requests.reckoning.shots.spec import view_spec
from imaging_requests.reckoning.shots.visit import (
    auxiliary_frames,
    count_dose,
    files_by_station,
    lower_light_notes,
    moves,
    ordered,
    size_class,
    station_totals,
    steps,
    visit_cautions,
)

NOTHING_MET: Mapping[str, str] = {}
_PREFERRED: Mapping[str, str] = {
    "cleaned": "Preferred is the cleaned state, before retouching; as it is now is second best.",
}


class BadFactsError(ValueError):
    """Facts that cannot be true; ``sentences`` holds one sentence per fact."""

    def __init__(self, sentences: tuple[str, ...]) -> None:
        super().__init__(" ".join(sentences))
        self.sentences = sentences


def derive_shot_list(
    facts: ObjectFacts,
    *,
    protocol: Protocol,
    settings: StudioSettings,
    extra_lines: Iterable[ProtocolLine] = (),
    owed: Iterable[OwedView] | None = None,
    already_met: Mapping[str, str] = NOTHING_MET,
    shoot_again: Collection[str] = (),
    partner_cards: Mapping[str, str] = NOTHING_MET,
    provisional: bool = False,
) -> ShotList:
    """Derive the exact shot list of one object.

    In this order: missing facts, not-applicable rules, pictures that exist, merging of anchors
    that one picture can serve, density and tiles, set-up card, order and turns, minutes and
    people, light, cautions, auxiliary frames, expected files.

    ``already_met`` maps view codes to the reason why they need no new picture ("filed");
    ``shoot_again`` lists codes to shoot all the same. ``owed`` replaces the protocol's views, for
    instance with one view per anchor. ``partner_cards`` maps view codes to the set-up card of the
    picture that must stay comparable. With ``provisional`` a list is made although facts are
    missing (an unknown warp counts as flat), and carries the questions along.

    Raises :class:`BadFactsError` if a fact cannot be true. Missing or doubtful facts are no error:
    the answer then holds questions and, unless provisional, no views.
    """
    refusals = refuse_facts(facts, settings=settings)
    if refusals:
        raise BadFactsError(refusals)
    questions = ask_facts(facts, settings=settings)
    empty = ShotList(
        object=facts.object_number,
        protocol=f"{protocol.id} {protocol.version}",
        settings=f"{settings.id} {settings.version}",
        provisional=provisional and bool(questions),
        questions=questions,
    )
    if questions and not (provisional and _sizes_known(facts, questions)):
        return replace(empty, provisional=False)
    if owed is None:
        owed = derive_owed(facts, protocol=protocol, extra_lines=extra_lines)
    owed = tuple(owed)
    skipped = tuple(_skipped_by_rule(v) for v in owed if v.not_applicable is not None)
    live = [v for v in owed if v.not_applicable is None]
    met = tuple(
        _skipped(v, "already met", already_met[v.code])
        for v in live
        if v.code in already_met and v.code not in shoot_again
    )
    to_shoot = _merged([v for v in live if v.code not in already_met or v.code in shoot_again])
    pairs = [(group, view_spec(group[0], facts, settings=settings)) for group in to_shoot]
    views = ordered(
        [_shot(group, spec, facts, settings, partner_cards) for group, spec in pairs], settings
    )
    return _composed(
        replace(empty, not_applicable=skipped, already_met=met),
        views,
        gather(spec.near_miss for _, spec in pairs if spec.near_miss is not None),
        facts,
        settings,
    )


def _composed(
    start: ShotList,
    views: tuple[ShotView, ...],
    near_misses: tuple[NearMiss, ...],
    facts: ObjectFacts,
    settings: StudioSettings,
) -> ShotList:
    size = size_class(facts, settings)
    totals = station_totals(views, size, settings)
    dose = count_dose(views, facts, settings)
    auxiliary = auxiliary_frames(views, settings)
    files = files_by_station(views, auxiliary, settings)
    techniques = frozenset(view.technique for view in views)
    return replace(
        start,
        views=views,
        stations=totals,
        desk_minutes=sum(view.desk_minutes for view in views),
        moves=moves(facts, size, settings),
        order=steps(views, totals, settings),
        dose=dose,
        auxiliary=auxiliary,
        frames=sum(view.frames for view in views),
        expected_files=sum(count for _, count in files),
        expected_files_by_station=files,
        cautions=(
            *object_cautions(facts, techniques, settings=settings),
            *visit_cautions(totals, dose, facts, settings),
        ),
        near_misses=near_misses,
        notes=(
            *dict.fromkeys(note for view in views for note in view.notes),
            *lower_light_notes(views, dose, settings),
        ),
    )


def _sizes_known(facts: ObjectFacts, questions: tuple[FactQuestion, ...]) -> bool:
    """A provisional list needs sizes that nobody doubts, and the support."""
    in_doubt = {"height_mm", "width_mm", "support"}
    return not in_doubt.intersection(question.fact for question in questions)


def _merged(views: list[OwedView]) -> list[list[OwedView]]:
    """Group views that one picture serves: same technique, face, direction and region."""
    groups: dict[object, list[OwedView]] = {}
    for view in views:
        groups.setdefault((view.code, view.detail), []).append(view)
    return list(groups.values())


def _shot(
    group: list[OwedView],
    spec: ViewSpec,
    facts: ObjectFacts,
    settings: StudioSettings,
    partner_cards: Mapping[str, str],
) -> ShotView:
    first = group[0]
    lines = (line for view in group for line in (view.line_id, *view.also_asked_by))
    return ShotView(
        view=first.code,
        technique=spec.technique,
        face=spec.face,
        direction=spec.direction,
        method=first.method,
        anchors=tuple(dict.fromkeys(view.anchor for view in group)),
        protocol_lines=tuple(dict.fromkeys(lines)),
        detail=None if first.detail is None else first.detail.name,
        tiles=spec.tiles,
        tile_count=spec.tile_count,
        empty_tiles=spec.empty_tiles,
        orientation=spec.orientation,
        field_mm=spec.field_mm,
        joined_px=spec.joined_px,
        joined_bytes=spec.joined_bytes,
        exposures_ev=spec.exposures_ev,
        focus_slices=spec.focus_slices,
        px_per_mm=spec.px_per_mm,
        ppi=spec.ppi,
        minutes=spec.minutes,
        desk_minutes=spec.desk_minutes,
        frames=spec.frames,
        station=spec.station,
        setup_card=partner_cards.get(first.code, spec.setup_card),
        lamp=spec.lamp,
        people=spec.people,
        light_lxh=spec.light_lxh,
        uv_minutes=spec.uv_minutes,
        cautions=view_cautions(facts, spec.technique, settings=settings),
        notes=(*spec.notes, *dict.fromkeys(_PREFERRED[v.preferred] for v in group if v.preferred)),
    )


def _skipped_by_rule(view: OwedView) -> SkippedView:
    assert view.not_applicable is not None
    rule = view.not_applicable
    return _skipped(view, rule.rule_id, rule.reason, rule.on_request)


def _skipped(view: OwedView, rule: str, reason: str, on_request: str = "") -> SkippedView:
    return SkippedView(
        view=view.code,
        technique=view.technique,
        face=view.face,
        direction=view.direction,
        rule=rule,
        reason=reason,
        on_request=on_request,
    )
