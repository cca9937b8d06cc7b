"""What is true of an object's pictures at a valid instant, as known at another instant.

Fill an :class:`.facts.ObjectCase` with records, :func:`.moment.look` at it, and ask: statuses
(:mod:`.status`), gates (:mod:`.gate`), cases (:mod:`.decisions`), duties (:mod:`.duties`), windows
(:mod:`.windows`), what a correction or a plan would change (:mod:`.changes`), an entry's grade
(:mod:`.grade`), and the words for all of it (:mod:`.sentences`, :mod:`.waiting`). The rules are
told with worked numbers in ``docs/truth-over-time.md``.

A varnish removed on 20 February and entered on 2 March:

>>> import json
>>> from datetime import UTC, datetime
>>> from pathlib import Path
>>> from imaging_requests.reckoning.truth.facts import (
...     Demand, Event, Filing, ObjectCase, OwedView, Picture, Review)
>>> from imaging_requests.reckoning.truth.moment import look
>>> from imaging_requests.reckoning.truth.status import statuses
>>> from imaging_requests.reckoning.truth.terms import Verdict
>>> from imaging_requests.reckoning.truth.triggers import read_table
>>> tables = {1: read_table(json.loads(Path("fixtures/triggers/table-1.json").read_text("utf-8")))}
>>> def on(month, day): return datetime(2026, month, day, 12, tzinfo=UTC)
>>> shot = on(1, 12)
>>> case = ObjectCase(
...     object_id="AR 0038",
...     events=(Event(key="i1", recorded_at=on(3, 2), order=1, row=2, table_version=1,
...                   started_at=on(2, 19), ended_at=on(2, 20), treatment="T2", step=1),),
...     pictures=(Picture(chain="p1", version=1, recorded_at=shot, surface="F.1", technique="UV",
...                       captured_at=shot, px_per_mm=6.0),),
...     reviews=(Review(key="r1", recorded_at=shot, chain="p1", version=1,
...                     verdict=Verdict.ACCEPTED, at=shot),),
...     filings=(Filing(key="f1", recorded_at=shot, chain="p1", version=1, starts_at=shot),),
...     views=(OwedView(key="v1", recorded_at=shot, surface="F.1", technique="UV",
...                     px_per_mm=6.0, tolerance=0.05, min_coverage=0.995),),
...     demands=(Demand(key="d1", recorded_at=shot, view="v1", kind="protocol", starts_at=shot),),
... )
>>> def status(t, u): return str(statuses(look(case, tables, t=t, u=u))[0].status)
>>> status(on(2, 26), on(2, 26)), status(on(2, 26), on(3, 3))
('filed', 'out_of_date')
"""
