"""A part turned about the vertical by a program of poses with digits, whose true margin has a closed form.

A square face of even stiffness takes a torque M at its corners by M (s / sqrt(2)) / (s^4 / 6): torsion of a rigid body
on an elastic face, as of bolts about their centroid (Shigley, Mechanical Engineering Design, ch. 8; from memory).
"""

import numpy as np
from scipy.spatial.transform import Rotation

import gripmargin as gm
from gripmargin.base.poses import rotation_from_rpy
from gripmargin.checks.case import work_out
from gripmargin.checks.hold import check as hold
from gripmargin.motion.turn_error import turn_error
from support.steps import extremes

STRENGTH, SIDE, MASS, INERTIA, GRAVITY = 5e4, 0.05, 0.5, 2e-2, 9.80665
WRITTEN = ("degrees", "quaternion")


def true_margin(most):
    """Margin at an angular acceleration [rad/s^2]."""
    pull, shear = MASS * GRAVITY / SIDE**2, 6.0 * INERTIA * most / np.sqrt(2.0) / SIDE**3
    return STRENGTH / np.hypot(pull, shear)


def turned(t, yaw, written, digit):
    """A program of poses whose tool looks down and turns, with angles or a quaternion to a digit.

    Args:
        t: Times [s], shape (n,).
        yaw: Angles [rad], shape (n,).
        written: One of WRITTEN.
        digit: Step of the numbers [deg or 1]; 0: none.
    """

    def rounded(values):
        return np.rint(values / digit) * digit if digit else values

    place = np.zeros((t.size, 3))
    if written == "quaternion":
        half = Rotation.from_euler("xz", np.column_stack([np.full(t.size, np.pi), yaw])).as_quat()
        return gm.PoseTrajectory.from_quaternions(t, place, rounded(half))
    angles = np.radians(rounded(np.degrees(np.column_stack([np.full(t.size, np.pi), 0 * t, yaw]))))
    error = turn_error(angles, rotation_from_rpy)
    return gm.PoseTrajectory(t=t, position=place, rotation=rotation_from_rpy(angles), turn_error=error)


def judged(poses, target):
    """Result of how far the pads are used, by its figures alone."""
    film = gm.PadMaterial(
        pull_off_stress=STRENGTH, shear_strength=STRENGTH, normal_stiffness=1e8, shear_stiffness=3.3e7
    )
    job = gm.Job(
        name="turn",
        trajectory=poses,
        gripper=gm.Gripper(pads=(gm.Pad.rectangle("pad", film, [SIDE, SIDE]),)),
        part=gm.Part(face="plane", rigid=True, mass=MASS, com=[0, 0, 0], inertia=[1e-2, 1e-2, INERTIA, 0, 0, 0]),
        targets=gm.Targets(hold=target, swing=target),
    )
    return next(iter(hold.results(work_out(job))))


def decided(law, t, written, digit, factor):
    """Result for a program whose true margin is so many times the target."""
    most = np.abs(extremes(law, t)).max()
    return judged(turned(t, law(t)[0], written, digit), true_margin(most) / factor)
