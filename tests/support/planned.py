"""Random programs of outside planners as a controller gets them, judged on pads whose true margin is set.

Truth is the largest use of the pads over the motion that the controller makes of the message, 0.2 ms apart and on both
sides of every point: the planner's own where positions are sampled, else the cubics and quintics between the points
(ros2_controllers documentation, "Trajectory Representation"), here by scipy's Hermite interpolation.
"""

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import ruckig
import toppra
from scipy.interpolate import BPoly, CubicSpline
from toppra import algorithm, constraint

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.hold import check as hold
from gripmargin.contact.loads import part_load
from gripmargin.kernels.utilisation import peak_utilisation
from gripmargin.motion.interpolate import as_controller_moves
from gripmargin.motion.tool_motion import joint_motion

LIMITS = 2.0, 12.0, 150.0  # of speed, acceleration and jerk [rad/s, ...], each joint alike
HOME = np.array([0.0, 0.3, -0.3, 0.0, 0.2, 0.0])
DOWN = np.array([0.0, 0.0, -9.80665])
KINDS = {"positions": 0.004, "positions, speeds": 0.02, "positions, speeds, accelerations": 0.02}  # [s] between points
TARGET = 2.0


def of_ruckig(random):
    """A jerk-limited move from rest to rest, all joints at the same time: times to rates, duration."""
    asked, made = ruckig.InputParameter(6), ruckig.Trajectory(6)
    asked.current_position, asked.target_position = (list(HOME + random.uniform(-0.6, 0.6, 6)) for _ in range(2))
    asked.max_velocity, asked.max_acceleration, asked.max_jerk = ([size] * 6 for size in LIMITS)
    assert ruckig.Ruckig(6).calculate(asked, made) == ruckig.Result.Working
    return lambda t: [np.array(rows) for rows in zip(*(made.at_time(x) for x in t), strict=True)][:3], made.duration


def of_toppra(random):
    """The fastest way along a spline through random points: accelerations change at every grid point."""
    path = toppra.SplineInterpolator(np.linspace(0, 1, 5), HOME + random.uniform(-0.4, 0.4, (5, 6)))
    limits = [
        constraint.JointVelocityConstraint(np.tile([-LIMITS[0], LIMITS[0]], (6, 1))),
        constraint.JointAccelerationConstraint(np.tile([-LIMITS[1], LIMITS[1]], (6, 1))),
    ]
    made = algorithm.TOPPRA(limits, path, parametrizer="ParametrizeConstAccel").compute_trajectory()
    return lambda t: [made(t, order) for order in range(3)], made.duration


def of_spline(random):
    """A cubic spline through random points, at rest at both ends."""
    knots = np.concatenate([[0.0], np.cumsum(random.uniform(0.3, 0.7, 4))])
    curve = CubicSpline(knots, HOME + random.uniform(-0.3, 0.3, (5, 6)), bc_type="clamped")
    return lambda t: [curve(t, order) for order in range(3)], knots[-1]


PLANNERS = {"ruckig": of_ruckig, "toppra": of_toppra, "spline": of_spline}


@cache
def plate():
    """A plate on two pads beside its middle, carried by a six-axis arm."""
    arm = gm.read_urdf(Path(__file__).parents[2] / "trajectories" / "arm.urdf").mounted(tool=gm.pose((0, 0, 0.1)))
    film = gm.PadMaterial(
        name="film", pull_off_stress=8e4, shear_strength=6e4, normal_stiffness=1e8, shear_stiffness=3e7
    )
    pads = tuple(gm.Pad.rectangle(f"{x}", film, [0.03, 0.02], gm.pose((x, 0.002, 0))) for x in (-0.03, 0.04))
    job = gm.Job(
        name="plate",
        gripper=gm.Gripper(pads=pads),
        part=gm.Part(face="plane", rigid=True, mass=0.6, com=[0.003, 0, 0.01], inertia=[8e-4, 2e-3, 2.6e-3, 0, 0, 0]),
        robot=arm,
        trajectory=gm.JointTrajectory(t=np.arange(8) * 0.01, q=np.zeros((8, 6))),
        targets=gm.Targets(hold=TARGET),
    )
    return job, work_out(replace(job, part=replace(job.part, surface_factor=1.0))).grip.face


def decided(planner, kind, seed, factor):
    """Verdict of hold on a message whose true margin is so many times the target, and the shares of low and high."""
    random = np.random.default_rng([seed, sorted(PLANNERS).index(planner)])
    law, duration = PLANNERS[planner](random)
    t = np.append(np.arange(0.0, duration - 1e-3, KINDS[kind]), duration)
    q, qd, qdd = law(t)
    rest = np.arange(-0.1, duration + 0.1, KINDS[kind])  # positions are logged before and after as well
    message = gm.JointTrajectory(t=rest, q=np.rint(law(np.clip(rest, 0.0, duration))[0] / 1e-6) * 1e-6)
    fine = np.unique(np.concatenate([np.arange(0.0, duration, 2e-4), t[1:] - 1e-9, t[:-1] + 1e-9]))
    if kind == "positions":
        true = law(fine)
    else:
        given = [q, qd, qdd][: 2 if kind == "positions, speeds" else 3]
        message = as_controller_moves(gm.JointTrajectory(t, **dict(zip(("q", "qd", "qdd"), given, strict=False))))
        curve = BPoly.from_derivatives(t, np.stack(given, axis=1))
        true = [curve.derivative(order)(fine) if order else curve(fine) for order in range(3)]
    job, face = plate()
    load = part_load(job.part, joint_motion(job.robot, fine, *true), DOWN)
    use = float(peak_utilisation(face, load)[0].max())
    part = replace(job.part, surface_factor=factor * TARGET * use)
    return next(iter(hold.results(work_out(replace(job, part=part, trajectory=message)))))
