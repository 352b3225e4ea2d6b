"""Limits of any path, put to the checker: random programs within them, and the worst ones just outside.

    PYTHONPATH=src:tests python tests/bench/limits.py --jobs 40 --programs 50     # random programs within
    PYTHONPATH=src:tests python tests/bench/limits.py --outside --jobs 20         # the least factor that falls short

Jobs are drawn from a seed: 1 to 4 pads of stiff to soft films, parts off their centre, damped or not.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from dataclasses import replace

import numpy as np
from scipy.optimize import brentq, linprog
from scipy.sparse import csr_array, diags_array, eye_array, hstack, vstack

import gripmargin as gm
from gripmargin.base.errors import InputError
from gripmargin.checks.case import work_out
from gripmargin.checks.swing.ringing import mode_sets
from gripmargin.kernels.gauge import half_sphere
from gripmargin.kernels.impulse import Impulse
from gripmargin.tuning.sizes import GROUPS, inputs
from support.within import circling, fastest, history, leaning, random_circle, random_slide, sliding, turned

TILTS, RAMPS, RADIUS = np.array([0.0, np.deg2rad(20.0), np.pi]), [0.05, 0.15], 0.3
STEP = 0.001  # [s] of the program that is looked for
MANY = 400  # rows that are looked at closely
FINEST = 3000  # instants
WEIGHTS = 1.0, 2.0, 4.0  # of the way along a circle beside the one inward: its swing counts as well
TUNED = 1.0, 1.005, 1.01  # times the frequencies that a program is meant for
HARDLY = 0.03  # damping ratio up to which it counts how well that fits
FACTORS = 1.0, 1.02, 1.05, 1.1, 1.2, 1.5  # on a limit


def told(*words):
    """Print at once."""
    sys.stdout.write(" ".join(map(str, words)) + "\n")
    sys.stdout.flush()


def drawn(rng):
    """A job of which limits can be stated."""
    stiffness, damping = 10.0 ** rng.uniform(7.7, 9.3), rng.choice([0.02, 0.05, 0.1, 0.2])
    film = gm.PadMaterial(
        pull_off_stress=6e4,
        shear_strength=rng.uniform(3e4, 7e4),
        normal_stiffness=stiffness,
        shear_stiffness=stiffness / 3,
        damping_ratio=float(damping),
    )
    count = rng.integers(1, 5)
    pads = [
        gm.Pad.rectangle(f"pad {i}", film, rng.uniform(0.02, 0.04, 2), at=gm.pose(xyz=(*spot, 0)))
        for i, spot in enumerate(0.08 * (np.array([[0, 0], [1, 0], [0.5, 0.9], [0.5, -0.9]]) - [[0.4, 0]])[:count])
    ]
    mass = 6e4 * 9e-4 * count / 9.81 / rng.uniform(6.0, 40.0)
    com = np.array([*rng.uniform(-0.006, 0.006, 2), rng.uniform(0.002, 0.02)])
    size = np.sqrt(rng.uniform(0.001, 0.005, 3) @ (1.0 - np.eye(3)))  # of a body of any kind
    part = gm.Part(mass=mass, com=com, inertia=[*(mass * (size**2)), 0, 0, 0], face="plane", rigid=True)
    return gm.Job(
        name="drawn",
        trajectory=gm.hanging_still(),
        gripper=gm.Gripper(pads=pads),
        part=part,
        accept=["tool_travel", "from_below", "short_carry"],
    )


def programs(rng, found, count):
    """Programs within limits, each with what it is."""
    for _ in range(count):
        i, j = rng.integers(TILTS.size), rng.integers(found.ramps.size - 1)
        tool, ramp = leaning(TILTS[i], rng.uniform(0.0, 6.0)), found.ramps[j]
        kind = rng.choice(["any", "x", "y", "z", "spin", "circle", "one move", "turn", "both"])
        if not found.linear["any"][i, j]:
            continue
        if kind in ("any", "x", "y", "z"):
            way = None if kind == "any" else np.eye(3)["xyz".index(kind)]
            yield kind, random_slide(rng, found.linear[kind][i, j], ramp, tool, direction=way)
        elif kind == "spin":
            w = found.turning["spin"][i, j]
            yield kind, random_circle(rng, w**2 / np.pi, w, ramp, tool, tool[:, 2], [0, 0, 0])
        elif kind == "circle":
            w, up = found.circling[0, i, j] / RADIUS, rng.choice([0.0, 1.0]) * (i > 0)
            axis = np.array([up, 0.0, 1.0 - up])
            swept = 0.5 * min(w, (TILTS[i] * w**2) ** 0.5) if up else w
            arm = RADIUS * np.array([0.0, 1.0, 0.0])
            program = random_circle(rng, w**2, swept, ramp, leaning(0.0, 0.0) if up else tool, axis, arm, swings=4)
            if not up or np.arccos(np.clip(-program.rotation[:, 2, 2], -1.0, 1.0)).max() <= TILTS[i]:
                yield kind, program
        elif kind in ("turn", "both"):
            if 0 < i < len(TILTS) - 1:
                continue  # it would not stay within the tilt
            w, about = found.turning["any"][i, j], None if i else np.array([0.0, 0.0, 1.0])
            if kind == "both":
                size = w * w / 2.0 / np.pi
                yield kind, random_tumble(rng, size, w / 2.0**0.5, ramp, tool, about, found.together[i, j])
            else:
                yield kind, random_tumble(rng, w * w / np.pi, w, ramp, tool, about)
        else:
            a, waits = found.one_move[i, j], rng.uniform(0.0, 0.3, 2)
            rise = max(ramp, 2e-5) * rng.choice([1.0, rng.uniform(1.0, 2.0)])
            way = rng.normal(size=3)
            steps = [0.05, rise, waits[0], rise, waits[1] + 1e-4, rise, waits[0], rise, 0.2]
            push = a * np.array([0, 0, 1, 1, 0, 0, -1, -1, 0, 0])
            yield kind, sliding(np.append(0.0, np.cumsum(steps)), np.outer(push, way / np.linalg.norm(way)), tool)


def within(jobs, count, first):
    """Random programs within; returns how many of each verdict."""
    out = Counter()
    for seed in range(first, first + jobs):
        rng = np.random.default_rng(seed)
        job = drawn(rng)
        found = gm.limits(job, tilts=TILTS, ramps=RAMPS, radii=[RADIUS])
        if not found.passed:
            out["no limits"] += 1
            continue
        for kind, program in programs(rng, found, count):
            if not program.acceleration.any():
                continue
            try:
                report = gm.check_job(replace(job, trajectory=program), trial=True, checks=("hold", "swing"))
            except InputError as error:
                out[kind, "refused"] += 1
                told(seed, kind, error)
                continue
            verdict = str(report.verdict)
            if verdict == "undecided" and all(result.value > result.target for result in report.checks):
                verdict = "open by the samples alone"
            out[kind, verdict] += 1
            if verdict in ("fail", "undecided"):
                told(seed, kind, verdict, [(r.check, r.low, r.value) for r in report.checks])
        told(f"to seed {seed}: {sum(out.values())} programs, {sum(n for key, n in out.items() if 'pass' in key)} pass")
    return out


class Worst:
    """Programs that the places on the pads like least: one load up and down, by linear programming over its history.

    What a place answers to an impulse, backwards, is what a history counts with at the end; gravity, and what goes with
    the square of the speed, stand beside.
    """

    def __init__(self, job, least=0.0, tuned=1.0):
        modes = work_out(job).shared(mode_sets)[-1]
        self.modes = replace(modes, frequency=tuned * modes.frequency)  # weight at its lever makes a swing quicker
        w, z = self.modes.frequency[:, None], self.modes.damping[:, None]
        end = max(min(4.6 / (w * z).min(), 6.0), least)
        n = int(min(max(end * w.max() / 0.3, 300), FINEST))
        self.step, t = end / n, (np.arange(n) + 0.5) * end / n
        root = np.sqrt(1 - z * z)
        self.h = w / root * np.exp(-z * w * t) * np.sin(w * root * t) * self.step
        self.impulse = Impulse.of(self.modes.frequency, self.modes.damping)
        self.rows = np.einsum("kc,cpi->kpi", half_sphere(10)[0], work_out(job).grip.face.maps).reshape(-1, 6)
        self.loads = inputs(job)
        self.pulls = 9.80665 * self.rows @ self.loads[:, GROUPS["gravity"]]

    def answer(self, rows, load):
        return (rows @ self.modes.loads * (self.modes.shapes.T @ load)) @ self.h

    def slide(self, along, tilt, size, ramp):
        """Gravity in the tool's axes, knots of time and accelerations of the worst slide along some of its axes."""
        down = self._downs(tilt)
        load = self.loads[:, :3] * [axis in along for axis in "xyz"]
        row, _ = self._worst(np.einsum("ri,ri->r", self.pulls, down), load, size, ramp)
        answer = np.stack([self.answer(self.rows[row], way) for way in load.T], axis=1)
        pushes = size * fastest(answer[::-1], self.step / ramp)
        return down[row], np.arange(len(answer) + 1) * self.step, np.vstack([np.zeros((1, 3)), pushes])

    def circle(self, tilt, size, ramp, speed, radius, *, spins):
        """Axis, arm, gravity at the end, all in the tool's axes, knots and angular accelerations of the worst circle.

        Of each row the way along, inward and the axis that ask most together: of all turns of three axes at right
        angles the one nearest to a matrix (Kabsch, Acta Cryst. A32:922, 1976), here of rank two.
        """
        along, about = self.rows @ self.loads[:, :3], self.rows @ self.loads[:, 3:6]
        down = self._downs(tilt)
        if spins or tilt < np.pi:  # about the tool's z axis, or about the vertical, where the lean stays as it is
            only = np.array([0.0, 0.0, 1.0]) * np.ones_like(down) if spins else down
            along = along - only * np.einsum("ri,ri->r", only, along)[:, None]
            about = only * np.einsum("ri,ri->r", only, about)[:, None]
        return max(
            (self._circle(down, along, about, weight, (size, ramp, speed, radius)) for weight in WEIGHTS),
            key=lambda found: found[0],
        )[1:]

    def _circle(self, down, along, about, weight, motion):
        """The same, and before it what it asks, where the way along counts so much beside the one inward."""
        size, ramp, speed, radius = motion
        asked = np.stack([weight * radius * size * along, radius * speed**2 * along, weight * size * about], axis=2)
        left, _, right = np.linalg.svd(asked)
        left[:, :, 2] *= (np.linalg.det(left) * np.linalg.det(right))[:, None]
        axes = left @ right  # along, inward, axis as columns
        push = radius * axes[:, :, 0] @ self.loads[:, :3].T + axes[:, :, 2] @ self.loads[:, 3:6].T
        fast = radius * axes[:, :, 1] @ self.loads[:, :3].T + _products(axes[:, :, 2]) @ self.loads[:, 6:12].T
        gain = np.einsum("ri,ri->r", self.rows, fast)
        row, use = self._worst(np.einsum("ri,ri->r", self.pulls, down) + speed**2 * gain, push, size, ramp)
        answer = self.answer(self.rows[row], push[row])
        along, inward, axis = axes[row].T
        return use, axis, -radius * inward, down[row], *self._history(answer, size, ramp, speed, speed * gain[row])

    def turn(self, tilt, size, ramp, speed):
        """Axis of a steady turn, axis to shake about beside it, gravity at the end, knots and angular accelerations."""
        whirl, about = self.rows @ self.loads[:, 6:12], self.rows @ self.loads[:, 3:6]
        ways = about / np.maximum(np.linalg.norm(about, axis=1, keepdims=True), 1e-12)
        most, axes = _about(whirl)
        down = self._downs(tilt)
        still = np.einsum("ri,ri->r", self.pulls, down) + speed**2 * most
        row, _ = self._worst(still, ways @ self.loads[:, 3:6].T, size, ramp)
        answer = self.answer(self.rows[row], self.loads[:, 3:6] @ ways[row])
        axis = axes[row] * (1.0 if axes[row] @ ways[row] >= 0.0 else -1.0)  # which asks the same either way
        return axis, ways[row], down[row], *self._history(answer, size, ramp, min(0.6 * size * ramp, 0.5 * speed))

    def _downs(self, tilt):
        """Gravity in the tool's axes from the side within a tilt that each row likes least, shape (rows, 3)."""
        x, y, z = self.pulls.T
        lean, side = np.minimum(np.arctan2(np.hypot(x, y), z), tilt), np.arctan2(y, x)
        return np.column_stack([np.sin(lean) * np.cos(side), np.sin(lean) * np.sin(side), np.cos(lean)])

    def _worst(self, still, load, size, ramp):
        """Row of which a load of a size asks most by ramps beside what stands still, and its use.

        The load is one a row, shape (rows, 6), or may have any direction of some, shape (6, components).
        """
        load = load[:, :, None] if len(load) == len(self.rows) else load[None]
        factors = (self.rows @ self.modes.loads)[:, :, None] * np.einsum("cm,rck->rmk", self.modes.shapes, load)
        group = [range(load.shape[2])]
        at_once, by_rate, *_ = (each[:, 0] for each in self.impulse.bounds(factors, group))
        balance = np.linalg.norm(
            np.einsum("rc,rck->rk", self.rows, np.broadcast_to(load, (len(self.rows), *load.shape[1:]))), axis=1
        )
        few = np.argsort(still + size * np.minimum(at_once, balance + by_rate / ramp))[-MANY:]
        use = still[few] + size * self.impulse.most(factors[few], group, [ramp])[3][0, :, 0]
        return few[use.argmax()], use.max()

    def _history(self, answer, size, ramp, speed=np.inf, gain=0.0):
        """Knots of time and size, from rest; the speed that it ends with counts by a gain."""
        n, h = answer.size, self.step
        change = diags_array([-np.ones(n - 1), np.ones(n - 1)], offsets=[0, 1], shape=(n - 1, n))
        cost, bounds, same = -size * answer, [*[(-1.0, 1.0)] * (n - 1), (0.0, 0.0)], None  # from none
        if np.isfinite(speed):
            # sizes, then speeds at the borders of steps, backwards
            same = hstack([-h * size * eye_array(n), eye_array(n, n + 1) - eye_array(n, n + 1, k=1)])
            cost = np.concatenate([cost, [-gain], np.zeros(n)])
            bounds += [*[(-speed, speed)] * n, (0.0, 0.0)]
            change = hstack([change, csr_array((n - 1, n + 1))])
        found = linprog(
            cost,
            A_ub=vstack([change, -change]),
            b_ub=np.full(2 * (n - 1), h / ramp),
            A_eq=same,
            b_eq=None if same is None else np.zeros(n),
            bounds=bounds,
        )
        sizes = size * found.x[:n][::-1]
        return np.arange(n) * h, sizes


def _products(axis):
    """Products of the components of unit vectors, as `inputs` has them, shape (n, 6)."""
    return np.column_stack([axis**2, np.sqrt(2.0) * axis[:, [0, 0, 1]] * axis[:, [1, 2, 2]]])


def _about(whirl):
    """The most that turns of speed 1 ask of rows, and the axes, by the eigenvalues of what their products ask."""
    whole = np.zeros((len(whirl), 3, 3))
    for column, (i, j) in zip(whirl.T, ((0, 0), (1, 1), (2, 2), (0, 1), (0, 2), (1, 2)), strict=True):
        whole[:, i, j] = whole[:, j, i] = column if i == j else column / np.sqrt(2.0)
    most, axes = np.linalg.eigh(whole)
    return np.maximum(most[:, -1], 0.0), axes[:, :, -1]


def shaken(axis, speed, size, ramp, way, times, sizes, down):
    """A tool that gets up to a speed about an axis, by way of one beside it, both in its own axes; gravity's end.

    It begins with the speed that the shakes leave over, and is nowhere faster.
    """
    gone = np.concatenate([[0.0], np.cumsum((sizes[1:] + sizes[:-1]) / 2.0 * np.diff(times))])

    def begun(top):
        return top * axis - gone[-1] * way

    def fastest(top):
        return np.linalg.norm(begun(top) + gone[:, None] * way, axis=1).max()

    top = brentq(lambda top: fastest(top) - speed, 0.0, speed) if fastest(speed) > speed else speed
    first = begun(top)
    hold = max(np.linalg.norm(first) / size, ramp)
    peak = np.linalg.norm(first) / hold
    knots = np.concatenate([[0.0, ramp, hold, hold + ramp], hold + ramp + 2e-5 + times])
    start = np.outer([0.0, peak, peak, 0.0], first / np.linalg.norm(first))
    t, _, omega, alpha = history(knots, np.vstack([start, np.outer(sizes, way)]), STEP)
    return tumbling(t, omega, alpha, tool_of(down))


def tumbling(t, omega, alpha, end, slide=None):
    """A tool that turns in its own axes to some axes in the end, its origin at rest or with a slide's way and rates."""
    between = (omega[1:] + omega[:-1]) / 2.0 * np.diff(t)[:, None]
    turn = [np.eye(3)]
    for each in between:
        turn.append(turn[-1] @ turned(np.linalg.norm(each), each if each.any() else [1.0, 0.0, 0.0])[0])
    rotation = end @ turn[-1].T @ np.array(turn)
    world = [np.einsum("nij,nj->ni", rotation, rates) for rates in (omega, alpha)]
    x, v, a = np.zeros((3, t.size, 3)) if slide is None else slide
    velocity, acceleration = (np.hstack(each) for each in zip((v, a), world, strict=True))
    return gm.PoseTrajectory(t=t, position=x, rotation=rotation, velocity=velocity, acceleration=acceleration)


def random_tumble(rng, size, speed, ramp, end, about, push=0.0):
    """Turns about changing axes, or about one, up to an angular acceleration and a speed; pushed in any direction."""
    turns = random_slide(rng, size, ramp, np.eye(3), direction=about)
    pushes = random_slide(rng, 1.0, ramp, np.eye(3))
    t = np.unique(np.concatenate([turns.t, pushes.t[pushes.t < turns.t[-1]]]))
    t = t[np.append(True, np.diff(t) > 1e-6)]

    def at(program, rates):
        return np.stack([np.interp(t, program.t, row) for row in getattr(program, rates)[:, :3].T], axis=1)

    omega, alpha = at(turns, "velocity"), at(turns, "acceleration")
    share = min(1.0, speed / max(np.linalg.norm(turns.velocity[:, :3], axis=1).max(), 1e-12))
    _, x, v, a = history(t, push * at(pushes, "acceleration"), 1.0)
    return tumbling(t, share * omega, share * alpha, end, (x, v, a))


def tool_of(down):
    """Tool axes in the world, as columns, of a tool that feels gravity from there."""
    side = np.cross(down, [1.0, 0.3, 0.2])
    side /= np.linalg.norm(side)
    return np.stack([side, np.cross(-down, side), -down])


def worst_programs(job, found, i, j):
    """Of a tilt and a ramp: what is limited, and from a factor on it, and one on frequencies, to the worst program."""
    tilt, ramp = TILTS[i], found.ramps[j]
    for along in ("any", "x", "z"):

        def slide(f, tuned, along=along):
            axes = "xyz" if along == "any" else along
            down, times, pushes = Worst(job, 3.0 * ramp, tuned).slide(axes, tilt, f * found.linear[along][i, j], ramp)
            return sliding(times, pushes, tool_of(down), STEP)

        yield along, slide

    def on_circle(f, tuned, name, radius):
        w = f * (found.circling[0, i, j] / radius if radius else found.turning[name][i, j])
        size = w * w / (1.0 if radius else np.pi)
        worst = Worst(job, 4.0 * w / size + 4.0 * ramp, tuned)
        axis, arm, down, times, sizes = worst.circle(tilt, size, ramp, w, radius, spins=not radius)
        sizes = sizes * min(1.0, w / np.abs(history(times, sizes[:, None], STEP)[2]).max())  # steps miss a little
        tool, angle = tool_of(down), history(times, sizes[:, None], STEP)[1][-1, 0]
        start = tool @ turned(-angle, axis)[0]
        return circling(times, sizes, start, tool @ axis, start @ arm, STEP)

    if tilt in (0.0, np.pi):  # in between only turns about the vertical are looked at, which ask less
        yield "circle", lambda f, tuned: on_circle(f, tuned, "", RADIUS)
    yield "spin", lambda f, tuned: on_circle(f, tuned, "spin", 0.0)
    if tilt == np.pi:  # the tool may point anywhere

        def turn(f, tuned):
            w = f * found.turning["any"][i, j]
            size = w * w / np.pi
            axis, way, down, times, sizes = Worst(job, 2.0 * ramp, tuned).turn(tilt, size, ramp, w)
            return shaken(axis, w, size, ramp, way, times, sizes, down)

        yield "turn", turn


def falls_short(job, program):
    """Whether what is most likely of a margin is below its target, whatever its samples leave open."""
    report = gm.check_job(replace(job, trajectory=program), trial=True, checks=("hold", "swing"))
    return any(not result.value >= result.target for result in report.checks)


def outside(jobs, first):
    """The least factor on some limits at which a program that looks for it falls short."""
    table = {}
    for seed in range(first, first + jobs):
        job = drawn(np.random.default_rng(seed))
        found = gm.limits(job, tilts=TILTS, ramps=RAMPS, radii=[RADIUS])
        if not found.passed:
            continue
        damped = min(pad.material.damping_ratio for pad in job.gripper.pads) > HARDLY
        for i, j in ((0, 1), (0, 2), (1, 1), (2, 2)):
            for name, program in worst_programs(job, found, i, j):
                if not found.linear["any"][i, j]:
                    continue
                least = np.inf
                for f in FACTORS:
                    if any(falls_short(job, program(f, tuned)) for tuned in TUNED[: 1 if damped else None]):
                        least = f
                        break
                table.setdefault((name, round(np.degrees(TILTS[i])), float(found.ramps[j])), []).append(least)
                told(seed, name, f"{np.degrees(TILTS[i]):.0f} deg, {found.ramps[j]:g} s", least)
    return table


def main():
    """Run what is asked for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--jobs", type=int, default=20)
    parser.add_argument("--programs", type=int, default=50)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--outside", action="store_true")
    options = parser.parse_args()
    begun = time.process_time()
    if options.outside:
        for name, factors in outside(options.jobs, options.seed).items():
            most = np.quantile(factors, 0.9, method="higher")
            near = f"{np.mean(np.array(factors) <= 1.05):.0%} within 5 %"
            told(f"{name}: {near}, median {np.median(factors):.2f}, nine in ten {most:.2f}, n {len(factors)}")
    else:
        for key, count in sorted(within(options.jobs, options.programs, options.seed).items(), key=str):
            told(*([key] if isinstance(key, str) else key), count)
    told(f"{time.process_time() - begun:.0f} s")
    return 0


if __name__ == "__main__":
    sys.exit(main())
