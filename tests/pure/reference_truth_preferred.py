"""The second reckoning, continued: the cleaned state that may be preferred to the present one."""

from tests.pure.reference_truth import (
    anchor_states,
    effect,
    known,
    opening_events,
    row_of,
    swap,
    table_cell,
    was_under_way,
)

EVER_SHOT = ("undecided", "to_review", "sent_back", "captured", "recalled")


def is_cleaned_preferred(view, live):
    """Whether all of those who ask for a view as it is now would rather have the cleaned state."""
    wishes = {demand["preferred"] for demand in live}
    return view["anchor"]["kind"] == "CUR" and wishes == {"cleaned"}


def ends_it(history, table, event, face):
    """A step ends the cleaned state of the face on which its row has a last look of that state."""
    for look in row_of(table, event)["last_look"]:
        if look["as_of"] != "cleaned":
            continue
        of_row = look["column"].split("-")[-1]
        if face == "T" or swap(face, history["two_sided"], event) == of_row:
            return True
    return False


def in_the_order_of_work(steps, t):
    def place(step):
        if step["ended"] is not None and step["ended"] <= t:
            return (0, step["ended"], step["order"])
        if step["started"] is not None and step["started"] <= t:
            return (1, step["started"], step["order"])
        return (2, step["step"] or 0, step["order"])

    return sorted(steps, key=place)


def cleaned_anchors(history, table, face, t, u):
    """Every cleaned state of a face, as the anchor DT of the step that brings it."""
    found = []
    in_plan = [
        event
        for event in known(history, "events", u)
        if event["treatment"] is not None
        and not (event["dropped"] is not None and event["dropped"] <= t)
        and not (event["planned_at"] is not None and event["planned_at"] > t)
        and "opens no state" not in row_of(table, event)["flags"]
    ]
    for group in {(event["treatment"], event["phase"]) for event in in_plan}:
        own = [event for event in in_plan if (event["treatment"], event["phase"]) == group]
        steps = in_the_order_of_work(own, t)
        for number in range(1, len(steps)):
            ends = ends_it(history, table, steps[number], face)
            if ends and not ends_it(history, table, steps[number - 1], face):
                found.append(
                    {
                        "kind": "DT",
                        "treatment": group[0],
                        "phase": None,
                        "step": steps[number - 1]["step"],
                        "surface": None,
                        "window": None,
                        "instant": None,
                    }
                )
    return found


def newest_cleaned(history, table, view, t, u):
    """The view as it would be owed of the newest cleaned state there was; None if there is none."""
    best = None
    for anchor in cleaned_anchors(history, table, view["surface"][0], t, u):
        other = {**view, "key": "", "anchor": anchor}
        states, reached, _, _ = anchor_states(history, table, other, t, u)
        if reached and (best is None or states[0] > best[0]):
            best = (states[0], other)
    return None if best is None else best[1]


def how_it_stands(history, table, view, word, of_it, words_of_it, t, u):
    """The word for the preferred state beside the word of the view itself."""
    said = "none"
    if of_it is not None:
        said = how_the_reached_one_stands(history, table, of_it, word, words_of_it, t, u)
    if said in ("none", "ended", "lost"):
        for anchor in cleaned_anchors(history, table, view["surface"][0], t, u):
            if not anchor_states(history, table, {**view, "anchor": anchor}, t, u)[1]:
                return "to_come"
    return said


def how_the_reached_one_stands(history, table, of_it, word, words_of_it, t, u):
    """`words_of_it`: the word of it alone, and the same without doubtful pictures made later."""
    word_of_it, word_then = words_of_it
    if word_of_it in ("filed", "accepted"):
        return "met" if word == word_of_it else "shot"
    if word_then in EVER_SHOT:
        return "shot"
    if word_of_it == "lost":
        return "lost"
    state = anchor_states(history, table, of_it, t, u)[0][0]
    openers = opening_events(history, table, t, u)
    surface, technique = of_it["surface"], of_it["technique"]
    since = [
        effect(history, table, openers, number, surface, technique)
        for number in range(state + 1, len(openers) + 1)
    ]
    for event in known(history, "events", u):
        if was_under_way(event, t):
            on = event["direction"] != "off"
            cell = table_cell(history, table, event, technique, surface[0], on)
            since.append("D+" if cell == "N" else cell)
    return "ended" if {"O", "D+", "D-"} & set(since) else "possible"
