"""Worker processes of this machine: each death costs one task, whenever it comes."""

import os
import sys
import time

import pytest

from gripmargin.run.workers import Limits, OverLimitError, WorkerLostError, Workers

PATIENCE = 60.0  # s


DEADLY = """
import os, signal

class Result:
    "Its process is killed while it is pickled, as for lack of memory."
    def __init__(self, number): pass
    def __reduce__(self): os.kill(os.getpid(), signal.SIGKILL)
"""


def test_workers_say_how_a_process_died():
    with Workers(2) as workers:
        alive = workers.submit(pow, 2, 3)
        dead = workers.submit(os._exit, 7)
        killed = workers.submit(os.abort)
        assert alive.result(PATIENCE) == 8
        with pytest.raises(WorkerLostError, match="ended with status 7"):
            dead.result(PATIENCE)
        with pytest.raises(WorkerLostError, match="SIGABRT"):
            killed.result(PATIENCE)
        with pytest.raises(ZeroDivisionError):
            workers.submit(divmod, 1, 0).result(PATIENCE)
        # one thread of linear algebra each, unless the user says otherwise
        assert workers.submit(os.getenv, "OPENBLAS_NUM_THREADS").result(PATIENCE) == os.environ.get(
            "OPENBLAS_NUM_THREADS", "1"
        )
    with pytest.raises(RuntimeError):
        workers.submit(pow, 2, 3)


def test_workers_that_are_told_to_stop_stop_at_once():
    workers = Workers(1)
    first, second = workers.submit(time.sleep, 60), workers.submit(time.sleep, 60)
    while not first.running():
        time.sleep(0.01)
    start = time.monotonic()
    workers.shutdown(cancel_futures=True)
    assert time.monotonic() - start < 5
    assert second.cancelled()
    with pytest.raises(WorkerLostError):
        first.result(PATIENCE)


def test_a_death_while_a_result_is_returned_costs_that_task_alone(tmp_path, monkeypatch):
    (tmp_path / "deadly.py").write_text(DEADLY)
    monkeypatch.syspath_prepend(tmp_path)
    import deadly

    with Workers(2) as workers:
        tasks = [workers.submit(deadly.Result if i == 1 else abs, i) for i in range(6)]
        with pytest.raises(WorkerLostError, match="SIGKILL"):
            tasks.pop(1).result(PATIENCE)
        assert [task.result(PATIENCE) for task in tasks] == [0, 2, 3, 4, 5]


def test_a_task_that_takes_too_long_is_ended_and_the_next_goes_on():
    with Workers(1, Limits(time=0.5)) as workers:
        late, early = workers.submit(time.sleep, 60), workers.submit(pow, 2, 3)
        with pytest.raises(OverLimitError, match=r"more than 0.5 s of work"):
            late.result(PATIENCE)
        assert early.result(PATIENCE) == 8


@pytest.mark.skipif(sys.platform == "win32", reason="the system knows no such limit")
def test_a_task_that_wants_too_much_memory_fails_and_the_process_goes_on():
    with Workers(1, Limits(memory=500_000_000)) as workers:
        large, small = workers.submit(bytearray, 600_000_000), workers.submit(bytearray, 10)
        with pytest.raises(MemoryError):
            large.result(PATIENCE)
        assert len(small.result(PATIENCE)) == 10
