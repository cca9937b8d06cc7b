"""The second reckoning, continued: statuses and decision cases, rule by rule from their text."""

from tests.pure.reference_truth import (
    anchor_states,
    carry,
    carry_to_state,
    effect,
    exists,
    has,
    is_seen,
    known,
    lies_under_a_surface,
    opening_events,
    stacks,
    state_in_force,
    steps_in_plan,
    verdict_on,
)
from tests.pure.reference_truth_preferred import (
    how_it_stands,
    is_cleaned_preferred,
    newest_cleaned,
)


def views_in_force(history, table, t, u):
    return [view for view in known(history, "views", u) if is_owed(history, table, view, t, u)]


def is_owed(history, table, view, t, u):
    """Whether anybody asks for the view at t; what events brought about holds as they happened."""
    return asking(history, table, view, t, u) != []


def asking(history, table, view, t, u):
    return [
        demand
        for demand in known(history, "demands", u)
        if demand["view"] == view["key"] and is_asked(history, table, view, demand, t, u)
    ]


def is_asked(history, table, view, demand, t, u):
    kind = view["anchor"]["kind"]
    if demand["kind"] == "protocol":
        if kind == "CUR" and view["surface"][0] in "FB":
            return is_asked_of_the_face(history, table, view, demand, t, u)
        return has(demand["from"], demand["to"], t)
    if demand["to"] is not None and demand["to"] <= t:
        return False
    if kind == "AT":
        _, reached, _, _ = anchor_states(history, table, view, t, u)
        return reached
    happened = False
    if kind in ("BT", "DT"):
        anchor = view["anchor"]
        for step in steps_in_plan(history, anchor["treatment"], anchor["phase"], t, u):
            if step["started"] is not None and step["started"] <= t:
                happened = True
    if kind == "DT":
        return happened
    if kind == "WIN":
        for event in known(history, "events", u):
            if event["key"] == view["anchor"]["window"]:
                happened = event["ended"] is not None and event["ended"] <= t
    return happened or demand["from"] <= t


def is_asked_of_the_face(history, table, view, demand, t, u):
    """A line that went over from one surface to the next asks for the one to be seen at t."""
    views = {each["key"]: each for each in known(history, "views", u)}
    line = [
        each
        for each in known(history, "demands", u)
        if each["view"] in views
        and each["kind"] == "protocol"
        and each["ref"] == demand["ref"]
        and views[each["view"]]["anchor"]["kind"] == "CUR"
        and views[each["view"]]["surface"][0] == view["surface"][0]
        and views[each["view"]]["technique"] == view["technique"]
        and views[each["view"]]["variant"] == view["variant"]
    ]
    seen = surface_to_be_seen(history, table, view["surface"][0], t, u)
    asked = set()
    for holding in line:
        if not has(holding["from"], holding["to"], t):
            continue
        answer = holding
        if seen is not None and views[holding["view"]]["surface"] != seen:
            right = [d for d in in_a_row(holding, line) if views[d["view"]]["surface"] == seen]
            if right:
                answer = sorted(right, key=lambda d: (distance(d, t), d["key"]))[0]
        asked.add(answer["key"])
    return demand["key"] in asked


def in_a_row(demand, line):
    """Everything reached from a demand by going from an end to a beginning at the same instant."""
    row = [demand]
    while True:
        more = [
            other
            for other in line
            if other not in row
            and any(o["from"] == other["to"] or o["to"] == other["from"] for o in row)
        ]
        if more == []:
            return row
        row = row + more


def distance(demand, t):
    if has(demand["from"], demand["to"], t):
        return 0
    return demand["from"] - t if t < demand["from"] else t - demand["to"]


def surface_to_be_seen(history, table, face, t, u):
    """What lies open at a face; under a cover, the outermost surface below it."""
    openers = opening_events(history, table, t, u)
    layers = stacks(history, table, openers)[-1][face]
    surfaces = [layer for layer in layers if layer != "COVER"]
    return surfaces[-1] if surfaces else None


def review_of(history, picture, t, u):
    given = [
        review
        for review in known(history, "reviews", u)
        if review["chain"] == picture["chain"]
        and review["version"] == picture["version"]
        and review["at"] <= t
    ]
    if not given:
        return None
    return sorted(given, key=lambda review: review["at"])[-1]


def is_filed(history, picture, t, u):
    return any(
        filing["chain"] == picture["chain"]
        and filing["version"] == picture["version"]
        and has(filing["from"], filing["to"], t)
        for filing in known(history, "filings", u)
    )


def waiver_holds(history, table, view, waiver, t, u):
    if not has(waiver["granted"], waiver["lapses"], t):
        return False
    if waiver["ended"] is not None and waiver["ended"] <= t:
        return False
    openers = opening_events(history, table, t, u)
    last = max(anchor_states(history, table, view, t, u)[0])
    for number, event in enumerate(openers, start=1):
        is_own = view["anchor"]["kind"] in ("DT", "AT") and (
            event["treatment"] == view["anchor"]["treatment"]
        )
        if number <= last and event["ended"] > waiver["granted"] and not is_own:
            cell = effect(history, table, openers, number, view["surface"], view["technique"])
            if cell == "O":
                return False
    return True


def matching(history, view, t, u):
    found = [
        picture
        for picture in known(history, "pictures", u)
        if picture["surface"] == view["surface"]
        and picture["technique"] == view["technique"]
        and picture["variant"] == view["variant"]
        and picture["captured"] <= t
    ]
    return sorted(found, key=lambda p: (p["captured"], p["version"]), reverse=True)


def would_qualify_but_for_carry(history, picture, view, t, u):
    review = review_of(history, picture, t, u)
    return (
        review is not None
        and review["verdict"] == "accepted"
        and picture["complete"]
        and picture["px_per_mm"] >= (1 - view["tolerance"]) * view["px_per_mm"]
        and picture["coverage"] >= view["min_coverage"]
    )


def may_still_qualify(history, picture, t, u):
    review = review_of(history, picture, t, u)
    return review is None or (review["verdict"] != "accepted" and review["frames_good"])


def status(history, table, view, t, u, without_later=False):
    """The thirteen rules, one after the other.

    Without later: pictures made after the states of the anchor that wait for a decision left out.
    """
    # 1 replaced
    if view["replaced_by"] is not None and view["replaced_at"] <= t:
        return "replaced"
    # 2 not applicable
    for rule in known(history, "not_applicable", u):
        if rule["view"] == view["key"] and has(rule["from"], rule["to"], t):
            return "not_applicable"
    # 3 waived
    for waiver in known(history, "waivers", u):
        if waiver["view"] == view["key"] and waiver_holds(history, table, view, waiver, t, u):
            return "waived"
    pictures = matching(history, view, t, u)
    preferred = preferred_view(history, table, view, t, u)
    carried = {}
    for picture in pictures:
        words = [carry(history, table, picture, view, t, u)]
        if preferred is not None:
            words.append(carry(history, table, picture, preferred, t, u))
        best = next(word for word in ("OK", "UNDEC", "OUT", "NONE") if word in words)
        carried[picture["chain"], picture["version"]] = best
    if without_later:
        openers = opening_events(history, table, t, u)
        last = max(anchor_states(history, table, view, t, u)[0])
        pictures = [
            p
            for p in pictures
            if carried[p["chain"], p["version"]] != "UNDEC"
            or state_in_force(openers, p["captured"]) <= last
        ]

    def word(picture):
        return carried[picture["chain"], picture["version"]]

    good = [p for p in pictures if would_qualify_but_for_carry(history, p, view, t, u)]
    # 4 filed, 5 accepted
    qualifying = [p for p in good if word(p) == "OK"]
    if any(is_filed(history, p, t, u) for p in qualifying):
        return "filed"
    if qualifying:
        return "accepted"
    # 6 lost
    undecided = [p for p in good if word(p) == "UNDEC"]
    pending = [
        p for p in pictures if word(p) in ("OK", "UNDEC") and may_still_qualify(history, p, t, u)
    ]
    if not undecided and not pending and can_never_be_made(history, table, view, t, u):
        return "lost"
    # 7 undecided
    if undecided:
        return "undecided"
    # 8 to review, sent back, captured; 9 recalled
    candidates = [p for p in pictures if word(p) in ("OK", "UNDEC")]
    if candidates:
        newest = candidates[0]
        review = review_of(history, newest, t, u)
        if review is None:
            handed_in = newest["handed_in"] is not None and newest["handed_in"] <= t
            return "to_review" if handed_in else "captured"
        if review["verdict"] in ("sent_back", "recalled"):
            return review["verdict"]
    # 10 planned: a line of a confirmed session exists; once the session is over it no longer does
    for shot in known(history, "shots", u):
        is_confirmed = has(shot["confirmed"], shot["released"], t)
        is_still_to_be_held = shot["over"] is None or t < shot["over"]
        if shot["view"] == view["key"] and is_confirmed and is_still_to_be_held:
            return "planned"
    # 11 blocked
    if is_blocked(history, table, view, t, u):
        return "blocked"
    # 12 out of date, 13 open
    return "out_of_date" if any(word(p) == "OUT" for p in good) else "open"


def preferred_view(history, table, view, t, u):
    """The view as of its preferred state, if all who ask for it have one and it was reached."""
    if not is_cleaned_preferred(view, asking(history, table, view, t, u)):
        return None
    return newest_cleaned(history, table, view, t, u)


def preferences(history, table, t, u):
    """View → how its preferred state stands, for those that have one and are not decided away."""
    found = {}
    for view in views_in_force(history, table, t, u):
        word = status(history, table, view, t, u)
        if word in ("replaced", "not_applicable", "waived"):
            continue
        if is_cleaned_preferred(view, asking(history, table, view, t, u)):
            of_it = newest_cleaned(history, table, view, t, u)
            words_of_it = []
            if of_it is not None:
                alone = {**of_it, "replaced_by": None}
                for without_later in (False, True):
                    words_of_it.append(status(history, table, alone, t, u, without_later))
            found[view["key"]] = how_it_stands(history, table, view, word, of_it, words_of_it, t, u)
    return found


def can_never_be_made(history, table, view, t, u):
    openers = opening_events(history, table, t, u)
    every = stacks(history, table, openers)
    states, reached, past, begun = anchor_states(history, table, view, t, u)
    if not reached:
        return False
    if view["anchor"]["kind"] == "BT" and begun is not None:
        return True  # nothing captured from now on can count for the state before
    surface = view["surface"]
    if surface[0] in "FB":
        was_there = any(exists(stack, surface) for stack in every)
        if was_there and not exists(every[-1], surface):
            return True
        if past and lies_under_a_surface(every[-1], surface):
            return True
    if not past:
        return False
    return any(
        effect(history, table, openers, j, surface, view["technique"]) == "O"
        for j in range(max(states) + 1, len(openers) + 1)
    )


def is_blocked(history, table, view, t, u):
    for absence in known(history, "absences", u):
        touches = absence["surface"] in (None, view["surface"])
        if touches and has(absence["from"], absence["to"], t):
            return True
    openers = opening_events(history, table, t, u)
    last = stacks(history, table, openers)[-1]
    surfaces = [view["surface"]]
    if view["anchor"]["kind"] == "WIN":
        surfaces.append(view["anchor"]["surface"])
    return any(surface[0] in "FB" and not is_seen(last, surface) for surface in surfaces)


def statuses(history, table, t, u):
    return {
        view["key"]: status(history, table, view, t, u)
        for view in views_in_force(history, table, t, u)
    }


def cases(history, table, t, u):
    """Set of (chain, event, proposal, verdict): one per accepted chain and asking event."""
    openers = opening_events(history, table, t, u)
    found = set()
    for number, event in enumerate(openers, start=1):
        for picture in known(history, "pictures", u):
            review = review_of(history, picture, t, u)
            if picture["captured"] > t or review is None or review["verdict"] != "accepted":
                continue
            if state_in_force(openers, picture["captured"]) >= number:
                continue
            cell = effect(history, table, openers, number, picture["surface"], picture["technique"])
            if cell not in ("D+", "D-"):
                continue
            if carry_to_state(history, table, picture, number - 1, None, t, u) == "OUT":
                continue
            proposal = "out_of_date" if cell == "D+" else "valid"
            verdict = verdict_on(history, picture["chain"], event, t, u)
            found.add((picture["chain"], event["key"], proposal, verdict))
    return found
