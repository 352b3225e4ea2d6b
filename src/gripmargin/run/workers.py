"""Worker processes of this machine, one task at a time each, as an executor of `concurrent.futures`.

The pools of the standard library and of pebble share a pipe or a queue among their processes. Where one is killed
while it returns a result, as for lack of memory, the tasks of the others are lost with it. Here each process has a
thread and pipes of its own, so a death costs the one task that ran there, and is reported as that task's. The
processes start from a bare interpreter: they need no guard in the caller's script, inherit no threads, and have one
thread of linear algebra each.
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
import warnings
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from typing import IO, Any, Final, cast

# Many processes with many threads of linear algebra each wait for one another; what the user sets stays.
ONE_THREAD: Final = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")

_START: Final = (
    "import json, sys; sys.path[:], memory = json.loads(sys.argv[1]); from gripmargin.run.workers import serve; "
    "serve(memory)"
)


class WorkerLostError(Exception):
    """The process that ran a task ended before it had a result; the message says how."""


class OverLimitError(Exception):
    """A task took more time than it may; the message says how much that is."""


@dataclass(frozen=True, kw_only=True)
class Limits:
    """What one task may take.

    Attributes:
        time: [s], or None.
        memory: Address space of its process [bytes], or None; kept only where the system knows such a limit.
    """

    time: float | None = None
    memory: int | None = None


class Workers(ThreadPoolExecutor):
    """So many processes, started when they are first needed and ended when the executor is shut down.

    A task is a function that can be found by its name, and what it takes. Its future raises `WorkerLostError` where
    its process died, and `OverLimitError` where it was ended because it took too long.

    Args:
        size: How many processes at most.
        limits: What each task may take.
    """

    def __init__(self, size: int, limits: Limits = Limits()) -> None:
        super().__init__(size, thread_name_prefix="gripmargin worker", initializer=_leave_interrupts_to_the_leader)
        self._of_thread = threading.local()
        self._running: set[subprocess.Popen[bytes]] = set()
        self._lock = threading.Lock()
        self._stopped = False
        self._limits = limits

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Queue a task."""
        return super().submit(self._hand_over, fn, args, kwargs)

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """End the processes: after the tasks in hand, or at once where the futures are cancelled."""
        if cancel_futures:
            with self._lock:
                self._stopped = True
                for process in self._running:
                    process.kill()
        super().shutdown(wait, cancel_futures=cancel_futures)
        if wait:
            for process in list(self._running):
                self._end(process)

    def _hand_over(self, *task: Any) -> Any:
        """Have a task done by the process of this thread."""
        process = getattr(self._of_thread, "process", None) or self._start()
        self._of_thread.process = process
        tasks, replies = _pipes(process)
        late, time = threading.Event(), self._limits.time

        def end() -> None:
            late.set()
            process.kill()

        timer = None if time is None else threading.Timer(time, end)
        try:
            if timer is not None:
                timer.start()
            tasks.write(pickle.dumps(task))
            tasks.flush()
            ok, value = pickle.load(replies)  # noqa: S301 - written by our own process
        except (EOFError, OSError, pickle.UnpicklingError) as error:
            self._of_thread.process = None
            death = _death(process)
            self._end(process)
            if late.is_set():
                raise OverLimitError(f"more than {time:g} s of work") from error
            raise WorkerLostError(death) from error
        finally:
            if timer is not None:
                timer.cancel()
        if not ok:
            raise value
        return value

    def _start(self) -> subprocess.Popen[bytes]:
        paths = json.dumps([[str(path) for path in sys.path], self._limits.memory])
        flags = [f"-W{option}" for option in sys.warnoptions]
        with self._lock:
            if self._stopped:
                raise WorkerLostError("the workers are shut down")
            try:
                process = subprocess.Popen(  # noqa: S603 - this interpreter, and code of our own
                    [sys.executable, *flags, "-c", _START, paths],
                    stdin=subprocess.PIPE,
                    stdout=subprocess.PIPE,
                    env={**dict.fromkeys(ONE_THREAD, "1"), **os.environ},
                    creationflags=getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0),  # of Windows: no interrupts
                )
            except OSError as error:
                raise WorkerLostError(f"no process could be started ({error.strerror})") from error
            self._running.add(process)
        return process

    def _end(self, process: subprocess.Popen[bytes]) -> None:
        for pipe in _pipes(process):
            with contextlib.suppress(OSError):
                pipe.close()
        process.wait()
        with self._lock:
            self._running.discard(process)


def _leave_interrupts_to_the_leader() -> None:
    """Block interrupts in this thread, and so in the processes that it starts."""
    block = getattr(signal, "pthread_sigmask", None)  # where there is none, processes have a group of their own
    if block is not None:
        block(signal.SIG_BLOCK, {signal.SIGINT})


def _pipes(process: subprocess.Popen[bytes]) -> tuple[IO[bytes], IO[bytes]]:
    return cast(IO[bytes], process.stdin), cast(IO[bytes], process.stdout)


def _death(process: subprocess.Popen[bytes]) -> str:
    """How a process ended that does not answer any more."""
    try:
        status = process.wait(timeout=5.0)
    except subprocess.TimeoutExpired:
        process.kill()
        return "a worker process that does not answer"
    if status >= 0:
        return f"a worker process that ended with status {status}"
    with contextlib.suppress(ValueError):
        return f"a worker process ended by {signal.Signals(-status).name}"
    return f"a worker process ended by signal {-status}"


def quiet() -> None:
    """Keep warnings of libraries from a user, who cannot act on them, unless they are asked for."""
    if not sys.warnoptions:
        warnings.simplefilter("ignore")


def physical_memory() -> int | None:
    """Return the memory of this machine [bytes]; None where the system does not say."""
    ask = getattr(os, "sysconf", None)
    if ask is None or not {"SC_PHYS_PAGES", "SC_PAGE_SIZE"} <= set(getattr(os, "sysconf_names", ())):
        return None
    return int(ask("SC_PHYS_PAGES") * ask("SC_PAGE_SIZE"))


def _take_no_more(memory: int) -> None:
    """Let this process fail to get more memory than that [bytes], where the system knows such a limit."""
    try:
        import resource  # noqa: PLC0415 - not everywhere
    except ImportError:
        return
    with contextlib.suppress(ValueError, OSError):
        resource.setrlimit(resource.RLIMIT_AS, (memory, resource.getrlimit(resource.RLIMIT_AS)[1]))


def serve(memory: int | None = None) -> None:
    """Work off tasks from standard input until it ends; the whole of a worker process.

    Args:
        memory: That it may take [bytes].
    """
    quiet()
    if memory is not None:
        _take_no_more(memory)
    tasks, replies = os.fdopen(os.dup(0), "rb"), os.fdopen(os.dup(1), "wb")
    with open(os.devnull, "rb") as nothing:  # noqa: PTH123 - a descriptor is wanted
        os.dup2(nothing.fileno(), 0)
    os.dup2(2, 1)  # whatever a library prints must not get between the replies
    with contextlib.suppress(EOFError, BrokenPipeError):
        while True:
            fn, args, kwargs = pickle.load(tasks)  # noqa: S301 - written by the process that started us
            replies.write(_reply(fn, args, kwargs))
            replies.flush()


def _reply(fn: Callable[..., Any], args: tuple[Any, ...], kwargs: dict[str, Any]) -> bytes:
    try:
        return pickle.dumps((True, fn(*args, **kwargs)))
    except Exception as error:
        try:
            return pickle.dumps((False, error))
        except Exception:
            return pickle.dumps((False, RuntimeError(f"{type(error).__name__}: {error}")))
