"""How hard the robot brakes along its path, from what the job says of it.

The robot is taken to brake as hard from any speed as from the one that its figures are for: a program that runs slower
then stops sooner. So a time T from full speed gives the program's time a deceleration of 1/(T v), where v is the share
of the full speed at which the program runs.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.case import Case
from gripmargin.kernels.stopping import between_published, mean_rates
from gripmargin.motion.tool_motion import ToolMotion
from gripmargin.workcell import Stop, StopFigure

TURNING = 1e-3  # share by which the fastest point must outrun the tool origin for the two to be told apart


@dataclass(frozen=True, eq=False, kw_only=True)
class PathRates:
    """Decelerations of the program's time over its speed, at every sample.

    Attributes:
        hard: [1/s], shape (n,).
        mild: The least that the data may mean, where they leave it open; else ``hard``.
        notes: What was taken for granted, in sentences.
    """

    hard: FloatArray
    mild: FloatArray
    notes: tuple[str, ...]

    @classmethod
    def of(cls, case: Case, slower: float, softer: float, *, stiffest: float) -> PathRates:
        """Work them out.

        Args:
            case: The job; it says how the robot stops along its path.
            slower: Factor on the speed of the program.
            softer: Factor on all stopping times.
            stiffest: Highest natural frequency of the part on the pads [rad/s]: a stop over within less than its
                inverse is one at once, and rates are cut there.
        """
        stop = case.job.stop
        assert stop is not None  # noqa: S101 - the caller has looked
        if stop.deceleration is not None:
            hard, mild, notes = _from_deceleration(case, stop.deceleration)
        else:
            hard, notes = _from_times(case, stop, slower)
            mild = hard
        most = 2.0 * stiffest
        with np.errstate(invalid="ignore"):
            found = [np.minimum(rate / (slower * softer), most) for rate in (hard, mild)]
        return cls(hard=found[0], mild=found[1], notes=notes)


def fastest_point(case: Case, motion: ToolMotion) -> FloatArray:
    """Return a bound of the speed of any point of pads and part [m/s], shape (n,)."""
    points = [patch.points for patch in case.whole.patches]
    corners = case.job.part.outline
    reach = max(float(np.linalg.norm(x, axis=1).max()) for x in (*points, case.job.part.com[None]))
    if corners is not None:
        deep = max(float(np.linalg.norm(case.job.part.com)), case.job.part.thickness or 0.0)
        reach = max(reach, float(np.hypot(np.linalg.norm(corners, axis=1).max(), deep)))
    return np.linalg.norm(motion.velocity, axis=1) + reach * np.linalg.norm(motion.angular_velocity, axis=1)


def _from_deceleration(case: Case, deceleration: float) -> tuple[FloatArray, FloatArray, tuple[str, ...]]:
    at = case.motion.at
    origin, fastest = np.linalg.norm(at.velocity, axis=1), fastest_point(case, at)
    with np.errstate(divide="ignore"):
        hard, mild = (np.divide(deceleration, v) for v in (origin, fastest))
    notes: tuple[str, ...] = ("Stops: the deceleration along the path is that of the tool origin, from any speed.",)
    if (fastest[case.airborne] > (1.0 + TURNING) * origin[case.airborne]).any():
        notes += (
            "Stops: where the tool turns, the deceleration may be meant for its fastest point; a stop that would be on "
            "target only then is undecided.",
        )
    return hard, mild, notes


def _from_times(case: Case, stop: Stop, slower: float) -> tuple[FloatArray, tuple[str, ...]]:
    """Rates before ``slower`` is divided out: the time deceleration of the unslowed program at full braking."""
    limits = case.job.joint_limits
    full = None if limits is None else limits.speed
    rates = case.motion.joint_rates
    with np.errstate(divide="ignore"):
        if full is None or rates is None:
            shortest = min([figure.time for figure in stop.measured] or [stop.time or np.inf])
            speed = fastest_point(case, case.motion.at)
            share = speed / max(float(speed.max()), 1e-300)
            why = "robot.speed is not given" if full is None else "the program gives no joint speeds"
            notes = [
                f"Stops: full speed is the highest of this program, for {why}; a robot that is faster brakes harder."
            ]
            if stop.measured:
                notes.append(
                    f"Stops: the shortest of the measured times ({shortest:g} s) counts at all speeds and loads."
                )
            return np.divide(1.0 / (shortest - stop.ramp / 2.0), share), tuple(notes)
        share = np.minimum(np.abs(rates[0]) / full, 1.0 / slower)
        if stop.time is not None:
            own = np.full(share.shape, 1.0 / (stop.time - stop.ramp / 2.0))
            notes = ["Stops: from less than full speed (robot.speed) the robot brakes as hard as from full speed."]
        else:
            own, notes = _published(stop, slower * share, full)
        return np.divide(1.0, (share / own).max(axis=1)), tuple(notes)


def _published(stop: Stop, share: FloatArray, full: FloatArray) -> tuple[FloatArray, list[str]]:
    """Deceleration of each axis, in its full speeds per second, by published stops, shape (n, joints)."""
    tables = {axis: _table([f for f in stop.measured if f.axis == axis]) for axis in {f.axis for f in stop.measured}}
    fastest = share.max(axis=1)

    def decelerations(axis: int | None, speed: FloatArray, of: float) -> FloatArray:
        axes, times, distances = tables[axis]
        speed = np.clip(speed, axes[0][0], axes[0][-1])
        loads = axes[1] if stop.load is None else [stop.load]
        found = [
            mean_rates(
                speed,
                between_published(axes, times, speed, float(load)),
                None if distances is None else between_published(axes, distances, speed, float(load)),
                of,
                stop.ramp,
            )
            for load in loads
        ]
        return np.asarray(np.max(found, axis=0))

    out = np.empty(share.shape)
    without = []
    for j in range(share.shape[1]):
        if j + 1 in tables:
            out[:, j] = decelerations(j + 1, share[:, j], float(full[j]))
        elif None in tables:
            out[:, j] = decelerations(None, fastest, 1.0)
        else:
            without.append(j)
    known = [j for j in range(share.shape[1]) if j not in without]
    for j in without:
        out[:, j] = np.max([decelerations(k + 1, fastest, float(full[k])) for k in known], axis=0)
    notes = [
        "Stops: below the lowest measured speed the robot brakes as hard as from there, above the highest it stops as "
        "soon; the mean deceleration by the time counts, or that by the distance where it is larger."
    ]
    if stop.load is None and len({f.load for f in stop.measured}) > 1:
        notes.append("Stops: stop.load is not given; of the measured loads the one that stops soonest counts.")
    lightest = min(f.load for f in stop.measured)
    if stop.load is not None and stop.load < lightest:
        notes.append(
            f"Stops: the robot carries less than the lightest measured load ({lightest:g}); the trend of the two "
            "lightest is followed, and where there is one load alone its stops may be softer than the real ones."
        )
    if without:
        axes = ", ".join(str(j + 1) for j in without)
        notes.append(f"Stops: axes {axes} have no measured stops; they brake as hard as the hardest that has.")
    return out, notes


def _table(figures: list[StopFigure]) -> tuple[tuple[FloatArray, FloatArray], FloatArray, FloatArray | None]:
    speeds, loads = (np.unique([getattr(f, key) for f in figures]) for key in ("speed", "load"))
    at = {(f.speed, f.load): f for f in figures}
    grid = [[at[s, k] for k in loads.tolist()] for s in speeds.tolist()]
    times = np.array([[f.time for f in row] for row in grid])
    if figures[0].distance is None:
        return (speeds, loads), times, None
    return (speeds, loads), times, np.array([[f.distance or 0.0 for f in row] for row in grid])
