"""The geometric path of a stretch of a joint program, and the load along it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import BSpline

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.checks.rests import Stretch
from gripmargin.contact.loads import part_load
from gripmargin.kernels.sample_noise import channel_noise
from gripmargin.motion.tool_motion import joint_motion
from gripmargin.tuning.fit import NOISES, fitted
from gripmargin.tuning.joint_program import JointProgram

CLOSE = 5e-6  # [rad or m] distance from exact samples that counts as the same path
FEWEST = 16  # samples of a stretch that can be retimed
ASTRAY = 2e-3  # [rad or m] distance from the given path beyond which it is another one


@dataclass(frozen=True, eq=False, kw_only=True)
class Path:
    """Joint positions over a path parameter that grows by about one where a joint at its speed limit takes a second.

    Attributes:
        spline: Parameter to joint positions.
        length: Largest parameter.
        at_samples: Parameter of each sample of the stretch, shape (n,).
        deviation: Largest distance from a sample [rad or m].
    """

    spline: BSpline
    length: float
    at_samples: FloatArray
    deviation: float

    @classmethod
    def of(cls, program: JointProgram, stretch: Stretch) -> Path:
        """Find the path of a stretch.

        Raises:
            InputError: Too few samples, or a path that no smooth curve follows.
        """
        trajectory = program.laws.trajectory
        inside = slice(stretch.first, stretch.last + 1)
        t, q = trajectory.t[inside], trajectory.q[inside]
        if t.size < FEWEST:
            raise InputError(trajectory.source, f"{t.size} samples in a move", f"at least {FEWEST}, to retime it")
        speed = np.linalg.norm(program.qd[inside] / program.laws.speed, axis=1)
        along = np.concatenate([[0.0], np.cumsum(np.diff(t) * (speed[:-1] + speed[1:]) / 2)])
        along = along / along[-1]
        kept = np.concatenate([[True], np.diff(np.maximum.accumulate(along)) > 1e-9])
        kept[-1] = True
        noise = float(channel_noise(t, np.ascontiguousarray(q.T)).max())
        found = fitted(_rising(along[kept]), q[kept], CLOSE + NOISES * noise)
        if found.deviation > ASTRAY:
            raise InputError(
                f"{trajectory.source} from {t[0]:.3f} to {t[-1]:.3f} s",
                f"a path that a smooth curve misses by {found.deviation:.2g} rad or m",
                f"one that it follows within {ASTRAY:g}, to retime it",
            )
        return cls(spline=found.spline, length=1.0, at_samples=along, deviation=found.deviation)

    def along(self, s: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return joint positions and their first two derivatives by the parameter, each of shape (n, joints)."""
        inside = np.clip(s, 0.0, self.length)
        return self.spline(inside), self.spline(inside, 1), self.spline(inside, 2)

    def joint_rates(self, s: FloatArray, sd: FloatArray, sdd: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return joint positions, speeds and accelerations at path parameters with their rates, each (n, joints)."""
        q, first, second = self.along(s)
        return q, first * sd[:, None], first * sdd[:, None] + second * sd[:, None] ** 2

    def joint_jerk(self, s: FloatArray, sd: FloatArray, sdd: FloatArray, sddd: FloatArray) -> FloatArray:
        """Return the jerk of the joints at path parameters with their rates, shape (n, joints)."""
        _, first, second = self.along(s)
        third = self.spline(np.clip(s, 0.0, self.length), 3)
        return first * sddd[:, None] + 3.0 * second * (sd * sdd)[:, None] + third * sd[:, None] ** 3


def load_along(program: JointProgram, path: Path, s: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the load as C + A sdd + B sd^2 at path parameters.

    Three evaluations of the load give its parts: at rest, with a path acceleration of 1, with a path speed of 1.

    Returns:
        C, A and B, each of shape (6, n).
    """
    q, first, second = path.along(s)
    zero = np.zeros_like(q)
    job, robot = program.case.job, program.laws.robot

    def load(qd: FloatArray, qdd: FloatArray) -> FloatArray:
        return part_load(job.part, joint_motion(robot, s, q, qd, qdd), job.gravity, job.air_density)

    still = load(zero, zero)
    return still, load(zero, first) - still, load(first, second) - still


def _rising(values: FloatArray) -> FloatArray:
    """The same with steps of at least a hair."""
    out = values.copy()
    out[1:] = np.maximum(out[1:], out[:-1] + 1e-12)
    return out
