"""The report of one job: verdict, results, findings, what was not checked, per-sample figures."""

from __future__ import annotations

from dataclasses import dataclass

from gripmargin.arrays import FloatArray
from gripmargin.findings import CheckResult, Finding, NotChecked, Verdict

SCHEMA = "gripmargin-report/1"

CAUTIONS = (
    "A part that falls can hurt someone. This is an engineering aid, no safety function, and has no performance "
    "level: risk assessment, guarding and local codes are for competent or licensed people.",
    "Pad data measured on your own part and pads beats any figure assumed here; the targets are yours.",
)


@dataclass(frozen=True, kw_only=True)
class Samples:
    """Figures at every sample, SI, radians.

    Attributes:
        t: Times [s], shape (n,).
        phase: preload, carry, release or free for each sample.
        move: Label of each sample; empty where the trajectory has none.
        position: Tool origin in the world [m], shape (n, 3).
        acceleration: Of the tool origin, without gravity, tool axes [m/s^2], shape (n, 3).
        angular_velocity: Tool axes [rad/s], shape (n, 3).
        angular_acceleration: Tool axes [rad/s^2], shape (n, 3).
        force: Of the part on the gripper, tool axes [N], shape (n, 3); z > 0 pulls the part off.
        moment: About the tool origin [N m], shape (n, 3).
        hold_margin: Grip margin [-], NaN outside carry phases, inf where nothing pulls, shape (n,).
        hold_margin_low: Least value it may have with the errors of the rates, likewise.
        peel_index: Largest tension over pull-off stress [-], NaN outside carry phases, shape (n,).
        peel_azimuth: Where that is, about the tool's z axis [rad], NaN without tension, shape (n,).
        swing_margin: Grip margin with the part swinging on its pads [-], NaN outside carry phases, shape (n,).
        swing_margin_low: Least value it may have, likewise.
    """

    t: FloatArray
    phase: tuple[str, ...]
    move: tuple[str, ...]
    position: FloatArray
    acceleration: FloatArray
    angular_velocity: FloatArray
    angular_acceleration: FloatArray
    force: FloatArray
    moment: FloatArray
    hold_margin: FloatArray
    hold_margin_low: FloatArray
    peel_index: FloatArray
    peel_azimuth: FloatArray
    swing_margin: FloatArray
    swing_margin_low: FloatArray


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

    @property
    def passed(self) -> bool:
        """Whether every check made is a pass; undecided is not."""
        return self.verdict is Verdict.PASS
