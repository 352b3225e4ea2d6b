"""What several tests need: published figures, random chains and bodies, an arm, pads, programs with exact rates."""

import importlib.util
import os
import tomllib
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.run.workers import ONE_THREAD

pytest_plugins = ["support.jobs", "support.slides"]

REFERENCE = Path(__file__).parent / "reference"

# Workers are as many as cores: threads of their own would wait for each other.
for name in ONE_THREAD:
    os.environ.setdefault(name, "1")


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """Neighbouring tests share fixtures and few tests take long: workers that are done take over from others."""
    from xdist.scheduler import WorkStealingScheduling

    return WorkStealingScheduling(config, log)


@pytest.fixture(scope="session")
def published():
    """Published figures by file and name; each has a value, a tolerance and where it comes from."""

    def look_up(file, name):
        cases = tomllib.loads((REFERENCE / f"{file}.toml").read_text(encoding="utf-8"))["case"]
        (found,) = [case for case in cases if case["name"] == name]
        return found

    return look_up


def _random_pose(random, reach):
    matrix = np.eye(4)
    matrix[:3, :3] = Rotation.random(rng=random).as_matrix()
    matrix[:3, 3] = random.uniform(-reach, reach, 3)
    return matrix


@pytest.fixture(scope="session")
def random_chain():
    """A chain with joints of both kinds, any frames, base and tool."""

    def make(random, joints):
        links = np.stack([_random_pose(random, 0.5) for _ in range(joints + 1)])
        revolute = random.integers(2, size=joints).astype(bool)
        names = tuple(f"joint{i}" for i in range(joints))
        return gm.Chain(links=links, revolute=tuple(revolute), names=names)

    return make


@pytest.fixture(scope="session")
def random_part():
    """A part with an inertia that a body can have: that of a cloud of points, in any axes."""

    def make(random):
        spread = random.normal(size=(3, 12)) * random.uniform(0.01, 0.3, (3, 1))
        mass = float(10.0 ** random.uniform(-2, 1.5))
        second = spread @ spread.T * (mass / 12)
        turn = Rotation.random(rng=random).as_matrix()
        inertia = turn @ (np.trace(second) * np.eye(3) - second) @ turn.T
        return gm.Part(
            face="plane", rigid=True, mass=mass, com=random.uniform(-0.3, 0.3, 3), inertia=(inertia + inertia.T) / 2
        )

    return make


@pytest.fixture(scope="session")
def arm():
    """A six-axis arm of a common shape (shoulder offset, spherical wrist) with an invented set of lengths.

    At zero the tool is 0.8 m from the base's axis and its z axis points down.
    """
    half = np.pi / 2
    origins = [
        gm.pose((0, 0, 0.4)),
        gm.pose((0.1, 0, 0), (-half, 0, 0)),
        gm.pose((0, -0.4, 0)),
        gm.pose((0.6, 0, 0)),
        np.eye(4),
        np.eye(4),
    ]
    axes = [(0, 0, 1), (0, 0, 1), (0, 0, 1), (1, 0, 0), (0, 0, 1), (1, 0, 0)]
    return gm.chain_from_axes(
        origins,
        axes,
        [True] * 6,
        gm.pose((0.1, 0, 0), (-half, 0, 0)),
        names=[f"axis{i}" for i in range(1, 7)],
        source="six-axis arm",
    )


@pytest.fixture(scope="session")
def gantry():
    """Three slides along x, y, z and a turn about the vertical; the tool hangs down."""
    flip = gm.pose(rpy=(np.pi, 0, 0))
    return gm.chain_from_axes(
        [np.eye(4)] * 4,
        [(1, 0, 0), (0, 1, 0), (0, 0, 1), (0, 0, 1)],
        [False, False, False, True],
        flip,
        names=["x", "y", "z", "c"],
        source="gantry",
    )


@pytest.fixture(scope="session")
def film():
    """A pad material of 50 kPa both ways on a backing of 0.1 N/mm3."""
    return gm.PadMaterial(
        name="film", pull_off_stress=50e3, shear_strength=50e3, normal_stiffness=1e8, shear_stiffness=3.3e7
    )


@pytest.fixture(scope="session")
def one_pad(film):
    """A gripper with one pad of 50 x 50 mm at the tool origin."""
    return gm.Gripper(pads=(gm.Pad.rectangle("pad", film, [0.05, 0.05]),))


@pytest.fixture(scope="session")
def plate():
    """A plate of 1 kg, 120 x 80 x 8 mm, held at its middle."""

    def make(mass=1.0, com=(0.0, 0.0, 0.004)):
        x, y, z = 0.120, 0.080, 0.008
        moments = mass / 12 * np.array([y * y + z * z, x * x + z * z, x * x + y * y])
        return gm.Part(face="plane", rigid=True, mass=mass, com=com, inertia=[*moments, 0, 0, 0])

    return make


@dataclass(frozen=True)
class Exact:
    """Joint values over time with their exact rates, and the times at which the program changes its mind."""

    joints: int
    moves: tuple[tuple[float, float, np.ndarray], ...]  # start, duration, travel

    def at(self, t):
        """Positions, speeds and accelerations at any times, each of shape (n, joints)."""
        q, qd, qdd = (np.zeros((np.size(t), self.joints)) for _ in range(3))
        for start, duration, travel in self.moves:
            s = np.clip((np.asarray(t) - start) / duration, 0.0, 1.0)[:, None]
            q += (10 * s**3 - 15 * s**4 + 6 * s**5) * travel
            qd += 30 * s**2 * (1 - s) ** 2 * travel / duration
            qdd += 60 * s * (1 - s) * (1 - 2 * s) * travel / duration**2
        return q, qd, qdd


@pytest.fixture(scope="session")
def exact_moves():
    """Moves from rest to rest, each a polynomial of degree five: list of (start [s], duration [s], travel)."""

    def make(joints, *moves):
        return Exact(joints, tuple((s, d, np.asarray(travel, dtype=float)) for s, d, travel in moves))

    return make


@pytest.fixture(scope="session")
def smooth():
    """A straight way of one joint by the polynomial of degree five, with its rates."""

    def make(length=1.0, duration=2.0, step=0.004, moves=None):
        t = np.arange(0.0, duration + step / 2, step)
        x = t / duration
        q = length * (10 * x**3 - 15 * x**4 + 6 * x**5)
        qd = length * 30 * x**2 * (1 - x) ** 2 / duration
        qdd = length * 60 * x * (1 - x) * (1 - 2 * x) / duration**2
        return gm.JointTrajectory(t=t, q=q[:, None], qd=qd[:, None], qdd=qdd[:, None], moves=moves)

    return make


def _normalised(maps, load):
    """Traction over what is held, compression left out; shape (3, points, samples)."""
    return np.stack([maps[0] @ load, maps[1] @ load, np.maximum(maps[2] @ load, 0.0)])


@pytest.fixture(scope="session")
def true_margin():
    """The least grip margin of a program whose rates are known at any time, sampled so densely that no peak hides."""

    def find(exact, robot, gripper, part, span, *, step=2e-4, gravity=(0.0, 0.0, -9.80665)):
        t = np.arange(span[0], span[1] + step / 2, step)
        q, qd, qdd = exact.at(t)
        case = work_out(
            gm.Job(
                name="truth",
                trajectory=gm.JointTrajectory(t=t, q=q, qd=qd, qdd=qdd),
                gripper=gripper,
                part=part,
                robot=robot,
                gravity=gravity,
            )
        )
        maps = case.grip.face.maps
        return float(1.0 / np.linalg.norm(_normalised(maps, case.load), axis=0).max())

    return find


@pytest.fixture(scope="session")
def worked_out():
    """A job worked out into motion, load and pads."""

    def make(**job):
        return work_out(gm.Job(name="case", **job))

    return make


@dataclass(frozen=True)
class PinocchioArm:
    """A chain with a body at its tool, in Pinocchio."""

    model: object
    tool: int
    joint: int
    in_last: object

    def frame(self, q, qd, qdd):
        """Placement, velocity and classical acceleration of the tool frame, in tool axes."""
        import pinocchio as pin

        data = self.model.createData()
        pin.forwardKinematics(self.model, data, q, qd, qdd)
        place = pin.updateFramePlacement(self.model, data, self.tool)
        velocity = pin.getFrameVelocity(self.model, data, self.tool, pin.LOCAL)
        acceleration = pin.getFrameClassicalAcceleration(self.model, data, self.tool, pin.LOCAL)
        return place, velocity, acceleration

    def load(self, data, q, qd, qdd):
        """The wrench of the body on what holds it, at the tool origin in tool axes: recursive Newton-Euler."""
        import pinocchio as pin

        pin.rnea(self.model, data, q, qd, qdd)
        # The links weigh nothing, so what drives the last one holds the body.
        return -self.in_last.actInv(data.f[self.joint]).vector


@pytest.fixture(scope="session")
def pinocchio_arm():
    """The same chain, body and gravity in Pinocchio."""
    import pinocchio as pin

    def make(chain, part=None, gravity=(0.0, 0.0, -9.80665)):
        model = pin.Model()
        model.gravity = pin.Motion(np.array(gravity, dtype=float), np.zeros(3))
        joint = 0
        for i, turns in enumerate(chain.revolute):
            kind = pin.JointModelRZ() if turns else pin.JointModelPZ()
            joint = model.addJoint(joint, kind, pin.SE3(chain.links[i].copy()), f"joint{i}")
        in_last = pin.SE3(chain.links[-1].copy())
        tool = model.addFrame(pin.Frame("tool", joint, in_last, pin.OP_FRAME))
        if part is not None:
            model.appendBodyToJoint(joint, pin.Inertia(part.mass, part.com.copy(), part.inertia.copy()), in_last)
        return PinocchioArm(model, tool, joint, in_last)

    return make


RTBDATA = Path(importlib.util.find_spec("rtbdata").submodule_search_locations[0]) / "xacro"
INDUSTRIAL_ARMS = {
    "abb_irb140_description/urdf/irb140.urdf": "tool0",
    "kuka_description/kuka_kr16/urdf/kr16_2.urdf": "tool0",
    "kuka_description/kuka_kr120/urdf/kr120r2500pro.urdf": "tool0",
    "kuka_description/kuka_kr210/urdf/kr210l150.urdf": "tool0",
    "kuka_description/kuka_lbr_iiwa/urdf/lbr_iiwa_14_r820.urdf": "tool0",
    "unimation_puma560_description/urdf/puma560_robot.urdf": "link7",
}


@pytest.fixture(params=INDUSTRIAL_ARMS, ids=lambda file: Path(file).stem)
def industrial_arm(request):
    """A robot of the toolbox's data package: our reading of its URDF file, and Pinocchio's own."""
    import pinocchio as pin

    from gripmargin.files.urdf import read_urdf

    path, end = RTBDATA / request.param, INDUSTRIAL_ARMS[request.param]

    def make(tool, part=None, gravity=(0.0, 0.0, -9.80665)):
        chain = read_urdf(path, end_link=end).mounted(tool=tool)
        whole = pin.buildModelFromUrdf(str(path))
        idle = [whole.getJointId(name) for name in whole.names[1:] if name not in chain.names]
        model = pin.buildReducedModel(whole, idle, pin.neutral(whole)) if idle else whole
        assert tuple(model.names[1:]) == chain.names
        assert model.nq == model.nv == chain.joints  # no continuous joint, which Pinocchio keeps as cosine and sine
        model.gravity = pin.Motion(np.array(gravity, dtype=float), np.zeros(3))
        for i in range(model.njoints):
            model.inertias[i] = pin.Inertia.Zero()
        frame = model.frames[model.getFrameId(end)]
        in_last = frame.placement * pin.SE3(np.array(tool))
        tool_frame = model.addFrame(pin.Frame("our tool", frame.parentJoint, in_last, pin.OP_FRAME))
        if part is not None:
            inertia = pin.Inertia(part.mass, part.com.copy(), part.inertia.copy())
            model.appendBodyToJoint(frame.parentJoint, inertia, in_last)
        return chain, PinocchioArm(model, tool_frame, frame.parentJoint, in_last)

    return make


@pytest.fixture(scope="session")
def mujoco_sensors():
    """Force and torque sensors at the tool, and its frame sensors, of a generated MuJoCo model."""
    import mujoco

    def numbers(values):
        return " ".join(f"{float(v):.17g}" for v in np.ravel(values))

    def placed(matrix):
        x, y, z, w = Rotation.from_matrix(matrix[:3, :3]).as_quat()
        return f'pos="{numbers(matrix[:3, 3])}" quat="{numbers([w, x, y, z])}"'

    def make(chain, part, gravity):
        moments, axes = np.linalg.eigh(part.inertia)
        axes = axes * np.sign(np.linalg.det(axes))
        principal = np.eye(4)
        principal[:3, :3], principal[:3, 3] = axes, part.com
        head, tail = "", "</body>"
        for i, turns in enumerate(chain.revolute):
            kind = "hinge" if turns else "slide"
            # MuJoCo wants some mass in every moving body; the sensors do not feel it.
            head += (
                f"<body {placed(chain.links[i])}><joint type='{kind}' axis='0 0 1'/>"
                "<inertial pos='0 0 0' mass='1e-3' diaginertia='1e-6 1e-6 1e-6'/>"
            )
            tail += "</body>"
        head += (
            f"<body {placed(chain.links[-1])}><site name='tool'/>"
            f'<inertial {placed(principal)} mass="{part.mass:.17g}" diaginertia="{numbers(moments)}"/>'
        )
        kinds = ("force", "torque", "velocimeter", "gyro", "accelerometer")
        sensors = "".join(f"<{kind} site='tool'/>" for kind in kinds)
        model = mujoco.MjModel.from_xml_string(
            f"<mujoco><compiler angle='radian'/><option gravity='{numbers(gravity)}'/>"
            f"<worldbody>{head}{tail}</worldbody><sensor>{sensors}</sensor></mujoco>"
        )
        data = mujoco.MjData(model)

        def read(q, qd, qdd):
            data.qpos[:], data.qvel[:], data.qacc[:] = q, qd, qdd
            mujoco.mj_inverse(model, data)
            return dict(zip(kinds, data.sensordata.reshape(-1, 3).copy(), strict=True))

        return read

    return make
