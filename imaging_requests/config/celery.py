"""The one Celery application: transport by size, queues, routes, and every periodic sweep."""

import os
from pathlib import Path

from celery import Celery
from django.conf import settings

from imaging_requests.config import broker
from imaging_requests.intake.limits import PROOF_SWEEP_MINUTES

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "imaging_requests.config.settings")

QUEUES = ("ingest", "pixels", "plans", "mail")

#: Every task of the program and the queue that carries it; a test holds this table complete.
ROUTES = {
    "intake.run_job": {"queue": "pixels"},
    "intake.receive_job": {"queue": "ingest"},
    "intake.sweep_jobs": {"queue": "ingest"},
    "deliverables.sweep_registrations": {"queue": "plans"},
    "progress.settle": {"queue": "plans"},
    "intake.prove_copies": {"queue": "ingest"},
    "progress.sweep": {"queue": "plans"},
    "progress.prove": {"queue": "plans"},
}

MINUTE_S, DAY_S = 60.0, 86_400.0

#: All periodic work. Each is harmless when it runs twice or late. The last run is remembered, so
#: that a machine that was off does at once what it has missed.
SWEEPS = {
    "send due jobs and expired claims again": {"task": "intake.sweep_jobs", "schedule": 5.0},
    "settle stale marks that no page asked for": {"task": "progress.sweep", "schedule": 30.0},
    "read a portion of the stored copies again": {
        "task": "intake.prove_copies",
        "schedule": PROOF_SWEEP_MINUTES * MINUTE_S,
    },
    "lay pictures on their faces that were not yet": {
        "task": "deliverables.sweep_registrations",
        "schedule": MINUTE_S,
    },
    "compare every status with the rules": {"task": "progress.prove", "schedule": DAY_S},
}


def _transport() -> dict[str, object]:
    """Redis when the environment names one, else a folder beside the desk database."""
    if settings.REDIS_URL:
        return {
            "broker_url": settings.REDIS_URL,
            "broker_transport_options": {
                "visibility_timeout": 3600,
                "unacked_restore_interval": 2,
                "unacked_restore_throttle": 1,
            },
        }
    return {
        "broker_url": f"{broker.SCHEME}://localhost/",
        "broker_transport_options": broker.options(Path(settings.CELERY_BROKER_FOLDER)),
    }


def make_app() -> Celery:
    """Build the application; the database is the truth, so results are never kept."""
    app = Celery("imaging_requests")
    app.conf.update(
        **_transport(),
        broker_connection_retry_on_startup=True,
        task_ignore_result=True,
        task_default_queue="ingest",
        task_routes=ROUTES,
        task_serializer="json",
        accept_content=["json"],
        task_acks_late=True,
        task_reject_on_worker_lost=True,
        worker_prefetch_multiplier=1,
        worker_hijack_root_logger=False,
        worker_redirect_stdouts=False,
        worker_enable_remote_control=False,
        beat_schedule=SWEEPS,
        beat_schedule_filename=str(settings.DATA_DIR / "sweeps"),
        timezone="UTC",
    )
    app.autodiscover_tasks()
    return app


app = make_app()
