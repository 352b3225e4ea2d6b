"""Results of one hold as results of the program: with the name of the hold, and samples counted from the first."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any, TypeVar

from gripmargin.results.findings import CheckResult, Finding, Place
from gripmargin.results.record import Record
from gripmargin.results.report import HoldReport

OF_RECORDING = ("recorded", "swing_as_run")  # whose samples are those of the hold's piece of the recording
Said = TypeVar("Said", CheckResult, Finding)


def of_hold(said: Said, hold: HoldReport) -> Said:
    """Return a result or a finding of a hold as one of the program."""
    return replace(said if said.check in OF_RECORDING else _later(said, hold.first), hold=hold.name)


def _later(value: Any, first: int) -> Any:
    """The same with samples counted from the program's first one."""
    if isinstance(value, Place):
        return replace(value, sample=value.sample + first)
    if isinstance(value, tuple):
        return tuple(_later(each, first) for each in value)
    if not isinstance(value, Record | CheckResult | Finding):
        return value
    both = {f.name: (getattr(value, f.name), f.init) for f in fields(value)}  # type: ignore[arg-type]
    later = {name: _later(old, first) for name, (old, init) in both.items() if init}
    changed = {name: new for name, new in later.items() if new is not both[name][0]}
    return replace(value, **changed) if changed else value  # type: ignore[type-var]
