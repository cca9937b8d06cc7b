"""The messages that wake a worker; each carries the id of a job and nothing else."""

from __future__ import annotations

from celery import shared_task

from imaging_requests.intake import jobs, store
from imaging_requests.intake.actions.fixity import check_portion
from imaging_requests.intake.actions.receiving import tidy_quarantine
from imaging_requests.intake.limits import background

DAY_S = 24 * 3600


def _run(job_id: int, queue: str) -> str:
    outcome = jobs.run(job_id)
    jobs.run_due([queue], seconds=background().drain_s)
    return str(outcome)


@shared_task(name="intake.receive_job")
def receive_job(job_id: int) -> str:
    """Do a job of the queue `ingest`, then what else is due there for a few seconds."""
    return _run(job_id, "ingest")


@shared_task(name="intake.run_job")
def run_job(job_id: int) -> str:
    """Do a job of the queue `pixels`, then what else is due there for a few seconds."""
    return _run(job_id, "pixels")


@shared_task(name="intake.sweep_jobs")
def sweep_jobs() -> dict[str, int]:
    """Send due jobs and expired claims again, and finish what a crash left in quarantine."""
    return jobs.sweep() | {"tidied": tidy_quarantine()}


@shared_task(name="intake.prove_copies")
def prove_copies() -> dict[str, int]:
    """Read the next portion of stored copies again; a bad one is restored from the good one."""
    store.sweep_scratch(older_than_s=DAY_S)
    return dict(check_portion())
