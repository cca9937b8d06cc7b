"""The second reckoning, continued: what keeps a step from starting, by trying every view."""

from tests.pure.reference_truth import (
    anchor_states,
    column_of,
    exists,
    is_seen,
    known,
    lies_under_a_surface,
    opening_events,
    row_of,
    stacks,
    steps_in_plan,
    swap,
    table_cell,
    was_under_way,
)
from tests.pure.reference_truth_status import status, views_in_force, waiver_holds


def last_looks(history, table, event):
    """Column → as of which state, for the row of an event."""
    return {look["column"]: look["as_of"] for look in row_of(table, event)["last_look"]}


def gate_missing(history, table, event, scope, t, u):
    """Set of (surface, technique, variant, anchor kinds) that keep the step from starting.

    A step is judged on the surfaces that are there when it starts: steps under way count as done,
    those that are only planned come after it. Each view is asked for once.
    """
    plan = plan_of(history, event, t, u)
    path, starts = sequence(history, table, event, plan, t, u)
    every = stacks(history, table, path)
    first = all(step["started"] is None or step["started"] > t for step in plan["others"])
    missing = set()
    for line in with_what_lies_there(scope, every[starts[event["key"]]]):
        asked = []
        is_there = is_shown(every[starts[event["key"]]], line["surface"])
        if first and is_there:
            asked += asked_first(history, table, event, plan, line, every, starts)
        if not first or not is_there:
            asked += asked_own(history, table, event, plan, line, every, starts, path, t)
        if not asked:
            continue
        two = any(is_last_look for _, is_last_look in asked)
        anchors_of_all = [anchor for anchors, _ in asked for anchor in anchors]
        anchors_of_all += window_it_is_seen_in(line, every, path, starts[event["key"]])
        if any(is_given_up(history, table, line, anchor, two, t, u) for anchor in anchors_of_all):
            continue
        unmet = [
            anchors
            for anchors, last in asked
            if not any(is_met(history, table, line, a, last, t, u) for a in anchors)
        ]
        if unmet:
            kinds = may_be_named(history, table, line, unmet, t, u)
            missing.add((line["surface"], line["technique"], line["variant"], kinds))
    return missing


def may_be_named(history, table, line, unmet, t, u):
    """Kinds of the anchors that a picture can still meet; where none can, the first ones'."""
    possible = {
        anchor["kind"]
        for anchors in unmet
        for anchor in anchors
        if word_of(history, table, line, anchor, t, u)[1] != "lost"
    }
    return frozenset(possible or {anchors[0]["kind"] for anchors in unmet})


def with_what_lies_there(scope, stack):
    """What is asked of a face is asked of the outermost surface there, under a cover or not."""
    lines = list(scope)
    for line in scope:
        face = line["surface"][0]
        if not line["is_of_face"] or face not in "FB":
            continue
        surfaces = [layer for layer in stack[face] if layer != "COVER"]
        if surfaces == []:
            continue
        other = {**line, "surface": surfaces[-1]}
        view = [other[name] for name in ("surface", "technique", "variant")]
        if view not in [[x["surface"], x["technique"], x["variant"]] for x in lines]:
            lines.append(other)
    return lines


def lies_under_a_cover_only(stack, surface):
    """Whether a surface is hidden, and by nothing but a facing or a board."""
    if surface[0] in "ET" or not exists(stack, surface) or is_seen(stack, surface):
        return False
    return not lies_under_a_surface(stack, surface)


def plan_of(history, event, t, u):
    """The step's treatment (or phase) in the order of its plan, and what else is under way."""
    others = [
        step
        for step in steps_in_plan(history, event["treatment"], event["phase"], t, u)
        if step["key"] != event["key"]
    ]
    in_order = sorted([*others, event], key=lambda step: (step["step"] or 0, step["order"]))
    waiting = [step for step in in_order if step["started"] is None or step["started"] > t]
    running = [
        other
        for other in known(history, "events", u)
        if other["key"] != event["key"] and was_under_way(other, t)
    ]
    return {
        "others": others,
        "in_order": in_order,
        "after": [step for step in waiting if step["key"] != event["key"]],
        "running": sorted(running, key=lambda step: (step["started"], step["order"])),
    }


def sequence(history, table, event, plan, t, u):
    """The events that open states, done and to be done; and in which state each step starts."""
    path = opening_events(history, table, t, u)
    starts = {}
    for step in [*plan["running"], event, *plan["after"]]:
        starts[step["key"]] = len(path)
        if "opens no state" not in row_of(table, step)["flags"]:
            path = [*path, step]
    return path, starts


def is_shown(stack, surface):
    return surface[0] in "ET" or is_seen(stack, surface)


def is_there_for(table, step, stack, surface):
    """A step changes what is there: what has come, is not gone, and lies open if it must."""
    if surface[0] in "ET":
        return True
    only_outermost = "outermost surface only" in row_of(table, step)["flags"]
    return exists(stack, surface) and not (only_outermost and lies_under_a_surface(stack, surface))


def last_look_at(history, table, step, line, stack):
    """As of which state a step is the last occasion to see a surface; None if it is not."""
    surface = line["surface"]
    if not is_there_for(table, step, stack, surface):
        return None
    act = row_of(table, step).get("surface_act", {}).get("act")
    of_the_top = act in ("cover", "uncover", "line", "unline")
    if of_the_top and surface[0] in "FB" and lies_under_a_surface(stack, surface):
        return None
    column = column_of(line["technique"], swap(surface[0], history["two_sided"], step))
    return last_looks(history, table, step).get(column)


def cell_at(history, table, step, line, stack):
    if not is_there_for(table, step, stack, line["surface"]):
        return "V"
    on = step["direction"] != "off"
    cell = table_cell(history, table, step, line["technique"], line["surface"][0], on)
    return "V" if cell == "H" and not is_shown(stack, line["surface"]) else cell


def asked_first(history, table, event, plan, line, every, starts):
    wanted = looked = False
    for step in plan["in_order"]:
        stack = every[starts[step["key"]]]
        as_of = last_look_at(history, table, step, line, stack)
        if as_of == "cleaned" and step["key"] != event["key"]:
            as_of = None
        if as_of is not None:
            wanted = looked = True
        if cell_at(history, table, step, line, stack) in ("O", "D+", "H"):
            wanted = True
    anchor = make_anchor("BT", treatment=event["treatment"], phase=event["phase"])
    return [([anchor], looked)] if wanted else []


def asked_own(history, table, event, plan, line, every, starts, path, t):
    start = starts[event["key"]]
    covered = lies_under_a_cover_only(every[start], line["surface"])
    if not is_shown(every[start], line["surface"]) and not covered:
        return []
    asked = []
    as_of = last_look_at(history, table, event, line, every[start])
    over = [*steps_done(plan, t), *own_running(plan)]
    during = [make_anchor("DT", treatment=event["treatment"], step=s["step"]) for s in over]
    if as_of == "cleaned" and during:
        asked.append(([during[-1]], True))
    elif as_of is not None:
        before = make_anchor("BT", treatment=event["treatment"], phase=event["phase"])
        asked.append(([before, *during], True))
    if cell_at(history, table, event, line, every[start]) == "H":
        asked.append((window_it_is_seen_in(line, every, path, start), as_of is not None))
    return asked


def window_it_is_seen_in(line, every, path, start):
    """The anchor of the time in which a surface can be seen when the step starts, if it can."""
    if line["surface"][0] in "ET" or not is_seen(every[start], line["surface"]):
        return []
    first = start
    while first > 0 and is_seen(every[first - 1], line["surface"]):
        first -= 1
    window = None if first == 0 else path[first - 1]["key"]
    return [make_anchor("WIN", surface=line["surface"], window=window)]


def steps_done(plan, t):
    done = [step for step in plan["others"] if step["ended"] is not None and step["ended"] <= t]
    return sorted(done, key=lambda step: (step["ended"], step["order"]))


def own_running(plan):
    own = [step["key"] for step in plan["others"]]
    return [step for step in plan["running"] if step["key"] in own]


def make_anchor(kind, **more):
    blank = {
        "kind": kind,
        "treatment": None,
        "phase": None,
        "step": None,
        "surface": None,
        "window": None,
        "instant": None,
    }
    return {**blank, **more}


def is_same_anchor(history, table, owed, anchor, t, u):
    """Before treatment may be told with or without the phase, if both mean the same state."""
    if owed["anchor"] == anchor:
        return True
    both = {owed["anchor"]["kind"], anchor["kind"]} == {"BT"}
    if not both or owed["anchor"]["treatment"] != anchor["treatment"]:
        return False
    if owed["anchor"]["phase"] is not None and anchor["phase"] is not None:
        return False
    other = {**owed, "anchor": anchor}
    return anchor_states(history, table, owed, t, u) == anchor_states(history, table, other, t, u)


def word_of(history, table, line, anchor, t, u):
    view = {**line, "key": "", "anchor": anchor, "replaced_by": None, "replaced_at": None}
    for owed in views_in_force(history, table, t, u):
        same = all(owed[name] == line[name] for name in ("surface", "technique", "variant"))
        if same and is_same_anchor(history, table, owed, anchor, t, u):
            view = owed
            break
    return view, status(history, table, view, t, u)


def is_given_up(history, table, line, anchor, two, t, u):
    """A waiver lets a view go; for a last look a conservator and the lead must both have signed."""
    view, _ = word_of(history, table, line, anchor, t, u)
    return is_signed_away(history, table, view, two, t, u)


def is_signed_away(history, table, view, two, t, u):
    for waiver in known(history, "waivers", u):
        if waiver["view"] != view["key"]:
            continue
        if not waiver_holds(history, table, view, waiver, t, u):
            continue
        conservator, lead = waiver["conservator"], waiver["lead"]
        if not two or (conservator and lead and conservator != lead):
            return True
    return False


def is_met(history, table, line, anchor, is_last_look, t, u):
    view, word = word_of(history, table, line, anchor, t, u)
    return meets(history, table, view, word, is_last_look, t, u)


def meets(history, table, view, word, is_last_look, t, u):
    """Accepted or given up; what one person ruled out is no way round a last look."""
    if word in ("accepted", "filed") or is_signed_away(history, table, view, is_last_look, t, u):
        return True
    if word == "not_applicable" and not is_last_look:
        return True
    if word == "replaced":
        other = end_of_the_chain(history, table, view, t, u)
        if other is not None and is_last_look:
            other = with_stricter_spec(other, view) if is_same_column(view, other) else None
        if other is not None:
            word_there = status(history, table, other, t, u)
            if meets(history, table, other, word_there, is_last_look, t, u):
                return True
    if word in ("replaced", "not_applicable"):
        bare = {**view, "key": "", "replaced_by": None}
        return status(history, table, bare, t, u) in ("accepted", "filed")
    return False


def end_of_the_chain(history, table, view, t, u):
    """What stands for a replaced view, as of its own anchor; nothing if the chain breaks off."""
    owed = {each["key"]: each for each in views_in_force(history, table, t, u)}
    passed = [view["key"]]
    while view["replaced_by"] is not None and view["replaced_at"] <= t:
        if view["replaced_by"] in passed or view["replaced_by"] not in owed:
            return None
        view = {**owed[view["replaced_by"]], "anchor": view["anchor"]}
        passed.append(view["key"])
    return view


def with_stricter_spec(other, view):
    spec = {
        "px_per_mm": max(other["px_per_mm"], view["px_per_mm"]),
        "tolerance": min(other["tolerance"], view["tolerance"]),
        "min_coverage": max(other["min_coverage"], view["min_coverage"]),
    }
    return {**other, **spec}


def is_same_column(view, other):
    if other["variant"] != view["variant"] and other["variant"] not in ("", *"LRTB"):
        return False
    return view["surface"] == other["surface"] and column_of(
        view["technique"], view["surface"][0]
    ) == column_of(other["technique"], other["surface"][0])
