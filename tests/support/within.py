"""Programs inside limits or just outside: accelerations straight between knots, and what comes of them exactly."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
from scipy.linalg import cho_solve_banded, cholesky_banded

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.swing.ringing import mode_sets
from gripmargin.contact.loads import load_per_acceleration
from gripmargin.kernels.gauge import half_sphere


def turned(angle, axis):
    """Rotations about an axis (Rodrigues), shape (n, 3, 3)."""
    k = np.cross(np.eye(3), np.asarray(axis) / np.linalg.norm(axis))
    angle = np.atleast_1d(angle)[:, None, None]
    return np.eye(3) + np.sin(angle) * k + (1 - np.cos(angle)) * k @ k


def leaning(tilt, azimuth):
    """Tool axes in the world as columns: z leans by a tilt from straight down."""
    return turned(tilt, [np.cos(azimuth), np.sin(azimuth), 0.0])[0] @ np.diag([1.0, -1.0, -1.0])


def history(times, accelerations, step):
    """Times, way, speed and acceleration of accelerations straight between knots, shape (n, k); from rest."""
    t = np.unique(np.concatenate([np.arange(times[0], times[-1], step), times]))
    t = t[np.append(True, np.diff(t) > 1e-7)]
    a = np.stack([np.interp(t, times, row) for row in accelerations.T], axis=1)
    h = np.diff(t)[:, None]
    v = np.vstack([0 * a[:1], np.cumsum(h * (a[1:] + a[:-1]) / 2, axis=0)])
    return t, np.vstack([0 * a[:1], np.cumsum(h * v[:-1] + h**2 * (2 * a[:-1] + a[1:]) / 6, axis=0)]), v, a


def sliding(times, accelerations, rotation, step=0.001):
    """A tool that keeps its orientation, by accelerations in its own axes at knots, shape (k, 3)."""
    t, x, v, a = history(times, accelerations @ rotation.T, step)
    return gm.PoseTrajectory(
        t=t,
        position=x,
        rotation=np.broadcast_to(rotation, (t.size, 3, 3)),
        velocity=np.hstack([v, 0 * v]),
        acceleration=np.hstack([a, 0 * a]),
    )


def circling(times, alpha, rotation, axis, arm, step=0.001):
    """A tool that turns about an axis, world, its origin at an arm from it, by angular accelerations at knots."""
    axis = np.asarray(axis) / np.linalg.norm(axis)
    t, angle, w, b = history(times, np.asarray(alpha)[:, None], step)
    turn = turned(angle[:, 0], axis)
    x, w, b = turn @ np.asarray(arm, dtype=float), w * axis, b * axis
    v = np.cross(w, x)
    return gm.PoseTrajectory(
        t=t,
        position=x,
        rotation=turn @ rotation,
        velocity=np.hstack([v, w]),
        acceleration=np.hstack([np.cross(b, x) + np.cross(w, v), b]),
    )


def random_slide(rng, largest, ramp, rotation, *, direction=None, knots=24):
    """Accelerations of a size up to the largest, changed no faster than from none to it in the time of a ramp."""
    size = largest * rng.choice([0.0, 1.0, 1.0, rng.uniform()], knots)
    way = rng.normal(size=(knots, 3)) if direction is None else rng.choice([-1.0, 1.0], (knots, 1)) * direction
    a = size[:, None] * way / np.linalg.norm(way, axis=1, keepdims=True)
    a[knots // 2 :] = -a[: knots - knots // 2][rng.permutation(knots - knots // 2)]  # not ever faster
    a[0] = 0.0
    times, points = [0.0], [a[0]]
    for before, after in pairwise(a):
        times.append(times[-1] + max(np.linalg.norm(after - before) / largest * ramp, 2e-5))
        times.append(times[-1] + rng.choice([0.005, rng.uniform(0.0, 0.15)]))
        points += [after, after]
    return sliding(np.array(times), np.array(points), rotation)


def random_circle(rng, alpha, speed, ramp, rotation, axis, arm, *, swings=6):
    """Angular accelerations by ramps, up to a largest speed and back to rest, this way and that."""
    times, points = [0.0], [0.0]
    ramp = max(ramp, 2e-5)
    for sign in rng.choice([-1.0, 1.0], swings):
        top = speed * rng.choice([1.0, rng.uniform(0.3, 1.0)])
        peak = min(alpha, top / ramp)
        hold = max(top / peak - ramp, 1e-5)
        for part in (sign * peak, -sign * peak):
            for wait, value in ((ramp * peak / alpha, part), (hold, part), (ramp * peak / alpha, 0.0)):
                times.append(times[-1] + wait)
                points.append(value)
            times.append(times[-1] + rng.uniform(1e-4, 0.1))
            points.append(0.0)
    return circling(np.array(times), np.array(points), rotation, axis, arm)


def judged(job, trajectory):
    """The verdicts of hold and swing on a program."""
    report = gm.check_job(replace(job, trajectory=trajectory), trial=True, checks=("hold", "swing"))
    return {each.check: str(each.verdict) for each in report.checks}


def fastest(answers, step, rounds=300, push=0.3):
    """Vectors of size 1 at most, from none, that change by no more than a step, whose sum with some answers is largest.

    By alternating directions of multipliers (Boyd and others, Foundations and Trends in Machine Learning 3(1), 2011,
    from memory), scaled until both are kept; shape (n, k).
    """
    n, k = answers.shape
    pulled = answers * (n / np.linalg.norm(answers, axis=1).sum() / push)
    band = np.full((2, n), 1.0 + 2.0 / step**2)
    band[0], band[1, -1] = -1.0 / step**2, 1.0 + 1.0 / step**2
    factor = cholesky_banded(band)
    size, change, over_size, over_change = np.zeros((4, n, k))
    best, most = size, -np.inf
    for i in range(rounds):
        due = change - over_change
        right = size - over_size + pulled + (due - np.vstack([due[1:], 0.0 * due[:1]])) / step
        now = cho_solve_banded((factor, False), right)
        changed = np.diff(now, axis=0, prepend=0.0 * now[:1]) / step
        if i % 20 == 19:
            scale = max(1.0, np.linalg.norm([now, changed], axis=2).max())
            if (now * answers).sum() / scale > most:
                best, most = now / scale, (now * answers).sum() / scale
        for value, kept, over in ((now, size, over_size), (changed, change, over_change)):
            ahead = 1.6 * value - 0.6 * kept
            kept[:] = (ahead + over) / np.maximum(1.0, np.linalg.norm(ahead + over, axis=1, keepdims=True))
            over[:] = over + ahead - kept
    return best


def worst_slide(job, largest, rotation, over=1.0, step=0.00025):
    """What a place on the pads likes least: its answer to an impulse, backwards, for the place that answers most."""
    case = work_out(replace(job, trajectory=sliding(np.array([0.0, 1.0]), np.zeros((2, 3)), rotation)))
    modes = case.shared(mode_sets)[-1]
    t = np.arange(0.0, over, step)
    w, z = modes.frequency[:, None], modes.damping[:, None]
    root = np.sqrt(1 - z * z)
    h = w / root * np.exp(-z * w * t) * np.sin(w * root * t)
    rows = np.einsum("kc,cpi->kpi", half_sphere(10)[0], case.grip.face.maps).reshape(-1, 6)
    takes = modes.shapes.T @ load_per_acceleration(case.job.part)[:, :3]
    most = 0.0
    for row in rows:
        answer = (row @ modes.loads * takes.T) @ h[:, ::8]
        use = row @ case.standing(0)[:, 0] + largest * 8 * step * np.linalg.norm(answer, axis=0).sum()
        if use > most:
            most, worst = use, row
    answer = (worst @ modes.loads * takes.T) @ h
    a = largest * (answer / np.maximum(np.linalg.norm(answer, axis=0), 1e-12)).T[::-1]
    return sliding(np.append(0.0, t + 0.01), np.vstack([np.zeros((1, 3)), a]), rotation, step)
