"""One stretch of the carry with its path, its limits and a time law that keeps them."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.rests import Stretch
from gripmargin.contact.loads import part_load, standing_load
from gripmargin.kernels.halfplane import chord_rows
from gripmargin.kernels.local_fit import running_max
from gripmargin.kernels.utilisation import largest_scale, peak_utilisation
from gripmargin.motion.tool_motion import joint_motion
from gripmargin.tuning.demands import Demands
from gripmargin.tuning.joint_program import JointProgram
from gripmargin.tuning.path import Path, load_along
from gripmargin.tuning.profile import Law, Rows, fastest_squares

GRID = 1000  # intervals of the path
RAYS = 25
ROUNDS = 6  # time laws tried while the averaged one is brought to its limits
SETTLED = 2e-3  # share by which another round has to change the time
RELAXED = 0.5  # power of what is left unused by which a limit is loosened
LEAST_SPARED = 0.5
BETWEEN = 0.9995  # what the limits are kept by, for what lies between the instants
ROOM = 0.02  # share of what gravity leaves that is always left to motion
STEP = 1e-3  # [s] between the instants at which a law is judged


@dataclass(eq=False, kw_only=True)
class Track:
    """A stretch that is given a new time law.

    Attributes:
        program: The joint program.
        demands: What the targets ask.
        stretch: Its samples.
        path: Its path.
        ramp: Over which the path acceleration is spread [s].
        asked: How much more the pads are to be spared than the targets say, along the grid, at least 1.
        pace: Factor on the speed of the law with which it just keeps its limits.
        slowed: A further factor, at most 1.
        law: The time law; None where none was found.
        eased_for: The check for which it was eased beyond what pads and joints ask; empty: none.
    """

    program: JointProgram
    demands: Demands
    stretch: Stretch
    path: Path
    ramp: float
    asked: FloatArray = field(default_factory=lambda: np.ones(GRID + 1))
    pace: float = 1.0
    slowed: float = 1.0
    law: Law | None = None
    eased_for: str = ""

    def __post_init__(self) -> None:
        self.s = np.linspace(0.0, self.path.length, GRID + 1)
        self.loads = load_along(self.program, self.path, self.s)
        self.standing = peak_utilisation(self.demands.face, self.loads[0])[0]
        self.spared_pads: FloatArray = np.ones(GRID + 1)
        self.spared_joints: FloatArray = np.ones(GRID + 1)

    @property
    def _found(self) -> Law:
        if self.law is None:
            raise LookupError("no time law was found for this stretch")
        return self.law

    @property
    def duration(self) -> float:
        """[s]."""
        return self._found.duration / (self.pace * self.slowed)

    def at(self, t: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return path parameter, its speed and its acceleration at times from the start, each of shape of ``t``."""
        pace = self.pace * self.slowed
        s, sd, sdd = self._found.at(t * pace)
        return s, sd * pace, sdd * pace**2

    def find(self) -> bool:
        """Find the fastest law whose averaged version keeps the limits; say whether there is one.

        Averaging mixes what neighbouring places allow. Where the averaged law uses more or less than a limit, that
        limit is made tighter or looser there and the law looked for again. Each attempt is then brought to its
        limits as a whole, in closed form, and the shortest one is kept.
        """
        shortest, before = np.inf, np.inf
        self.spared_pads, self.spared_joints = np.ones(GRID + 1), np.ones(GRID + 1)
        for _ in range(ROUNDS):
            squares = fastest_squares(self.rows())
            if squares is None:
                break
            law = Law(self.s, squares, self.ramp)
            pads, joints, s, pace = self.judged(law)
            duration = law.duration / pace if pace > 0 else np.inf
            if duration < shortest:
                shortest, self.law, self.pace = duration, law, pace
            if abs(duration / before - 1.0) < SETTLED:
                break
            before = duration
            self.spared_pads = self._adapted(self.spared_pads, pads, s)
            self.spared_joints = self._adapted(self.spared_joints, joints, s)
        return np.isfinite(shortest)

    def ask_more(self, factor: FloatArray) -> None:
        """Spare the pads more, by factors along the grid, as far as gravity leaves anything to spare."""
        self.asked = np.maximum(np.minimum(self.asked * factor, (1.0 - ROOM) / np.maximum(self.standing, 1e-9)), 1.0)

    def rows(self) -> Rows:
        """Return the limits of pads and joints along the grid."""
        _, first, second = self.path.along(self.s)
        speed, acceleration = self.program.laws.speed, self.program.laws.acceleration
        spared = self.spared_joints[:, None]
        with np.errstate(divide="ignore"):
            top = (speed / np.abs(first)).min(axis=1) ** 2
            most = ((acceleration + np.abs(second) * top[:, None]) / np.abs(first)).min(axis=1)
        limit = np.maximum(1.0 / (self.asked * self.spared_pads), self.standing + ROOM * (1.0 - self.standing))
        a, b = chord_rows(self.demands.face, self.loads, limit, (most, top), RAYS)
        a_joints, b_joints = spared * first / acceleration, spared * second / acceleration
        return Rows(
            s=self.s,
            a=np.hstack([a, a_joints, -a_joints]),
            b=np.hstack([b, b_joints, -b_joints]),
            top=top,
        )

    def judged(self, law: Law) -> tuple[FloatArray, FloatArray, FloatArray, float]:
        """Judge a law against pads and joints, as they are to be spared.

        Returns:
            Use of the pads and of the joints over what is allowed and the path parameter, over time; and the factor
            on the speed at which the law just keeps everything.
        """
        t = np.linspace(0.0, law.duration, max(int(np.ceil(law.duration / STEP)), 2) + 1)
        s, sd, sdd = law.at(t)
        load, still, shares = self._loads(t, s, sd, sdd)
        shares += self._jerk_shares(law, t)
        asked = np.interp(s, self.s, self.asked)
        square = largest_scale(self.demands.face, still * asked, (load - still) * asked, 1.0)
        most = [float(share.max()) for share in shares] + [float(j.max()) for j in self._jerk_shares(law, law.changes)]
        joints = max(share ** (1.0 / min(i + 1, 3)) for i, share in enumerate(most))
        pads = float(np.sqrt(np.nan_to_num(square, nan=0.0, posinf=np.inf).min()))
        pace = BETWEEN * min(pads, 1.0 / joints)
        return peak_utilisation(self.demands.face, load * asked)[0], np.max(shares, axis=0), s, pace

    def used(self) -> tuple[FloatArray, FloatArray]:
        """Return use of the pads and of the joints over their limits, over the time of the law as it is given out."""
        t = np.linspace(0.0, self.duration, max(int(np.ceil(self.duration / STEP)), 2) + 1)
        load, _, shares = self._loads(t, *self.at(t))
        pace = self.pace * self.slowed
        shares += [pace**3 * share for share in self._jerk_shares(self._found, t * pace)]
        return peak_utilisation(self.demands.face, load)[0], np.max(shares, axis=0)

    def _loads(
        self, t: FloatArray, s: FloatArray, sd: FloatArray, sdd: FloatArray
    ) -> tuple[FloatArray, FloatArray, list[FloatArray]]:
        """Load, that of gravity alone, and speed and acceleration over their limits, the joint that comes closest."""
        q, qd, qdd = self.path.joint_rates(s, sd, sdd)
        job = self.program.case.job
        motion = joint_motion(self.program.laws.robot, t, q, qd, qdd)
        load = part_load(job.part, motion, job.gravity, job.air_density)
        limits = self.program.laws
        shares = [(np.abs(qd) / limits.speed).max(axis=1), (np.abs(qdd) / limits.acceleration).max(axis=1)]
        return load, standing_load(job.part, motion, job.gravity), shares

    def _jerk_shares(self, law: Law, t: FloatArray) -> list[FloatArray]:
        """Jerk over its limit at times, the joint that comes closest, shape of ``t``; none where there is no limit."""
        limit = self.program.laws.jerk
        if limit is None:
            return []
        return [(np.abs(self.path.joint_jerk(*law.at(t), law.jerk(t))) / limit).max(axis=1)]

    def _adapted(self, spared: FloatArray, use: FloatArray, s: FloatArray) -> FloatArray:
        """More of what was too little, wherever the averaging reaches; less of what was more than enough."""
        near = running_max(use, int(np.ceil(self.ramp / STEP)) // 2)
        need = np.interp(self.s, np.maximum.accumulate(s), near)
        return np.clip(spared * np.where(need > 1.0, need, need**RELAXED), LEAST_SPARED, 1.0 / ROOM)
