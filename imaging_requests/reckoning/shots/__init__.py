"""From object facts and a protocol version to an exact shot list.

Three questions, each a pure function that works on plain data:

* :func:`derive_owed` – which views are owed (conditions only, for bulk use);
* :func:`view_spec` – how one view of one object is made (geometry, exposures, minutes, light);
* :func:`derive_shot_list` – the whole list with totals, order, cautions and near misses.

Input is read by :func:`read_facts`, :func:`read_protocol` and :func:`read_settings`; every
threshold comes from the studio settings, never from the code. The rules are explained with
worked numbers in ``docs/shot-derivation.md``.
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
from imaging_requests.reckoning.shots.checking import ask_facts, refuse_facts
from imaging_requests.reckoning.shots.derive import BadFactsError, derive_shot_list
from imaging_requests.reckoning.shots.facts import FACT_NAMES, ObjectFacts
from imaging_requests.reckoning.shots.owed import NotApplicable, OwedView, derive_owed
from imaging_requests.reckoning.shots.predicates import BadConditionError, Condition, read_condition
from imaging_requests.reckoning.shots.printed import as_text
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
from imaging_requests.reckoning.shots.reading import FactsReading, read_facts
from imaging_requests.reckoning.shots.settings import (
    BadSettingsError,
    StudioSettings,
    read_settings,
)
from imaging_requests.reckoning.shots.spec import view_spec
from imaging_requests.reckoning.shots.words import opposite_azimuth_deg, view_code

__all__ = [
    "FACT_NAMES",
    "Auxiliary",
    "BadConditionError",
    "BadFactsError",
    "BadProtocolError",
    "BadSettingsError",
    "Condition",
    "Detail",
    "Dose",
    "FactQuestion",
    "FactsReading",
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
    "StudioSettings",
    "ViewSpec",
    "as_data",
    "as_text",
    "ask_facts",
    "derive_owed",
    "derive_shot_list",
    "opposite_azimuth_deg",
    "read_condition",
    "read_facts",
    "read_line",
    "read_protocol",
    "read_settings",
    "refuse_facts",
    "view_code",
    "view_spec",
]
