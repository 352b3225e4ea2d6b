"""Everything that tuning a job comes to."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from gripmargin.base.errors import InputError
from gripmargin.base.given import as_path, of_class
from gripmargin.checks.case import Case, work_out
from gripmargin.motion.trajectory import JointTrajectory
from gripmargin.results.findings import Verdict
from gripmargin.results.report import Report
from gripmargin.results.tuned import Grasp, Moves, Override, Retimed, Tuning
from gripmargin.tuning.demands import Demands
from gripmargin.tuning.joint_program import JointLaws
from gripmargin.tuning.moves import per_move
from gripmargin.tuning.override import override
from gripmargin.tuning.shapes import by_shape
from gripmargin.tuning.standing import standstill
from gripmargin.workcell.holds import single
from gripmargin.workcell.job import Job

REFERENCES = (
    "Speed factor in closed form: Newton and Euler scaled in time; Hollerbach, J. Dyn. Sys. Meas. Control 106:102, "
    "1984 (from memory).",
)
RATE = 1000.0  # [1/s]


def _unwatched(_: str) -> None:
    return None


def tune(
    job: Job,
    *,
    retime: bool = False,
    rate: float = RATE,
    grasp: bool = False,
    watch: Callable[[str], None] = _unwatched,
) -> Tuning:
    """Find out how fast a program may be.

    Every program that is given out has passed `gripmargin.check_job` as a whole.

    Args:
        job: A job with a program, pads, a part and targets; `joint_limits` bound the speed where they are given.
        retime: Whether to look for a new time law on the path of the carry; needs the extra ``tuning``, a joint
            program and limits of joint speed and acceleration.
        rate: Samples a second of a retimed program [1/s], at least 100.
        grasp: Whether to look for a better place of the pads, a better tilt of the tool, other pads.
        watch: Called with the name of each step before it begins.

    Raises:
        InputError: Something does not fit together, there is no carry, or retiming lacks something.

    Example:
        >>> import numpy as np
        >>> import gripmargin as gm
        >>> film = gm.PadMaterial(
        ...     pull_off_stress=5e4, shear_strength=5e4, normal_stiffness=1e8, shear_stiffness=3.3e7
        ... )
        >>> t = np.linspace(0.0, 0.8, 201)
        >>> s = t / 0.8
        >>> slide = gm.chain_from_axes([np.eye(4)], [[0, 0, 1]], [False], gm.pose(rpy=(np.pi, 0, 0)))
        >>> lift = gm.JointTrajectory(
        ...     t=t,
        ...     q=0.2 * (10 * s**3 - 15 * s**4 + 6 * s**5)[:, None],
        ...     qd=0.25 * (30 * s**2 * (1 - s) ** 2)[:, None],
        ...     qdd=0.3125 * (60 * s * (1 - s) * (1 - 2 * s))[:, None],
        ... )
        >>> tuning = gm.tune(
        ...     gm.Job(
        ...         name="lift",
        ...         trajectory=lift,
        ...         robot=slide,
        ...         gripper=gm.Gripper(pads=(gm.Pad.rectangle("pad", film, [0.05, 0.05]),)),
        ...         part=gm.Part(
        ...             mass=1.5, com=[0, 0, 0.002], inertia=[1e-3, 1e-3, 2e-3, 0, 0, 0], face="plane", rigid=True
        ...         ),
        ...     )
        ... )
        >>> tuning.passed, tuning.override.factor, tuning.override.limit.by
        (True, 3.939, 'swing')
    """
    if retime:
        _can_be_retimed(job, rate)
    of_class(job, Job, "job", "a job file is tuned by tune_file(path)")
    if job.waypoints is not None:
        remedy = "write them out under one time law (gripmargin sample), and tune that program"
        raise InputError(f"job '{job.name}'", "way points, whose time law is not known", "a sampled program", remedy)
    job = single(job)
    watch("motion, load and preload")
    notes = _notes(job)
    shaped = by_shape(job.trajectory)
    if shaped is not None:
        job, notes = replace(job, trajectory=shaped.trajectory), (*notes, shaped.in_words)
    # how far the program exceeds the limits of the joints is what tuning finds out
    job = replace(job, recording=None, recording_offset=None, accept=(*job.accept, "joint_speed"))
    case = work_out(job)
    if case.carried.size == 0:
        raise InputError(f"job '{job.name}'", "no sample in a carry phase, so nothing to tune", "a carry phase")
    demands = Demands.of(case)
    better = _grasp(case, demands, watch) if grasp else None
    doubts = _doubts(case)
    if doubts:
        return Tuning(job=job.name, verdict=Verdict.UNDECIDED, blocked=doubts, grasp=better, notes=notes)
    too_heavy = standstill(case, demands)
    if too_heavy is not None:
        return Tuning(
            job=job.name,
            verdict=Verdict.FAIL,
            standstill=too_heavy,
            grasp=better,
            blocked=_poor_bond(case),
            notes=notes,
        )
    watch("one factor for the whole program")
    whole = override(case, demands)
    watch("a factor for each move")
    moves = per_move(case, demands, whole.factor)
    retimed = None
    references: tuple[str, ...] = REFERENCES
    if retime:
        from gripmargin.tuning import retiming  # noqa: PLC0415 - brings in a library of half a second

        retimed = retiming.retimed(case, demands, whole, moves, rate=rate, watch=watch)
        if retimed.passed:
            from gripmargin.tuning.read_back import as_positions  # noqa: PLC0415 - brings in readers of files

            watch("as positions alone")
            alone = as_positions(retimed.job)
            if alone is not None:
                retimed = replace(retimed, positions=alone.report, by_shape=alone.job.trajectory.rates[0] is not None)
        references += retiming.REFERENCES
    return Tuning(
        job=job.name,
        verdict=_verdict(whole, moves, retimed),
        override=whole,
        moves=moves,
        retimed=retimed,
        grasp=better,
        blocked=_blocked(whole, moves, retimed),
        notes=notes,
        references=references,
    )


def tune_file(path: str | Path, *, retime: bool = False, rate: float = RATE, grasp: bool = False) -> Tuning:
    """Read a job file and tune it; see `tune`.

    Raises:
        InputError: The file, or one it names, is malformed or cannot be read.
    """
    from gripmargin.files.job_file import read_job  # noqa: PLC0415 - a pipeline without files needs no reader

    return tune(read_job(as_path(path)), retime=retime, rate=rate, grasp=grasp)


def _can_be_retimed(job: Job, rate: float) -> None:
    JointLaws.of(job)
    if not 100.0 <= rate <= 10_000.0:
        raise InputError("rate", f"{rate:g}", "from 100 to 10000 samples a second")
    from gripmargin.tuning.profile import need_library  # noqa: PLC0415 - only where it is used

    need_library()


def _doubts(case: Case) -> tuple[str, ...]:
    """Why nobody can tell what happens in parts of the carry."""
    samples = set(case.carried.tolist())
    return tuple(
        dict.fromkeys(reason for first, last, reason in case.motion.doubts if samples & set(range(first, last + 1)))
    )


def _poor_bond(case: Case) -> tuple[str, ...]:
    """That the press is to be mended first, where it left less than a full bond."""
    patches, shares = case.whole.patches, case.grip.bonded.shares
    held = sum(float(p.areas @ own) for p, own in zip(patches, shares, strict=True)) / sum(p.area for p in patches)
    if held >= 1.0 - 1e-6:
        return ()
    return (
        f"preload: the press as programmed leaves {100 * held:.0f} % of full strength in the mean of the contact area, "
        "and all margins stand on that: mend it first (gripmargin check says how)",
    )


def _notes(job: Job) -> tuple[str, ...]:
    out = []
    if job.joint_limits is None:
        out.append("The job has no joint limits (robot.speed, robot.acceleration): the robot is taken to follow.")
    else:
        missing = [k for k in ("speed", "acceleration", "jerk") if getattr(job.joint_limits, k) is None]
        if missing:
            out.append(f"No limit of joint {' and '.join(missing)} is given: the robot is taken to follow.")
        if not isinstance(job.trajectory, JointTrajectory):
            out.append("Joint limits have no effect on a program of poses.")
    if job.recording is not None:
        out.append("The recording of what the robot did belongs to the present speed: it is left aside.")
    out.append("Collisions, and what the process allows, are not looked at: a faster program has to be tried slowly.")
    return tuple(out)


def _reports(whole: Override, moves: Moves, retimed: Retimed | None) -> list[tuple[bool, Report | None]]:
    out = [(whole.factor is not None, whole.report), (moves.passed, moves.report)]
    return out if retimed is None else [*out, (retimed.passed, retimed.report)]


def _verdict(whole: Override, moves: Moves, retimed: Retimed | None) -> Verdict:
    reports = _reports(whole, moves, retimed)
    if all(passed for passed, _ in reports):
        return Verdict.PASS
    verdicts = {report.verdict for passed, report in reports if not passed and report is not None}
    return Verdict.FAIL if Verdict.FAIL in verdicts else Verdict.UNDECIDED


def _blocked(whole: Override, moves: Moves, retimed: Retimed | None) -> tuple[str, ...]:
    """What keeps programs from being given out, in sentences."""
    found = [
        f"{result.check}: {result.verdict}, {result.measure} {result.value or 0.0:.2f}, target {result.target:g}"
        for passed, report in _reports(whole, moves, retimed)
        if not passed and report is not None
        for result in report.checks
        if result.verdict is not Verdict.PASS
    ]
    return tuple(dict.fromkeys(found))


def _grasp(case: Case, demands: Demands, watch: Callable[[str], None]) -> Grasp:
    from gripmargin.tuning.choosing import smallest_that_carry  # noqa: PLC0415 - only where it is asked for
    from gripmargin.tuning.grasp import better_grasp  # noqa: PLC0415 - likewise

    watch("a better grasp")
    better = better_grasp(case, demands)
    return replace(better, choices=smallest_that_carry(case.job, watch))
