"""A bar on a terminal for what takes longer than a second; nothing anywhere else."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from types import TracebackType
from typing import Any, Self

PATIENCE = 1.0  # s, before a bar is worth its place


class Progress:
    """Counts steps on standard error, if that is a terminal and there are several of them.

    Args:
        total: How many steps there will be.
        unit: What one step is.
    """

    def __init__(self, total: int, unit: str) -> None:
        self._bar: Any = None
        self._begun = 0
        if total > 1 and sys.stderr.isatty() and os.environ.get("TERM") != "dumb":
            from tqdm import tqdm  # noqa: PLC0415 - only on a terminal

            tqdm.monitor_interval = 0  # no thread for one bar
            self._bar = tqdm(
                total=total,
                unit=unit,
                file=sys.stderr,
                delay=PATIENCE,
                leave=False,
                dynamic_ncols=True,
                bar_format="{n_fmt} of {total_fmt} {unit} [{bar:30}] {elapsed}, {remaining} left",
            )

    def step(self) -> None:
        """One more is done."""
        if self._bar is not None:
            self._bar.update(1)

    def say(self, what: str) -> None:
        """A step begins; those before it are done."""
        if self._bar is not None:
            self._bar.bar_format = f"{{bar:30}} {{elapsed}}  {what}"
            self._bar.n = min(self._begun, self._bar.total)
            self._begun += 1
            self._bar.refresh()

    @contextmanager
    def aside(self) -> Iterator[None]:
        """While something else is printed, the bar makes room."""
        if self._bar is None:
            yield
            return
        self._bar.clear()
        yield
        self._bar.refresh()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._bar is not None:
            self._bar.close()
