"""Programs inside limits or just outside: accelerations straight between knots, and what comes of them exactly."""

from dataclasses import replace
from itertools import pairwise

import numpy as np

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
