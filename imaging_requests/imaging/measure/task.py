"""The task of the guarded process: measure files, plain values in and out."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import pyvips

from imaging_requests.imaging.files.data_values import DataError
from imaging_requests.imaging.files.limits import Limits
from imaging_requests.imaging.files.refusals import Unreadable
from imaging_requests.imaging.measure.charts import read_editions
from imaging_requests.imaging.measure.checks import check_sight, with_until
from imaging_requests.imaging.measure.finding import Finding, Rules
from imaging_requests.imaging.measure.frame import Frame
from imaging_requests.imaging.measure.plan import Plan, Sight, Tools
from imaging_requests.imaging.measure.read import read_frame
from imaging_requests.imaging.measure.sets import check_bracket, check_lamps_off
from imaging_requests.imaging.measure.strip import Strip
from imaging_requests.imaging.measure.traits_read import traits_of

DATA_NAMES = ("measurements-1.json", "charts-1.json", "target-strip-1.json")


@lru_cache(maxsize=8)
def read_tools(folder: str, charts: tuple[str, ...] = ()) -> Tools:
    """Read limits, charts and strip from a folder of data files.

    ``charts``: editions that the studio owns; those on its strips if empty. Raises ``DataError``
    for an unknown edition or data that is not whole.
    """
    rules, editions, strip = (
        json.loads((Path(folder) / name).read_text(encoding="utf-8")) for name in DATA_NAMES
    )
    known = read_editions(editions)
    layout = Strip.from_settings(strip)
    wanted = charts or layout.editions()
    unknown = [name for name in wanted if name not in known]
    if unknown:
        raise DataError(f"No chart is called {unknown[0]}; known are {', '.join(known)}.")
    return Tools(Rules.from_settings(rules), {name: known[name] for name in wanted}, layout)


def plan_as_data(plan: Plan) -> dict[str, Any]:
    """Return plain values that fit into JSON."""
    return asdict(plan)


def plan_from_data(data: Mapping[str, Any]) -> Plan:
    """Rebuild a plan from ``plan_as_data``, also after a round trip through JSON."""
    values = dict(data)
    if values["face_mm"] is not None:
        values["face_mm"] = tuple(values["face_mm"])
    return Plan(**values)


def measure(arguments: Mapping[str, Any]) -> dict[str, Any]:
    """Measure one file, or the frames of one bracket; plans say what each was meant to be.

    Frames with the lamps off are held against the exposures of the bracket.

    The answer holds ``frames``, one for each path, each with either ``findings`` or ``refused``,
    and with what can be held against other pictures (``traits``) if that is asked for;
    and ``together``, the findings of a bracket and of the frames with the lamps off.
    """
    pyvips.cache_set_max(0)
    tools = read_tools(arguments["data_folder"], tuple(arguments["charts"]))
    limits = Limits(**arguments["limits"])
    answers: list[dict[str, Any]] = []
    exposures: dict[str, list[tuple[float, Frame]]] = {"view": [], "ambient": []}
    plans = [plan_from_data(each) for each in arguments["plans"]]
    for path, plan in zip(arguments["paths"], plans, strict=True):
        frame = read_frame(
            Path(path),
            clip=tools.clip(),
            limits=limits,
            scratch=Path(arguments["scratch"]),
            is_linear=plan.technique == "IR",
        )
        if isinstance(frame, Unreadable):
            answers.append({"refused": frame.as_data()})
            continue
        sight = Sight(frame, plan, tools)
        findings = [found.as_data() for found in check_sight(sight)]
        size = [frame.width_px, frame.height_px]
        traits = traits_of(sight).as_data() if arguments["with_traits"] else {}
        answers.append({"findings": findings, "size_px": size, "traits": traits})
        if plan.ev is not None and plan.role in exposures:
            exposures[plan.role].append((plan.ev, frame))
    views = [plan for plan in plans if plan.role == "view"]
    bracket = exposures["view"]
    together: list[Finding] = []
    if views and len(bracket) == len(views):
        together = check_bracket(
            bracket, replace(views[0], ev=None), tools, wanted_ev=arguments["wanted_ev"]
        )
    together += with_until(check_lamps_off(exposures["ambient"], bracket, tools), plans[0].until)
    return {"frames": answers, "together": [found.as_data() for found in together]}
