"""How much faster a new time law is than the best factor, and what tuning costs; run by hand.

python tests/bench/tuning.py [paths per arm]
"""

import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path as File

import numpy as np
from scipy.interpolate import CubicSpline

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.rests import stretches
from gripmargin.files.trajectory_writer import trajectory_bytes
from gripmargin.kernels.halfplane import chord_rows
from gripmargin.tuning.demands import Demands
from gripmargin.tuning.joint_program import JointProgram
from gripmargin.tuning.path import Path
from gripmargin.tuning.profile import Rows, fastest_squares
from gripmargin.tuning.track import Track
from gripmargin.workcell.job import JointLimits

HALF = np.pi / 2
ARMS = {  # name: joint speed [rad/s], joint acceleration [rad/s^2], shear and pull-off of the pads [Pa], gain wanted
    "slow": (3.0, 12.0, 8e3, 1.2),
    "fast": (8.0, 80.0, 1.2e4, 1.4),
}
ROUNDS = 5


def arm() -> gm.Chain:
    """Six turning joints of a common shape; at zero the tool points down."""
    origins = [
        gm.pose((0, 0, 0.4)),
        gm.pose((0.1, 0, 0), (-HALF, 0, 0)),
        gm.pose((0, -0.4, 0)),
        gm.pose((0.6, 0, 0)),
        np.eye(4),
        np.eye(4),
    ]
    axes = [(0, 0, 1), (0, 0, 1), (0, 0, 1), (1, 0, 0), (0, 0, 1), (1, 0, 0)]
    return gm.chain_from_axes(origins, axes, [True] * 6, gm.pose((0.1, 0, 0), (0, HALF, 0)))


def gripper(strength: float) -> gm.Gripper:
    """Four pads of 30 x 30 mm at the corners of a square."""
    film = gm.PadMaterial(
        pull_off_stress=strength, shear_strength=strength, normal_stiffness=1e8, shear_stiffness=3.3e7
    )
    pads = [
        gm.Pad.rectangle(f"{i}", film, [0.03, 0.03], gm.pose((x, y, 0)))
        for i, (x, y) in enumerate([(-0.05, -0.05), (0.05, -0.05), (0.05, 0.05), (-0.05, 0.05)])
    ]
    return gm.Gripper(pads=tuple(pads))


PART = gm.Part(face="plane", rigid=True, mass=1.0, com=[0.0, 0.0, 0.004], inertia=[2e-3, 2e-3, 4e-3, 0, 0, 0])


def random_job(seed: int, name: str) -> gm.Job:
    """A smooth path through random joint positions about a pose with level pads, by a minimum-jerk law."""
    speed, acceleration, strength, _ = ARMS[name]
    random = np.random.default_rng(seed)
    spread = np.array([1.2, 0.35, 0.35, 0.4, 0.4, 1.0])
    points = random.uniform(-1, 1, (5, 6)) * spread
    path = CubicSpline(np.linspace(0, 1, 5), points, bc_type="natural")
    duration = 3.0
    t = np.arange(0, duration + 1e-9, 0.002)
    x = t / duration
    s = 10 * x**3 - 15 * x**4 + 6 * x**5
    sd = 30 * x**2 * (1 - x) ** 2 / duration
    sdd = 60 * x * (1 - x) * (1 - 2 * x) / duration**2
    first, second = path(s, 1), path(s, 2)
    return gm.Job(
        name=f"{name} {seed}",
        trajectory=gm.JointTrajectory(
            t=t, q=path(s), qd=first * sd[:, None], qdd=first * sdd[:, None] + second * sd[:, None] ** 2
        ),
        robot=arm(),
        gripper=gripper(strength),
        part=PART,
        joint_limits=JointLimits(speed=np.full(6, speed), acceleration=np.full(6, acceleration)),
    )


def fastest_by_joints(job: gm.Job) -> gm.Job:
    """The same path by the fastest law that the joints allow, as if the pads held anything."""
    strong = replace(job, gripper=gripper(1e9))
    return replace(job, trajectory=gm.tune(strong, retime=True).retimed.job.trajectory)


FIRST_LAWS = {"a minimum-jerk law": lambda job: job, "the fastest law of the joints": fastest_by_joints}


def gains(name: str, count: int, law: str) -> list[tuple[float, float, str, float]]:
    """Gain over the best factor, margin reached over target, what was given out, seconds; grip-bound paths only."""
    out = []
    seed = 0
    while len(out) < count and seed < 20 * count:
        seed += 1
        job = FIRST_LAWS[law](random_job(seed, name))
        start = time.perf_counter()
        tuning = gm.tune(job, retime=True)
        taken = time.perf_counter() - start
        if tuning.override is None or tuning.override.limit.by.startswith("joint") or tuning.override.factor is None:
            continue
        found = tuning.retimed
        assert found is not None
        assert found.passed
        for rate in (1000.0, 4000.0):
            assert gm.check_job(resampled(found.job, rate)).passed, (name, seed, rate)
        out.append((tuning.override.cycle_then / found.cycle_then, found.reached, found.by, taken))
    return out


def resampled(job: gm.Job, rate: float) -> gm.Job:
    """The program given out between its samples, as its own rates say."""
    from gripmargin.motion.interpolate import quintic_between

    old = job.trajectory
    t = np.linspace(old.t[0], old.t[-1], int((old.t[-1] - old.t[0]) * rate) + 1)
    q, qd, qdd = quintic_between(old.t, old.q, old.qd, old.qdd, t)
    return replace(job, trajectory=gm.JointTrajectory(t=t, q=q, qd=qd, qdd=qdd))


def grip_share() -> dict[str, float]:
    """Median time of the library with joint limits only, and with the rows of the pads, at 1,000 grid points [ms]."""
    job = random_job(1, "fast")
    case = work_out(job)
    part = next(p for p in stretches(case, by_label=False) if not p.kept)
    program = JointProgram.of(case)
    track = Track(program=program, demands=Demands.of(case), stretch=part, path=Path.of(program, part), ramp=0.02)
    rows = track.rows()
    joints = Rows(s=rows.s, a=rows.a[:, -12:], b=rows.b[:, -12:], top=rows.top)

    def library() -> None:
        """The library's own constraints."""
        import toppra
        from toppra import algorithm, constraint

        limits = [
            constraint.JointVelocityConstraint(np.column_stack([-job.joint_limits.speed, job.joint_limits.speed])),
            constraint.JointAccelerationConstraint(
                np.column_stack([-job.joint_limits.acceleration, job.joint_limits.acceleration])
            ),
        ]
        path = toppra.SplineInterpolator(track.s[::10], track.path.spline(track.s[::10]))
        algorithm.TOPPRA(limits, path, gridpoints=track.s, solver_wrapper="seidel").compute_parameterization(0, 0)

    tasks = {
        "the library, joint limits only, its own constraints": library,
        "the library, joint limits only, as rows": lambda: fastest_squares(joints),
        "load and rows of the pads": lambda: chord_rows(
            track.demands.face, track.loads, np.ones(track.s.size), (np.full(1001, 50.0), rows.top), 25
        ),
        "rows of pads and joints": track.rows,
        "the library, pads and joints": lambda: fastest_squares(rows),
    }
    taken = {name: [] for name in tasks}
    for _ in range(2 * ROUNDS):
        for name, task in tasks.items():
            start = time.perf_counter()
            task()
            taken[name].append(1e3 * (time.perf_counter() - start))
    return {name: statistics.median(values) for name, values in taken.items()}


JOB = """
[job]
name = "bench"
[robot]
urdf = "{urdf}"
tool = {{ xyz = ["0 mm", "0 mm", "120 mm"] }}
speed = [{speed}]
acceleration = [{acceleration}]
[materials.film]
pull_off_stress = "3 N/cm^2"
shear_strength = "3 N/cm^2"
normal_stiffness = "0.10 N/mm^3"
shear_stiffness = "0.033 N/mm^3"
[[gripper.pads]]
name = "a"
material = "film"
shape = "rectangle"
size = ["30 mm", "30 mm"]
at = {{ xyz = ["50 mm", "50 mm", "0 mm"] }}
[[gripper.pads]]
name = "b"
material = "film"
shape = "rectangle"
size = ["30 mm", "30 mm"]
at = {{ xyz = ["-50 mm", "50 mm", "0 mm"] }}
[[gripper.pads]]
name = "c"
material = "film"
shape = "rectangle"
size = ["30 mm", "30 mm"]
at = {{ xyz = ["50 mm", "-50 mm", "0 mm"] }}
[[gripper.pads]]
name = "d"
material = "film"
shape = "rectangle"
size = ["30 mm", "30 mm"]
at = {{ xyz = ["-50 mm", "-50 mm", "0 mm"] }}
[part]
mass = "1 kg"
com = ["0 mm", "0 mm", "4 mm"]
inertia = ["2e-3 kg*m^2", "2e-3 kg*m^2", "4e-3 kg*m^2", "0 kg*m^2", "0 kg*m^2", "0 kg*m^2"]
face = "plane"
rigid = true
[program]
trajectory = "bench.csv"
"""


def cold() -> dict[str, float]:
    """Seconds of the whole command on a 10 s program of six joints at 250 Hz with four pads, process start included."""
    urdf = File(__file__).parents[2] / "trajectories" / "arm.urdf"
    t = np.arange(0, 10.0 + 1e-9, 0.004)
    q, qd, qdd = (np.zeros((t.size, 6)) for _ in range(3))
    q[:] = np.deg2rad([0.0, -10.0, 40.0, 0.0, 60.0, 0.0])
    for start, travel in ((0.0, 0.9), (3.4, -1.2), (6.7, 0.6)):
        x = np.clip((t - start) / 3.2, 0, 1)[:, None]
        move = travel * np.array([1.0, 0.25, -0.3, 0.4, 0.2, 0.8])
        q += (10 * x**3 - 15 * x**4 + 6 * x**5) * move
        qd += 30 * x**2 * (1 - x) ** 2 * move / 3.2
        qdd += 60 * x * (1 - x) * (1 - 2 * x) * move / 3.2**2
    out = {}
    with tempfile.TemporaryDirectory() as folder:
        here = File(folder)
        made = replace(random_job(1, "slow"), trajectory=gm.JointTrajectory(t=t, q=q, qd=qd, qdd=qdd))
        (here / "bench.csv").write_bytes(trajectory_bytes(made.trajectory, ".csv", robot=made.robot))
        quoted = ", ".join
        text = JOB.format(urdf=urdf, speed=quoted(['"180 deg/s"'] * 6), acceleration=quoted(['"600 deg/s^2"'] * 6))
        (here / "bench.toml").write_text(text)
        for name, more in {"tune": [], "tune --retime": ["--retime", str(here / "out.csv")]}.items():
            taken = []
            for _ in range(ROUNDS):
                start = time.perf_counter()
                command = [sys.executable, "-m", "gripmargin", "tune", str(here / "bench.toml"), *more]
                run = subprocess.run(command, capture_output=True, text=True, check=False)
                taken.append(time.perf_counter() - start)
                assert run.returncode == 0, run.stdout + run.stderr
            out[name] = statistics.median(taken)
    return out


def long_program() -> dict[str, float]:
    """CPU seconds to tune 60 s at 1 kHz: twelve moves from rest to rest, six joints, four damped pads."""
    random, moves, each = np.random.default_rng(0), 12, 5.0
    t = np.arange(0, 60.0 + 1e-9, 1e-3)
    q, qd, qdd = (np.zeros((t.size, 6)) for _ in range(3))
    for k in range(moves):
        x = np.clip((t - k * each) / each, 0, 1)[:, None]
        way = (-1.0) ** k * random.uniform(0.4, 1.0, 6) * np.array([1.0, 0.3, -0.3, 0.4, 0.4, 0.8])
        q += (10 * x**3 - 15 * x**4 + 6 * x**5) * way
        qd += 30 * x**2 * (1 - x) ** 2 * way / each
        qdd += 60 * x * (1 - x) * (1 - 2 * x) * way / each**2
    labels = tuple(f"move {int(min(time // each, moves - 1))}" for time in t)
    job = random_job(1, "slow")
    pads = (replace(pad, material=replace(pad.material, damping_ratio=0.08)) for pad in job.gripper.pads)
    job = replace(
        job,
        trajectory=gm.JointTrajectory(t=t, q=q, qd=qd, qdd=qdd, moves=labels),
        gripper=gm.Gripper(pads=tuple(pads)),
    )
    start = time.process_time()
    tuning = gm.tune(job, retime=True)
    taken = time.process_time() - start
    assert tuning.passed
    return {f"{tuning.retimed.cycle_then:.2f} s by {tuning.retimed.by}": taken}


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    say = sys.stdout.write
    for name, value in cold().items():
        say(f"{value:8.2f} s   {name}, cold, 10 s at 250 Hz, six joints, four pads\n")
    for name, value in long_program().items():
        say(f"{value:8.1f} s   60 s at 1 kHz become {name}\n")
    for name, value in grip_share().items():
        say(f"{value:8.1f} ms  {name}\n")
    for name, (*_, wanted) in ARMS.items():
        for law in FIRST_LAWS:
            found = gains(name, count, law)
            gain, reached, by, taken = zip(*found, strict=True)
            say(
                f"{name} arm, {len(found)} paths first run by {law}: {statistics.median(gain):.2f} times faster than "
                f"the best factor in the median (wanted {wanted:g}), {min(gain):.2f} to {max(gain):.2f}; margin over "
                f"target {min(reached):.4f} to {max(reached):.4f}; {by.count('retiming')} by retiming; "
                f"{statistics.median(taken):.2f} s each\n"
            )


if __name__ == "__main__":
    main()
