"""One program in, one report out: which checks apply, in order."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.base.given import as_path, of_class
from gripmargin.base.stored import filled_with
from gripmargin.checks import premises, registry
from gripmargin.checks.case import Case, work_out
from gripmargin.checks.causes import causes
from gripmargin.checks.check import Check
from gripmargin.contact.simulation import remembering
from gripmargin.motion.chain import Chain
from gripmargin.motion.program import ProgramMotion
from gripmargin.motion.stamps import Stamps
from gripmargin.motion.trajectory import JointTrajectory, Trajectory
from gripmargin.motion.waypoints import Waypoints
from gripmargin.results.findings import NotChecked, Outcome, overall
from gripmargin.results.governing import governing, shares_of
from gripmargin.results.report import NOT_CHOSEN, Report
from gripmargin.results.samples import SERIES, Samples
from gripmargin.run.assumptions import as_read, assumed, references
from gripmargin.run.by_hold import by_hold
from gripmargin.run.by_station import by_station
from gripmargin.run.cleaned import alone
from gripmargin.run.laws import under_every_law
from gripmargin.run.scene import scene_of
from gripmargin.workcell import (
    STANDARD_AIR_DENSITY,
    STANDARD_GRAVITY,
    Cleaner,
    Flange,
    Gripper,
    Nest,
    Part,
    Phase,
    Pick,
    Process,
    Stop,
    Targets,
)
from gripmargin.workcell.holds import single
from gripmargin.workcell.job import Job, JointLimits

if TYPE_CHECKING:
    from gripmargin.reports.plots import Plots

STATIONS = "whether parts and pads of different stations come in each other's way, or in that of a place, is not known"
FROM_FILE = "a job file is checked by check_file(path)"


def check(
    *,
    trajectory: Trajectory | Waypoints,
    gripper: Gripper,
    part: Part | None = None,
    robot: Chain | Any = None,
    phases: Sequence[Phase] = (),
    targets: Targets | None = None,
    pick: Pick | None = None,
    nest: Nest | None = None,
    parts: Mapping[str, Part] | None = None,
    picks: Mapping[str, Pick] | None = None,
    nests: Mapping[str, Nest] | None = None,
    process: Sequence[Process] = (),
    cleaners: Sequence[Cleaner] = (),
    flange: Flange | None = None,
    stop: Stop | None = None,
    joint_limits: JointLimits | None = None,
    stamps: Stamps | None = None,
    recording: Trajectory | None = None,
    recording_offset: float | None = None,
    accept: Sequence[str] = (),
    gravity: ArrayLike = (0.0, 0.0, -STANDARD_GRAVITY),
    air_density: float = STANDARD_AIR_DENSITY,
    name: str = "program",
    checks: Sequence[str] | None = None,
) -> Report:
    """Check a motion program for a part held by dry-adhesive pads, without any file.

    Args:
        trajectory: Joint values or tool poses over time; or way points, judged under several time laws, of which the
            worst counts.
        gripper: The pads, in the tool frame.
        part: The part as gripped, in the tool frame.
        robot: The arm with base and tool mounted, a chain or a robot of the Robotics Toolbox; joint trajectories need
            it.
        phases: What happens when; empty: the whole program is one carry.
        targets: Margins to reach; by default hold 2.0.
        pick: Where the part is taken from; with it preload and lift-off are checked.
        nest: Where the part is left; with it the release is checked.
        parts: Several parts in place of one, by the names that phases give them.
        picks: Several places to take from, likewise.
        nests: Several places to leave at, likewise.
        process: Forces of the process that act on the part while it is carried.
        cleaners: What the pads are cleaned on, in phases of kind clean.
        flange: What the robot may carry at its flange; with it the load of gripper and part is checked against it.
        stop: How the robot stops; with it stops are checked.
        joint_limits: Of the robot; its speeds say what full speed is when it stops.
        stamps: What time stamps mean where rates are estimated.
        recording: What was recorded while the robot ran the program.
        recording_offset: By how much the recording's clock leads the program's [s]; None: it is found.
        accept: What looks wrong and is meant, by the codes that a report names.
        gravity: In the world frame [m/s^2], shape (3,).
        air_density: Of the air [kg/m^3]; counts for a part with a drag area.
        name: What the report calls the job.
        checks: Which checks to make, by their names; None: all that there are data for.

    Returns:
        The report; `report.passed` is true only where every check made is a pass.

    Raises:
        InputError: Something is malformed or does not fit together, or there is nothing to check.

    Example:
        A glass plate of 0.4 kg is lifted straight up by 0.2 m in 0.8 s on one pad of 50 x 50 mm.

        >>> import numpy as np
        >>> import gripmargin as gm
        >>> film = gm.PadMaterial(
        ...     pull_off_stress=50e3, shear_strength=50e3, normal_stiffness=1e8, shear_stiffness=3.3e7
        ... )
        >>> t = np.linspace(0.0, 0.8, 201)
        >>> s = t / 0.8
        >>> rise = 0.2 * (10 * s**3 - 15 * s**4 + 6 * s**5)
        >>> down = np.diag([1.0, -1.0, -1.0])  # tool z points down, into the part
        >>> report = gm.check(
        ...     trajectory=gm.PoseTrajectory(
        ...         t=t,
        ...         position=np.column_stack([0 * t, 0 * t, rise]),
        ...         rotation=np.broadcast_to(down, (201, 3, 3)),
        ...     ),
        ...     gripper=gm.Gripper(pads=(gm.Pad.rectangle("pad", film, [0.05, 0.05]),)),
        ...     part=gm.Part(
        ...         mass=0.4, com=[0, 0, 0.002], inertia=[3e-4, 3e-4, 6e-4, 0, 0, 0], face="plane", rigid=True
        ...     ),
        ... )
        >>> report.passed, round(report.checks[0].value, 1)
        (True, 26.9)
    """
    planned = isinstance(trajectory, Waypoints)
    return check_job(
        Job(
            name=name,
            trajectory=None if planned else trajectory,  # type: ignore[arg-type]
            waypoints=trajectory if planned else None,  # type: ignore[arg-type]
            gripper=gripper,
            part=part,  # type: ignore[arg-type]
            parts={} if parts is None else parts,
            picks={} if picks is None else picks,
            nests={} if nests is None else nests,
            robot=_chain(robot),
            phases=phases,  # type: ignore[arg-type]
            targets=Targets() if targets is None else targets,
            pick=pick,
            nest=nest,
            process=process,  # type: ignore[arg-type]
            cleaners=cleaners,  # type: ignore[arg-type]
            flange=flange,
            stop=stop,
            joint_limits=joint_limits,
            stamps=stamps,
            recording=recording,
            recording_offset=recording_offset,
            accept=accept,  # type: ignore[arg-type]
            gravity=gravity,  # type: ignore[arg-type]
            air_density=air_density,
        ),
        checks=checks,
    )


def _chain(robot: Any) -> Chain | None:
    """The robot as a chain; one of the toolbox is read."""
    if robot is None or isinstance(robot, Chain) or not hasattr(robot, "fkine"):
        return robot
    from gripmargin.files.robots import robot_chain  # noqa: PLC0415 - loads the toolbox

    return robot_chain(robot)


def check_file(path: str | Path, *, checks: Sequence[str] | None = None) -> Report:
    """Read a job file and check it.

    Args:
        path: The job file.
        checks: Which checks to make, by their names; None: all that the job gives the data for.

    Raises:
        InputError: The file, or one it names, is malformed or cannot be read; no check has such a name.
    """
    from gripmargin.files.job_file import read_job  # noqa: PLC0415 - a pipeline without files needs no reader

    job = read_job(as_path(path))
    try:
        return check_job(job, checks=checks)
    except InputError as error:  # of how things fit together, which no single file shows
        raise error.of(str(path)) from error


def check_job(job: Job, *, trial: bool = False, checks: Sequence[str] | None = None) -> Report:
    """Check a job.

    Args:
        job: What is asked; way points are judged under every time law, and the report is that of the worst.
        trial: Whether only the results count: what to change where a check falls short is then not looked for.
        checks: Which checks to make, by their names; None: all that the job gives the data for. The others are listed
            as not checked.

    Raises:
        InputError: Something does not fit together, the program has no carry to check, or no check has such a name.
    """
    chosen = registry.chosen(checks)
    waypoints = of_class(job, Job, "job", FROM_FILE).waypoints
    if waypoints is not None:
        return under_every_law(job, waypoints, partial(check_job, checks=checks), trial=trial)
    judge = partial(_checked, chosen=chosen, trial=trial)
    if job.by_station:
        return by_station(job, judge)
    if len(job.holds) > 1:
        return by_hold(job, judge)
    job, motion = alone(single(job))
    return judge(job, motion=motion)


def _checked(
    job: Job, *, chosen: Collection[Check], trial: bool = False, motion: ProgramMotion | None = None
) -> Report:
    """The report of a job of one hold without way points, whose motion may be known."""
    with remembering():
        return _judged(work_out(job, motion=motion, trial=trial), job, chosen)


def _nothing_carried(job: Job) -> InputError:
    """What a job is told in which no part hangs on the pads."""
    found, due = "no sample in a carry phase, so nothing to check", "a phase of kind carry with samples"
    if not job.station or not job.phase_map.covers("preload").any():
        return InputError(f"job '{job.name}'", found, due)
    return InputError(
        f"program.phases of station '{job.station}'",
        "a preload with no carry and no release after it, so nothing to check",
        "the release, or a carry until the program ends",
        "name the moves in which its part is let go: what a station does not name before these is carried",
    )


def _judged(case: Case, job: Job, chosen: Collection[Check]) -> Report:
    if case.carried.size == 0 and not job.phase_map.covers("clean").any():
        raise _nothing_carried(job)
    outcomes = tuple(
        check.answer(case)
        if check in chosen
        else Outcome(not_checked=(NotChecked(check=check.name, reason=NOT_CHOSEN),))
        for check in registry.CHECKS
    )
    results = tuple(result for outcome in outcomes for result in outcome.results)
    findings = tuple(sorted((f for outcome in outcomes for f in outcome.findings), key=lambda f: f.start))
    least = {name: values for outcome in outcomes for name, values in outcome.least.items()}
    shares = shares_of(case.job.trajectory.t, results, findings, least)
    said: dict[str, Any] = {
        "causes": causes(case, results),
        "assumed": (*assumed(case), *(sentence for outcome in outcomes for sentence in outcome.assumed)),
        "notes": tuple(as_read(case)),
        "references": references(case),
    }
    case = case.judged(premises.ALL)
    return Report(
        job=job.name,
        verdict=overall(result.verdict for result in results),
        checks=results,
        findings=findings,
        not_checked=(*(item for outcome in outcomes for item in outcome.not_checked), *_beyond(job)),
        scene=scene_of(case, {name: load for outcome in outcomes for name, load in outcome.loads.items()}),
        samples=_samples(case, outcomes, shares),
        shares=shares,
        accepted=job.accept,
        plotter=_plots,
        **said,
    )


def _samples(case: Case, outcomes: Sequence[Outcome], shares: Mapping[str, FloatArray]) -> Samples:
    motion, trajectory = case.motion.at, case.job.trajectory
    series: dict[str, Any] = {name: rows for outcome in outcomes for name, rows in outcome.series.items()}
    series |= {name: filled_with(np.nan, (trajectory.samples,)) for name in SERIES if name not in series}
    least, names = governing(shares, trajectory.samples)
    return Samples(
        t=trajectory.t,
        phase=case.job.phase_map.kinds(),
        move=trajectory.moves or (),
        position=motion.position,
        acceleration=motion.acceleration,
        angular_velocity=motion.angular_velocity,
        angular_acceleration=motion.angular_acceleration,
        force=case.load[:3].T,
        moment=case.load[3:].T,
        governing=least,
        governed_by=names,
        **series,
        **_joints(case),
        stamp=trajectory.stamp,
    )


def _joints(case: Case) -> dict[str, Any]:
    """Values, names and units of the joints; nothing for a program of poses."""
    trajectory, robot = case.job.trajectory, case.job.robot
    if not isinstance(trajectory, JointTrajectory) or robot is None:
        return {}
    names = (name or f"q{i}" for i, name in enumerate(robot.names, start=1))
    units = ("rad" if turns else "m" for turns in robot.revolute)
    return {"joints": trajectory.q, "joint_names": tuple(names), "joint_units": tuple(units)}


def _beyond(job: Job) -> list[NotChecked]:
    """What no job can have checked by this version, and given keys that have no effect."""
    out = [NotChecked(check="stations", reason=STATIONS)] if job.station else []
    for key, given, what in (
        ("pick.dwell", job.pick.dwell if job.pick else None, "the time under pressure is that of the program"),
        (
            "joint limits",
            None if _stops_by_limits(job) else job.joint_limits,
            "only tuning keeps to the robot's limits",
        ),
    ):
        if given is not None:
            out.append(NotChecked(check=key, reason=f"given, but without effect: {what}"))
    return out


def _stops_by_limits(job: Job) -> bool:
    """Whether the joints' rated speeds say what full speed is, and no other limit is given."""
    limits, stop = job.joint_limits, job.stop
    if limits is None or stop is None or limits.acceleration is not None or limits.jerk is not None:
        return False
    return stop.time is not None or bool(stop.measured)


def _plots(report: Report) -> Plots:
    """The figures of a report; matplotlib loads where they are asked for."""
    from gripmargin.reports.plots import Plots  # noqa: PLC0415

    return Plots(report)
