"""A second reckoning of the same rules: slow, plain, and written from the rules' text alone.

It shares no code with the product. A history is a dict of lists of dicts, instants are whole
numbers, the trigger table is its JSON. Nothing is indexed or remembered; every question starts
again from the whole history.

History: ``two_sided``, ``height``, ``width``, ``layers`` and the lists ``events``, ``pictures``,
``reviews``, ``filings``, ``views``, ``demands``, ``waivers``, ``not_applicable``, ``decisions``,
``shots``, ``absences``. Every record has ``key``, ``recorded`` and ``withdrawn``.
"""


def known(history, kind, u):
    """What was known at u: of each key the record learnt last, unless it takes the fact back."""
    answer = []
    for key in sorted({record["key"] for record in history[kind]}):
        best = None
        for record in history[kind]:
            if record["key"] != key or record["recorded"] > u:
                continue
            if best is None or record["recorded"] >= best["recorded"]:
                best = record
        if best is not None and not best["withdrawn"]:
            answer.append(best)
    return answer


def has(interval_from, interval_to, t):
    return interval_from <= t and (interval_to is None or interval_to > t)


def row_of(table, event):
    return next(row for row in table["rows"] if row["row"] == event["row"])


def opening_events(history, table, t, u):
    """The events that opened states, in the order of the states: state n was opened by the n-th."""
    events = [
        event
        for event in known(history, "events", u)
        if event["ended"] is not None
        and event["ended"] <= t
        and "opens no state" not in row_of(table, event)["flags"]
    ]
    return sorted(events, key=lambda event: (event["ended"], event["order"]))


def state_in_force(openers, instant):
    return len([event for event in openers if event["ended"] <= instant])


# --- what can be seen, state by state ------------------------------------------------------------


def swap(face, two_sided, event):
    """Mirror rule: for work on the back of a two-sided object, front and back change places."""
    if two_sided and event["face"] == "B" and face in "FB":
        return "B" if face == "F" else "F"
    return face


def stacks(history, table, openers):
    """For every state a dict face → list of layers, inside first; a cover is the word COVER."""
    first = {"F": [], "B": [], "E": [], "T": []}
    for code in history["layers"]:
        first[code[0]].append(code)
    answer = [first]
    named = {event["opens_surface"] for event in openers if event["opens_surface"]}
    for event in openers:
        before = answer[-1]
        after = {face: list(layers) for face, layers in before.items()}
        act = row_of(table, event).get("surface_act")
        if act is not None:
            face = swap(act["columns"], history["two_sided"], event)
            kind = act["act"]
            if kind == "board":
                kind = "cover" if goes_on(event, before[face]) else "uncover"
            layers = after[face]
            if kind == "cover":
                layers.append("COVER")
            if kind == "uncover" and "COVER" in layers:
                place = max(n for n, layer in enumerate(layers) if layer == "COVER")
                layers.pop(place)
            if kind in ("line", "unline", "replace"):
                layers = [layer for layer in layers if layer != "COVER"]
                if kind == "unline":
                    layers = layers[:-1]
                if kind == "replace":
                    layers = []
                if kind in ("line", "replace") or layers == []:
                    layers = [*layers, fresh_name(face, event, answer, named)]
                after[face] = layers
        answer.append(after)
    return answer


def goes_on(event, layers):
    """A backing board goes on or off as recorded; unrecorded, the other way than it stands."""
    if event["direction"] is not None:
        return event["direction"] == "on"
    return "COVER" not in layers


def fresh_name(face, event, earlier_stacks, named):
    used = {layer for stack in earlier_stacks for layers in stack.values() for layer in layers}
    name = event["opens_surface"]
    if name is not None and name[0] == face and name not in used:
        return name
    number = 1
    while f"{face}.{number}" in used | named:
        number += 1
    return f"{face}.{number}"


def exists(stack, surface):
    return any(surface in layers for layers in stack.values())


def is_seen(stack, surface):
    layers = stack[surface[0]]
    return layers != [] and layers[-1] == surface


def lies_under_a_surface(stack, surface):
    layers = stack[surface[0]]
    if surface not in layers:
        return False
    return any(layer != "COVER" for layer in layers[layers.index(surface) + 1 :])


# --- the trigger table ---------------------------------------------------------------------------


def column_of(technique, face):
    if technique == "XR":
        return "XR"
    if face == "E":
        return "E"
    family = "VIS" if technique in ("VF", "VC") else technique
    return f"{family}-{face}"


def table_cell(history, table, event, technique, face, on):
    row = row_of(table, event)
    column = column_of(technique, swap(face, history["two_sided"], event))
    cell = row["cells"][column]
    if cell == "H/N":
        return "H" if on else "N"
    rule = table["area_rule"]
    share = event["area_pct"]
    if share is None and event["area_cm2"] is not None:
        face_cm2 = history["height"] * history["width"] / 100
        share = 100 * event["area_cm2"] / face_cm2
    small = (
        event["area_cm2"] is not None
        and event["area_cm2"] <= rule["max_area"]["value"]
        and share <= rule["max_share"]["value"]
    )
    may_soften = column.split("-")[0] in ("VIS", "RK", "UV") and row["row"] not in (26, 31)
    return "D+" if cell == "O" and small and may_soften else cell


def effect(history, table, openers, number, surface, technique):
    """What the event that opened state ``number`` did to pictures of a surface."""
    event = openers[number - 1]
    every = stacks(history, table, openers)
    before, after = every[number - 1], every[number]
    on = None
    if row_of(table, event).get("surface_act", {}).get("act") == "board":
        on = goes_on(event, before[swap("B", history["two_sided"], event)])
    if surface[0] not in "ET":
        ever = [n for n, stack in enumerate(every) if exists(stack, surface)]
        if ever and (number <= ever[0] and ever[0] > 0):
            return "V"
        if ever and number > ever[-1]:
            return "V"
        only_outermost = "outermost surface only" in row_of(table, event)["flags"]
        if ever and only_outermost and lies_under_a_surface(before, surface):
            return "V"
    cell = table_cell(history, table, event, technique, surface[0], on)
    if cell == "N":
        bared = exists(before, surface) and is_seen(after, surface)
        return "D+" if bared else "V"
    return cell


# --- anchors -------------------------------------------------------------------------------------


def steps_in_plan(history, treatment, phase, t, u):
    return [
        event
        for event in known(history, "events", u)
        if event["treatment"] == treatment
        and (phase is None or event["phase"] == phase)
        and not (event["dropped"] is not None and event["dropped"] <= t)
        and not (event["planned_at"] is not None and event["planned_at"] > t)
    ]


def anchor_states(history, table, view, t, u):
    """``(states, reached, past, as_of)``: the states that the anchor allows, the first allowed
    instant for pictures taken during a step (``None``: no such limit)."""
    openers = opening_events(history, table, t, u)
    now = len(openers)
    anchor = view["anchor"]
    kind = anchor["kind"]
    if kind == "CUR":
        return [now], True, False, None
    if kind == "FIX":
        if anchor["instant"] > t:
            return [now], False, False, None
        k = state_in_force(openers, anchor["instant"])
        return [k], True, k < now, anchor["instant"]
    if kind == "WIN":
        return window_states(history, table, anchor, openers)
    steps = steps_in_plan(history, anchor["treatment"], anchor["phase"], t, u)
    if kind == "BT":
        starts = [s["started"] for s in steps if s["started"] is not None and s["started"] <= t]
        if not starts:
            return [now], True, False, None
        k = state_in_force(openers, min(starts))
        return [k], True, k < now, min(starts)
    if kind == "DT":
        steps = [step for step in steps if step["step"] == anchor["step"]]
    finished = [s for s in steps if s["ended"] is not None and s["ended"] <= t]
    if len(finished) == 0 or len(finished) != len(steps):
        return [now], False, False, None
    last = sorted(finished, key=lambda s: (s["ended"], s["order"]))[-1]
    k = state_in_force(openers, last["ended"])
    for number, event in enumerate(openers, start=1):
        if event["key"] == last["key"]:
            k = number
    return [k], True, k < now, last["ended"]


def window_states(history, table, anchor, openers):
    every = stacks(history, table, openers)
    surfaces = [anchor["surface"]]
    if anchor["surface"][0] in "ET":
        surfaces += sorted({code for stack in every for code in stack["F"] + stack["B"]})
    for surface in surfaces:
        found = window_of_surface(anchor, openers, every, surface)
        if found is not None:
            return found
    return [len(openers)], False, False, None


def window_of_surface(anchor, openers, every, surface):
    now = len(openers)
    seen = [surface != "COVER" and is_seen(stack, surface) for stack in every]
    for first in range(len(every)):
        if seen[first] and (first == 0 or not seen[first - 1]):
            opener = None if first == 0 else openers[first - 1]["key"]
            if opener == anchor["window"]:
                states = [first]
                while states[-1] + 1 <= now and seen[states[-1] + 1]:
                    states.append(states[-1] + 1)
                return states, True, states[-1] < now, None
    return None


# --- carry ---------------------------------------------------------------------------------------


def verdict_on(history, chain, event, t, u):
    """The last thing that happened in the case by t: a verdict, or nothing that decides it."""
    acts = []
    for decision in known(history, "decisions", u):
        if decision["chain"] != chain or decision["event"] != event["key"]:
            continue
        if decision["opened"] > t:
            continue
        acts.append((decision["opened"], None))
        if decision["decided"] is not None and decision["decided"] <= t:
            acts.append((decision["decided"], decision["verdict"]))
    latest = None
    for act in acts:
        if latest is None or act[0] >= latest[0]:
            latest = act
    return None if latest is None else latest[1]


def judge_event(history, cell, picture, event, t, u):
    """OUT, UNDEC or OK for one event."""
    if cell == "O":
        return "OUT"
    if cell in ("D+", "D-"):
        verdict = verdict_on(history, picture["chain"], event, t, u)
        return {None: "UNDEC", "valid": "OK", "out_of_date": "OUT"}[verdict]
    return "OK"


def worst(judgements):
    for word in ("OUT", "UNDEC"):
        if word in judgements:
            return word
    return "OK"


def carry_to_state(history, table, picture, k, as_of, t, u):
    openers = opening_events(history, table, t, u)
    i = state_in_force(openers, picture["captured"])
    judgements = []
    for j in range(min(i, k) + 1, max(i, k) + 1):
        cell = effect(history, table, openers, j, picture["surface"], picture["technique"])
        judgements.append(judge_event(history, cell, picture, openers[j - 1], t, u))
    if as_of is not None and i >= k:
        for event in known(history, "events", u):
            if was_under_way(event, picture["captured"]) and event["started"] >= as_of:
                numbers = [n for n, e in enumerate(openers, start=1) if e["key"] == event["key"]]
                if numbers:
                    cell = effect(
                        history,
                        table,
                        openers,
                        numbers[0],
                        picture["surface"],
                        picture["technique"],
                    )
                else:
                    cell = table_cell(
                        history,
                        table,
                        event,
                        picture["technique"],
                        picture["surface"][0],
                        event["direction"] != "off",
                    )
                    cell = "D+" if cell == "N" else cell
                judgements.append(judge_event(history, cell, picture, event, t, u))
    return worst(judgements)


def was_under_way(event, instant):
    if event["started"] is None or event["started"] > instant:
        return False
    if event["ended"] is not None:
        return instant < event["ended"]
    return event["dropped"] is None or instant < event["dropped"]


def carry(history, table, picture, view, t, u):
    """The best over all states that the anchor allows; NONE while the anchor is not reached."""
    states, reached, _, as_of = anchor_states(history, table, view, t, u)
    if not reached:
        return "NONE"
    if view["anchor"]["kind"] == "BT" and as_of is not None and picture["captured"] >= as_of:
        return "OUT"  # a picture accepted for "before" was captured before the first actual start
    found = {carry_to_state(history, table, picture, k, as_of, t, u) for k in states}
    return next(word for word in ("OK", "UNDEC", "OUT") if word in found)
