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
from scipy.optimize import linprog
from scipy.sparse import csr_array, diags_array, eye_array, hstack, vstack

import gripmargin as gm
from gripmargin.base.errors import InputError
from gripmargin.checks.case import work_out
from gripmargin.checks.swing.ringing import mode_sets
from gripmargin.kernels.gauge import half_sphere
from gripmargin.tuning.sizes import GROUPS, inputs
from support.within import circling, history, judged, leaning, random_circle, random_slide, sliding, turned

TILTS, RAMPS, RADIUS = np.array([0.0, np.deg2rad(20.0), np.pi]), [0.05, 0.15], 0.3
STEP = 0.001  # [s] of the program that is looked for
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
        name="drawn", trajectory=gm.hanging_still(), gripper=gm.Gripper(pads=pads), part=part, accept=["tool_travel"]
    )


def programs(rng, found, count):
    """Programs within limits, each with what it is."""
    for _ in range(count):
        i, j = rng.integers(TILTS.size), rng.integers(found.ramps.size - 1)
        tool, ramp = leaning(TILTS[i], rng.uniform(0.0, 6.0)), found.ramps[j]
        kind = rng.choice(["any", "x", "y", "z", "spin", "circle", "one move"])
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

    def __init__(self, job, least=0.0):
        self.modes = work_out(job).shared(mode_sets)[-1]
        w, z = self.modes.frequency[:, None], self.modes.damping[:, None]
        end = max(min(4.6 / (w * z).min(), 3.0), least)
        n = int(min(max(end * w.max() / 0.3, 300), 1500))
        self.step, t = end / n, (np.arange(n) + 0.5) * end / n
        root = np.sqrt(1 - z * z)
        self.h = w / root * np.exp(-z * w * t) * np.sin(w * root * t) * self.step
        self.rows = np.einsum("kc,cpi->kpi", half_sphere(10)[0], work_out(job).grip.face.maps).reshape(-1, 6)
        self.loads = inputs(job)
        self.pulls = 9.80665 * self.rows @ self.loads[:, GROUPS["gravity"]]

    def answer(self, rows, load):
        return (rows @ self.modes.loads * (self.modes.shapes.T @ load)) @ self.h

    def slide(self, ways, tilt, size, ramp):
        """Direction, gravity in the tool's axes, knots of time and size of the worst slide along one of some ways."""
        x, y, z = self.pulls.T
        lean = np.minimum(np.arctan2(np.hypot(x, y), z), tilt)  # from the side that the place likes least
        still = z * np.cos(lean) + np.hypot(x, y) * np.sin(lean)
        uses = [still + size * self._asked(self.loads[:, :3] @ way, ramp) for way in ways]
        k, row = np.unravel_index(np.argmax(uses), np.shape(uses))
        side = np.arctan2(y[row], x[row])
        down = np.array([*np.sin(lean[row]) * np.array([np.cos(side), np.sin(side)]), np.cos(lean[row])])
        return ways[k], down, *self._history(self.answer(self.rows[row], self.loads[:, :3] @ ways[k]), size, ramp)

    def turn(self, ways, tilt, size, ramp, speed):
        """Which of some (axis, arm, gravity at the end, whether the turn changes the lean), knots and angles."""
        found = []
        for axis, arm, down, leans in ways:
            load = self.loads[:, :3] @ np.cross(axis, arm) + self.loads[:, 3:6] @ axis
            pairs = np.array([*axis**2, *np.sqrt(2.0) * axis[[0, 0, 1]] * axis[[1, 2, 2]]])
            fast = self.loads[:, :3] @ np.cross(axis, np.cross(axis, arm)) + self.loads[:, 6:12] @ pairs
            top = min(speed, np.sqrt(4.0 * tilt * size)) if leans else speed
            use = self.pulls @ down + size * np.maximum(self.rows @ load, 0.0) + top**2 * self.rows @ fast
            row = int(np.argmax(use))
            found.append((use[row], row, load, speed * (self.rows[row] @ fast)))
        k = int(np.argmax([each[0] for each in found]))
        _, row, load, gain = found[k]
        far = 2.0 * tilt if ways[k][3] else np.inf
        return ways[k], *self._history(self.answer(self.rows[row], load), size, ramp, speed, gain, far)

    def spin(self, ways, size, ramp, speed):
        """Axis of a steady turn, one of some ways to shake about beside it, gravity at the end, knots and sizes."""
        pull, whirl = np.linalg.norm(self.pulls, axis=1), self.rows @ self.loads[:, 6:12]
        uses = [pull + speed**2 * _about(whirl)[0] + size * self._asked(self.loads[:, 3:6] @ way, ramp) for way in ways]
        k, row = np.unravel_index(np.argmax(uses), np.shape(uses))
        axis = _about(whirl[row][None])[1][0]
        answer = self.answer(self.rows[row], self.loads[:, 3:6] @ ways[k])
        return axis, ways[k], self.pulls[row] / pull[row], *self._history(answer, size, ramp, 0.3 * speed)

    def _asked(self, load, ramp):
        """About what a load of size 1 asks of the rows, by ramps."""
        swung = 4.0 * np.abs(self.answer(self.rows, load)[:, ::4]).sum(axis=1)
        return np.maximum(np.abs(self.rows @ load), swung * min(0.05 / ramp, 1.0))

    def _history(self, answer, size, ramp, speed=np.inf, gain=0.0, far=np.inf):
        """Knots of time and size, from rest; the speed that it ends with counts by a gain."""
        n, h = answer.size, self.step
        change = diags_array([-np.ones(n - 1), np.ones(n - 1)], offsets=[0, 1], shape=(n - 1, n))
        cost, bounds, same = -size * answer, [(-1.0, 1.0)] * n, None
        if np.isfinite(speed):
            # sizes, then speeds and ways to the end at the borders of steps, backwards
            later, now = eye_array(n, n + 1, k=1), eye_array(n, n + 1)
            none = csr_array((n, n + 1))
            same = vstack(
                [
                    hstack([-h * size * eye_array(n), now - later, none]),
                    hstack([0.0 * eye_array(n), -h * now, later - now]),
                ]
            )
            cost = np.concatenate([cost, [-gain], np.zeros(2 * n + 1)])
            bounds += [
                *[(-speed, speed)] * n,
                (0.0, 0.0),
                (0.0, 0.0),
                *[(0.0, far) if far < np.inf else (None, None)] * n,
            ]
            change = hstack([change, csr_array((n - 1, 2 * n + 2))])
        found = linprog(
            cost,
            A_ub=vstack([change, -change]),
            b_ub=np.full(2 * (n - 1), h / ramp),
            A_eq=same,
            b_eq=None if same is None else np.zeros(2 * n),
            bounds=bounds,
        )
        sizes = size * found.x[:n][::-1]
        begun = max(abs(sizes[0]) / size * ramp, 2e-5)
        return np.append(0.0, begun + np.arange(n) * h), np.append(0.0, sizes)


def _about(whirl):
    """The most that turns of speed 1 ask of rows, and the axes, by the eigenvalues of what their products ask."""
    whole = np.zeros((len(whirl), 3, 3))
    for column, (i, j) in zip(whirl.T, ((0, 0), (1, 1), (2, 2), (0, 1), (0, 2), (1, 2)), strict=True):
        whole[:, i, j] = whole[:, j, i] = column if i == j else column / np.sqrt(2.0)
    most, axes = np.linalg.eigh(whole)
    return np.maximum(most[:, -1], 0.0), axes[:, :, -1]


def shaken(axis, speed, size, ramp, way, times, sizes, down):
    """A tool that gets up to a speed about an axis and is shaken about another, both in its own axes; gravity's end."""
    hold = speed / size
    knots = np.concatenate([[0.0, ramp, hold, hold + ramp], hold + ramp + 2e-5 + times])
    alpha = np.vstack([np.outer([0.0, size, size, 0.0], axis), np.outer(sizes, way)])
    t, _, omega, alpha = history(knots, alpha, STEP)
    between = (omega[1:] + omega[:-1]) / 2.0 * np.diff(t)[:, None]
    turn = [np.eye(3)]
    for each in between:
        turn.append(turn[-1] @ turned(np.linalg.norm(each), each if each.any() else [1.0, 0.0, 0.0])[0])
    rotation = tool_of(down) @ turn[-1].T @ np.array(turn)
    world = (np.einsum("nij,nj->ni", rotation, rates) for rates in (omega, alpha))
    zero = np.zeros_like(omega)
    velocity, acceleration = (np.hstack([zero, rates]) for rates in world)
    return gm.PoseTrajectory(t=t, position=zero, rotation=rotation, velocity=velocity, acceleration=acceleration)


def tool_of(down):
    """Tool axes in the world, as columns, of a tool that feels gravity from there."""
    side = np.cross(down, [1.0, 0.3, 0.2])
    side /= np.linalg.norm(side)
    return np.stack([side, np.cross(-down, side), -down])


def turns(tilt, radius):
    """Axis, arm, gravity at the end, and whether the turn changes the lean: about the vertical, or across it."""
    round_ = np.linspace(0.0, 2 * np.pi, 17)[:-1]
    for azimuth in round_ if tilt else round_[:1]:
        flat = np.array([np.cos(azimuth), np.sin(azimuth), 0.0])
        down = np.array([*np.sin(tilt) * flat[:2], np.cos(tilt)])
        across = np.array([-flat[1], flat[0], 0.0])
        for axis in (down, -down, across, -across) if tilt else (down, -down):
            out = np.cross(axis, [0.3, 1.0, 0.2])
            for angle in round_ if radius else round_[:1]:
                arm = radius * turned(angle, axis)[0] @ out / np.linalg.norm(out)
                yield axis, arm, down, bool(abs(axis @ down) < 0.5)


def worst_programs(job, found, i, j):
    """Of a tilt and a ramp: what is limited, and from a factor on it to the worst program found."""
    tilt, ramp = TILTS[i], found.ramps[j]
    for along in ("any", "x", "z"):
        ways = np.eye(3)["xyz".index(along)][None] if along != "any" else half_sphere(6)[0]

        def slide(f, along=along, ways=ways):
            way, down, times, sizes = Worst(job).slide(ways, tilt, f * found.linear[along][i, j], ramp)
            return sliding(times, np.outer(sizes, way), tool_of(down), STEP)

        yield along, slide
    for name, radius in (("turn", 0.0), ("circle", RADIUS)):

        def turn(f, radius=radius):
            w = f * (found.circling[0, i, j] / radius if radius else found.turning["any" if tilt else "spin"][i, j])
            alpha = w * w if radius else w * w / np.pi
            worst = Worst(job, 2.0 * w / alpha)
            (axis, arm, down, _), times, sizes = worst.turn(
                list(turns(min(tilt, np.pi / 2), radius)), tilt, alpha, ramp, w
            )
            sizes = sizes * min(1.0, w / np.abs(history(times, sizes[:, None], STEP)[2]).max())  # steps miss a little
            turn = history(times, sizes[:, None], STEP)[1][-1, 0]
            tool = tool_of(down)
            start = tool @ turned(-turn, axis)[0]
            return circling(times, sizes, start, tool @ axis, tool @ turned(-turn, axis)[0] @ arm, STEP)

        yield name, turn
    if tilt == np.pi:  # the tool may point anywhere

        def spin(f):
            w = f * found.turning["any"][i, j]
            size, steady = w * w / np.pi, 0.95 * w
            axis, way, *rest = Worst(job).spin(half_sphere(3)[0], size, ramp, steady)
            way = way - axis * (axis @ way)
            down, times, sizes = rest
            return shaken(axis, steady, size, ramp, way / np.linalg.norm(way), times, sizes, down)

        yield "shaken turn", spin


def outside(jobs, first):
    """The least factor on some limits at which a program that looks for it falls short."""
    table = {}
    for seed in range(first, first + jobs):
        job = drawn(np.random.default_rng(seed))
        found = gm.limits(job, tilts=TILTS, ramps=RAMPS, radii=[RADIUS])
        if not found.passed:
            continue
        for i, j in ((0, 1), (0, 2), (1, 1), (2, 2)):
            for name, program in worst_programs(job, found, i, j):
                if not found.linear["any"][i, j]:
                    continue
                least = np.inf
                for f in FACTORS:
                    if set(judged(job, program(f)).values()) != {"pass"}:
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
