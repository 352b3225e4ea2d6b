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
from scipy.sparse import diags_array, vstack

import gripmargin as gm
from gripmargin.base.errors import InputError
from gripmargin.checks.case import work_out
from gripmargin.checks.swing.ringing import mode_sets
from gripmargin.contact.loads import load_per_acceleration
from gripmargin.kernels.gauge import half_sphere
from support.within import judged, leaning, random_circle, random_slide, sliding, worst_slide

TILTS, RAMPS, RADIUS = np.deg2rad([0.0, 20.0, 90.0]), [0.05, 0.15], 0.3
STEP = 0.001  # [s] of the program that is looked for


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


def worst_ramps(job, ramp, along, rotation):
    """Accelerations along an axis of a size of 1 by ramps, for the place that they use most: linear programming."""
    case = work_out(replace(job, trajectory=sliding(np.array([0.0, 1.0]), np.zeros((2, 3)), rotation)))
    modes = case.shared(mode_sets)[-1]
    w, z = modes.frequency[:, None], modes.damping[:, None]
    end = min(4.6 / (w * z).min(), 3.0)
    n = int(min(max(end * w.max() / 0.3, 300), 4000))
    t = (np.arange(n) + 0.5) * end / n
    root = np.sqrt(1 - z * z)
    h = w / root * np.exp(-z * w * t) * np.sin(w * root * t) * end / n
    rows = np.einsum("kc,cpi->kpi", half_sphere(10)[0], case.grip.face.maps).reshape(-1, 6)
    takes = modes.shapes.T @ load_per_acceleration(case.job.part)[:, "xyz".index(along)]
    answer = (rows @ modes.loads * takes) @ h
    still, hold = rows @ case.standing[:, 0], np.abs(answer).sum(axis=1)
    with np.errstate(divide="ignore"):
        allowed = np.where(
            still < 0.5, (0.5 - still) / (np.abs(rows @ modes.loads @ takes) + hold * min(0.05 / ramp, 1)), np.inf
        )
    best = (np.inf, None)
    change = diags_array([-np.ones(n - 1), np.ones(n - 1)], offsets=[0, 1], shape=(n - 1, n))
    for row in np.argsort(allowed)[:3]:
        found = linprog(
            -answer[row], A_ub=vstack([change, -change]), b_ub=np.full(2 * (n - 1), end / n / ramp), bounds=(-1, 1)
        )
        most = (0.5 - still[row]) / -found.fun
        if most < best[0]:
            best = most, found.x
    return best[1][::-1], end / n


def outside(jobs, first):
    """The least factor on some limits at which a program that looks for it falls short."""
    table = {}
    for seed in range(first, first + jobs):
        rng = np.random.default_rng(seed)
        job = drawn(rng)
        found = gm.limits(job, tilts=TILTS, ramps=RAMPS, radii=[RADIUS])
        i, tool = 0, leaning(0.0, 0.0)  # of pads that lean the worst side would have to be found, too
        if not found.passed or not found.linear["any"][i, 0]:
            continue
        modes = mode_sets(work_out(job))[-1]
        over = min(4.6 / (modes.frequency * modes.damping).min(), 3.0)
        tries = {
            "any at once": lambda f, job=job, found=found, over=over, tool=tool, i=i: worst_slide(
                job, f * found.linear["any"][i, 0], tool, over, STEP / 2
            )
        }
        for along in ("x", "z"):
            for j, ramp in enumerate(RAMPS, 1):
                a, step = worst_ramps(job, ramp, along, tool)
                a = np.concatenate([np.linspace(0.0, a[0], max(int(abs(a[0]) * ramp / step), 1) + 1)[:-1], a, a[-1:]])
                knots = np.arange(a.size) * step
                way = np.eye(3)["xyz".index(along)] * found.linear[along][i, j]
                tries[f"{along}, {ramp:g} s"] = lambda f, a=a, way=way, knots=knots, tool=tool: sliding(
                    knots, f * np.outer(a, way), tool, min(STEP, knots[1] / 2)
                )
        for name, program in tries.items():
            factor = next(
                (
                    f
                    for f in (1.02, 1.05, 1.1, 1.15, 1.2, 1.3, 1.5)
                    if set(judged(job, program(f)).values()) != {"pass"}
                ),
                np.inf,
            )
            table.setdefault(name, []).append(factor)
            told(seed, f"{modes.hertz[0]:.0f} Hz, {modes.damping[0]:.2f}", name, factor)
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
            told(f"{name}: median {np.median(factors):.2f}, nine in ten {most:.2f}, n {len(factors)}")
    else:
        for key, count in sorted(within(options.jobs, options.programs, options.seed).items(), key=str):
            told(*([key] if isinstance(key, str) else key), count)
    told(f"{time.process_time() - begun:.0f} s")
    return 0


if __name__ == "__main__":
    sys.exit(main())
