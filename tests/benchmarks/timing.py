"""Time pages against an empty page, in turns, so that whatever slows the machine slows both."""

from __future__ import annotations

import gc
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from statistics import median
from typing import Any

from django.db import connection
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import include, path

TURNS = 40


def bare(request: HttpRequest) -> HttpResponse:
    """Answer nothing at all, to somebody who is signed in."""
    return HttpResponse("")


def framed(request: HttpRequest) -> HttpResponse:
    """Answer the frame that every page has, with nothing in it."""
    return render(request, "base.html")


#: The addresses of the program, and two empty pages behind the same middleware.
urlpatterns = [
    path("empty/bare/", bare),
    path("empty/framed/", framed),
    path("", include("imaging_requests.config.urls")),
]
BARE, FRAMED = "/empty/bare/", "/empty/framed/"


@dataclass(frozen=True)
class Page:
    """What was measured of one page: median milliseconds, and queries."""

    ms: float
    queries: int
    bytes: int


def clock(work: Callable[[], Any]) -> float:
    """Return how many milliseconds something takes."""
    started = time.perf_counter()
    work()
    return (time.perf_counter() - started) * 1000


def measure(client: Client, addresses: Mapping[str, str]) -> dict[str, Page]:
    """Ask for every page by turns; the first two rounds only warm up."""
    queries: dict[str, int] = {}
    sizes: dict[str, int] = {}
    for name, address in addresses.items():
        for _ in range(2):
            with CaptureQueriesContext(connection) as seen:
                response = client.get(address)
        if response.status_code != 200:
            raise SystemExit(f"{name} at {address} answered {response.status_code}.")
        queries[name], sizes[name] = len(seen), len(response.content)
    times: dict[str, list[float]] = {name: [] for name in addresses}
    gc.collect()
    gc.freeze()
    for _ in range(TURNS):
        for name, address in addresses.items():
            times[name].append(clock(lambda address=address: client.get(address)))
    gc.unfreeze()
    return {
        name: Page(ms=median(times[name]), queries=queries[name], bytes=sizes[name])
        for name in addresses
    }
