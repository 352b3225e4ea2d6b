"""The report of one job: verdict, results, findings, what was not checked, per-sample figures; by hold."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import GripmarginError, InputError
from gripmargin.results.findings import CheckResult, Finding, NotChecked, RootCause, Verdict
from gripmargin.results.samples import Samples
from gripmargin.results.scene import Scene
from gripmargin.results.time_laws import TimeLaw

SCHEMA = "gripmargin-report/1"

NOT_CHOSEN = "it was not chosen"  # why a check was not made that the job gives the data for

CAUTIONS = (
    "A part that falls can hurt someone. This is an engineering aid, no safety function, and has no performance "
    "level: risk assessment, guarding and local codes are for competent or licensed people.",
    "Pad data measured on your own part and pads beats any figure assumed here; the targets are yours.",
)


@dataclass(frozen=True, kw_only=True)
class Report:
    """What the checks say of one job.

    Attributes:
        job: Name of the job.
        verdict: The worst of the checks.
        checks: One result a check.
        findings: Stretches that fall short or cannot be decided, in order of time.
        not_checked: Checks that were not made, and why.
        assumed: What was not given and was taken for granted; targets in force.
        notes: What helps to see that the input was understood: frames at the start, sampling, errors of rates.
        references: Published sources of the methods that ran.
        samples: Figures at every sample.
        causes: What lies behind several results, or makes all of them doubtful.
        accepted: Codes of what would look wrong and is taken as meant, as the job has them.
        holds: Of a program of several holds: each with a report of its own; `checks` are then the worst of each check,
            and `findings` those of all holds.
        time_laws: Of a program of way points: what it came to under each time law; the report is that of the worst.
        shares: Least share of its target that the figure of each result may have at every sample, by its name; not
            part of the JSON.
        scene: What drawings need beyond that; not part of the JSON.
        plotter: Makes the figures of `plot`; not part of the JSON.
    """

    job: str
    verdict: Verdict
    checks: tuple[CheckResult, ...]
    findings: tuple[Finding, ...]
    not_checked: tuple[NotChecked, ...]
    assumed: tuple[str, ...]
    notes: tuple[str, ...]
    references: tuple[str, ...]
    samples: Samples
    causes: tuple[RootCause, ...] = ()
    accepted: tuple[str, ...] = ()
    time_laws: tuple[TimeLaw, ...] = ()
    holds: tuple[HoldReport, ...] = ()
    shares: Mapping[str, FloatArray] = field(default_factory=dict, repr=False, compare=False)
    scene: Scene | None = field(default=None, repr=False, compare=False)
    plotter: Callable[[Report], Any] | None = field(default=None, repr=False, compare=False)

    @property
    def passed(self) -> bool:
        """Whether every check made is a pass; undecided is not."""
        return self.verdict is Verdict.PASS

    @property
    def partial(self) -> bool:
        """Whether the verdict is that of some checks only, which were chosen."""
        return any(item.reason == NOT_CHOSEN for item in self.not_checked)

    @property
    def nothing(self) -> str:
        """That nothing was checked, and why; empty where something was."""
        why = "; ".join(f"{item.check}: {item.reason}" for item in self.not_checked if item.reason != NOT_CHOSEN)
        return "" if self.checks else "nothing was checked" + (f": {why}" if why else "")

    @property
    def title(self) -> str:
        """Name of the job, and whether the verdict is that of some checks only."""
        return f"{self.job} (chosen checks only)" if self.partial else self.job

    @property
    def plot(self) -> Any:
        """Figures by matplotlib, as in `report.plot.margin("margin.svg")`; see `gripmargin.reports.plots.Plots`.

        Raises:
            InputError: A report built by hand, without a plotter.
        """
        if self.plotter is None:
            raise InputError(f"report of job '{self.job}'", "no plotter", "a report made by a check")
        return self.plotter(self)

    def of_hold(self, name: str) -> Report:
        """Return the report of a hold by its name; without a name this one."""
        return next((hold.report for hold in self.holds if hold.name == name), self)

    @property
    def explained(self) -> frozenset[str]:
        """Names of the results that follow from a cause."""
        return frozenset(name for cause in self.causes for name in cause.explains)

    def without_samples(self) -> Report:
        """Return the report without figures at every sample and what drawings need: small enough to keep many."""
        empty = {name: values[:0] for name, values in vars(self.samples).items() if name != "stamp"}
        holds = tuple(replace(hold, report=hold.report.without_samples()) for hold in self.holds)
        return replace(self, samples=Samples(**empty), shares={}, scene=None, holds=holds)


@dataclass(frozen=True, kw_only=True)
class HoldReport:
    """What the checks say of one hold of a program: one part on the pads, from its press to the end of its release.

    Attributes:
        name: Its number in the program, from 1, with the name of its part and of its station.
        part: Name of its part, empty where there is but one.
        pick: Name of the place that it is taken from, likewise.
        nest: Name of the place that it is left at, likewise.
        station: Station of the gripper on whose pads it is, empty where there is but one.
        start: When its first phase begins [s].
        end: When its last phase ends [s].
        first: The program's sample that is the first of its report.
        like: The hold that it does not differ from, but in its place and time; None: it was worked out by itself.
        report: The report of this hold, as of a job of one part; of the other one where it is `like` that.
    """

    name: str
    part: str
    pick: str
    nest: str
    start: float
    end: float
    first: int
    like: str | None
    report: Report
    station: str = ""

    @property
    def verdict(self) -> Verdict:
        """Its verdict."""
        return self.report.verdict


@dataclass(frozen=True, kw_only=True)
class Judgement:
    """One job of several: its report, or why there is none.

    Attributes:
        job_file: The job file as it was named.
        report: The report; None where the job could not be checked.
        error: Why not: an `InputError`, or a `FaultError` where the program itself failed; None beside a report.
    """

    job_file: str
    report: Report | None = None
    error: GripmarginError | None = None

    @property
    def passed(self) -> bool:
        """Whether there is a report and every check in it is a pass."""
        return self.report is not None and self.report.passed
