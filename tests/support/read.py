"""Logs of a robot at work as a poller writes them: the moves of planners, a controller of its own rate, its reader.

Truth is the largest use of the pads over the exact motion, 0.5 ms apart, from the first read to the last.
"""

from dataclasses import dataclass, replace

import numpy as np

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.hold import check as hold
from gripmargin.contact.loads import part_load
from gripmargin.kernels.utilisation import peak_utilisation
from gripmargin.motion.tool_motion import joint_motion
from support.planned import DOWN, HOME, TARGET, of_ruckig, plate


def of_quintic(random):
    """Least jerk from rest to rest (Flash & Hogan, J. Neurosci. 5(7), 1985): times to rates, duration."""
    start, end = HOME + random.uniform(-0.6, 0.6, (2, 6))
    lasts = np.abs(end - start).max() / random.uniform(0.4, 1.1)

    def law(t):
        s = np.clip(t / lasts, 0.0, 1.0)[:, None]
        shares = s**3 * (10 - 15 * s + 6 * s**2), 30 * s**2 * (1 - s) ** 2, 60 * s * (1 - s) * (1 - 2 * s)
        return [start * (k == 0) + (end - start) * share / lasts**k for k, share in enumerate(shares)]

    return law, lasts


def of_trapezoid(random):
    """Constant acceleration, cruise, the same deceleration, all joints alike."""
    start, end = HOME + random.uniform(-0.6, 0.6, (2, 6))
    lasts, ramp = np.abs(end - start).max() / random.uniform(0.4, 1.1), random.uniform(0.15, 0.4)
    top = 1.0 / (1.0 - ramp)

    def law(t):
        s = np.clip(t / lasts, 0.0, 1.0)
        e = np.minimum(s, 1.0 - s)
        x = np.where(e < ramp, top * e**2 / (2 * ramp), top * (e - ramp / 2))
        v, a = top * np.minimum(e / ramp, 1.0), np.where((e < ramp) & (e > 0), top / ramp, 0.0) * np.sign(0.5 - s)
        shares = np.where(s > 0.5, 1.0 - x, x), v, a
        return [start * (k == 0) + ((end - start) / lasts**k) * share[:, None] for k, share in enumerate(shares)]

    return law, lasts


MOVES = {"ruckig": of_ruckig, "quintic": of_quintic, "trapezoid": of_trapezoid}


@dataclass(frozen=True)
class Log:
    """A log, the controller's own samples, and the exact motion."""

    trajectory: gm.JointTrajectory
    law: object
    period: float
    phase: float
    number: np.ndarray

    def told(self):
        """The values that were read, once each, at the times at which the controller renewed them."""
        number = np.unique(self.number)
        t = self.phase + self.period * number
        return gm.JointTrajectory(t=t, q=np.rint(self.law(t)[0] / 1e-6) * 1e-6)


def back_again(law, lasts):
    """The way back of a move, from its end to its start."""
    total = sum(law(np.array([at]))[0][0] for at in (0.0, lasts))
    return lambda t: [total - law(t)[0], *(-rows for rows in law(t)[1:])]


def at_work(random, seconds, laws):
    """Moves with rests between them: times to rates."""
    moves, t, place = [], random.uniform(0.1, 0.4), None
    while t < seconds - 0.3:
        law, lasts = MOVES[str(random.choice(laws))](random)
        shift = 0.0 if place is None else place - law(np.zeros(1))[0][0]
        shift = shift if place is not None else np.zeros(6)
        # moves lead from one to the next: back and forth, so that the arm stays where it is
        place = law(np.array([lasts]))[0][0] + shift
        moves.append((t, lasts, law, shift))
        returns, gap = len(moves) % 2 == 1, random.choice([0.0, random.uniform(0.05, 0.6)])
        t += lasts + gap
        if returns and t < seconds - 0.3:
            moves.append((t, lasts, back_again(law, lasts), shift))
            place = law(np.zeros(1))[0][0] + shift
            t += lasts + random.uniform(0.05, 0.6)

    def motion(times):
        out = np.zeros((3, times.size, 6))
        out[0] = moves[0][2](np.zeros(1))[0][0] + moves[0][3]
        for start, lasts, law, shift in moves:
            inside = times >= start
            if inside.any():
                local = np.clip(times[inside] - start, 0.0, lasts)
                rows = np.array(law(local))
                rows[1:, times[inside] - start > lasts] = 0.0
                rows[0] += shift
                out[:, inside] = rows
        return out

    return motion


def log(seed, rate=None, jitter=0.0, *, period=0.008, laws=("ruckig", "quintic"), seconds=6.0, digit=1e-6):
    """A log of a seed; without a rate, controller and poller have any."""
    random = np.random.default_rng([11, seed])
    law = at_work(random, seconds, laws)
    if rate is None:
        period = 10.0 ** random.uniform(np.log10(0.002), np.log10(0.01))
        rate = random.uniform(0.7, 2.6) / period
    phase = random.uniform(0.0, period)
    s = np.arange(0.01 + random.uniform(0.0, 1.0 / rate), seconds, 1.0 / rate)
    s = np.sort(s + jitter * random.normal(size=s.size))
    number = np.floor((s - phase) / period).astype(int)
    q = np.rint(law(phase + period * number)[0] / digit) * digit
    kept = np.concatenate([[True], np.diff(s) > 0])
    return Log(gm.JointTrajectory(t=s[kept], q=q[kept]), law, period, phase, number[kept])


def use_of(made):
    """Largest use of the pads over the exact motion."""
    t = made.trajectory.t
    fine = np.arange(t[0], t[-1], 5e-4)
    job, face = plate()
    load = part_load(job.part, joint_motion(job.robot, fine, *made.law(fine)), DOWN)
    return float(peak_utilisation(face, load)[0].max())


def verdict_on(trajectory, use, factor):
    """What hold says of a trajectory on pads whose true margin is so many times the target."""
    job, _ = plate()
    part = replace(job.part, surface_factor=factor * TARGET * use)
    return next(iter(hold.results(work_out(replace(job, part=part, trajectory=trajectory)))))
