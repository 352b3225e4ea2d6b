"""Programs of a tool that keeps its orientation, within limits or just outside: accelerations straight between knots."""

from dataclasses import replace

import numpy as np

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.swing.ringing import mode_sets
from gripmargin.contact.loads import load_per_acceleration
from gripmargin.kernels.utilisation import peak_utilisation


def leaning(tilt, azimuth):
    """Tool axes in the world as columns: z leans by a tilt from straight down."""
    down = np.diag([1.0, -1.0, -1.0])
    axis = np.array([np.cos(azimuth), np.sin(azimuth), 0.0])
    k = np.cross(np.eye(3), axis)
    return (np.eye(3) + np.sin(tilt) * k + (1 - np.cos(tilt)) * k @ k) @ down


def program(times, accelerations, rotation, step=0.001):
    """A program by accelerations at knots, tool axes, shape (k, 3); it starts at rest."""
    t = np.unique(np.concatenate([np.arange(times[0], times[-1], step), times]))
    t = t[np.append(True, np.diff(t) > 1e-7)]
    a = np.stack([np.interp(t, times, row) for row in (accelerations @ rotation.T).T], axis=1)
    h = np.diff(t)[:, None]
    rise = h * (a[1:] + a[:-1]) / 2
    v = np.vstack([np.zeros((1, 3)), np.cumsum(rise, axis=0)])
    way = h * v[:-1] + h**2 * (2 * a[:-1] + a[1:]) / 6
    x = np.vstack([np.zeros((1, 3)), np.cumsum(way, axis=0)])
    still = np.zeros_like(x)
    return gm.PoseTrajectory(
        t=t,
        position=x,
        rotation=np.broadcast_to(rotation, (t.size, 3, 3)),
        velocity=np.hstack([v, still]),
        acceleration=np.hstack([a, still]),
    )


def random_program(rng, largest, ramp, rotation, *, direction=None, knots=24):
    """Accelerations of a size up to the largest, changed no faster than from none to it in the time of a ramp."""
    size = largest * rng.choice([0.0, 1.0, 1.0, rng.uniform()], knots)
    way = rng.normal(size=(knots, 3)) if direction is None else rng.choice([-1.0, 1.0], (knots, 1)) * direction
    a = size[:, None] * way / np.linalg.norm(way, axis=1, keepdims=True)
    a[0] = 0.0
    times = [0.0]
    points = [a[0]]
    for before, after in zip(a, a[1:], strict=False):
        took = max(np.linalg.norm(after - before) / largest * ramp, 2e-5)
        for wait, point in ((took, after), (rng.choice([0.005, rng.uniform(0.0, 0.15)]), after)):
            times.append(times[-1] + wait)
            points.append(point)
    return program(np.array(times), np.array(points), rotation)


def judged(job, trajectory):
    """The verdicts of hold and swing on a program."""
    report = gm.check_job(replace(job, trajectory=trajectory), trial=True, checks=("hold", "swing"))
    return {each.check: (str(each.verdict), each.low, each.value) for each in report.checks}


def worst_program(job, largest, rotation, over=1.0):
    """What a place on the pads likes least: accelerations at once, each as its swing at the end would have it.

    The answer of the place to an impulse, backwards; the place and the way it is used are those that answer most, of
    many that are looked at.
    """
    case = work_out(replace(job, trajectory=program(np.array([0.0, 1.0]), np.zeros((2, 3)), rotation)))
    modes, face = case.shared(mode_sets)[-1], case.grip.face
    t = np.linspace(0.0, over, int(over / 0.001) + 1)
    w, z = modes.frequency[:, None], modes.damping[:, None]
    root = np.sqrt(1 - z * z)
    h = w / root * np.exp(-z * w * t) * np.sin(w * root * t)
    gravity = case.standing[:, 0]
    rng = np.random.default_rng(1)
    p = rng.normal(size=(400, 3))
    p[:, 2] = np.abs(p[:, 2])
    p /= np.linalg.norm(p, axis=1, keepdims=True)
    push = load_per_acceleration(case.job.part)[:, :3]
    found = []
    for k in p:
        for c in np.einsum("c,cpi->pi", k, face.maps):
            answer = (c @ modes.loads * (modes.shapes.T @ push).T) @ h
            found.append((c @ gravity + largest * np.trapezoid(np.linalg.norm(answer, axis=0), t), answer))
    most, answer = max(found, key=lambda each: each[0])
    a = largest * (answer / np.maximum(np.linalg.norm(answer, axis=0), 1e-12)).T[::-1]
    return program(np.append(0.0, t + 0.01), np.vstack([np.zeros((1, 3)), a]), rotation), most
