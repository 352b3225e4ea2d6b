"""What a check that falls short costs beside one that passes, and how that grows with the moves; run by hand.

python tests/bench/remedies.py
"""

import statistics
import sys
import time
from collections.abc import Callable

import numpy as np

import gripmargin as gm
from gripmargin.checks.advice import Trials

ROUNDS, STEP, MOVE, REST = 5, 0.004, 0.5, 0.1
CHECKS = {"hold": 6.0, "swing": 6.0, "stop": 3.0}  # targets that every move misses


def program(moves: int) -> gm.JointTrajectory:
    """One slide to and fro, from rest to rest by a minimum-jerk law with a peak of 12 m/s^2, rates given."""
    count, rest = round(MOVE / STEP), round(REST / STEP)
    s = np.arange(count + 1) / count
    law = np.stack([10 * s**3 - 15 * s**4 + 6 * s**5, 30 * s**2 * (1 - s) ** 2, 60 * s * (1 - s) * (1 - 2 * s)])
    way = 12.0 * MOVE**2 / 5.7735
    columns, labels, place = [], [], 0.0
    for move in range(moves):
        sign = 1.0 if move % 2 == 0 else -1.0
        scaled = law * (sign * way / np.array([[1.0], [MOVE], [MOVE**2]]))
        scaled[0] += place
        place += sign * way
        still = np.zeros((3, rest))
        still[0] = place
        columns += [scaled, still]
        labels += [f"move {move}"] * (count + 1) + [f"rest {move}"] * rest
    q, qd, qdd = (row[:, None] for row in np.concatenate(columns, axis=1))
    return gm.JointTrajectory(t=STEP * np.arange(len(q)), q=q, qd=qd, qdd=qdd, moves=tuple(labels))


def job(moves: int, short: tuple[str, ...]) -> gm.Job:
    """A job of so many moves, all of which miss the targets of some checks."""
    film = gm.PadMaterial(
        pull_off_stress=5e4, shear_strength=5e4, normal_stiffness=1e8, shear_stiffness=3.3e7, damping_ratio=0.05
    )
    asked = {name: target if name in short else 0.5 for name, target in CHECKS.items()}
    return gm.Job(
        name="to and fro",
        trajectory=program(moves),
        robot=gm.chain_from_axes([np.eye(4)], [(1.0, 0.0, 0.0)], [False], gm.pose(rpy=(np.pi, 0, 0))),
        gripper=gm.Gripper(pads=(gm.Pad.rectangle("pad", film, [0.05, 0.05]),)),
        part=gm.Part(mass=1.0, com=[0, 0, 0.01], inertia=[1e-3, 1e-3, 2e-3, 0, 0, 0], face="plane", rigid=True),
        targets=gm.Targets(**asked),
        stop=gm.Stop(time=0.3),
    )


def seconds(made: gm.Job, *, report: Callable[[gm.Job], gm.Report] = gm.check_job) -> float:
    """Processor time of a check, the median of some [s]."""
    taken = []
    for _ in range(ROUNDS):
        start = time.process_time()
        report(made)
        taken.append(time.process_time() - start)
    return statistics.median(taken)


def without_remedies(made: gm.Job) -> gm.Report:
    """The same with findings, and no change put to the check."""
    passes = Trials.passes
    Trials.passes = lambda self, changed: None  # type: ignore[method-assign]
    try:
        return gm.check_job(made)
    finally:
        Trials.passes = passes  # type: ignore[method-assign]


def main() -> None:
    say = sys.stdout.write
    gm.check_job(job(1, ("hold", "swing", "stop")))  # imports
    say("whole checks (hold, swing, stop), processor time; each failing move falls short in every check named\n")
    say(f"{'moves':>5} {'samples':>7} {'pass [s]':>9}   fail [s] over pass, by what falls short\n")
    groups = (("hold",), ("swing",), ("stop",), ("hold", "swing"), ("hold", "swing", "stop"))
    for moves in (1, 5, 15, 60):
        passing = seconds(job(moves, ()))
        found = []
        for short in groups:
            taken = seconds(job(moves, short))
            found.append(f"{'+'.join(short)} {taken:.2f} {taken / passing:.1f}")
        bare = seconds(job(moves, groups[-1]), report=without_remedies)
        say(f"{moves:5d} {job(moves, ()).trajectory.samples:7d} {passing:9.3f}   {'; '.join(found)}")
        say(f"; all three, nothing tried {bare:.2f} {bare / passing:.1f}\n")


if __name__ == "__main__":
    main()
