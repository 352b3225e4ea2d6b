"""Logs that nobody here wrote, of nine origins: planners, controllers and simulated arms, each by another writer.

Each is read with at most one option, and decided where the true margin is 1.5 times the target. Truth is the largest
use of the pads over the motion by the maker's own law or simulation, at most 0.5 ms apart.
"""

from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import mujoco
import numpy as np
import pandas
import pinocchio as pin
import pytest
import yaml
from roboticstoolbox import ctraj, jtraj, trapezoidal
from rosbags.rosbag1 import Writer as Writer1
from rosbags.rosbag2 import StoragePlugin
from rosbags.rosbag2 import Writer as Writer2
from rosbags.typesys import Stores, get_types_from_msg, get_typestore
from scipy.interpolate import BPoly, CubicSpline, PPoly, make_interp_spline
from scipy.io import savemat
from spatialmath import SE3

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.hold import check as hold
from gripmargin.contact.loads import part_load
from gripmargin.kernels.utilisation import peak_utilisation
from gripmargin.motion.tool_motion import joint_motion
from support.planned import DOWN, HOME, TARGET, of_ruckig, of_toppra, plate

FACTOR = 1.5
NAMES = ("waist", "shoulder", "elbow", "roll", "bend", "turn")
RADIANS = gm.Columns(joints=gm.ColumnGroup(unit="rad"))
PUBLIC = Path(pin.__file__).parents[4] / "share/example-robot-data/robots/ur_description/urdf/ur5_robot.urdf"
NONE = np.zeros(0)
STATE = "std_msgs/Header header\nstring[] joint_names\n" + "".join(
    f"trajectory_msgs/JointTrajectoryPoint {name}\n" for name in ("reference", "feedback", "error", "output")
)


@dataclass(frozen=True)
class Made:
    """A log, and the motion that it is of.

    Attributes:
        path: Of the file.
        true: Times, positions, speeds and accelerations of the joints, shape (m,) and (m, joints) each.
        options: The one with which it is read, if any.
        robot: Whose joints they are.
    """

    path: Path
    true: tuple[Any, ...]
    options: dict[str, Any] = field(default_factory=dict)
    robot: gm.Chain = field(default_factory=lambda: plate()[0].robot)


def sampled(law, lasts, step):
    """Times of a logger from 0.1 s before to 0.1 s after a move, positions there; and the motion."""
    t, fine = np.arange(0.0, lasts + 0.2, step), np.append(np.arange(0.0, lasts, 5e-4), lasts)
    return t, law(np.clip(t - 0.1, 0.0, lasts))[0], (fine, *law(fine))


def jerk_limited(folder, random):
    """Ruckig's move as a logger writes it through pandas: names of joints beside efforts, 1 us, 1 urad."""
    t, q, true = sampled(*of_ruckig(random), 0.008)
    table = pandas.DataFrame(q, columns=[f"{name}_position" for name in NAMES])
    table.insert(0, "timestamp", 1.7e9 + t)
    table["waist_effort"] = 1.0
    table.to_csv(folder / "log.csv", float_format="%.6f", index=False)
    return Made(folder / "log.csv", true, {"columns": RADIANS})


def fastest(folder, random):
    """TOPP-RA's law as numpy saves its samples."""
    t, q, true = sampled(*of_toppra(random), 0.004)
    np.savez(folder / "log.npz", t=t, q=q)
    return Made(folder / "log.npz", true, {"columns": RADIANS})


def quintic(folder, random):
    """The toolbox's jtraj as numpy prints it: six columns, neither header nor times."""
    start, end = HOME + random.uniform(-0.6, 0.6, (2, 6))
    np.savetxt(folder / "log.txt", jtraj(start, end, np.linspace(0.0, 1.4, 176)).q, fmt="%.5f")
    fine = np.linspace(0.0, 1.4, 2801)
    made = jtraj(start, end, fine)
    columns = gm.Columns(period=0.008, joints=gm.ColumnGroup(names=tuple(range(1, 7)), unit="rad"))
    return Made(folder / "log.txt", (fine, made.q, made.qd, made.qdd), {"columns": columns})


def splined(folder, random):
    """A spline of degree 5 by scipy through random points, as scipy saves it for others: degrees."""
    knots = np.linspace(0.0, 1.6, 5)
    points = HOME + random.uniform(-0.2, 0.2, (5, 6))
    still = [(1, np.zeros(6)), (2, np.zeros(6))]
    curve = make_interp_spline(knots, points, 5, bc_type=(still, still))
    t, q, true = sampled(lambda x: [curve(x, order) for order in range(3)], 1.6, 0.004)
    savemat(folder / "log.mat", {"t": t, "q": np.rint(np.rad2deg(q) / 1e-4) * 1e-4})
    return Made(folder / "log.mat", true, {"columns": gm.Columns(joints=gm.ColumnGroup(unit="deg"))})


def controlled(points, t, order):
    """What a joint trajectory controller makes of points with rates (ros2_controllers, "Trajectory Representation")."""
    curve = BPoly.from_derivatives(t, np.stack(points, axis=1))
    return lambda x: [PPoly.from_bernstein_basis(curve)(np.clip(x, t[0], t[-1]), nu=k) for k in range(order)]


def message(folder, random):
    """Points of a clamped cubic spline with speeds as yaml prints the message: a controller joins them by cubics."""
    knots = np.linspace(0.0, 1.6, 5)
    plan = CubicSpline(knots, HOME + random.uniform(-0.2, 0.2, (5, 6)), bc_type="clamped")
    t = np.linspace(0.0, 1.6, 33)
    points = [
        {"positions": plan(x).tolist(), "velocities": plan(x, 1).tolist(), "time_from_start": {"sec": s, "nanosec": ns}}
        for x in t
        for s, ns in [divmod(round(1e9 * x), 10**9)]
    ]
    (folder / "log.yaml").write_text(yaml.safe_dump({"joint_names": list(NAMES), "points": points}))
    fine = np.unique(np.concatenate([np.arange(0.0, 1.6, 5e-4), t[1:] - 1e-9, t[:-1] + 1e-9]))
    return Made(folder / "log.yaml", (fine, *controlled([plan(t), plan(t, 1)], t, 3)(fine)))


def header_of(store, i, step):
    stamp = 1_700_000_000 * 10**9 + round(1e9 * step) * i
    time = store.types["builtin_interfaces/msg/Time"](sec=stamp // 10**9, nanosec=stamp % 10**9)
    more = {"seq": i} if "seq" in store.types["std_msgs/msg/Header"].__dataclass_fields__ else {}
    return store.types["std_msgs/msg/Header"](**more, stamp=time, frame_id=""), stamp


def state(folder, random):
    """A controller's state at 100 Hz, of four points with all rates that it joins by quintics, as rosbags writes it."""
    store = get_typestore(Stores.LATEST)
    kind, point = "control_msgs/msg/JointTrajectoryControllerState", "trajectory_msgs/msg/JointTrajectoryPoint"
    store.register(get_types_from_msg(STATE, kind))
    knots, q = np.linspace(0.0, 1.6, 4), HOME + random.uniform(-0.3, 0.3, (4, 6))
    inner = np.pad(random.uniform(-0.3, 0.3, (2, 2, 6)), ((0, 0), (1, 1), (0, 0)))
    law = controlled([q, *inner], knots, 3)
    t, _, true = sampled(law, 1.6, 0.01)
    since = store.types["builtin_interfaces/msg/Duration"](sec=0, nanosec=0)
    none = store.types[point](NONE, NONE, NONE, NONE, since)
    with Writer2(folder / "log", version=9, storage_plugin=StoragePlugin.MCAP) as writer:
        connection = writer.add_connection("/arm_controller/controller_state", kind, typestore=store)
        for i, rows in enumerate(zip(*law(t - 0.1), strict=True)):
            outside = not 0.0 <= t[i] - 0.1 <= 1.6
            reference = store.types[point](rows[0], *[row * (not outside) for row in rows[1:]], NONE, since)
            head, stamp = header_of(store, i, 0.01)
            sent = store.types[kind](head, list(NAMES), reference, reference, none, none)
            writer.write(connection, stamp, store.serialize_cdr(sent, kind))
    return Made(folder / "log", true)


def line(folder, random):
    """The toolbox's ctraj, a line with a trapezoid of speed, as poses with quaternions, to 1 um."""
    start, way, lasts = SE3(0.4, -0.2, 0.3) * SE3.Rx(np.pi), random.uniform(0.1, 0.25, 3), 1.2
    t, fine = np.linspace(0.0, lasts, 301), np.linspace(0.0, lasts, 2401)
    made = ctraj(start, SE3(way) * start, t)
    table = np.column_stack([t, made.t, [each.UnitQuaternion().vec_xyzs for each in made]])
    np.savetxt(folder / "log.csv", table, "%.6f", ",", header="t [s],x [m],y [m],z [m],qx,qy,qz,qw", comments="")
    law = trapezoidal(0.0, 1.0, fine)
    slides = gm.chain_from_axes([np.eye(4)] * 3, np.eye(3), [False] * 3, start.A)
    return Made(folder / "log.csv", (fine, *(np.outer(row, way) for row in (law.q, law.qd, law.qdd))), {}, slides)


def followed_by_pinocchio(folder, random):
    """A public arm that Pinocchio moves by its forward dynamics, torques at 2 kHz with a load they do not know of.

    Joint states at 250 Hz, in a bag of ROS 1 by rosbags.
    """
    store, kind, step = get_typestore(Stores.ROS1_NOETIC), "sensor_msgs/msg/JointState", 5e-4
    plain = pin.buildModelFromUrdf(str(PUBLIC))
    model = plain.copy()
    model.appendBodyToJoint(6, pin.Inertia.FromSphere(1.0, 0.1), pin.SE3.Identity())
    data, known = model.createData(), plain.createData()
    plan, lasts = of_ruckig(random)
    t = np.arange(0.0, lasts + 0.3, step)
    asked = np.array(plan(np.clip(t - 0.1, 0.0, lasts)))
    asked[1:, (t < 0.1) | (t > lasts + 0.1)] = 0.0
    q, qd, true = asked[0, 0].copy(), np.zeros(6), []
    for place, speed, acceleration in np.swapaxes(asked, 0, 1):
        wanted = acceleration + 160.0 * (speed - qd) + 80.0**2 * (place - q)
        qdd = pin.aba(model, data, q, qd, pin.rnea(plain, known, q, qd, wanted))
        true.append((q, qd, qdd))
        q = q + step * qd + step**2 / 2.0 * qdd  # exact for the torque that is held, but for what the arm turns by
        qd = qd + step * qdd
    true = np.swapaxes(np.array(true), 0, 1)
    with Writer1(folder / "log.bag") as writer:
        connection = writer.add_connection("/joint_states", kind, typestore=store)
        for i, row in enumerate(true[0, ::8]):
            head, stamp = header_of(store, i, 8 * step)
            sent = store.types[kind](header=head, name=list(model.names[1:]), position=row, velocity=NONE, effort=NONE)
            writer.write(connection, stamp, store.serialize_ros1(sent, kind))
    return Made(folder / "log.bag", (t, *true), {}, gm.read_urdf(PUBLIC))


def followed_by_mujoco(folder, random):
    """An arm that MuJoCo moves by position servos after a move of least jerk, its encoders at 500 Hz to 1e-4 deg.

    A table as offices write it: degrees, semicolons, decimal commas.
    """
    spec = mujoco.MjSpec()
    spec.option.timestep, spec.option.gravity = 5e-4, DOWN
    body = spec.worldbody
    for name, axis in zip(NAMES, np.eye(3)[[2, 1, 1, 0, 1, 0]], strict=True):
        body = body.add_body(name=name, pos=(0.0, 0.0, 0.2), mass=2.0, inertia=[0.02] * 3, explicitinertial=True)
        body.add_joint(name=name, axis=axis, armature=0.5)
        drive = spec.add_actuator(name=name, target=name, trntype=mujoco.mjtTrn.mjTRN_JOINT)
        drive.set_to_position(kp=4000.0, kv=80.0)
    model = spec.compile()
    data, plan = mujoco.MjData(model), jtraj(HOME, HOME + random.uniform(-0.5, 0.5, 6), np.linspace(0.0, 1.2, 2401)).q
    data.qpos[:], true = HOME, []
    for k in range(-2000, 2800):
        data.ctrl[:] = plan[np.clip(k, 0, 2400)]
        before = data.qpos.copy(), data.qvel.copy()
        mujoco.mj_step(model, data)
        true.append((*before, data.qacc.copy()))
    true = np.swapaxes(np.array(true[1800:]), 0, 1)  # from rest under gravity on
    t = np.arange(true.shape[1]) * 5e-4
    table = pandas.DataFrame(np.rad2deg(true[0, ::4]), columns=[f"{name} [deg]" for name in NAMES])
    table.insert(0, "time [s]", t[::4])
    table.to_csv(folder / "log.csv", sep=";", decimal=",", float_format="%.4f", index=False)
    return Made(folder / "log.csv", (t, *true))


ORIGINS = (
    jerk_limited,
    fastest,
    quintic,
    splined,
    message,
    state,
    line,
    followed_by_pinocchio,
    followed_by_mujoco,
)


@pytest.mark.parametrize("origin", ORIGINS, ids=lambda origin: origin.__name__)
def test_logs_of_others_are_read_with_one_option_at_most_and_decided(tmp_path, origin):
    made = origin(tmp_path, np.random.default_rng(3))
    assert len(made.options) <= 1
    trajectory = gm.read_trajectory(made.path, robot=made.robot, **made.options)
    job, face = plate()
    load = part_load(job.part, joint_motion(made.robot, *made.true), DOWN)
    part = replace(job.part, surface_factor=FACTOR * TARGET * float(peak_utilisation(face, load)[0].max()))
    found = next(iter(hold.results(work_out(replace(job, robot=made.robot, part=part, trajectory=trajectory)))))
    assert found.verdict is gm.Verdict.PASS
    assert found.low <= FACTOR * TARGET * (1.0 + 1e-4)  # the truth: nothing passes that falls short
