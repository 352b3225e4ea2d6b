"""How long kinematics, load and a whole check take a sample, beside a plain loop of Pinocchio; run by hand.

python tests/bench/speed.py
"""

import statistics
import sys
import time
from dataclasses import replace

import numpy as np
import pinocchio as pin

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.hold.use import pad_use
from gripmargin.checks.stop.use import Stopping, stop_use
from gripmargin.checks.swing.ringing import stretches_of
from gripmargin.checks.swing.use import swing_use
from gripmargin.contact.loads import part_load
from gripmargin.motion.tool_motion import joint_motion

SAMPLES, ROUNDS, LOOP = 100_000, 9, 10_000
GRAVITY = (0.0, 0.0, -9.80665)


def arm() -> gm.Chain:
    """Six turning joints with the twists of a common arm: 0, -90, 0, -90, 90, -90 deg."""
    half = np.pi / 2
    twists = [0, -half, 0, -half, half, -half, 0]
    links = [gm.pose((0.3 * (i % 2), 0, 0.2 * (i % 3)), (twist, 0, 0)) for i, twist in enumerate(twists)]
    return gm.Chain(links=np.stack(links), revolute=(True,) * 6)


def skew_arm() -> gm.Chain:
    """Six turning joints with no frame along another."""
    random = np.random.default_rng(0)
    links = [gm.pose(random.normal(size=3) * 0.3, random.normal(size=3)) for _ in range(7)]
    return gm.Chain(links=np.stack(links), revolute=(True,) * 6)


def program(samples: int) -> tuple[np.ndarray, ...]:
    """A swing of all joints at 250 Hz."""
    t = np.arange(samples) * 0.004
    size, omega = np.linspace(0.2, 0.7, 6), np.linspace(0.7, 2.0, 6)
    angle = omega * t[:, None]
    return t, size * np.sin(angle), size * omega * np.cos(angle), -size * omega**2 * np.sin(angle)


def pinocchio_loop(chain: gm.Chain, part: gm.Part, q: np.ndarray, qd: np.ndarray, qdd: np.ndarray) -> np.ndarray:
    """The same load, one sample at a time."""
    model = pin.Model()
    model.gravity = pin.Motion(np.array(GRAVITY), np.zeros(3))
    joint = 0
    for i in range(6):
        joint = model.addJoint(joint, pin.JointModelRZ(), pin.SE3(chain.links[i].copy()), f"{i}")
    tool = pin.SE3(chain.links[6].copy())
    model.appendBodyToJoint(joint, pin.Inertia(part.mass, part.com.copy(), part.inertia.copy()), tool)
    data = model.createData()
    out = np.empty((6, len(q)))
    for i in range(len(q)):
        pin.rnea(model, data, q[i], qd[i], qdd[i])
        out[:, i] = tool.actInv(data.f[joint]).vector
    return -out


def medians(tasks: dict) -> dict[str, float]:
    """Median time of each task [us a sample]; the tasks take turns, so that all see the same machine."""
    taken = {name: [] for name in tasks}
    for _ in range(ROUNDS):
        for name, (samples, task) in tasks.items():
            start = time.perf_counter()
            task()
            taken[name].append((time.perf_counter() - start) / samples * 1e6)
    return {name: statistics.median(values) for name, values in taken.items()}


def main() -> None:
    part = gm.Part(face="plane", rigid=True, mass=1.0, com=[0.01, 0.02, 0.03], inertia=[1e-3, 2e-3, 2.5e-3, 1e-5, 0, 0])
    film = gm.PadMaterial(pull_off_stress=5e4, shear_strength=5e4, normal_stiffness=1e8, shear_stiffness=3.3e7)
    square = gm.Gripper(pads=(gm.Pad.rectangle("pad", film, [0.1, 0.1]),))
    disc = gm.Gripper(pads=(gm.Pad.disc("pad", film, 0.1),))
    t, q, qd, qdd = program(SAMPLES)
    trajectory = gm.JointTrajectory(t=t, q=q, qd=qd, qdd=qdd)
    bare = gm.JointTrajectory(t=t, q=q)
    gravity = np.array(GRAVITY)
    easy = gm.Targets(hold=1e-6)

    def load(robot: gm.Chain) -> np.ndarray:
        return part_load(part, joint_motion(robot, t, q, qd, qdd), gravity)

    common, skew = arm(), skew_arm()
    few = [x[:LOOP].copy() for x in (q, qd, qdd)]
    off = np.abs(load(common)[:, :LOOP] - pinocchio_loop(common, part, *few)).max()
    case = work_out(gm.Job(name="case", trajectory=trajectory, robot=common, gripper=square, part=part))

    def whole(made: gm.JointTrajectory, gripper: gm.Gripper) -> None:
        gm.check(trajectory=made, robot=common, gripper=gripper, part=part, targets=easy)

    stop = gm.Stop(time=0.3)
    stopped = work_out(replace(case.job, stop=stop))
    stopped.shared(stretches_of)

    def stops() -> None:
        stopping = Stopping(case=stopped, stop=stop)
        for kind in stopping.kinds:
            stop_use(stopping, kind, stopped.carried)

    tasks = {
        "tool motion and load, common arm": (SAMPLES, lambda: load(common)),
        "tool motion and load, skew arm": (SAMPLES, lambda: load(skew)),
        "the same load by a loop of Pinocchio's rnea": (LOOP, lambda: pinocchio_loop(common, part, *few)),
        "utilisation, one square pad, with what lies between": (SAMPLES, lambda: pad_use(case)),
        "swing of the part on its backing": (SAMPLES, lambda: swing_use(replace(case))),
        "stops along the path, swing included": (SAMPLES, stops),
        "whole check, rates given, square pad": (SAMPLES, lambda: whole(trajectory, square)),
        "whole check, rates given, disc": (SAMPLES, lambda: whole(trajectory, disc)),
        "whole check, positions alone, square pad": (SAMPLES, lambda: whole(bare, square)),
    }
    say = sys.stdout.write
    say(f"{SAMPLES} samples, six joints, median of {ROUNDS} rounds [us a sample]\n")
    say(f"largest difference to Pinocchio: {off:.1e} N or N m\n")
    for name, value in medians(tasks).items():
        say(f"{value:8.2f}  {name}\n")


if __name__ == "__main__":
    main()
