"""One stretch of the carry with its path, its limits and a time law that keeps them."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from gripmargin.arrays import FloatArray
from gripmargin.case import Case
from gripmargin.job import JointLimits
from gripmargin.kernels.halfplane import chord_rows
from gripmargin.kernels.local_fit import running_max
from gripmargin.kernels.utilisation import peak_utilisation
from gripmargin.loads import part_load
from gripmargin.motion.tool_motion import joint_motion
from gripmargin.tuning.demands import Demands
from gripmargin.tuning.path import Path, load_along
from gripmargin.tuning.profile import Law, Rows, fastest_squares
from gripmargin.tuning.rests import Stretch

GRID = 1000  # intervals of the path
RAYS = 25
ROUNDS = 6  # time laws tried while the averaged one is brought within its limits
ON_TARGET = 1.0005  # what counts as within
ROOM = 0.02  # share of what gravity leaves that is always left to motion
STEP = 1e-3  # [s] between the instants at which a law is judged


@dataclass(eq=False, kw_only=True)
class Track:
    """A stretch that is given a new time law.

    Attributes:
        case: The job.
        demands: What the targets ask.
        stretch: Its samples.
        path: Its path.
        ramp: Over which the path acceleration is spread [s].
        asked: How much more the pads are to be spared than the targets say, along the grid, at least 1.
        slowed: Factor on the speed of the law, at most 1.
        law: The time law; None where none was found.
    """

    case: Case
    demands: Demands
    stretch: Stretch
    path: Path
    ramp: float
    asked: FloatArray = field(default_factory=lambda: np.ones(GRID + 1))
    slowed: float = 1.0
    law: Law | None = None

    def __post_init__(self) -> None:
        self.s = np.linspace(0.0, self.path.length, GRID + 1)
        self.loads = load_along(self.case, self.path, self.s)
        self.standing = peak_utilisation(self.demands.maps, self.loads[0])[0]
        self.spared_pads, self.spared_joints = np.ones(GRID + 1), np.ones(GRID + 1)

    @property
    def limits(self) -> JointLimits:
        """Of the robot; both speed and acceleration are given."""
        assert self.case.job.joint_limits is not None  # noqa: S101 - looked at before
        return self.case.job.joint_limits

    @property
    def duration(self) -> float:
        """[s]."""
        assert self.law is not None  # noqa: S101 - asked for only then
        return self.law.duration / self.slowed

    def at(self, t: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return path parameter, its speed and its acceleration at times from the start, slowed, shape of ``t``."""
        assert self.law is not None  # noqa: S101 - asked for only then
        s, sd, sdd = self.law.at(t * self.slowed)
        return s, sd * self.slowed, sdd * self.slowed**2

    def find(self) -> bool:
        """Find the fastest law whose averaged version keeps the limits; say whether there is one.

        Averaging mixes what neighbouring places allow. Where the averaged law exceeds a limit, that limit is made
        tighter there and the law looked for again.
        """
        best: Law | None = None
        pads, joints = self.spared_pads.copy(), self.spared_joints.copy()
        least = np.inf
        for _ in range(ROUNDS):
            squares = fastest_squares(self.rows())
            if squares is None:
                break
            law = Law(self.s, squares, self.ramp)
            over_pads, over_joints, s = self.judged(law)
            worst = max(float(over_pads.max()), float(over_joints.max()))
            if (worst <= ON_TARGET and (best is None or law.duration < best.duration)) or (best is None and worst < least):
                least = min(least, worst)
                best = law if worst <= ON_TARGET else best
                self.law = law
                pads, joints = self.spared_pads.copy(), self.spared_joints.copy()
            if worst <= ON_TARGET:
                break
            self.spared_pads = self._tightened(self.spared_pads, over_pads, s)
            self.spared_joints = self._tightened(self.spared_joints, over_joints, s)
        self.spared_pads, self.spared_joints = pads, joints
        return self.law is not None

    def rows(self) -> Rows:
        """Return the limits of pads and joints along the grid."""
        _, first, second = self.path.along(self.s)
        speed, acceleration = self.limits.speed, self.limits.acceleration
        assert speed is not None and acceleration is not None  # noqa: S101, PT018 - looked at before
        spared = self.spared_joints[:, None]
        with np.errstate(divide="ignore"):
            top = ((speed / np.abs(first)).min(axis=1) / self.spared_joints) ** 2
            most = ((acceleration + np.abs(second) * top[:, None]) / np.abs(first)).min(axis=1)
        limit = np.maximum(1.0 / (self.asked * self.spared_pads), self.standing + ROOM * (1.0 - self.standing))
        a, b = chord_rows(self.demands.maps, self.loads, limit, (most, top), RAYS)
        a_joints, b_joints = spared * first / acceleration, spared * second / acceleration
        return Rows(
            s=self.s,
            a=np.hstack([a, a_joints, -a_joints]),
            b=np.hstack([b, b_joints, -b_joints]),
            top=top,
        )

    def judged(self, law: Law) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return use of the pads and of the joints over what is allowed, over time, and the path parameter then."""
        t = np.linspace(0.0, law.duration, max(int(np.ceil(law.duration / STEP)), 2) + 1)
        s, sd, sdd = law.at(t)
        q, qd, qdd = self.path.joint_rates(s, sd, sdd)
        assert self.case.job.robot is not None  # noqa: S101 - a joint program has one
        motion = joint_motion(self.case.job.robot, t, q, qd, qdd)
        load = part_load(self.case.job.part, motion, self.case.job.gravity)
        use = peak_utilisation(self.demands.maps, load)[0] * np.interp(s, self.s, self.asked)
        # what gravity takes cannot be spared: only what exceeds it counts
        still = np.interp(s, self.s, self.standing + ROOM * (1.0 - self.standing))
        use = np.where(use <= still, np.minimum(use, 1.0), use)
        return use, self._joint_use(t, qd, qdd), s

    def _joint_use(self, t: FloatArray, qd: FloatArray, qdd: FloatArray) -> FloatArray:
        limits = self.limits
        use = np.maximum((np.abs(qd) / limits.speed).max(axis=1), (np.abs(qdd) / limits.acceleration).max(axis=1))
        if limits.jerk is not None:
            jerk = np.abs(np.gradient(qdd, t, axis=0)) / limits.jerk
            use = np.maximum(use, jerk.max(axis=1))
        return np.asarray(use)

    def _tightened(self, spared: FloatArray, over: FloatArray, s: FloatArray) -> FloatArray:
        """More of what was too little, wherever the averaging reaches."""
        near = running_max(over, int(np.ceil(self.ramp / STEP)))
        need = np.interp(self.s, np.maximum.accumulate(s), near)
        return spared * np.maximum(need, 1.0)
