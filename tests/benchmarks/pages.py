"""How long the pages of a large museum take, as multiples of an empty page of the same run.

    python tests/benchmarks/pages.py [--objects 1000 10000 100000] [--folder FOLDER]

Prints one table for each page with its queries and ratios at every size. With `DATABASE_URL` it
measures PostgreSQL, without it SQLite.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import sys
import tempfile
from dataclasses import asdict
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parent))

import stage

SAMPLE = 2_000


def measure(objects: int, *, verify: bool) -> dict[str, Any]:
    """Measure everything at one size; runs in a process of its own."""
    stage.stage(objects)
    import finish
    import timing
    from django.conf import settings
    from django.db import connection
    from django.test import Client

    from imaging_requests.people.models import Role, User
    from imaging_requests.people.policies import EVERYONE_INSIDE
    from imaging_requests.requesting.models import OwedView

    settings.ROOT_URLCONF = "timing"
    by_role = {
        role: User.objects.filter(role_holdings__role=role, role_holdings__held_until=None)[0]
        for role in sorted(EVERYONE_INSIDE)
    }
    clients = {role: Client() for role in sorted(EVERYONE_INSIDE)}
    for role, client in clients.items():
        client.force_login(by_role[role])
    pages: dict[str, timing.Page] = {}
    common = {"empty": timing.BARE, "empty frame": timing.FRAMED}
    pages |= timing.measure(clients[Role.LEAD], common | _addresses())
    for role in sorted(EVERYONE_INSIDE):
        found = timing.measure(clients[role], common | {f"first page, {role}": "/"})
        ratio = found[f"first page, {role}"].ms / found["empty"].ms * pages["empty"].ms
        page = found[f"first page, {role}"]
        pages[f"first page, {role}"] = timing.Page(ratio, page.queries, page.bytes)
    answer: dict[str, Any] = {
        "database": connection.vendor,
        "objects": objects,
        "views": OwedView.objects.count(),
        "pages": {name: asdict(page) for name, page in pages.items()},
        "cold": finish.cold_board(clients[Role.LEAD], _addresses()["board"]),
        "finish": finish.finish_and_look(clients[Role.LEAD]),
    }
    if verify:
        answer["differences"] = _verify(objects)
    return answer


def _addresses() -> dict[str, str]:
    """The pages that are measured: of the largest catalogue, and of an object in it."""
    from django.db.models import Count
    from django.urls import reverse

    from imaging_requests.collection.models import Catalogue, EntryObject

    largest = Catalogue.objects.annotate(n=Count("entries")).order_by("-n", "pk")[0]
    link = EntryObject.objects.filter(
        entry__catalogue=largest, object__treatments__isnull=False, removed_at=None
    ).order_by("pk")[0]
    return {
        "board": reverse("progress:board", args=[largest.pk]),
        "board, narrowed": reverse("progress:board", args=[largest.pk]) + "?grade=in_progress",
        "board, third page": reverse("progress:board", args=[largest.pk]) + "?page=3",
        "catalogues": reverse("progress:catalogues"),
        "entry": reverse("progress:entry", args=[link.entry_id]),
        "object": reverse("progress:object", args=[link.object_id]),
    }


def _verify(objects: int) -> int:
    """Derive a sample anew and count what the caches say otherwise."""
    from imaging_requests.collection.models import CollectionObject
    from imaging_requests.progress.settle import verify

    ids = list(CollectionObject.objects.values_list("pk", flat=True))
    dice = random.Random(objects)
    return len(verify(sorted(dice.sample(ids, min(SAMPLE, len(ids))))))


def report(found: list[dict[str, Any]]) -> str:
    """Lay out what was found at all sizes."""
    first = found[0]
    sizes = [f"{each['objects']:,}" for each in found]
    head = ["page", "queries", *(f"× empty at {size}" for size in sizes), "× frame", "growth"]
    rows = []
    for name in first["pages"]:
        ratios = [each["pages"][name]["ms"] / each["pages"]["empty"]["ms"] for each in found]
        frames = [each["pages"][name]["ms"] / each["pages"]["empty frame"]["ms"] for each in found]
        queries = [str(each["pages"][name]["queries"]) for each in found]
        rows.append(
            [
                name,
                queries[0] if len(set(queries)) == 1 else " / ".join(queries),
                *(f"{ratio:.2f}" for ratio in ratios),
                f"{frames[-1]:.2f}",
                f"{ratios[-1] / ratios[0]:.2f}",
            ]
        )
    lines = [
        f"{first['database']}, {stage.machine()}",
        "Owed views: "
        + ", ".join(
            f"{each['views']:,} at {size}" for each, size in zip(found, sizes, strict=True)
        ),
        "",
        stage.table(head, rows),
        "",
    ]
    for each, size in zip(found, sizes, strict=True):
        empty = each["pages"]["empty"]["ms"]
        done = each["finish"]
        lines += [
            f"At {size} objects an empty page takes {empty:.2f} ms. "
            f"The board takes {each['cold']['first'] / empty:.1f} × that in a process that has "
            f"drawn nothing yet, {each['cold']['one_changed'] / empty:.1f} × after one entry "
            "changed.",
            f"Finishing a step takes {done['finish_ms']:.0f} ms; the next view of the board "
            f"{done['board_ms']:.0f} ms, everything on it right: {done['is_right']}; the view "
            f"after that {done['again_ms']:.1f} ms.",
        ]
        if "differences" in each:
            lines.append(f"Differences in a sample of {SAMPLE}: {each['differences']}.")
    return "\n".join(lines)


def _say(words: str) -> None:
    sys.stdout.write(f"{words}\n")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--objects", type=int, nargs="+", default=list(stage.SIZES))
    parser.add_argument("--folder", type=Path, default=None, help="where SQLite files are kept")
    parser.add_argument("--no-verify", action="store_true")
    parser.add_argument("--measure", type=int, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.measure:
        _say(json.dumps(measure(options.measure, verify=not options.no_verify)))
        return
    folder = options.folder or Path(tempfile.gettempdir()) / f"imaging-benchmarks-{os.getuid()}"
    more = ["--no-verify"] if options.no_verify else []
    script = Path(__file__).resolve()
    _say(report([stage.run(script, objects, folder, *more) for objects in options.objects]))


if __name__ == "__main__":
    main()
