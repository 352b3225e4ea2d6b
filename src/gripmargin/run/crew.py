"""Worker processes of this machine, one task at a time each, as an executor of `concurrent.futures`.

`concurrent.futures.ProcessPoolExecutor` breaks as a whole when one of its processes dies: the tasks of the others are
lost with it, and nobody knows which of them was to blame. Here each process has a line of its own, so a death costs
the one task that ran there, and is reported as that task's. The processes start from a bare interpreter: they need no
guard in the caller's script, inherit no threads, and have one thread of linear algebra each.
"""

from __future__ import annotations

import contextlib
import json
import os
import pickle
import signal
import subprocess
import sys
import threading
from collections.abc import Callable
from concurrent.futures import Executor, Future
from queue import SimpleQueue
from typing import Any

# Many processes with many threads of linear algebra each wait for one another; what the user sets stays.
ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")

_START = "import json, sys; sys.path[:] = json.loads(sys.argv[1]); from gripmargin.run.crew import serve; serve()"

_Task = tuple[Future[Any], Callable[..., Any], tuple[Any, ...]]


class WorkerLostError(Exception):
    """The process that ran a task ended before it had a result; the message says how."""


class Crew(Executor):
    """So many processes, started when they are first needed and ended when the crew is shut down.

    Args:
        size: How many processes at most.
    """

    def __init__(self, size: int) -> None:
        self._size = size
        self._tasks: SimpleQueue[_Task | None] = SimpleQueue()
        self._lines: list[threading.Thread] = []
        self._workers: set[subprocess.Popen[bytes]] = set()
        self._lock = threading.Lock()
        self._closed = False

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Queue a task: a function that can be found by its name, and what it takes; no keywords.

        The future raises `WorkerLostError` where its process died.
        """
        if kwargs:
            raise TypeError("a crew takes no keyword arguments")
        if self._closed:
            raise RuntimeError("the crew is shut down")
        future: Future[Any] = Future()
        self._tasks.put((future, fn, args))
        if len(self._lines) < self._size:
            line = threading.Thread(target=self._run, name="gripmargin crew", daemon=True)
            self._lines.append(line)
            line.start()
        return future

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """End the processes: after the tasks in hand, or at once where the futures are cancelled."""
        with self._lock:
            self._closed = True
            if cancel_futures:
                while not self._tasks.empty():
                    task = self._tasks.get()
                    if task is not None:
                        task[0].cancel()
                for worker in self._workers:
                    worker.kill()
        for _ in self._lines:
            self._tasks.put(None)
        if wait:
            for line in self._lines:
                line.join()

    def _run(self) -> None:
        """One line: a process, and the tasks that it works off."""
        # Processes inherit what their starter blocks: an interrupt is the affair of the process that leads.
        signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
        worker: subprocess.Popen[bytes] | None = None
        while (task := self._tasks.get()) is not None:
            future, fn, args = task
            if not future.set_running_or_notify_cancel():
                continue
            try:
                if worker is None:
                    worker = self._start()
                future.set_result(_ask(worker, fn, args))
            except WorkerLostError as lost:
                self._end(worker)
                worker = None
                future.set_exception(lost)
            except BaseException as error:
                future.set_exception(error)
        self._end(worker)

    def _start(self) -> subprocess.Popen[bytes]:
        paths = json.dumps([str(path) for path in sys.path])
        flags = [f"-W{option}" for option in sys.warnoptions]
        with self._lock:
            if self._closed:
                raise WorkerLostError("the crew is shut down")
            try:
                worker = subprocess.Popen(  # noqa: S603 - this interpreter, and code of our own
                    [sys.executable, *flags, "-c", _START, paths],
                    stdin=subprocess.PIPE,
                    stdout=subprocess.PIPE,
                    env={**dict.fromkeys(ONE_THREAD, "1"), **os.environ},
                )
            except OSError as error:
                raise WorkerLostError(f"no process could be started ({error.strerror})") from error
            self._workers.add(worker)
        return worker

    def _end(self, worker: subprocess.Popen[bytes] | None) -> None:
        if worker is None:
            return
        for stream in (worker.stdin, worker.stdout):
            if stream is not None:
                with contextlib.suppress(OSError):
                    stream.close()
        worker.wait()
        with self._lock:
            self._workers.discard(worker)


def _ask(worker: subprocess.Popen[bytes], fn: Callable[..., Any], args: tuple[Any, ...]) -> Any:
    """Hand a task to a process and wait for what it comes to."""
    assert worker.stdin is not None and worker.stdout is not None  # noqa: S101, PT018 - pipes of our own
    try:
        worker.stdin.write(pickle.dumps((fn, args)))
        worker.stdin.flush()
        ok, value = pickle.load(worker.stdout)  # noqa: S301 - written by our own process
    except (EOFError, OSError, pickle.UnpicklingError) as error:
        raise WorkerLostError(_death(worker)) from error
    if not ok:
        raise value
    return value


def _death(worker: subprocess.Popen[bytes]) -> str:
    """How a process ended that does not answer any more."""
    try:
        status = worker.wait(timeout=5.0)
    except subprocess.TimeoutExpired:
        worker.kill()
        return "a worker process that does not answer"
    if status >= 0:
        return f"a worker process that ended with status {status}"
    with contextlib.suppress(ValueError):
        return f"a worker process ended by {signal.Signals(-status).name}"
    return f"a worker process ended by signal {-status}"


def serve() -> None:
    """Work off tasks from standard input until it ends; the whole of a worker process."""
    tasks, replies = os.fdopen(os.dup(0), "rb"), os.fdopen(os.dup(1), "wb")
    with open(os.devnull, "rb") as nothing:  # noqa: PTH123 - a descriptor is wanted
        os.dup2(nothing.fileno(), 0)
    os.dup2(2, 1)  # whatever a library prints must not get between the replies
    with contextlib.suppress(EOFError, BrokenPipeError):
        while True:
            fn, args = pickle.load(tasks)  # noqa: S301 - written by the process that started us
            replies.write(_reply(fn, args))
            replies.flush()


def _reply(fn: Callable[..., Any], args: tuple[Any, ...]) -> bytes:
    try:
        return pickle.dumps((True, fn(*args)))
    except Exception as error:
        try:
            return pickle.dumps((False, error))
        except Exception:
            return pickle.dumps((False, RuntimeError(f"{type(error).__name__}: {error}")))
