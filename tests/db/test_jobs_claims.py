"""A job is done once, by whoever holds its claim, however often it is woken."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import transaction
from django.utils import timezone

from imaging_requests.intake import jobs
from imaging_requests.intake.jobs import CannotDoError, Outcome, TryLaterError, Work
from imaging_requests.intake.limits import background
from imaging_requests.intake.models import Job, JobState
from imaging_requests.people import wake

pytestmark = pytest.mark.django_db


class Scribe:
    """Does the work "scribe": notes each subject, or does what a test tells it to do."""

    def __init__(self) -> None:
        self.done: list[int] = []
        self.failed: list[tuple[int, str]] = []
        self.instead: Callable[[Work], None] | None = None

    def __call__(self, work: Work) -> None:
        if self.instead is not None:
            self.instead(work)
            return
        with work.publish():
            self.done.append(work.subject_id)
            work.result = {"noted": work.subject_id}


@pytest.fixture
def scribe(monkeypatch: pytest.MonkeyPatch) -> Scribe:
    made = Scribe()
    kind = jobs.Kind(
        "scribe", made, "ingest", 60, when_failed=lambda pk, why: made.failed.append((pk, why))
    )
    monkeypatch.setitem(jobs.KINDS, "scribe", kind)
    return made


@pytest.fixture
def messages(monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, tuple[int, ...]]]:
    sent: list[tuple[str, tuple[int, ...]]] = []
    monkeypatch.setattr(wake, "_send", lambda task, ids: sent.append((task, ids)))
    return sent


def ask(subject: int = 1, **more: Any) -> Job:
    with transaction.atomic():
        return jobs.enqueue("scribe", subject, **more)


def later(seconds: float) -> datetime:
    return timezone.now() + timedelta(seconds=seconds)


def state(job: Job) -> str:
    job.refresh_from_db()
    return job.state


def test_asking_twice_under_one_key_is_asking_once(scribe: Scribe) -> None:
    first, second = ask(), ask()
    assert first.pk == second.pk
    assert jobs.run_due() == 1
    assert ask().state == JobState.DONE
    assert scribe.done == [1]


def test_asking_again_repeats_what_was_done(scribe: Scribe) -> None:
    job = ask()
    jobs.run_due()
    assert ask(again=True).state == JobState.DUE
    jobs.run_due()
    assert scribe.done == [1, 1]
    assert state(job) == JobState.DONE


def test_asking_again_while_it_is_done_does_it_once_more_afterwards(scribe: Scribe) -> None:
    job = ask()

    def asked_meanwhile(work: Work) -> None:
        scribe.instead = None
        ask(again=True)
        with work.publish():
            scribe.done.append(work.subject_id)

    scribe.instead = asked_meanwhile
    assert jobs.run(job.pk) is Outcome.DONE
    assert state(job) == JobState.DUE
    jobs.run_due()
    assert state(job) == JobState.DONE
    assert scribe.done == [1, 1]


@pytest.mark.parametrize(("pauses_s", "waits_s"), [((40,), 40), ((40, 90), 40), ((40, 0), 0)])
def test_what_is_asked_again_with_a_pause_while_it_is_done_gathers_news(
    scribe: Scribe, pauses_s: tuple[int, ...], waits_s: int
) -> None:
    job = ask()

    def asked_meanwhile(work: Work) -> None:
        scribe.instead = None
        for pause_s in pauses_s:
            ask(again=True, pause_s=pause_s)
        with work.publish():
            scribe.done.append(work.subject_id)

    scribe.instead = asked_meanwhile
    assert jobs.run(job.pk) is Outcome.DONE
    assert state(job) == JobState.DUE
    jobs.run_due(now=later(waits_s - 5))
    assert scribe.done == [1]
    jobs.run_due(now=later(waits_s + 5))
    assert scribe.done == [1, 1]


def test_what_can_wait_is_done_when_nothing_else_is_due(
    scribe: Scribe, monkeypatch: pytest.MonkeyPatch
) -> None:
    patient = jobs.Kind("measure later", scribe, "ingest", 60, can_wait=True)
    monkeypatch.setitem(jobs.KINDS, "measure later", patient)
    with transaction.atomic():
        jobs.enqueue("measure later", 7)
    ask(1)
    ask(2)
    assert jobs.run_due(now=later(1)) == 3
    assert scribe.done == [1, 2, 7]


@pytest.mark.django_db(transaction=True)
def test_work_is_asked_for_inside_a_transaction(scribe: Scribe) -> None:
    with pytest.raises(RuntimeError, match="in the transaction of the change"):
        jobs.enqueue("scribe", 1)


def test_a_worker_is_woken_once_the_change_is_committed(
    scribe: Scribe, messages: list[Any], django_capture_on_commit_callbacks: Any
) -> None:
    with django_capture_on_commit_callbacks() as callbacks:
        job = ask()
        assert messages == []
    assert [callback() for callback in callbacks] == [None]
    assert messages == [("intake.receive_job", (job.pk,))]


def test_a_deaf_broker_loses_nothing(
    scribe: Scribe, monkeypatch: pytest.MonkeyPatch, django_capture_on_commit_callbacks: Any
) -> None:
    class Deaf:
        def send_task(self, *args: Any, **options: Any) -> None:
            raise ConnectionError("nobody listens")

    monkeypatch.setattr(wake, "current_app", Deaf())
    with django_capture_on_commit_callbacks(execute=True):
        job = ask()
    assert state(job) == JobState.DUE
    assert jobs.run_due() == 1


def test_a_message_that_comes_twice_does_nothing_the_second_time(scribe: Scribe) -> None:
    job = ask()
    assert [jobs.run(job.pk), jobs.run(job.pk)] == [Outcome.DONE, Outcome.NOT_MINE]
    assert scribe.done == [1]


def test_a_message_for_a_job_that_is_gone_does_nothing(scribe: Scribe) -> None:
    assert jobs.run(987_654) is Outcome.NOT_MINE


def test_a_job_in_other_hands_is_left_alone_until_its_lease_ends(scribe: Scribe) -> None:
    job = ask()
    work = jobs._claim(job.pk, timezone.now(), None)
    assert work is not None
    assert jobs.run(job.pk) is Outcome.NOT_MINE
    assert jobs.run(job.pk, now=later(3600)) is Outcome.DONE
    assert scribe.done == [1]
    with pytest.raises(jobs.ClaimLostError), work.publish():
        pytest.fail("a lost claim must not open a transaction for its result")


def test_a_result_is_stored_only_if_the_claim_still_stands(scribe: Scribe) -> None:
    job = ask()

    def slow(work: Work) -> None:
        scribe.instead = None
        assert jobs.run(job.pk, now=later(3600)) is Outcome.DONE
        with work.publish():
            scribe.done.append(-1)

    scribe.instead = slow
    assert jobs.run(job.pk) is Outcome.LOST
    assert scribe.done == [1]


def test_result_and_end_of_the_job_are_one_transaction(scribe: Scribe) -> None:
    job = ask()

    def breaks(work: Work) -> None:
        with work.publish():
            Job.objects.create(kind="left", key="left behind", subject_id=1, queue="ingest")
            raise ZeroDivisionError

    scribe.instead = breaks
    assert jobs.run(job.pk) is Outcome.LATER
    assert not Job.objects.filter(kind="left").exists()


def test_trouble_that_may_pass_is_tried_again_with_growing_pauses(scribe: Scribe) -> None:
    job = ask()

    def busy(work: Work) -> None:
        raise TryLaterError("The disk of the store is full.")

    scribe.instead = busy
    pauses = []
    for _ in background().retry_pauses_s:
        before = timezone.now()
        assert jobs.run(job.pk, now=later(86_400)) is Outcome.LATER
        job.refresh_from_db()
        pauses.append(round((job.due_at - before).total_seconds()))
    assert pauses == list(background().retry_pauses_s) == sorted(pauses)
    assert jobs.run(job.pk, now=later(86_400)) is Outcome.FAILED
    job.refresh_from_db()
    assert (job.state, job.last_error) == (JobState.FAILED, "The disk of the store is full.")
    assert scribe.failed == [(1, "The disk of the store is full.")]


def test_what_cannot_be_done_is_given_up_at_once_with_its_reason(scribe: Scribe) -> None:
    job = ask()

    def impossible(work: Work) -> None:
        raise CannotDoError("The object was withdrawn.")

    scribe.instead = impossible
    assert jobs.run(job.pk) is Outcome.FAILED
    job.refresh_from_db()
    assert (job.state, job.last_error) == (JobState.FAILED, "The object was withdrawn.")


def test_a_bug_is_logged_in_full_and_told_in_a_plain_sentence(
    scribe: Scribe, caplog: pytest.LogCaptureFixture
) -> None:
    job = ask()

    def bug(work: Work) -> None:
        raise KeyError("secret detail")

    scribe.instead = bug
    assert jobs.run(job.pk) is Outcome.LATER
    job.refresh_from_db()
    assert "secret detail" not in job.last_error
    assert f"under job {job.pk}" in job.last_error
    assert "KeyError" in caplog.text


def test_a_person_can_have_given_up_work_tried_again(scribe: Scribe) -> None:
    job = ask()
    scribe.instead = lambda work: (_ for _ in ()).throw(CannotDoError("Not today."))
    jobs.run(job.pk)
    scribe.instead = None
    jobs.ask_again(job)
    job.refresh_from_db()
    assert (job.state, job.tries, job.last_error) == (JobState.DUE, 0, "")
    assert jobs.run_due() == 1


def test_the_sweep_frees_the_job_of_a_dead_worker(scribe: Scribe, messages: list[Any]) -> None:
    job = ask()
    jobs._claim(job.pk, timezone.now(), None)
    assert jobs.sweep()["freed"] == 0
    assert jobs.sweep(now=later(3600))["freed"] == 1
    assert state(job) == JobState.DUE
    assert jobs.run_due(now=later(3600)) == 1
    assert scribe.done == [1]


def test_a_job_that_kills_its_worker_again_and_again_is_given_up(scribe: Scribe) -> None:
    job = ask()
    for tries in range(background().tries):
        assert jobs._claim(job.pk, later(tries * 7200), None) is not None
        swept = jobs.sweep(now=later(tries * 7200 + 3600))
    assert swept["failed"] == 1
    job.refresh_from_db()
    assert job.state == JobState.FAILED
    assert f"The worker ended {background().tries} times" in job.last_error
    assert scribe.failed[0][0] == 1


def test_the_sweep_wakes_workers_for_the_oldest_due_work_and_not_all_at_once(
    scribe: Scribe, messages: list[Any], django_capture_on_commit_callbacks: Any
) -> None:
    made = [ask(subject) for subject in range(50)]
    Job.objects.update(woken_at=None)
    with django_capture_on_commit_callbacks(execute=True):
        assert jobs.sweep()["woken"] == background().wake_batch
    oldest = [job.pk for job in made[: background().wake_batch]]
    assert [ids[0] for _, ids in messages] == oldest
    with django_capture_on_commit_callbacks(execute=True):
        assert jobs.sweep()["woken"] == 0, "a message on its way is not sent again at once"


def test_work_that_is_due_later_waits_for_its_time(scribe: Scribe) -> None:
    ask(pause_s=60)
    assert jobs.run_due() == 0
    assert jobs.run_due(now=later(61)) == 1


def test_wishes_without_pause_bring_waiting_work_forward(scribe: Scribe) -> None:
    ask(pause_s=60)
    ask(again=True)
    assert jobs.run_due() == 1


def test_work_that_this_program_does_not_know_is_left_for_one_that_does(scribe: Scribe) -> None:
    job = Job.objects.create(kind="future", key="future:1", subject_id=1, queue="pixels")
    assert jobs.run(job.pk) is Outcome.NOT_MINE
    assert jobs.run_due() == 0
    assert jobs.sweep()["woken"] == 0
    assert state(job) == JobState.DUE


def test_only_the_asked_queues_are_worked_on(scribe: Scribe) -> None:
    ask()
    assert jobs.run_due(["pixels"]) == 0
    assert jobs.run_due(["ingest"]) == 1


def test_two_handlers_for_one_kind_and_unknown_queues_are_refused(scribe: Scribe) -> None:
    with pytest.raises(ValueError, match="Two handlers"):
        jobs.register("scribe", lambda work: None, "ingest", 1)
    with pytest.raises(ValueError, match="No worker listens to print"):
        jobs.register("other", scribe, "print", 1)


@pytest.mark.django_db(transaction=True)
def test_the_heartbeat_keeps_a_long_job(
    scribe: Scribe, monkeypatch: pytest.MonkeyPatch, settings: Any
) -> None:
    settings.JOB_LEASE_SECONDS = 0.3
    beats: list[datetime] = []
    job = ask()

    def long(work: Work) -> None:
        import time

        end = time.monotonic() + 5
        while len(beats) < 3 and time.monotonic() < end:
            found = Job.objects.get(pk=job.pk).claimed_until
            if found is not None and (not beats or found > beats[-1]):
                beats.append(found)
            time.sleep(0.02)

    scribe.instead = long
    assert jobs.run(job.pk) is Outcome.DONE
    assert len(beats) == 3
