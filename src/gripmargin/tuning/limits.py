"""Which accelerations any path may have with a part on its pads: in closed form, from part, pads and targets alone."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from gripmargin.base.arrays import FloatArray, frozen
from gripmargin.base.errors import InputError
from gripmargin.base.given import as_path, of_class
from gripmargin.checks import premises
from gripmargin.checks.case import Case, work_out
from gripmargin.checks.resting import meant, raised
from gripmargin.checks.swing.ringing import mode_sets
from gripmargin.checks.swing.use import swing_target
from gripmargin.contact.grip import grip_of
from gripmargin.motion.still import hanging_still
from gripmargin.results.findings import Verdict
from gripmargin.results.limits import DIRECTIONS, HALF_TURN, Limits
from gripmargin.run.cleaned import alone
from gripmargin.tuning.allowed import Allowed, Condition, Motion
from gripmargin.tuning.choosing import by_limits
from gripmargin.tuning.demands import Demands
from gripmargin.tuning.sizes import Sizes, inputs
from gripmargin.tuning.swayed import Swayed
from gripmargin.workcell.holds import single
from gripmargin.workcell.job import Job

TILTS: Final = tuple(np.deg2rad([0.0, 15.0, 30.0, 60.0, 180.0]))  # [rad]
RAMPS: Final = (0.05, 0.1, 0.2)  # [s]
RADII: Final = (0.1, 0.3, 1.0)  # [m]
FASTEST: Final = 2.0  # [m/s]: few arms carry parts faster (no source); counts for the drag of the air alone
TYPICAL: Final = 2.0  # [m/s^2] of the loads for which places of an uneven bond are chosen; any choice is safe
LEAST_DAMPING: Final = 0.005  # from which a bound is worth its while: it grows with 1 / damping, and so does the work


def limits(
    job: Job,
    *,
    tilts: ArrayLike = TILTS,
    ramps: ArrayLike = RAMPS,
    radii: ArrayLike = RADII,
    speed: float = FASTEST,
    grasp: bool = False,
) -> Limits:
    """Find the largest accelerations and speeds that any path may have.

    A program within them passes `hold` and `swing`, from where the part hangs still on its pads.

    Args:
        job: With part, pads and targets. Of a program only the press counts: the bond that it leaves; without one
            (`gripmargin.hanging_still`) the pads hold fully.
        tilts: How far the tool's z axis leans from gravity [rad], 0 to pi, shape (k,).
        ramps: Times in which accelerations go from none to their largest [s], shape (r,); 0 and inf are added.
        radii: Of circles [m], shape (m,).
        speed: Largest speed of the part, for the drag of the air [m/s]; counts with `part.drag_area`.
        grasp: Whether to compare pads as well: of all materials at hand, one, two and four of them, in three sizes.

    Raises:
        InputError: Something does not fit together, or a figure is out of bounds.

    Example:
        >>> import gripmargin as gm
        >>> film = gm.PadMaterial(
        ...     pull_off_stress=5e4, shear_strength=5e4, normal_stiffness=1e8, shear_stiffness=3.3e7, damping_ratio=0.08
        ... )
        >>> found = gm.limits(
        ...     gm.Job(
        ...         name="plate",
        ...         trajectory=gm.hanging_still(),
        ...         gripper=gm.Gripper(pads=(gm.Pad.rectangle("pad", film, [0.05, 0.05]),)),
        ...         part=gm.Part(
        ...             mass=1.5, com=[0, 0, 0.002], inertia=[1e-3, 1e-3, 2e-3, 0, 0, 0], face="plane", rigid=True
        ...         ),
        ...     ),
        ...     tilts=[0.0],
        ...     ramps=[0.1],
        ... )
        >>> [round(float(a), 1) for a in found.linear["any"][0]]
        [1.7, 17.4, 28.1]
    """
    job, _ = alone(single(of_class(job, Job, "job", "a job file is read by limits_file(path)")))
    if job.process:
        remedy = "leave [[process]] out: the limits are then those of moves without such forces"
        raise InputError("process", "forces of the process, which act in one place of one program", "none", remedy)
    asked = _Asked(
        tilts=_within(tilts, "tilts", 0.0, np.pi),
        ramps=np.array([0.0, *_within(ramps, "ramps", 1e-4, 100.0), np.inf]),
        radii=_within(radii, "radii", 1e-4, 100.0),
    )
    most = float(_within([speed], "speed", 0.0, 100.0)[0])
    case, blocked = _hanging(job)
    grip = None if blocked else _Grip(case, _break_away(job), most, asked.ramps)
    found = asked.found(case, grip, blocked if grip is None else grip.doubts)
    return replace(found, choices=by_limits(job, partial(asked.of_pads, speed=most))) if grasp else found


def limits_file(
    path: str | Path,
    *,
    tilts: ArrayLike = TILTS,
    ramps: ArrayLike = RAMPS,
    radii: ArrayLike = RADII,
    speed: float = FASTEST,
    grasp: bool = False,
) -> Limits:
    """Read a job file, which may be without a program, and find its limits; see `limits`.

    Raises:
        InputError: The file, or one it names, is malformed or cannot be read.
    """
    from gripmargin.files.job_file import read_job  # noqa: PLC0415 - a pipeline without files needs no reader

    job = read_job(as_path(path), program=False)
    return limits(job, tilts=tilts, ramps=ramps, radii=radii, speed=speed, grasp=grasp)


def _within(values: ArrayLike, where: str, least: float, most: float) -> FloatArray:
    found = frozen(values, (None,), where)
    if found.size == 0 or (found < least).any() or (found > most).any():
        raise InputError(where, f"{np.asarray(values).tolist()}", f"at least one, each from {least:g} to {most:g}")
    return np.unique(found)


def _hanging(job: Job) -> tuple[Case, tuple[str, ...]]:
    """The part hanging still on its pads as the press left them, and why nothing can be said of it."""
    still = Job(
        name=job.name,
        gripper=job.gripper,
        part=job.part,
        trajectory=hanging_still(job.gravity),
        targets=job.targets,
        gravity=job.gravity,
        air_density=job.air_density,
        accept=job.accept,
        assumed=job.assumed,
        uncleaned=job.uncleaned,
    )
    pressed, case = work_out(job), work_out(still)
    if pressed.pickup is not None:
        rates = np.zeros((6, 14))
        rates[:, 1:] = TYPICAL * np.hstack([np.eye(6), -np.eye(6), np.zeros((6, 1))])
        load = case.own_load[:, :1] + inputs(job)[:, :6] @ rates
        case = replace(case, pickup=pressed.pickup, grip=grip_of(pressed.grip.bonded, load))
    standing = [case.shared(premise) for premise in (meant, *premises.ALL)]
    doubts = [doubt for each in standing for doubt in each.doubts]
    return case, tuple(dict.fromkeys([*filter(None, [pressed.not_followed]), *doubts]))


def _break_away(job: Job) -> FloatArray:
    """What the tray holds the part by when it leaves it, shape (6,)."""
    held = np.array([0.0, 0.0, 0.0 if job.pick is None else job.pick.break_away])
    return np.concatenate([held, np.cross(job.part.com, held)])


def _undamped(pad: str) -> str:
    return (
        f"the material of pad '{pad}' has no damping_ratio, or one below {LEAST_DAMPING:g}: a swing hardly fades, and "
        "enough moves in its time make it as large as may be, so only limits of one move, of a stop, and without any "
        "swing are known; measure it, or give the least that it may be"
    )


class _Grip:
    """What pads and part allow."""

    def __init__(self, case: Case, held: FloatArray, speed: float, ramps: FloatArray) -> None:
        job, self.case = case.job, case
        loads, sets = inputs(job), case.shared(mode_sets)
        self.modes, self._gravity = sets[-1], float(np.linalg.norm(job.gravity))
        self._drag = 0.5 * job.air_density * (job.part.drag_area or 0.0) * speed**2
        self._still = Allowed(Sizes(Demands.of(case).face, loads))
        self._found: dict[tuple[Motion, float], float] = {}
        undamped = [p.pad.name for p in case.whole.patches if (p.pad.material.damping_ratio or 0.0) < LEAST_DAMPING]
        self.doubts, self._fades = tuple(map(_undamped, undamped[:1])), not undamped
        face = case.grip.face.asked(raised(case, premises.SWINGING) * swing_target(job))
        finite = ramps[(ramps > 0.0) & np.isfinite(ramps)].tolist()
        self._swinging = Allowed(
            Sizes(face, loads, sets, held, finite, fades=self._fades),
            Swayed(self.modes, job.part, case.whole.centre, loads, fades=self._fades),
        )

    def largest(self, motion: Motion, tilt: float, ramp: float) -> float:
        """The largest x of a motion; NaN where it is not known."""
        condition = self._condition(tilt, ramp)
        alone = replace(motion, program="any")
        if (alone, tilt) not in self._found:
            self._found[alone, tilt] = self._still.largest(alone, replace(condition, ramp=np.inf))
        still = self._found[alone, tilt]
        if np.isinf(ramp) or still == 0.0:
            return still
        if motion.program == "any" and not self._fades:
            return np.nan
        found = min(still, self._swinging.largest(motion, condition))
        return max(found, self.largest(alone, tilt, ramp)) if self._fades and motion != alone else found

    def stop(self, tilt: float) -> float:
        """The largest deceleration of a stop in a straight line."""
        left = swing_target(self.case.job) / self.case.job.targets.stop
        return self._swinging.largest(Motion(acceleration=1.0, program="stop"), self._condition(tilt, 0.0), left)

    def _condition(self, tilt: float, ramp: float) -> Condition:
        return Condition(tilt=tilt, ramp=ramp, gravity=self._gravity, drag=self._drag)


@dataclass(frozen=True, eq=False, kw_only=True)
class _Asked:
    """What is to be found."""

    tilts: FloatArray
    ramps: FloatArray
    radii: FloatArray

    def of_pads(self, job: Job, *, speed: float) -> tuple[float, str, float, Verdict]:
        """Acceleration in any direction at the least tilt by the middle ramp, and what `choosing.by_limits` asks."""
        ramp = float(self.ramps[(self.ramps.size - 1) // 2])
        case, blocked = _hanging(job)
        if blocked:
            return np.nan, "not known", 0.0, Verdict.UNDECIDED
        grip = _Grip(case, _break_away(job), speed, np.array([ramp]))
        still, most = (grip.largest(Motion(acceleration=1.0), float(self.tilts[0]), at) for at in (np.inf, ramp))
        ratio = Demands.of(case).standing_ratio()[0]
        if still == 0.0:
            return 0.0, "gravity", ratio, Verdict.FAIL
        if np.isnan(most):
            return np.nan, "damping", ratio, Verdict.UNDECIDED
        return most, "hold" if most >= still else "swing", ratio, Verdict.PASS

    def found(self, case: Case, grip: _Grip | None, blocked: Sequence[str]) -> Limits:
        job, unknown = case.job, np.full((self.tilts.size, self.ramps.size), np.nan)

        def each(motion: Callable[[int, int], Motion]) -> FloatArray:
            out = unknown.copy()
            if grip is not None:
                for i, j in np.ndindex(out.shape):
                    out[i, j] = grip.largest(motion(i, j), float(self.tilts[i]), float(self.ramps[j]))
            return out

        def steady(motion: Motion) -> FloatArray:
            return each(lambda i, j: motion)

        linear = {along: steady(Motion(along=along, acceleration=1.0)) for along in DIRECTIONS}
        turning = {
            about: steady(Motion(about=about, angular_velocity=1.0, angular_acceleration=1.0 / HALF_TURN))
            for about in ("turn", "spin")
        }
        quick = turning["turn"]
        verdict = Verdict.UNDECIDED if blocked else Verdict.PASS if linear["any"][0].all() else Verdict.FAIL
        return Limits(
            job=job.name,
            verdict=verdict,
            tilts=self.tilts,
            ramps=self.ramps,
            linear=linear,
            turning={"any": quick, "spin": turning["spin"]},
            together=each(lambda i, j: _also_turning(float(quick[i, j]))),
            radii=self.radii,
            circling=np.stack([steady(_circling(float(radius))) for radius in self.radii]),
            one_move=steady(Motion(acceleration=1.0, program="one move")),
            stop=np.array([np.nan if grip is None else grip.stop(float(tilt)) for tilt in self.tilts]),
            targets={"hold": job.targets.hold, "swing": swing_target(job), "stop": job.targets.stop},
            frequencies=np.zeros(0) if grip is None else grip.modes.hertz,
            blocked=tuple(blocked),
            notes=tuple(_notes(case)),
        )


def _also_turning(speed: float) -> Motion:
    """A tool that turns at half of what it may, and moves."""
    half = 0.5 * speed**2 if np.isfinite(speed) else 0.0
    return Motion(acceleration=1.0, turning=(half**0.5, half / HALF_TURN))


def _circling(radius: float) -> Motion:
    """A tool on a circle that turns with it, as much acceleration along the path as across it."""
    across = 1.0 / radius
    return Motion(radius=radius, angular_velocity=across, angular_acceleration=across**2)


def _notes(case: Case) -> Iterator[str]:
    job = case.job
    yield from job.assumed
    if case.pickup is None:
        yield "Full bond: every pad was pressed on wholly and long enough before the carry."
    else:
        yield "The pads hold as the program's press leaves them."
    yield "The part hangs still on its pads when it sets off: leaving a tray, and letting go, are for the check."
