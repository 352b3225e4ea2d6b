"""Worker processes of this machine: each death costs one task, whenever it comes."""

import os
import time

import pytest

from gripmargin.run.workers import WorkerLostError, Workers

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
