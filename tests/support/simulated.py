"""Random stops of random arms in MuJoCo: an arm whose drives nothing holds up, and the part on six springs at its tool.

The springs are fixed tendons over three slides and three hinges at the centre of the pads, one for each natural
vibration, so that they have the full stiffness and damping of the pads; the dynamics of the part are MuJoCo's, at any
displacement.
"""

from contextlib import suppress
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from scipy.linalg import eigh
from scipy.signal import cont2discrete, lfilter
from scipy.spatial.transform import Rotation

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.contact.loads import part_load
from gripmargin.motion.tool_motion import joint_motion

HEAVY = 1e9  # armature of the drives [kg m^2 or kg]: no load of the part moves them
STILL = 1e-4  # mass that MuJoCo wants in every moving body [kg]
FINE = 0.15  # [rad] by which the fastest vibration turns in a step
KINDS = ("time", "deceleration", "axes")


class Moves:
    """Two moves that may overlap, of minimum jerk or with sudden accelerations."""

    def __init__(self, random, joints, *, sudden):
        self.sudden = sudden
        self.way = random.uniform(-1, 1, (2, joints))
        self.time, self.start = random.uniform(0.3, 0.9, 2), (0.05, random.uniform(0.1, 0.5))

    def at(self, t):
        q, qd, qdd = np.zeros((3, np.size(t), self.way.shape[1]))
        for way, time, start in zip(self.way, self.time, self.start, strict=True):
            s = np.clip((np.asarray(t) - start) / time, 0, 1)[:, None]
            if self.sudden:
                first = s < 0.5
                q += np.where(first, 2 * s**2, 1 - 2 * (1 - s) ** 2) * way
                qd += np.where(first, 4 * s, 4 * (1 - s)) * way / time
                qdd += np.where((s > 0) & (s < 1), np.where(first, 4.0, -4.0), 0.0) * way / time**2
                continue
            q += (10 * s**3 - 15 * s**4 + 6 * s**5) * way
            qd += 30 * s**2 * (1 - s) ** 2 * way / time
            qdd += 60 * s * (1 - s) * (1 - 2 * s) * way / time**2
        return q, qd, qdd


def random_job(random, kind, *, sudden, step=0.001, dampings=(0.01, 0.03, 0.1, 0.3)):
    """A job whose slowest vibration is at 20 Hz or more, and its moves."""
    while True:
        moves, job = _any_job(random, kind, sudden=sudden, step=step, dampings=dampings)
        few = gm.JointTrajectory(**{name: getattr(job.trajectory, name)[:5] for name in ("t", "q", "qd", "qdd")})
        omega, _ = vibrations(work_out(replace(job, trajectory=few)))
        if omega[0] >= 2 * np.pi * 20 and omega[-1] < 2 * np.pi * 2e3:
            return moves, job


def _any_job(random, kind, *, sudden, step, dampings):
    joints = int(random.integers(2, 7))
    links = [
        gm.pose(random.uniform(-0.4, 0.4, 3), turn) for turn in Rotation.random(joints + 1, rng=random).as_euler("xyz")
    ]
    stiffness = 10 ** random.uniform(7, 9)
    film = gm.PadMaterial(
        pull_off_stress=5e4,
        shear_strength=4e4,
        normal_stiffness=stiffness,
        shear_stiffness=stiffness * random.uniform(0.2, 0.6),
        damping_ratio=float(random.choice(dampings)),
    )
    gripper = None
    for i in range(random.integers(1, 4)):
        at = gm.pose(random.uniform(-0.08, 0.08, 3) * [1, 1, 0], random.uniform(-0.2, 0.2, 3))
        pad = gm.Pad.rectangle(f"pad {i}", film, random.uniform(0.01, 0.05, 2), at)
        with suppress(gm.InputError):  # a pad that overlaps another is left out
            gripper = gm.Gripper(pads=(*(gripper.pads if gripper else ()), pad))
    cloud = random.normal(size=(3, 12)) * random.uniform(0.01, 0.1, (3, 1))
    mass = 10 ** random.uniform(-1, 0.5)
    second = cloud @ cloud.T * (mass / 12)
    long = 10 ** random.uniform(-1.2, -0.2)
    ramp = min(float(random.choice([0, 0, 0.03])), long / 2)
    stop = {
        "time": gm.Stop(time=long, ramp=ramp),
        "deceleration": gm.Stop(deceleration=10 ** random.uniform(0.5, 1.3), ramp=ramp),
        "axes": gm.Stop(axis_deceleration=10 ** random.uniform(0.5, 1.7, joints)),
    }[kind]
    moves, t = Moves(random, joints, sudden=sudden), np.arange(0, 1.4 + step / 2, step)
    q, qd, qdd = moves.at(t)
    return moves, gm.Job(
        name="random",
        trajectory=gm.JointTrajectory(t=t, q=q, qd=qd, qdd=qdd),
        gripper=gripper,
        part=gm.Part(
            face="plane",
            rigid=True,
            mass=mass,
            com=random.uniform(-0.06, 0.06, 3),
            inertia=np.trace(second) * np.eye(3) - second,
        ),
        robot=gm.Chain(links=np.stack(links), revolute=tuple(bool(x) for x in random.random(joints) < 0.8)),
        stop=stop,
    )


def vibrations(case):
    """Natural frequencies of the part on its pads [rad/s], rising, and shapes x with x' K x = 1."""
    part, k = case.job.part, case.whole.stiffness
    x, y, z = part.com
    cross = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    mass = np.block(
        [
            [part.mass * np.eye(3), -part.mass * cross],
            [part.mass * cross, part.inertia - part.mass * cross @ cross],
        ]
    )
    softness, shapes = eigh(mass, k)
    return 1 / np.sqrt(softness[::-1]), shapes[:, ::-1]


@dataclass(frozen=True)
class Stopped:
    """A program that is stopped: when the drives change their minds, and how.

    Attributes:
        begin: When the stop begins [s].
        ends: When the accelerations jump, the last time to rest [s].
        joints: Times to positions, speeds and accelerations of the joints; at the begin those of the stop.
    """

    begin: float
    ends: object
    joints: object

    @property
    def rest(self):
        return float(np.max(self.ends))

    def speed(self, t):
        return self.joints(t)[1]


def braking(after, ramp):
    """What brakes with a rate of 1 that build up over a ramp have done: deceleration, loss of speed and of way."""
    up = np.minimum(after, ramp)
    full = after - up
    speed = up**2 / (2 * ramp) if ramp else 0 * up
    way = (up**3 / (6 * ramp) if ramp else 0.0) + speed * full + full**2 / 2
    return up / ramp if ramp else np.ones_like(after), speed + full, way


def lasts(speed, ramp):
    return np.where(speed >= ramp / 2, speed + ramp / 2, np.sqrt(2 * ramp * speed))


def along_path(moves, begin, rate, ramp):
    end = float(lasts(np.array(1 / rate), ramp))

    def joints(t):
        after = np.clip(t - begin, 0.0, end)
        brake, loss, way = braking(after, ramp)
        q, qd, qdd = moves.at(np.minimum(t, begin) + after - rate * way)
        slowing = rate * brake * ((t >= begin) & (after < end))
        s = np.where(after < end, 1 - rate * loss, 0.0)[:, None]
        return q, qd * s, qdd * s**2 - qd * slowing[:, None]

    return Stopped(begin, np.array([begin + end]), joints)


def off_path(moves, begin, rates, ramp):
    place, at, _ = (x[0] for x in moves.at(np.array([begin])))
    ends, slowing = lasts(np.abs(at) / rates, ramp), -np.sign(at) * rates

    def joints(t):
        after = np.clip(t[:, None] - begin, 0.0, ends)
        brake, loss, way = braking(after, ramp)
        brakes = after < ends
        q, qd = place + at * after + slowing * way, np.where(brakes, at + slowing * loss, 0.0)
        stopped, before = (q, qd, slowing * brake * brakes), t[:, None] < begin
        return tuple(np.where(before, x, y) for x, y in zip(moves.at(t), stopped, strict=True))

    return Stopped(begin, begin + ends, joints)


def stopped_by(stopping, moves, sample):
    """The stop that begins at a sample."""
    begin, stop = float(stopping.case.job.trajectory.t[sample]), stopping.stop
    if stop.axis_deceleration is not None:
        return off_path(moves, begin, stop.axis_deceleration, stop.ramp)
    return along_path(moves, begin, float(stopping.rates.hard[sample]), stop.ramp)


def rising(omega, zeta, t):
    """Response to a step of 1 (closed form: Chopra, Dynamics of Structures, ch. 4, from memory)."""
    fast = omega * np.sqrt(1 - zeta**2)
    return 1 - np.exp(-zeta * omega * t) * (np.cos(fast * t) + zeta * omega / fast * np.sin(fast * t))


def linear_use(case, stopped, *, swinging, fine=0.2, most=20_000):
    """The largest use of the pads from the begin of a stop on, for small displacements: mode by mode, by scipy.

    The part hangs still under the load when the stop begins, or swings as the program has made it.
    """
    job, (omega, shapes) = case.job, vibrations(case)
    zeta = case.whole.patches[0].pad.material.damping_ratio or 0.0
    whole = stopped.rest - stopped.begin + max(4 * np.pi / omega[0], 0.3)
    step = stopped.begin / np.ceil(stopped.begin / max(fine / omega[-1], whole / most))
    before = np.arange(round(stopped.begin / step) + 1) * step
    after = np.arange(int(whole / step)) * step

    def asked(t):
        motion = joint_motion(job.robot, t, *stopped.joints(t))
        return shapes.T @ part_load(job.part, motion, np.asarray(job.gravity))

    until, then = asked(np.append(before[:-1], before[-1] - 1e-9)), asked(stopped.begin + after)
    if not swinging:
        until = until[:, -1:]
    jumps = np.diff([asked(stopped.ends + shift) for shift in (-1e-9, 1e-9)], axis=0)[0]
    since = stopped.begin + after - stopped.ends[:, None]
    then -= jumps @ (since > 0.0)  # what is left is straight between samples
    response = []
    for w, old, new, jump in zip(omega, until, then, jumps, strict=True):
        top, bottom, _ = cont2discrete(([1.0], [1 / w**2, 2 * zeta / w, 1.0]), step, method="foh")
        going = lfilter(top[0], bottom, np.concatenate([old, np.full(after.size - 1, old[-1])]) - old[0]) + old[0]
        gone = lfilter(top[0], bottom, new - new[0]) + (new[0] - old[-1]) * rising(w, zeta, after)
        response.append(going[-after.size :] + gone + jump @ rising(w, zeta, np.maximum(since, 0.0)))
    t1, t2, s = case.grip.face.maps @ (case.whole.stiffness @ shapes @ np.array(response))
    return float(np.sqrt(t1**2 + t2**2 + np.maximum(s, 0) ** 2).max())


def seen_at_centre(case):
    """What displacements at the centre of the pads are at the tool origin, shape (6, 6)."""
    x, y, z = case.whole.centre
    out = np.eye(6)
    out[:3, 3:] = [[0, -z, y], [z, 0, -x], [-y, x, 0]]
    return out


def model_of(case):
    """The arm with the part on its springs, in MuJoCo; a motor at each joint, in units of acceleration."""
    import mujoco

    job, chain, part, centre = case.job, case.job.robot, case.job.part, case.whole.centre
    omega, shapes = vibrations(case)
    zeta = case.whole.patches[0].pad.material.damping_ratio or 0.0

    def numbers(values):
        return " ".join(f"{float(v):.17g}" for v in np.ravel(values))

    def placed(matrix):
        x, y, z, w = Rotation.from_matrix(matrix[:3, :3]).as_quat()
        return f'pos="{numbers(matrix[:3, 3])}" quat="{numbers([w, x, y, z])}"'

    moments, axes = np.linalg.eigh(part.inertia)
    principal = np.eye(4)
    principal[:3, :3], principal[:3, 3] = axes * np.sign(np.linalg.det(axes)), part.com - centre
    head, tail, motors = "", "", ""
    still = f"<inertial pos='0 0 0' mass='{STILL}' diaginertia='1e-7 1e-7 1e-7'/>"
    for i, turns in enumerate(chain.revolute):
        kind = "hinge" if turns else "slide"
        joint = f"<joint name='j{i}' type='{kind}' axis='0 0 1' armature='{HEAVY}'/>"
        head += f"<body {placed(chain.links[i])}>{joint}{still}"
        tail += "</body>"
        motors += f"<motor joint='j{i}' gear='{HEAVY}'/>"
    springs = "".join(
        f"<joint name='s{i}' type='{('slide', 'hinge')[i // 3]}' axis='{numbers(np.eye(3)[i % 3])}'/>" for i in range(6)
    )
    tendons = "".join(
        f"<fixed stiffness='1' springlength='0' damping='{2 * zeta / w:.17g}'>"
        + "".join(f"<joint joint='s{i}' coef='{x:.17g}'/>" for i, x in enumerate(column))
        + "</fixed>"
        for w, column in zip(omega, (seen_at_centre(case).T @ case.whole.stiffness @ shapes).T, strict=True)
    )
    return mujoco.MjModel.from_xml_string(
        f"<mujoco><compiler angle='radian'/><option gravity='{numbers(job.gravity)}' integrator='RK4'"
        f" timestep='{FINE / omega[-1]:.17g}'><flag contact='disable' constraint='disable'/></option>"
        f"<worldbody>{head}<body {placed(chain.links[-1] @ gm.pose(centre))}>{springs}"
        f'<inertial {placed(principal)} mass="{part.mass:.17g}" diaginertia="{numbers(moments)}"/></body>'
        f"{tail}</worldbody><tendon>{tendons}</tendon><actuator>{motors}</actuator></mujoco>"
    )


def swaying(case, place, speed, borders):
    """Yield how the part stands to the tool between borders of time, at the centre of the pads, shape (6, n) each.

    It begins in balance, in an arm at rest at some place; the drives follow the speeds, which may jump at borders.
    """
    import mujoco
    from mujoco import rollout

    model = model_of(case)
    data, joints, step = mujoco.MjData(model), case.job.robot.joints, model.opt.timestep
    stiffness = seen_at_centre(case).T @ case.whole.stiffness @ seen_at_centre(case)
    data.qpos[:joints] = place
    for _ in range(60):
        mujoco.mj_forward(model, data)
        data.qpos[joints:] = np.linalg.solve(stiffness, -data.qfrc_bias[joints:])
    for first, last in pairwise(borders):
        count = int(np.ceil((last - first) / step))
        model.opt.timestep = (last - first) / count
        times = first + np.arange(count + 1) * model.opt.timestep
        control = np.diff(speed(times), axis=0) / model.opt.timestep
        initial = np.empty(mujoco.mj_stateSize(model, mujoco.mjtState.mjSTATE_FULLPHYSICS))
        mujoco.mj_getState(model, data, initial, mujoco.mjtState.mjSTATE_FULLPHYSICS)
        states = np.vstack([initial, rollout.rollout(model, data, initial[None], control[None])[0][0]])
        yield states[:, 1 + joints : 1 + model.nq].T
        data.qpos[:], data.qvel[:] = np.split(states[-1, 1 : 1 + model.nq + model.nv], [model.nq])


def used(case, sway):
    """The largest utilisation of the pads by a part that stands so to the tool."""
    t1, t2, s = case.grip.face.maps @ (case.whole.stiffness @ seen_at_centre(case) @ sway)
    return float(np.sqrt(t1**2 + t2**2 + np.maximum(s, 0) ** 2).max())


def largest_use(case, moves, stopped, *, rings=12.0, shortest=0.3):
    """The largest utilisation of the pads from the begin of a stop on, and the largest angle by which the part turns.

    It is followed for so many periods of the slowest vibration after the arm rests.
    """
    ends = stopped.rest + max(rings * 2 * np.pi / vibrations(case)[0][0], shortest)
    _, sway = swaying(case, moves.at(np.zeros(1))[0][0], stopped.speed, [0.0, stopped.begin, ends])
    return used(case, sway), float(np.abs(sway[3:]).max())
