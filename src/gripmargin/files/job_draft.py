"""A job file to fill in: what a program shows stands in it, what has to be measured is marked."""

from __future__ import annotations

import os
from collections.abc import Iterator
from itertools import chain, pairwise
from pathlib import Path

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.base.given import as_path
from gripmargin.files.column_map import Columns, as_toml, toml_value
from gripmargin.files.job_values import LONGEST_LABEL, UNMEASURED
from gripmargin.files.robots import is_robot_file, named_chain
from gripmargin.files.source import printable
from gripmargin.files.trajectory_file import read_trajectory
from gripmargin.motion.landings import WINDOW, Landing, Structure
from gripmargin.motion.trajectory import JointTrajectory, Trajectory

MOST_LISTED = 40  # moves and rests that the comments list, and labels that a phase names
LEVEL = 0.996  # cosine of 5 degrees: a tool that stands so comes down on a face that is meant to be level

_HEAD = f"""\
# Drafted from the motion of the program: look at the phases, and fill in what is marked MEASURE. The checker refuses
# the file, and says which, until nothing in it is "{UNMEASURED}". Write each value with its unit, as "..."; units are
# named behind it. Optional lines may be left out; docs/job-file.md says what counts then.
"""
_PADS = f"""
[materials.film]                        # MEASURE on your own part with your own pads: docs/pad-data.md
pull_off_stress = "{UNMEASURED}"      # N/cm^2
shear_strength = "{UNMEASURED}"       # N/cm^2
normal_stiffness = "{UNMEASURED}"     # N/mm^3, of the backing, per area
shear_stiffness = "{UNMEASURED}"      # N/mm^3
full_preload = "{UNMEASURED}"         # N/cm^2, from which the face holds fully; optional: else no preload passes
min_dwell = "{UNMEASURED}"            # s; optional
damping_ratio = "{UNMEASURED}"        # a bare number; optional: undamped without it, and often undecided

[[gripper.pads]]                        # one table a pad
name = "middle"
material = "film"
shape = "disc"                          # or "rectangle" with size = [x, y], or "polygon" with outline
diameter = "{UNMEASURED}"             # mm
# at = ...                              # the pad in the tool frame, +z into the part, where it is not its origin

[part]                                  # MEASURE; lengths in the tool frame as gripped
mass = "{UNMEASURED}"                 # g
com = "{UNMEASURED}"                  # [x, y, z] in mm; optional: that of a uniform plate
inertia = "{UNMEASURED}"              # [xx, yy, zz, xy, xz, yz] in kg*m^2 about com; optional: likewise
outline = "{UNMEASURED}"              # of the gripped face, [[x, y], ...] in mm
thickness = "{UNMEASURED}"            # mm
face = "{UNMEASURED}"                 # "plane" or "curved"
youngs_modulus = "{UNMEASURED}"       # GPa; or rigid = true where the part does not bend
poissons_ratio = "{UNMEASURED}"       # a bare number; optional
surface_factor = "{UNMEASURED}"       # a bare number: strength on this face over that on the reference surface
max_pressure = "{UNMEASURED}"         # N/cm^2 that the face may take; optional: else pressure is not checked
"""
_NEST = f"""\
hold_down = "{UNMEASURED}"            # N, beyond its weight
lateral_force = "{UNMEASURED}"        # N that the nest takes along the face
moment = "{UNMEASURED}"               # N*m that it takes about the face's normal
"""
_TARGETS = """
[targets]                               # yours to choose: docs/choosing-targets.md. A report says which counted.
"""


def draft_job(
    program: str | Path,
    *,
    robot: str | None = None,
    end_link: str | None = None,
    topic: str | None = None,
    columns: Columns | None = None,
    folder: str | Path = ".",
) -> str:
    """Draft a job file for a program: its moves, rests, and phases where the tool comes down and leaves again.

    What the motion does not tell is marked as to be measured; `read_job` refuses the file and lists what is, until it
    is filled in. The phases are a proposal: the tool is taken to pick where it first comes down along its z axis, and
    to place where it comes down next.

    Args:
        program: What `read_trajectory` reads.
        robot: A URDF or xacro file, or a model of the Robotics Toolbox; joint programs need it.
        end_link: The link of the robot that carries the gripper.
        topic: Of a recording: the topic of the motion.
        columns: Of a table: what its columns mean.
        folder: Where the job file will be; the names of files in it are relative to that.

    Returns:
        The text of a TOML file.

    Raises:
        InputError: A program or robot that cannot be read, or a joint program without a robot.
    """
    file = as_path(program)
    moved = None if robot is None else named_chain(robot, end=end_link)
    trajectory = read_trajectory(file, robot=moved, topic=topic, columns=columns)
    if isinstance(trajectory, JointTrajectory) and moved is None:
        raise InputError(str(file), "a joint program without a robot", "the robot it moves", "name it by --robot")
    found = Structure.of(trajectory, moved)
    text = [_HEAD, f"\n[job]\nname = {toml_value(printable(file.stem or file.name, LONGEST_LABEL))}\n"]
    if isinstance(trajectory, JointTrajectory) and robot is not None:
        text += _robot(robot, end_link, folder)
    text += [_PADS, f"\n[program]\ntrajectory = {toml_value(os.path.relpath(file, folder))}\n"]
    text += [] if topic is None else [f"topic = {toml_value(topic)}\n"]
    text += [*_moves(trajectory, found), *_phases(trajectory, found.landings)]
    text += [] if columns is None else ["\n", as_toml(columns)]
    for table, landing in zip(("pick", "nest"), found.landings, strict=False):
        text += _place(table, trajectory, found, landing)
    return "".join((*text, _TARGETS))


def _robot(robot: str, end_link: str | None, folder: str | Path) -> Iterator[str]:
    is_file = is_robot_file(robot)
    name = os.path.relpath(robot, folder) if is_file else robot
    yield f"\n[robot]\n{'urdf' if is_file else 'model'} = {toml_value(name)}\n"
    yield "" if end_link is None else f"end_link = {toml_value(end_link)}\n"
    yield f'tool = {{ xyz = "{UNMEASURED}" }}  # MEASURE: the tool frame in the flange, [x, y, z] in mm; rpy too\n'
    yield "# base = ...                            # where the robot does not stand in the origin of the world\n"


def _moves(trajectory: Trajectory, found: Structure) -> Iterator[str]:
    t = trajectory.t
    moves = [f"{toml_value(label)} {_span(t, first, last)}" for label, first, last in trajectory.runs()]
    still = [_span(t, rest.first, rest.last) for rest in found.waits(t)]
    for what, each in (*([("moves", moves)] if moves else []), ("stands still", still)):
        more = f", and {len(each) - MOST_LISTED} more" if len(each) > MOST_LISTED else ""
        line = f"# {what}: {', '.join(each[:MOST_LISTED]) or 'none'}{more}"
        yield from (f"{part}\n" for part in _wrapped(line))


def _wrapped(line: str) -> list[str]:
    """A comment on lines of 118 letters or little more; it is cut at its commas."""
    parts, lines = line.split(", "), [""]
    for part in parts:
        if lines[-1] and len(lines[-1]) + len(part) > 114:
            lines.append(f"#   {part}")
        else:
            lines[-1] += f", {part}" if lines[-1] else part
    return lines


def _span(t: FloatArray, first: int, last: int) -> str:
    return f"{t[first]:.3f} to {t[last]:.3f} s"


def _phases(trajectory: Trajectory, landings: tuple[Landing, ...]) -> Iterator[str]:
    if not landings:
        yield "# No place was found where the tool comes down along its z axis, rests and leaves: without phases the\n"
        yield "# whole program is one carry.\n"
        return
    if len(landings) == 1:
        yield "# The tool comes down once: taken for the pick. Where the part is left does not show.\n"
    elif landings[1].release is None:
        yield '# How the part is let go does not show; say so: release = "torsion", "peel", "shear" or "overload".\n'
    listed = landings[: max(2, min(len(landings) // 2, MOST_LISTED) * 2)]  # picks with where their parts are left
    if listed[2:]:
        yield "# Every second time that the tool comes down is taken for a pick. Further parts and places are\n"
        yield "# [parts.<name>], [picks.<name>], [nests.<name>], which phases name; stacks and pallets have a step.\n"
    yield "phases = [\n"
    for pair in (listed[k : k + 2] for k in range(0, len(listed), 2)):
        phases = (_by_moves(trajectory, pair) if not listed[2:] else []) or _by_times(trajectory, pair)
        for kind, when in zip(("preload", "carry", "release"), phases, strict=False):
            way = pair[1].release if kind == "release" else None
            yield f'  {{ kind = "{kind}", {when}{"" if way is None else f", release = {toml_value(way)}"} }},\n'
    yield "]\n"
    for later in landings[len(listed) : len(listed) + MOST_LISTED]:
        span = _span(trajectory.t, later.near, later.gone)
        yield f"# The tool comes down again, {span}: name the phases of that pick, too.\n"


def _by_times(trajectory: Trajectory, landings: tuple[Landing, ...]) -> list[str]:
    pick = landings[0]
    borders = [pick.near, pick.rests[-1].last, trajectory.samples - 1]
    if len(landings) == 2:
        borders[2:] = [landings[1].rests[0].first, landings[1].gone]
    times = [float(trajectory.t[each]) for each in borders]
    return [f'from = "{a!r} s", to = "{b!r} s"' for a, b in pairwise(times) if a < b]


def _by_moves(trajectory: Trajectory, landings: tuple[Landing, ...]) -> list[str]:
    """The phases by labels of moves; none where labels do not change at the rests, or come again elsewhere."""
    runs, t = trajectory.runs(), trajectory.t
    if not runs:
        return []

    def run_of(sample: int) -> int:
        return next(i for i, (_, _, last) in enumerate(runs) if sample <= last)

    first, lift = run_of(landings[0].near), run_of(landings[0].gone)
    spans, borders = [range(first, lift), range(lift, len(runs))], [(lift, landings[0].rests[-1])]
    if len(landings) == 2:
        seat, last = run_of(landings[1].near) + 1, run_of(landings[1].gone)
        spans[1:] = [range(lift, seat), range(seat, last + 1)]
        borders.append((seat, landings[1].rests[0]))
    labels = [list(dict.fromkeys(runs[i][0] for i in span)) for span in spans]
    outside = {runs[i][0] for i in range(len(runs)) if i not in chain(*spans)}
    every = [*chain(*labels), *outside]
    at_rest = all(
        t[rest.first] - WINDOW <= t[runs[i][1]] <= t[rest.last] + WINDOW for i, rest in borders if i < len(runs)
    )
    if not all(spans) or not at_rest or len(every) > len(set(every)) or len(every) > MOST_LISTED:
        return []
    return [f"moves = {toml_value(each)}" for each in labels]


def _place(table: str, trajectory: Trajectory, found: Structure, landing: Landing) -> Iterator[str]:
    """Where a face lies, to be measured, with what the program shows of it."""
    at = (landing.rests[0].first + landing.rests[0].last) // 2
    x, y, z = np.round(1e3 * found.position[at], 2) + 0.0  # no "-0.00"
    a, b, c = np.round(found.rotation[at, :, 2], 3) + 0.0
    frame = "end of the robot's chain" if isinstance(trajectory, JointTrajectory) else "tool frame"
    taken = (
        "where the gripped face lies in its tray"
        if table == "pick"
        else "the gripped face of the part where it is left"
    )
    yield f"\n[{table}]  # MEASURE: {taken}, in the world; probe it\n"
    yield f"# The {frame} comes down to {x:.2f}, {y:.2f}, {z:.2f} mm at {trajectory.t[at]:.3f} s, its z axis along\n"
    yield f"# {a:.3f}, {b:.3f}, {c:.3f}; the press goes deeper than the face by what it squeezes the pads.\n"
    turned = "" if c <= -LEVEL else f', rpy = "{UNMEASURED}"'
    yield f'face = {{ xyz = "{UNMEASURED}"{turned} }}  # [x, y, z] in mm; +z out of the part, level without rpy\n'
    if table == "nest":
        yield _NEST
