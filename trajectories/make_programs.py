"""Makes the motion programs of this folder again: `python trajectories/make_programs.py [--check]`.

The scene is a bench cell that builds light boxes for a seed-growing room. An arm puts a coated window into
a frame, a reflector into a box, and a driver upright onto a rail; a larger machine carries a diffuser panel, a lid,
a light sensor, a dimmer board and mirrors.

Each program is a function; `speed={"transfer": 0.7}` makes one of its moves slower by a factor, on the same
path. How deep the pads are pressed on, how they are tilted then and how far the release goes are arguments too.
With `--check` nothing is written: what is on disk is compared with what would be.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
from legs import Leg, Program, sampled, solved, tool_pose
from scipy.signal import lfilter
from writers import arrays, differences, joint_csv, log_csv, message_yaml, pose_csv

from gripmargin.base.arrays import FloatArray
from gripmargin.base.poses import pose
from gripmargin.files.urdf import read_urdf
from gripmargin.motion.chain import Chain

HERE = Path(__file__).resolve().parent
Speed = Mapping[str, float]

HOME = np.deg2rad([0.0, -10.0, 40.0, 0.0, 60.0, 0.0])
ENCODER_COUNT = np.deg2rad(0.0005)
ENCODER_NOISE = np.deg2rad(0.0004)
SERVO, SERVO_DAMPING = 2 * np.pi * 2.5, 0.2  # [rad/s], ratio: a servo that nobody has tuned
RUN_PERIOD, RUN_LOST, RUN_JITTER, RUN_CLOCK = 0.002, 0.01, 0.0002, 12.5  # [s], share, [s], [s]
FAST = {"transfer": 1.6}  # what somebody in a hurry typed for the window
RECORDED = {"transfer": 1.25}  # how fast it ran when it was recorded
SHORT_TWIST = 3.0  # [deg]
ASKEW = 1.5  # tilt of the tool to the window in its tray [deg]
SHALLOW = 0.00008  # [m]; how far the pads are pressed in
SMALL_TILT = 0.3  # [deg]
CENTRED_HINGE = 0.067  # [m]; edge of the diffuser's pads once they are moved under the centre of mass
SHORT_SLIDE = 0.0008  # [m]
LIGHT_PRESS = 0.0010  # [m]
WHOLE_ROLL, SHORT_ROLL = 0.0065, 0.0050  # [m] to both sides: a pad of 16 mm, cleaned 2.4 mm further
GENTLE, ABRUPT = 40.0, 200.0  # [m/s^3]
CALM, HASTY = 0.40, 0.02  # [s]
HASTY_SHELF = {"speed": 200.0, "acceleration": 900.0, "blend": 12.0}  # [deg/s], [deg/s^2], [deg]


def down(x: float, y: float, z: float, yaw: float = 180.0, tilt: float = 0.0) -> FloatArray:
    """Pose of a tool that looks down, with its x axis turned about the vertical by yaw [deg]; lengths in m.

    A tilt [deg] is a turn about the tool's y axis: the side at its +x stands off.
    """
    level = pose((x, y, z), (np.pi, 0.0, np.deg2rad(yaw)))
    return np.asarray(level @ pose(rpy=(0.0, np.deg2rad(tilt), 0.0)))


def bench_arm(tool: float, base: FloatArray | None = None) -> Chain:
    """The arm with a tool of a length [m]."""
    return read_urdf(HERE / "arm.urdf").mounted(base=base, tool=pose((0.0, 0.0, tool)))


def window(
    speed: Speed | None = None,
    *,
    period: float = 0.004,
    pressed: float = 0.00025,
    tilt: float = 0.0,
    twist: float = 20.0,
) -> Program:
    """A coated window from its tray into the frame: blended S-curves, lines at both ends.

    Args:
        speed: Factors by move.
        period: Between samples [s].
        pressed: How far the pads are pressed in at the tray [m].
        tilt: Of the tool over the tray [deg].
        twist: By which the pads are turned off in the frame [deg].
    """
    arm = bench_arm(0.12)
    tray, frame = (0.42, -0.34, 0.030), (0.40, 0.33, 0.050)
    at_tray = down(tray[0], tray[1], tray[2] - pressed, tilt=tilt)
    over_tray, above_tray = (down(tray[0], tray[1], tray[2] + h, tilt=tilt) for h in (0.025, 0.15))
    at_frame, over_frame, above_frame = (down(frame[0], frame[1], frame[2] + h, 200.0) for h in (-0.00025, 0.060, 0.12))
    start = solved(arm, over_tray, HOME + np.array([-0.7, 0.6, 0, 0, 0, 0]))
    after_lift = solved(arm, above_tray, start)
    via_1 = solved(arm, down(0.50, -0.12, 0.30), after_lift)
    via_2 = solved(arm, down(0.50, 0.14, 0.30, 190.0), via_1)
    before_lower = solved(arm, above_frame, via_2)
    seated = solved(arm, at_frame, before_lower)
    twisted = seated + np.deg2rad([0.0, 0.0, 0.0, 0.0, 0.0, twist])
    twisted_away = over_frame.copy()
    twisted_away[:3, :3] = tool_pose(arm, twisted)[:3, :3]
    legs = [
        Leg("approach", "joint", start, 1.2, 4.0, 30.0),
        Leg("touch", "line", at_tray, 0.04, 0.3),
        Leg("press", "wait", duration=0.3),
        Leg("lift", "line", above_tray, 0.25, 1.2, 12.0),
        Leg("transfer", "joint", via_1, 1.8, 6.0, 60.0),
        Leg("transfer", "joint", via_2, 1.8, 6.0, 60.0, blend=0.24),
        Leg("transfer", "joint", before_lower, 1.8, 6.0, 60.0, blend=0.24),
        Leg("lower", "line", at_frame, 0.15, 0.8, 8.0),
        Leg("seat", "wait", duration=0.2),
        Leg("twist", "joint", twisted, 0.9, 4.0),
        Leg("leave", "line", twisted_away, 0.12, 0.8),
        Leg("return", "joint", HOME, 1.2, 4.0, 30.0, blend=0.1),
    ]
    return sampled(legs, HOME, period=period, chain=arm, speed=speed)


def shelf(*, speed: float = 90.0, acceleration: float = 160.0, blend: float = 8.0) -> str:
    """A table of way points: a glass shelf from its rack into a box, as taught with the arm.

    Args:
        speed: Of the leading joint in the transfer [deg/s].
        acceleration: Of the same [deg/s^2].
        blend: What is left of a move of the transfer when the next one starts [deg].
    """
    arm = bench_arm(0.12)
    rack, box = (0.40, -0.30, 0.040), (0.42, 0.30, 0.060)
    at_rack, over_rack, above_rack = (down(rack[0], rack[1], rack[2] + h) for h in (-0.00025, 0.025, 0.14))
    at_box, over_box, above_box = (down(box[0], box[1], box[2] + h) for h in (-0.00025, 0.060, 0.12))
    q = [solved(arm, over_rack, HOME + np.array([-0.7, 0.6, 0, 0, 0, 0]))]
    for place in (at_rack, above_rack, down(0.50, -0.10, 0.28), down(0.50, 0.12, 0.28), above_box, at_box):
        q.append(solved(arm, place, q[-1]))
    q.append(q[-1] + np.deg2rad([0.0, 0.0, 0.0, 0.0, 0.0, 20.0]))
    away = over_box.copy()
    away[:3, :3] = tool_pose(arm, q[-1])[:3, :3]
    q.append(solved(arm, away, q[-1]))
    corner = f"joint, , , {speed:g}, {acceleration:g}, {blend:g}, , transfer"
    moves = [
        ", , , , , , , ",
        "line, 40, 300, , , , 0.3, touch",
        "line, 250, 1200, , , , , lift",
        corner,
        corner,
        f"joint, , , {speed:g}, {acceleration:g}, , , transfer",
        "line, 150, 800, , , , 0.2, lower",
        "joint, , , 50, 230, , , twist",
        "line, 120, 800, , , , , leave",
    ]
    header = [f"q{i} [deg]" for i in range(1, 7)]
    header += ["kind", "speed [mm/s]", "acceleration [mm/s^2]", "speed [deg/s]", "acceleration [deg/s^2]"]
    header += ["blend [deg]", "wait [s]", "move"]
    lines = ["# glass shelf, rack to box, taught; made by make_programs.py", ", ".join(header)]
    for values, move in zip(q, moves, strict=True):
        lines.append(f"{', '.join(f'{value:.4f}' for value in np.degrees(values))}, {move}".rstrip())
    return "\n".join(lines) + "\n"


def recorded_window(speed: Speed | None = None) -> Program:
    """The window program as the joint encoders saw it: 1 kHz, seeded noise, whole counts."""
    program = window(speed, period=0.001)
    noise = np.random.default_rng(20).normal(0.0, ENCODER_NOISE, program.q.shape)
    return replace(program, q=ENCODER_COUNT * np.round((program.q + noise) / ENCODER_COUNT))


def run_window(speed: Speed | None = None) -> Program:
    """What the encoders see when a controller with a soft, little damped servo runs the window program.

    Each joint follows as a mass on a spring and a damper, which overshoots where the acceleration changes. The
    clock of the recording leads, the logger's stamps scatter, and it loses some samples.
    """
    fine = 0.0005
    program = window(speed, period=fine)
    q = followed(program.q, fine)
    random = np.random.default_rng(7)
    every = np.arange(0, program.t.size, round(RUN_PERIOD / fine))
    every = every[random.random(every.size) >= RUN_LOST]
    noise = random.normal(0.0, ENCODER_NOISE, (every.size, q.shape[1]))
    stamps = program.t[every] + RUN_CLOCK + np.clip(random.normal(0.0, RUN_JITTER, every.size), -0.001, 0.001)
    return replace(
        program, t=stamps, q=ENCODER_COUNT * np.round((q[every] + noise) / ENCODER_COUNT), moves=("",) * every.size
    )


def followed(q: FloatArray, period: float) -> FloatArray:
    """The way of a servo behind its set values, as a filter of the second order (bilinear transform)."""
    k = 2.0 / (period * SERVO)
    down = np.array([k * k + 2 * SERVO_DAMPING * k + 1, 2 - 2 * k * k, k * k - 2 * SERVO_DAMPING * k + 1])
    up = np.array([1.0, 2.0, 1.0]) / down[0]
    return np.asarray(q[0] + lfilter(up, down / down[0], q - q[0], axis=0))


def reflector(speed: Speed | None = None, *, period: float = 0.05, slide: float = 0.003) -> Program:
    """A reflector sheet from the stack into the box, as a planner gives it: points every 50 ms.

    Args:
        speed: Factors by move.
        period: Between points [s].
        slide: Way along the box by which the pads are slid off the sheet [m].
    """
    arm = bench_arm(0.10)
    stack, box = (0.30, 0.42, 0.040), (0.46, -0.22, 0.060)
    at_stack, over_stack, above_stack = (down(*stack[:2], stack[2] + h, 270.0) for h in (-0.0003, 0.03, 0.18))
    at_box, above_box = (down(*box[:2], box[2] + h, 180.0) for h in (-0.0003, 0.15))
    slid, over_box = (down(box[0] + slide, box[1], box[2] + h, 180.0) for h in (-0.0003, 0.05))
    start = solved(arm, over_stack, HOME + np.array([0.9, 0.6, 0, 0, 0, 0]))
    via = solved(arm, down(0.47, 0.12, 0.36, 225.0), solved(arm, above_stack, start))
    legs = [
        Leg("approach", "joint", start, 1.0, 3.0, 20.0),
        Leg("touch", "line", at_stack, 0.04, 0.3),
        Leg("press", "wait", duration=0.4),
        Leg("lift", "line", above_stack, 0.20, 1.0),
        Leg("transfer", "joint", via, 1.8, 6.0, 40.0),
        Leg("transfer", "joint", solved(arm, above_box, via), 1.8, 6.0, 40.0, blend=0.3),
        Leg("lower", "line", at_box, 0.12, 0.8),
        Leg("seat", "wait", duration=0.3),
        Leg("slide", "line", slid, 0.01, 0.1),
        Leg("leave", "line", over_box, 0.06, 0.5),
        Leg("return", "joint", HOME, 1.0, 3.0, 20.0),
    ]
    return sampled(legs, HOME, period=period, chain=arm, speed=speed)


def sink(speed: Speed | None = None) -> Program:
    """A heat sink from its tray over the camera to the box: what an engineer types first, to be tuned."""
    arm = bench_arm(0.12)
    tray, box = (0.40, -0.36, 0.030), (0.44, 0.30, 0.055)
    at_tray, over_tray, above_tray = (down(*tray[:2], tray[2] + h) for h in (-0.0002, 0.03, 0.14))
    at_box, over_box, above_box = (down(*box[:2], box[2] + h, 215.0) for h in (-0.0002, 0.05, 0.12))
    start = solved(arm, over_tray, HOME + np.array([-0.7, 0.6, 0, 0, 0, 0]))
    via = solved(arm, down(0.52, -0.05, 0.34, 195.0), solved(arm, above_tray, start))
    legs = [
        Leg("approach", "joint", start, 1.0, 3.0, 20.0),
        Leg("touch", "line", at_tray, 0.04, 0.3),
        Leg("press", "wait", duration=0.4),
        Leg("lift", "line", above_tray, 0.20, 0.8),
        Leg("across", "joint", via, 1.0, 2.5, 20.0),
        Leg("across", "joint", solved(arm, above_box, via), 1.0, 2.5, 20.0, blend=0.3),
        Leg("lower", "line", at_box, 0.12, 0.6),
        Leg("seat", "wait", duration=0.3),
        Leg("leave", "line", over_box, 0.10, 0.6),
        Leg("return", "joint", HOME, 1.0, 3.0, 20.0),
    ]
    return sampled(legs, HOME, period=0.004, chain=arm, speed=speed)


PEDESTAL = pose((-0.50, 0.20, 0.25), (0.0, 0.0, np.deg2rad(25.0)))


def driver(speed: Speed | None = None) -> Program:
    """A driver box from its tray, turned upright for the camera and hooked onto a rail; the arm on a pedestal."""
    arm = bench_arm(0.11, PEDESTAL)

    def level(x: float, y: float, z: float) -> FloatArray:
        return np.asarray(PEDESTAL @ down(x, y, z))

    def upright(x: float, y: float, z: float) -> FloatArray:
        return np.asarray(PEDESTAL @ pose((x, y, z), (0.0, np.pi / 2, 0.0)))

    tray, rail = (0.44, -0.30, 0.02), (0.66, 0.22, 0.30)
    at_tray, over_tray, above_tray = (level(*tray[:2], tray[2] + h) for h in (-0.0003, 0.03, 0.14))
    start = solved(arm, over_tray, HOME + np.array([-0.6, 0.6, 0, 0, 0, 0]))
    at_camera = solved(arm, upright(0.60, 0.0, 0.40), np.array([0.0, 0.45, 0.78, 0.0, -1.23, 0.0]))
    before_rail = solved(arm, upright(rail[0] - 0.06, *rail[1:]), at_camera)
    legs = [
        Leg("approach", "joint", start, 0.9, 3.0, 20.0),
        Leg("touch", "line", at_tray, 0.04, 0.3),
        Leg("press", "wait", duration=0.5),
        Leg("lift", "line", above_tray, 0.15, 0.8),
        Leg("turn up", "joint", at_camera, 1.2, 2.5, 20.0),
        Leg("show", "wait", duration=0.8),
        Leg("to rail", "joint", before_rail, 0.8, 2.0, 15.0),
        Leg("hook on", "line", upright(*rail), 0.08, 0.5),
        Leg("seat", "wait", duration=0.3),
        Leg("leave", "line", upright(rail[0] - 0.05, *rail[1:]), 0.06, 0.4),
        Leg("return", "joint", HOME, 0.9, 3.0, 20.0),
    ]
    return sampled(legs, HOME, period=0.004, chain=arm, speed=speed)


def diffuser(speed: Speed | None = None, *, hinge: float = 0.025, tilt: float = 10.0) -> Program:
    """A diffuser panel from its rack to the box: x, y, z [m], yaw and tilt [rad] of the tool, each minimum jerk.

    Args:
        speed: Factors by move.
        hinge: Where on the tool's y axis the edge lies about which it tilts off the panel [m].
        tilt: By which it does [deg].
    """
    rack, box, pressed = np.array([0.0, 0.0, 0.80]), np.array([1.00, 0.60, 0.90]), 0.0004
    quarter, tip = np.pi / 2, np.deg2rad(12.0)

    def at(xyz: FloatArray, up: float, yaw: float = 0.0, tip: float = 0.0) -> FloatArray:
        return np.array([*xyz[:2], xyz[2] + up, yaw, tip])

    # turned by a quarter, the tool's y axis lies along the world's x axis
    off = np.deg2rad(tilt)
    tilted = at(box, -pressed, quarter, off) + np.array([hinge * (1 - np.cos(off)), 0, hinge * np.sin(off), 0, 0])
    legs = [
        Leg("touch", "joint", at(rack, -pressed), 0.05, 0.3),
        Leg("press", "wait", duration=0.5),
        Leg("lift", "joint", at(rack, 0.25), 0.35, 1.2),
        Leg("carry over", "joint", at(np.array([0.50, 0.30, 1.20]), 0.0, 0.4 * quarter), 0.9, 2.0, blend=0.2),
        Leg("carry over", "joint", at(box, 0.30, quarter), 0.9, 2.0, blend=0.4),
        Leg("tip in", "joint", at(box, 0.10, quarter, tip), 0.35, 1.2, blend=0.3),
        Leg("lay down", "joint", at(box, -pressed, quarter), 0.20, 0.8),
        Leg("seat", "wait", duration=0.4),
        Leg("tilt off", "joint", tilted, 0.20, 0.8),
        Leg("leave", "joint", tilted + np.array([0.0, 0.0, 0.15, 0.0, 0.0]), 0.20, 0.8),
        Leg("return", "joint", at(rack, 0.15), 1.2, 2.5, blend=0.3),
    ]
    return sampled(legs, at(rack, 0.03), period=0.004, speed=speed)


def lid(speed: Speed | None = None, *, press: float | None = 0.0014, roll: float | None = None) -> Program:
    """A small lid from its pallet onto the box, by the same larger machine.

    Args:
        speed: Factors by move.
        press: How far the pad is pressed in to let go [m]; None: it is pulled off straight.
        roll: How far to both sides of its middle the pad is then rolled over a tacky roller [m]; None: it is not.
    """
    pallet, box = np.array([0.20, -0.10, 0.75]), np.array([0.80, 0.50, 0.95])

    def at(xyz: FloatArray, up: float, yaw: float = 0.0) -> FloatArray:
        return np.array([*xyz[:2], xyz[2] + up, yaw, 0.0])

    quarter = np.pi / 2
    legs = [
        Leg("touch", "joint", at(pallet, -0.00025), 0.04, 0.3),
        Leg("press", "wait", duration=0.4),
        Leg("lift", "joint", at(pallet, 0.20), 0.25, 1.0),
        Leg("carry over", "joint", at(box, 0.15, quarter), 0.8, 2.0, blend=0.2),
        Leg("lower", "joint", at(box, -0.0002, quarter), 0.10, 0.5),
        Leg("seat", "wait", duration=0.3),
        Leg("press off", "joint", at(box, -0.0002 if press is None else -press, quarter), 0.01, 0.1),
        Leg("leave", "joint", at(box, 0.12, quarter), 0.10, 0.5),
        *([] if roll is None else _over_a_roller(at, roll)),
        Leg("return", "joint", at(pallet, 0.10), 0.8, 2.0, blend=0.2),
    ]
    if press is None:
        legs = [leg for leg in legs if leg.move != "press off"]
    return sampled(legs, at(pallet, 0.04), period=0.004, speed=speed)


def _over_a_roller(at: Callable[..., FloatArray], roll: float) -> list[Leg]:
    """To a roller whose highest line lies along x, down on it, over it along y, and up."""
    first, last = np.array([0.50, 0.20 - roll, 0.85]), np.array([0.50, 0.20 + roll, 0.85])
    return [
        Leg("to roller", "joint", at(first, 0.03), 0.8, 2.0),
        Leg("set on roller", "joint", at(first, -0.0003), 0.05, 0.5),
        Leg("roll", "joint", at(last, -0.0003), 0.02, 0.2),
        Leg("off roller", "joint", at(last, 0.03), 0.05, 0.5),
    ]


def kit(*, deeper: Mapping[int, float] | None = None, kits: int = 2) -> Program:
    """Kits of a cover, a slip and a tray, each off its stack into its bay of a box, by the same machine.

    Args:
        deeper: By how much further the pad is pressed on in some picks, counted from 1 [m].
        kits: How many.
    """
    more, legs = dict(deeper or {}), []

    def at(xyz: tuple[float, float, float], up: float) -> FloatArray:
        return np.array([*xyz[:2], xyz[2] + up, 0.0, 0.0])

    stacks = [((0.20, y, 0.75), step) for y, step in ((-0.20, 0.005), (-0.05, 0.002), (0.10, 0.003))]
    bays = [(0.60, -0.15, 0.85), (0.60, -0.05, 0.85), (0.60, 0.08, 0.85)]
    for pick in range(1, 3 * kits + 1):
        used, which = divmod(pick - 1, 3)
        (x, y, z), step = stacks[which]
        top, bay = (x, y, z - used * step), bays[which]
        legs += [
            Leg("touch", "joint", at(top, 0.04), 0.8, 3.0),
            Leg("touch", "joint", at(top, -0.00025 - more.get(pick, 0.0)), 0.1, 0.5),
            Leg("press", "wait", duration=0.4),
            Leg("lift", "joint", at(top, 0.10), 0.25, 1.0),
            Leg("carry over", "joint", at(bay, 0.08), 0.8, 2.5, blend=0.2),
            Leg("lower", "joint", at(bay, -0.0002), 0.15, 0.8),
            Leg("seat", "wait", duration=0.2),
            Leg("press off", "joint", at(bay, -0.0014), 0.01, 0.1),
            Leg("leave", "joint", at(bay, 0.06), 0.20, 1.0),
            Leg("return", "joint", at(stacks[pick % 3][0], 0.06), 0.8, 3.0),
        ]
    return sampled(legs, at(stacks[0][0], 0.06), period=0.008)


def swap(speed: Speed | None = None) -> Program:
    """A coated mirror out of a chuck and a bare one into it, by the same machine with two pads on a hub that tilts.

    The tool frame lies on the axis of the hub; the pads look out of it 45 mm further, one along the tool's z axis, the
    other a quarter turn from it.

    Args:
        speed: Factors by move.
    """
    stack, chuck, box = (0.20, -0.25, 0.75), (0.60, 0.00, 0.80), (0.60, 0.35, 0.85)
    one, other = 0.0, -np.pi / 2

    def at(xyz: tuple[float, float, float], up: float, tilt: float) -> FloatArray:
        return np.array([*xyz[:2], xyz[2] + 0.045 + up, 0.0, tilt])

    def taken(xyz: tuple[float, float, float], tilt: float, what: str) -> list[Leg]:
        return [
            Leg(f"touch {what}", "joint", at(xyz, -0.00025, tilt), 0.1, 0.5),
            Leg(f"press {what}", "wait", duration=0.4),
            Leg(f"lift {what}", "joint", at(xyz, 0.15, tilt), 0.25, 1.0),
        ]

    def left(xyz: tuple[float, float, float], tilt: float, what: str) -> list[Leg]:
        return [
            Leg(f"lower {what}", "joint", at(xyz, -0.0002, tilt), 0.15, 0.8),
            Leg(f"seat {what}", "wait", duration=0.2),
            Leg(f"press off {what}", "joint", at(xyz, -0.0014, tilt), 0.01, 0.1),
            Leg(f"leave {what}", "joint", at(xyz, 0.10, tilt), 0.20, 1.0),
        ]

    legs = [
        *taken(stack, one, "bare"),
        Leg("to chuck", "joint", at(chuck, 0.05, other), 2.0, 6.0),
        *taken(chuck, other, "coated"),
        Leg("index", "joint", at(chuck, 0.15, one), 3.0, 12.0),
        *left(chuck, one, "bare"),
        Leg("to box", "joint", at(box, 0.15, other), 2.0, 6.0),
        *left(box, other, "coated"),
        Leg("return", "joint", at(stack, 0.06, one), 2.0, 6.0),
    ]
    return sampled(legs, at(stack, 0.04, one), period=0.008, speed=speed)


def sensor(speed: Speed | None = None, *, jerk: float = GENTLE, wait: float = CALM) -> Program:
    """A light sensor, a tall block, from its tray into its socket, by the larger machine.

    Args:
        speed: Factors by move.
        jerk: Of the way over [m/s^3].
        wait: How long it stands over its socket before it is set down [s].
    """
    tray, socket = np.array([0.10, -0.30, 0.78]), np.array([0.70, 0.20, 0.92])

    def at(xyz: FloatArray, up: float, yaw: float = 0.0) -> FloatArray:
        return np.array([*xyz[:2], xyz[2] + up, yaw, 0.0])

    twisted = np.deg2rad(20.0)
    legs = [
        Leg("touch", "joint", at(tray, -0.0003), 0.04, 0.3),
        Leg("press", "wait", duration=0.4),
        Leg("lift", "joint", at(tray, 0.20), 0.20, 0.6),
        Leg("way over", "joint", at(socket, 0.006), 0.7, 4.0, jerk),
        Leg("stand", "wait", duration=wait),
        Leg("lower", "joint", at(socket, -0.0002), 0.10, 1.5),
        Leg("seat", "wait", duration=0.3),
        Leg("twist off", "joint", at(socket, -0.0002, twisted), 0.6, 3.0),
        Leg("leave", "joint", at(socket, 0.12, twisted), 0.10, 0.5),
        Leg("return", "joint", at(tray, 0.10), 0.8, 2.0, blend=0.2),
    ]
    return sampled(legs, at(tray, 0.04), period=0.004, speed=speed)


def dimmer(speed: Speed | None = None) -> Program:
    """A dimmer board on its carrier from its tray, pushed into a socket, by the larger machine.

    Args:
        speed: Factors by move.
    """
    tray, socket = np.array([0.15, 0.35, 0.78]), np.array([0.65, -0.25, 0.93])

    def at(xyz: FloatArray, up: float, yaw: float = 0.0) -> FloatArray:
        return np.array([*xyz[:2], xyz[2] + up, yaw, 0.0])

    twisted = np.deg2rad(20.0)
    legs = [
        Leg("touch", "joint", at(tray, -0.00035), 0.04, 0.3),
        Leg("press", "wait", duration=0.4),
        Leg("lift", "joint", at(tray, 0.20), 0.20, 0.6),
        Leg("way over", "joint", at(socket, 0.04), 0.7, 3.0, GENTLE),
        Leg("lower", "joint", at(socket, 0.005), 0.10, 1.0),
        Leg("insert", "joint", at(socket, 0.0), 0.02, 0.1),
        Leg("seat", "wait", duration=0.3),
        Leg("twist off", "joint", at(socket, 0.0, twisted), 0.6, 3.0),
        Leg("leave", "joint", at(socket, 0.12, twisted), 0.10, 0.5),
        Leg("return", "joint", at(tray, 0.10), 0.8, 2.0, blend=0.2),
    ]
    return sampled(legs, at(tray, 0.04), period=0.004, speed=speed)


def texts() -> dict[str, str]:
    """The text files by name."""
    by = "made by make_programs.py"
    names = bench_arm(0.0).names

    def window_csv(program: Program, what: str, *, rate: str = "250 Hz", digits: int = 5) -> str:
        return joint_csv(program, f"window, tray to frame{what}, {rate}; {by}", digits)

    return {
        "window.csv": window_csv(window(), ""),
        "window-fast.csv": window_csv(window(FAST), ", transfer in a hurry"),
        "window-recorded.csv": window_csv(
            recorded_window(RECORDED), ", as the encoders saw it", rate="1 kHz", digits=4
        ),
        "window-as-run.csv": log_csv(run_window(), f"window, tray to frame, as a soft servo ran it, 500 Hz; {by}"),
        "window-short-twist.csv": window_csv(window(twist=SHORT_TWIST), ", hardly twisted off"),
        "window-askew.csv": window_csv(window(tilt=ASKEW), ", tilted over the tray"),
        "window-shallow.csv": window_csv(window(pressed=SHALLOW), ", hardly pressed on"),
        "shelf.csv": shelf(),
        "shelf-hasty.csv": shelf(**HASTY_SHELF),
        "diffuser.csv": pose_csv(diffuser(), f"diffuser panel, rack to box, 250 Hz; {by}"),
        "diffuser-centred.csv": pose_csv(
            diffuser(hinge=CENTRED_HINGE), f"diffuser panel, rack to box, pads moved, 250 Hz; {by}"
        ),
        "diffuser-small-tilt.csv": pose_csv(
            diffuser(hinge=CENTRED_HINGE, tilt=SMALL_TILT),
            f"diffuser panel, rack to box, pads moved, hardly tilted off, 250 Hz; {by}",
        ),
        "reflector.yaml": message_yaml(reflector(), names, f"reflector, stack to box, points every 50 ms; {by}"),
        "reflector-short-slide.yaml": message_yaml(
            reflector(slide=SHORT_SLIDE), names, f"reflector, stack to box, hardly slid off, points every 50 ms; {by}"
        ),
        "sink.csv": joint_csv(sink(), f"heat sink, tray to box, to be tuned, 250 Hz; {by}", 6),
        "lid.csv": pose_csv(lid(), f"lid, pallet to box, 250 Hz; {by}"),
        "lid-light-press.csv": pose_csv(lid(press=LIGHT_PRESS), f"lid, pallet to box, pressed lightly, 250 Hz; {by}"),
        "lid-cleaned.csv": pose_csv(lid(roll=WHOLE_ROLL), f"lid, pallet to box, then over a roller, 250 Hz; {by}"),
        "lid-cleaned-short.csv": pose_csv(
            lid(roll=SHORT_ROLL), f"lid, pallet to box, then hardly over a roller, 250 Hz; {by}"
        ),
        "kit.csv": pose_csv(kit(), f"two kits of cover, slip and tray, stacks to box, 125 Hz; {by}"),
        "swap.csv": pose_csv(swap(), f"coated mirror out of the chuck, bare one in, 125 Hz; {by}"),
        "sensor.csv": pose_csv(sensor(), f"sensor, tray to socket, 250 Hz; {by}"),
        "sensor-abrupt.csv": pose_csv(sensor(jerk=ABRUPT), f"sensor, tray to socket, abrupt, 250 Hz; {by}"),
        "sensor-hasty.csv": pose_csv(sensor(wait=HASTY), f"sensor, tray to socket, set down at once, 250 Hz; {by}"),
        "dimmer.csv": pose_csv(dimmer(), f"dimmer board, tray to socket, 250 Hz; {by}"),
        "lid-straight-pull.csv": pose_csv(lid(press=None), f"lid, pallet to box, pulled off straight, 250 Hz; {by}"),
    }


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description="Make the motion programs of this folder again.")
    parser.add_argument("--check", action="store_true", help="compare with the files instead of writing them")
    check = parser.parse_args(arguments).check
    wrong = []
    for name, text in texts().items():
        path = HERE / name
        if not check:
            path.write_text(text, encoding="utf-8")
        elif not path.exists():
            wrong.append(f"{name}: missing")
        elif found := differences(text, path.read_text(encoding="utf-8")):
            wrong.append(f"{name}: {found}")
    made, path = arrays(driver()), HERE / "driver.npz"
    if not check:
        np.savez_compressed(path, **made)  # type: ignore[arg-type]
    elif not path.exists():
        wrong.append("driver.npz: missing")
    else:
        with np.load(path) as kept:
            for key, array in made.items():
                same = key in kept and kept[key].shape == array.shape
                same = same and (
                    bool((kept[key] == array).all())
                    if array.dtype.kind == "U"
                    else np.allclose(kept[key], array, rtol=0, atol=1e-9)
                )
                if not same:
                    wrong.append(f"driver.npz: {key} differs")
    print("\n".join(wrong) if wrong else "as on disk" if check else "written")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
