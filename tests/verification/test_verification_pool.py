"""Tests of pneumo/pool.py: worker processes, and what happens when one is lost."""

from __future__ import annotations

import multiprocessing
import os
import signal
import time
from pathlib import Path

import pytest
from verification_bench import shipped

import pneumo.pool
from pneumo.pool import run_all, worker_pool
from pneumo.verification.campaign import Campaign, Job, Result
from pneumo.verification.wording import case_words

ONE_VALVE = "02_spring_close_single"

forked = pytest.mark.skipif(not pneumo.pool.FORKS, reason="the campaign is made in the test")


def losses(campaign: Campaign) -> Campaign:
    """With the losses only."""
    campaign.select(faults=False)
    return campaign


def found(campaign: Campaign, workers: int) -> tuple[Result, ...]:
    """All results of the campaign, from worker processes."""
    with worker_pool(campaign, workers) as pool:
        return tuple(result for done in run_all(campaign, pool) for result in done)


def known() -> tuple[Result, ...]:
    """The results of the losses of the small circuit, calculated in this process."""
    campaign = losses(Campaign(shipped(ONE_VALVE)))
    return tuple(result for done in run_all(campaign) for result in done)


class Deadly(Campaign):
    """A campaign in which chosen jobs end the process that runs them, each so many times."""

    def __init__(self, deaths: dict[int, int], folder: Path) -> None:
        super().__init__(shipped(ONE_VALVE))
        self.deaths, self.folder = deaths, folder
        losses(self)

    def run(self, job: Job) -> tuple[Result, ...]:
        number = self.jobs().index(job)
        notes = self.folder / f"{number}"
        tried = len(notes.read_text()) if notes.exists() else 0
        if tried < self.deaths.get(number, 0):
            notes.write_text("x" * (tried + 1))
            os.kill(os.getpid(), signal.SIGKILL)
        return super().run(job)


def test_workers_find_the_same() -> None:
    assert found(losses(Campaign(shipped(ONE_VALVE))), 2) == known()


def test_workers_that_are_not_forked_find_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pneumo.pool, "FORKS", False)
    assert found(losses(Campaign(shipped(ONE_VALVE))), 1) == known()


@forked
@pytest.mark.parametrize("workers", [1, 2])
def test_a_lost_worker_is_replaced_and_its_cases_are_run_again(
    workers: int, tmp_path: Path
) -> None:
    campaign = Deadly({0: 1, 3: 1, 5: 1, 6: 1}, tmp_path)
    assert found(campaign, workers) == known()
    assert sorted(note.name for note in tmp_path.iterdir()) == ["0", "3", "5", "6"]


class Waits:
    """Four jobs, of which the first one ends after the last."""

    def __init__(self, folder: Path) -> None:
        self.note = folder / "the last is done"

    def jobs(self) -> tuple[int, ...]:
        return (0, 1, 2, 3)

    def run(self, job: int) -> int:
        if job == 3:
            self.note.touch()
        while job == 0 and not self.note.exists():
            time.sleep(0.01)
        return job

    def given_up(self, job: int, why: str) -> int:
        raise AssertionError(why)


def test_what_is_done_does_not_wait_for_what_was_begun_before_it(tmp_path: Path) -> None:
    with worker_pool(Waits(tmp_path), 2) as pool:
        found = list(pool.as_done())
    assert sorted(found) == [(0, 0), (1, 1), (2, 2), (3, 3)]
    assert found[0][0] != 0


@forked
def test_a_case_that_ends_its_worker_twice_is_not_calculated(tmp_path: Path) -> None:
    campaign = Deadly({2: 9}, tmp_path)
    results = found(campaign, 2)
    (missing,) = [result for result in results if result.case.trouble]
    assert (tmp_path / "2").read_text() == "xx"
    case = missing.case
    assert case.trouble == "its process ended twice without a result (by SIGKILL)"
    assert (case.worst, case.injected_during) == ("not calculated", campaign.jobs()[2].condition)
    names = {case_words(r.case) for r in results} - {case_words(case)}
    assert [result for result in results if result is not missing] == [
        result for result in known() if case_words(result.case) in names
    ]


@forked
def test_when_every_worker_is_lost_there_is_an_end(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(pneumo.pool, "MOST_LOST", 5)
    campaign = Deadly(dict.fromkeys(range(1000), 9), tmp_path)
    results = found(campaign, 2)
    assert len(results) == len(campaign.jobs())
    assert {result.case.worst for result in results} == {"not calculated"}
    assert results[-1].case.trouble == "5 processes in a row ended without a result"


def test_without_any_process_nothing_is_calculated(monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(self: object) -> None:
        raise BlockingIOError(11, "Resource temporarily unavailable")

    monkeypatch.setattr(multiprocessing.process.BaseProcess, "start", refused)
    results = found(losses(Campaign(shipped(ONE_VALVE))), 2)
    why = "no process could be started (Resource temporarily unavailable)"
    assert {result.case.trouble for result in results} == {why}


def test_an_interruption_ends_the_workers_and_drops_the_rest() -> None:
    before = multiprocessing.active_children()
    campaign = Campaign(shipped("12_vent_check"))
    start = time.perf_counter()
    with pytest.raises(KeyboardInterrupt), worker_pool(campaign, 2) as pool:
        next(run_all(campaign, pool))
        started = time.perf_counter() - start
        raise KeyboardInterrupt
    took = time.perf_counter() - start - started
    assert multiprocessing.active_children() == before
    assert took < 5.0, "the jobs that were not begun have been run"
