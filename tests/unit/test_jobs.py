"""Jobs in other processes."""

import pytest

from crowlight.bench.assess import Assessment
from crowlight.errors import Cancelled, CrowlightError, InputError, Problem, TableError
from crowlight.reed import Blade, Place, Reading
from crowlight.wiring.jobs import DirectJobs, ProcessJobs

INPUTS = {"name": "x", "readings": (Reading(Place(Blade.MARKED, 0.068, 0.0), 0.1e-3),)}


@pytest.fixture(scope="module")
def jobs():
    running = ProcessJobs(workers=2)
    yield running
    running.close()


def test_result_is_that_of_running_it_here(jobs: ProcessJobs) -> None:
    there = jobs.submit("assess", INPUTS, sticky="a").result(60)
    here = DirectJobs().submit("assess", INPUTS).result()
    assert isinstance(there, Assessment)
    # NaN, the value of what was not measured, is not equal to itself: compare what is printed
    assert repr(there) == repr(here)


def test_errors_come_back_as_themselves(jobs: ProcessJobs) -> None:
    job = jobs.submit("assess", {"name": "x", "readings": ()}, sticky="a")
    with pytest.raises(InputError, match="no thickness readings"):
        job.result(60)
    with pytest.raises(InputError, match="no task is called 'paint'"):
        jobs.submit("paint", {}).result(60)
    with pytest.raises(CrowlightError, match="assess failed: KeyError"):
        jobs.submit("assess", {}).result(60)


def test_a_worker_that_dies_is_replaced() -> None:
    running = ProcessJobs(workers=1)
    try:
        running.submit("assess", INPUTS).result(60)
        process = running._workers[0]._process
        assert process is not None
        process.kill()
        process.join()
        assert running.submit("assess", INPUTS).result(60)
    finally:
        running.close()


def test_a_cancelled_job_never_begins_and_the_next_one_does() -> None:
    running = ProcessJobs(workers=1)
    try:
        first = running.submit("assess", INPUTS)  # keeps the worker busy starting up
        second = running.submit("assess", INPUTS)
        third = running.submit("assess", INPUTS)
        second.cancel()
        with pytest.raises(Cancelled, match="stopped"):
            second.result(60)
        assert first.result(60)
        assert third.result(60)
        assert third.progress() == 1.0
    finally:
        running.close()


def test_closing_refuses_new_jobs() -> None:
    running = ProcessJobs(workers=1)
    running.close()
    with pytest.raises(Cancelled, match="closing"):
        running.submit("assess", INPUTS).result(1)


def test_table_errors_keep_their_problems_on_the_way() -> None:
    import pickle

    error = TableError([Problem(3, "bad"), Problem(4, "worse")])
    again = pickle.loads(pickle.dumps(error))  # noqa: S301  (our own bytes, as the workers send)
    assert again.problems == error.problems
    assert str(again) == str(error)
