"""From object facts and a protocol version to an exact shot list.

Three questions, each a pure function that works on plain data:

* :func:`derive_owed` – which views are owed (conditions only, for bulk use);
* ``view_spec`` – how one view of one object is made (geometry, exposures, minutes, light);
* ``derive_shot_list`` – the whole list with totals, order, cautions and near misses.

Input is read by :func:`read_protocol` and ``read_facts``; every threshold comes from the studio
settings, never from the code. The rules are explained with worked numbers in
``docs/shot-derivation.md``.
"""

from imaging_requests.reckoning.shots.answer import (
    Auxiliary,
    Dose,
    FactQuestion,
    Lamp,
    Moves,
    NearMiss,
    ShotList,
    ShotView,
    SkippedView,
    StationTotal,
    Step,
    ViewSpec,
    as_data,
)
from imaging_requests.reckoning.shots.facts import FACT_NAMES, ObjectFacts
from imaging_requests.reckoning.shots.owed import NotApplicable, OwedView, derive_owed
from imaging_requests.reckoning.shots.predicates import BadConditionError, Condition, read_condition
from imaging_requests.reckoning.shots.protocol import (
    BadProtocolError,
    Detail,
    NotApplicableRule,
    Protocol,
    ProtocolLine,
    Replacement,
    read_line,
    read_protocol,
)
from imaging_requests.reckoning.shots.words import opposite_azimuth_deg, view_code

__all__ = [
    "FACT_NAMES",
    "Auxiliary",
    "BadConditionError",
    "BadProtocolError",
    "Condition",
    "Detail",
    "Dose",
    "FactQuestion",
    "Lamp",
    "Moves",
    "NearMiss",
    "NotApplicable",
    "NotApplicableRule",
    "ObjectFacts",
    "OwedView",
    "Protocol",
    "ProtocolLine",
    "Replacement",
    "ShotList",
    "ShotView",
    "SkippedView",
    "StationTotal",
    "Step",
    "ViewSpec",
    "as_data",
    "derive_owed",
    "opposite_azimuth_deg",
    "read_condition",
    "read_line",
    "read_protocol",
    "view_code",
]
