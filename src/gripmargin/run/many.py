"""Many jobs, judged side by side: every job has its place in the outcome, in the order given."""

from __future__ import annotations

import os
import sys
import traceback
import uuid
from collections import Counter
from collections.abc import Callable, Generator, Sequence
from concurrent.futures import BrokenExecutor, CancelledError, Executor, Future
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from queue import SimpleQueue
from typing import NamedTuple

from gripmargin.base.errors import FaultError, GripmarginError, InputError
from gripmargin.base.given import as_paths, texts
from gripmargin.base.version import __version__
from gripmargin.results.report import Judgement
from gripmargin.run.workers import Limits, OverLimitError, Workers

STARTS = 3  # of one job whose process died, until its death is taken for the job's own doing
REPORT_IT = "report it with the job; GRIPMARGIN_TRACEBACK=1 shows where it arose"


def check_files(
    paths: Sequence[str | Path],
    *,
    executor: Executor | None = None,
    workers: int | None = None,
    samples: bool = True,
    limit: float | None = None,
    memory: int | None = None,
    checks: Sequence[str] | None = None,
) -> tuple[Judgement, ...]:
    """Check many job files, in parallel; one that cannot be checked does not stop the others.

    What comes out does not depend on the number of workers. A job whose worker process dies is started again, up to
    three times in all; jobs that have a result are not.

    Args:
        paths: Job files. For an executor of your own they are handed on as absolute paths, which errors then name:
            its machines must see the same files under the same names.
        executor: Where to work: anything with the interface of `concurrent.futures.Executor`, a cluster's too. It is
            used and not shut down. If it breaks, the jobs that are left are judged by processes of this machine.
        workers: Without an executor: how many processes of this machine; by default one a core. With one, or for
            one job, all is done in this process.
        samples: Whether the reports keep the figures at every sample; without them they are small.
        limit: Time that a job may take [s]; one that takes more could not be checked. With a limit every job has a
            process of this machine, even the only one. None: no limit.
        memory: Address space that its process may take [bytes], where the system knows such a limit; None: no limit.
        checks: Which checks to make, by their names; None: all that a job gives the data for.

    Returns:
        One judgement a path, in the order given.

    Raises:
        InputError: `workers` is not a number from 1 up, or no check has such a name.
    """
    limits = None if limit is None and memory is None else Limits(time=limit, memory=memory)
    return tuple(judgements(paths, executor=executor, workers=workers, samples=samples, limits=limits, checks=checks))


def judgements(
    paths: Sequence[str | Path],
    *,
    executor: Executor | None = None,
    workers: int | None = None,
    samples: bool = True,
    limits: Limits | None = None,
    checks: Sequence[str] | None = None,
    ended: Callable[[Judgement], None] = lambda _: None,
) -> Generator[Judgement]:
    """Like `check_files`, but yield each judgement, in the order given, as soon as it is its turn.

    Args:
        paths: As there.
        executor: As there.
        workers: As there.
        samples: As there.
        limits: What each job may take; None: any amount.
        checks: As there.
        ended: Called with each judgement when it is made, in any order.
    """
    names, asked = as_paths(paths), Asked(samples, None if checks is None else texts(checks, "checks"))
    size = min(checked_workers(workers), len(names))
    if executor is None and ((size <= 1 and limits is None) or not sys.executable):
        return _one_by_one(names, asked, ended)
    return _side_by_side(names, executor, max(size, 1), asked, limits or Limits(), ended)


def checked_workers(workers: int | None) -> int:
    """Return how many processes to use: those asked for, or one a core that this process may use.

    Raises:
        InputError: Not a whole number from 1 up.
    """
    if workers is None:
        allowed = getattr(os, "sched_getaffinity", None)
        return len(allowed(0)) if allowed is not None else os.cpu_count() or 1
    if isinstance(workers, bool) or not isinstance(workers, int) or workers < 1:
        raise InputError("workers", f"{workers!r}", "a whole number from 1 up")
    return workers


class Asked(NamedTuple):
    """What is asked of every job.

    Attributes:
        samples: Whether the report keeps the figures at every sample.
        checks: Which checks to make; None: all that the job gives the data for.
    """

    samples: bool = True
    checks: tuple[str, ...] | None = None


ALL = Asked()


def judge_file(path: str, asked: Asked = ALL, word: str = "", version: str = __version__) -> Judgement:
    """Check one job file; whatever goes wrong is in what it returns.

    Args:
        path: The job file.
        asked: What is asked of it.
        word: A word for this one asking. Some executors give the result of an earlier call with the same
            arguments again, even if the file has changed since; a word that no other call has keeps them from it.
        version: That of the process that asks: another one here might answer otherwise.
    """
    if version != __version__:
        found = f"gripmargin {__version__} where the job was to be judged"
        return Judgement(
            job_file=path, error=FaultError(path, found, f"gripmargin {version}", "install the same version everywhere")
        )
    from gripmargin.run import one as checker  # noqa: PLC0415 - the process that leads need not load it

    try:
        report = checker.check_file(path, checks=asked.checks)
    except GripmarginError as error:
        return Judgement(job_file=path, error=error)
    except MemoryError:
        return Judgement(job_file=path, error=_fault(path, "out of memory", "split the program into shorter ones"))
    except Exception as error:
        fault = _fault(path, f"{type(error).__name__}: {error}", REPORT_IT)
        fault.trace = traceback.format_exc()
        return Judgement(job_file=path, error=fault)
    return Judgement(job_file=path, report=report if asked.samples else report.without_samples())


def _fault(path: str, found: str, remedy: str) -> FaultError:
    return FaultError(path, found, "a verdict", remedy)


def _one_by_one(names: Sequence[str], asked: Asked, ended: Callable[[Judgement], None]) -> Generator[Judgement]:
    for name in names:
        judgement = judge_file(name, asked)
        ended(judgement)
        yield judgement


def _side_by_side(
    names: Sequence[str],
    executor: Executor | None,
    size: int,
    asked: Asked,
    limits: Limits,
    ended: Callable[[Judgement], None],
) -> Generator[Judgement]:
    with ExitStack() as at_end:
        spread = _Spread(names, executor, size, asked, limits, at_end)
        for i in range(len(names)):
            spread.start(i)
        ready: dict[int, Judgement] = {}
        for due in range(len(names)):
            while due not in ready:
                i, future = spread.done.get()
                judgement = spread.outcome(i, future)
                del future  # a scheduler would work out again what is still wanted when the worker that has it dies
                if judgement is None:
                    spread.start(i)
                else:
                    ready[i] = judgement
                    ended(judgement)
            yield ready.pop(due)


class _Spread:
    """Jobs on their way through an executor."""

    def __init__(
        self,
        names: Sequence[str],
        executor: Executor | None,
        size: int,
        asked: Asked,
        limits: Limits,
        at_end: ExitStack,
    ) -> None:
        self.done: SimpleQueue[tuple[int, Future[Judgement]]] = SimpleQueue()
        self._names = names  # as they were given, and as an executor elsewhere has to know them
        self._paths = list(names) if executor is None else [str(Path(name).absolute()) for name in names]
        self._given = executor
        self._workers: Executor | None = None
        self._size = size
        self._of_each = asked
        self._limits = limits
        self._at_end = at_end
        self._starts: Counter[int] = Counter()
        self._suspects: set[int] = set()  # jobs whose workers died, under a scheduler that cannot tell why
        self._open: set[Future[Judgement]] = set()
        self._asked = uuid.uuid4().hex
        at_end.callback(self._cancel)

    def start(self, i: int) -> None:
        """Submit a job, to processes of this machine where there is no executor (any more)."""
        self._starts[i] += 1
        given = None if i in self._suspects else self._given
        try:
            future = self._submit(i, self._own_workers() if given is None else given)
        except RuntimeError:  # shut down or broken since
            if given is None:
                raise
            self._given = None
            future = self._submit(i, self._own_workers())
        self._open.add(future)
        future.add_done_callback(lambda made: self.done.put((i, made)))

    def _submit(self, i: int, executor: Executor) -> Future[Judgement]:
        word = f"{self._asked} {i} {self._starts[i]}"
        return executor.submit(judge_file, self._paths[i], self._of_each, word, __version__)

    def outcome(self, i: int, future: Future[Judgement]) -> Judgement | None:
        """What a job came to; None where it has to be started again."""
        self._open.discard(future)
        try:
            return replace(future.result(), job_file=self._names[i])
        except OverLimitError as error:
            remedy = "allow more, or split the program"
            late = GripmarginError(self._names[i], str(error), f"at most {self._limits.time:g} s a job", remedy)
            return Judgement(job_file=self._names[i], error=late)
        except CancelledError:
            found = "work that was cancelled"
        except BrokenExecutor as error:
            if i not in self._suspects:
                self._given = None
            found = f"a worker process that died ({error})"
        except Exception as error:
            found = str(error) or type(error).__name__
            # A scheduler that has tried again by itself, and says that the task ends its workers; or that it waited
            # at workers that another one ended. Once more in a process of its own tells which.
            if type(error).__name__ == "KilledWorker" and i not in self._suspects:
                self._suspects.add(i)
                self._starts[i] = STARTS - 1
        if self._starts[i] < STARTS:
            return None
        remedy = f"tried {STARTS} times; look for what ends its process (a lack of memory?), or {REPORT_IT}"
        return Judgement(job_file=self._names[i], error=_fault(self._names[i], found, remedy))

    def _own_workers(self) -> Executor:
        if self._workers is None:
            self._workers = Workers(self._size, self._limits)
            self._at_end.callback(self._workers.shutdown, cancel_futures=True)
        return self._workers

    def _cancel(self) -> None:
        for future in self._open:
            future.cancel()
