"""Whether a job can be meant as it stands: what `gripmargin.checks.likely` finds, and places where nothing lies.

Each rule is a function of the case that says in a sentence what looks wrong. Nothing passes on such a job until it is
mended, or the rule's code stands in `job.accept`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Final

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.checks import likely
from gripmargin.checks.case import Case
from gripmargin.checks.likely_figures import face, gyration, outside, size
from gripmargin.results.findings import CheckResult, Verdict

SAFE = 1.0  # figure below which what holds is less than what is asked

Rule = Callable[[Case], str]


def pick_place(case: Case) -> str:
    """The origin of `pick.face` on the part when the pads press on it."""
    if case.pickup is None or case.job.pick is None:
        return ""
    pressed = case.pickup.relative.height(case.whole.centre[None])[:, 0].argmin()
    relative, tolerance = case.pickup.relative, case.job.pick.tolerance
    return _beside(case, "pick", tolerance, relative.rotation[pressed], relative.position[pressed])


def nest_place(case: Case) -> str:
    """The origin of `nest.face` on the part that is down and about to be let go."""
    for putdown in case.putdowns:
        found = _beside(case, "nest", putdown.nest.tolerance, putdown.placed.rotation[0], putdown.placed.position[0])
        if found:
            return found
    return ""


RULES: Final[Mapping[str, Rule]] = {"pick_place": pick_place, "nest_place": nest_place}


def found(case: Case) -> dict[str, str]:
    """Return what looks wrong, a sentence for each code."""
    return {**case.slips, **places(case)}


def places(case: Case) -> dict[str, str]:
    """Return what looks wrong where the part is taken and left, a sentence for each code."""
    said = {code: rule(case) for code, rule in RULES.items()}
    return {code: sentence for code, sentence in said.items() if sentence}


def passes_too_low(result: CheckResult) -> tuple[str, ...]:
    """Return what is wrong with a pass by a figure below 1, in a sentence; or nothing."""
    if (
        result.verdict is not Verdict.PASS
        or result.measure not in ("margin", "ratio")
        or result.low is None
        or result.low >= SAFE
    ):
        return ()
    return (
        f"the {result.measure} may be as low as {result.low:.2f}, and only a target of {result.target:g} lets it pass: "
        'below 1 the part is lost; if it is meant, job.accept = ["target"]',
    )


def unaccepted(case: Case) -> Iterator[tuple[str, str]]:
    """Yield what looks wrong and is not accepted: its code, and a sentence for a person."""
    return likely.unaccepted(case.shared(found), case.job)


def _beside(case: Case, key: str, tolerance: float | None, rotation: FloatArray, position: FloatArray) -> str:
    """Whether the tool comes down at the origin of a face, or where no tolerance is given with it on the part.

    Args:
        case: The job.
        key: Table of the face.
        tolerance: [m], or None.
        rotation: Of the tool in the frame of the face, shape (3, 3).
        position: Of the tool origin in it [m], shape (3,).
    """
    if tolerance is not None:
        x, y = 1e3 * position[:2]
        off = float(np.hypot(x, y))
        if off <= 1e3 * tolerance:
            return ""
        return (
            f"the tool comes down {off:.3g} mm beside the origin of {key}.face (x {x:+.3g}, y {y:+.3g} mm along it), "
            f"and {key}.tolerance is {1e3 * tolerance:.3g} mm: check {key}.face.xyz, robot.base and robot.tool"
        )
    origin = -rotation.T @ position
    if case.job.part.outline is None:  # the part may reach far beyond its pads
        out = float(np.linalg.norm(origin[:2] - case.whole.centre[:2])) - 3.0 * max(size(case), gyration(case))
    else:
        out = outside(origin[:2], face(case))
    if out <= 0.0:
        return ""
    return (
        f"the origin of {key}.face lies {1e3 * out:.0f} mm beside the part where the tool comes down (x "
        f"{1e3 * origin[0]:.0f}, y {1e3 * origin[1]:.0f} mm in the tool frame): check {key}.face.xyz, robot.base and "
        "robot.tool, and the order, the signs and the units of the joints or of x, y and z"
    )
