"""The second reckoning, continued: what keeps a step from starting, by trying every view."""

from tests.pure.reference_truth import (
    anchor_states,
    column_of,
    is_seen,
    known,
    opening_events,
    row_of,
    stacks,
    steps_in_plan,
    swap,
    table_cell,
)
from tests.pure.reference_truth_status import status, views_in_force, waiver_holds


def last_looks(history, table, event):
    """Column → as of which state, for the row of an event."""
    return {look["column"]: look["as_of"] for look in row_of(table, event)["last_look"]}


def gate_missing(history, table, event, scope, t, u):
    """Set of (surface, technique, variant, anchor kind) that keep the step from starting."""
    steps = [
        step
        for step in steps_in_plan(history, event["treatment"], event["phase"], t, u)
        if step["key"] != event["key"]
    ]
    first = all(step["started"] is None or step["started"] > t for step in steps)
    openers = opening_events(history, table, t, u)
    last = stacks(history, table, openers)[-1]
    missing = set()
    for line in scope:
        surface, technique = line["surface"], line["technique"]
        if surface[0] in "FB" and not is_seen(last, surface):
            continue
        if first:
            asked = asked_first(history, table, event, [*steps, event], line)
        else:
            asked = asked_later(history, table, event, steps, line, last, openers, t)
        for anchors, is_last_look in asked:
            if not any(
                is_met(history, table, line, anchor, is_last_look, t, u) for anchor in anchors
            ):
                missing.add(
                    (
                        surface,
                        technique,
                        line["variant"],
                        may_be_named(history, table, line, anchors, t, u),
                    )
                )
    return missing


def may_be_named(history, table, line, anchors, t, u):
    """Kinds of the anchors that a picture can still meet; where none can, the first one's."""
    possible = {
        anchor["kind"]
        for anchor in anchors
        if word_of(history, table, line, anchor, t, u)[1] != "lost"
    }
    return frozenset(possible or {anchors[0]["kind"]})


def asked_first(history, table, event, steps, line):
    wanted = looked = False
    for step in steps:
        column = column_of(line["technique"], swap(line["surface"][0], history["two_sided"], step))
        on = step["direction"] != "off"
        cell = table_cell(history, table, step, line["technique"], line["surface"][0], on)
        as_of = last_looks(history, table, step).get(column)
        if as_of == "cleaned" and step["key"] != event["key"]:
            as_of = None
        if as_of is not None:
            wanted = looked = True
        if cell in ("O", "D+", "H"):
            wanted = True
    anchor = make_anchor("BT", treatment=event["treatment"], phase=event["phase"])
    return [([anchor], looked)] if wanted else []


def asked_later(history, table, event, steps, line, last, openers, t):
    asked = []
    column = column_of(line["technique"], swap(line["surface"][0], history["two_sided"], event))
    as_of = last_looks(history, table, event).get(column)
    done = sorted(
        [step for step in steps if step["ended"] is not None and step["ended"] <= t],
        key=lambda step: (step["ended"], step["order"]),
    )
    during = [make_anchor("DT", treatment=event["treatment"], step=s["step"]) for s in done]
    if as_of == "cleaned" and during:
        asked.append(([during[-1]], True))
    elif as_of is not None:
        before = make_anchor("BT", treatment=event["treatment"], phase=event["phase"])
        asked.append(([before, *during], True))
    on = event["direction"] != "off"
    cell = table_cell(history, table, event, line["technique"], line["surface"][0], on)
    if cell == "H" and line["surface"] in last[line["surface"][0]]:
        every = stacks(history, table, openers)
        start = len(every) - 1
        while start > 0 and is_seen(every[start - 1], line["surface"]):
            start -= 1
        window = None if start == 0 else openers[start - 1]["key"]
        anchor = make_anchor("WIN", surface=line["surface"], window=window)
        asked.append(([anchor], as_of is not None))
    return asked


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


def is_met(history, table, line, anchor, is_last_look, t, u):
    view, word = word_of(history, table, line, anchor, t, u)
    if word == "waived" and is_last_look:
        return any(
            waiver["view"] == view["key"]
            and waiver_holds(history, table, view, waiver, t, u)
            and waiver["conservator"]
            and waiver["lead"]
            and waiver["conservator"] != waiver["lead"]
            for waiver in known(history, "waivers", u)
        )
    return word in ("accepted", "filed", "waived", "not_applicable", "replaced")
