"""A new time law for the carry on the path it has: the fastest that joints, pads and every check allow."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import BSpline

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.checks import registry
from gripmargin.checks.case import Case
from gripmargin.checks.swing.vibration import modes_of
from gripmargin.contact.loads import part_load, standing_load
from gripmargin.kernels.local_fit import running_max
from gripmargin.kernels.sample_noise import channel_noise
from gripmargin.kernels.utilisation import peak_utilisation
from gripmargin.motion.interpolate import quintic_between
from gripmargin.motion.program import ProgramMotion
from gripmargin.motion.trajectory import JointTrajectory
from gripmargin.results.tuned import Limit, Move, Moves, Override, Retimed
from gripmargin.tuning.demands import Demands
from gripmargin.tuning.fit import NOISES, fitted
from gripmargin.tuning.joint_program import JointProgram
from gripmargin.tuning.override import back_off
from gripmargin.tuning.path import FEWEST, Path
from gripmargin.tuning.profile import REFERENCE
from gripmargin.tuning.rests import Stretch, stretches
from gripmargin.tuning.track import GRID, Track
from gripmargin.tuning.verify import Judged, judged
from gripmargin.workcell.job import Job
from gripmargin.workcell.scaling import moved_phases

REFERENCES = (REFERENCE,)
FINEST = 1000.0  # [1/s] rate at which a new program is checked, at least
SHORTEST_RAMP = 0.02  # [s] over which path accelerations are spread at least
LONGEST_RAMP = 0.25  # [s]
QUICK = 8  # times a law is slowed a little before it is checked
ROUNDS = 5  # programs checked while the law is brought to pass
SLOWDOWNS = 5  # and after that, as a whole
EXACT = 2e-7  # [rad or m] distance from exact samples of moves that keep their time law
CLOSE = 0.985  # margin over target from which a law is only slowed a little
RESERVE = 1.002  # margin over target that is left for samples at other instants than those checked
SLACK = 1.01  # margin over target from which a law is tried a little faster
NEAR = 0.97  # use from which something counts as limiting


def retimed(
    case: Case, demands: Demands, whole: Override, moves: Moves, *, rate: float, watch: Callable[[str], None]
) -> Retimed:
    """Return the program with the fastest time law found; never a slower one than the speeds by move or as a whole.

    Args:
        case: A joint program with limits of joint speed and acceleration; gravity alone is within its targets.
        demands: What the targets ask.
        whole: The largest factor on the whole program.
        moves: The factors by move.
        rate: Samples a second [1/s].
        watch: Called with the name of each step.
    """
    plan = _Plan.of(JointProgram.of(case), demands, max(rate, FINEST))
    rounds, best = 0, None
    fallback = min((carried for carried, *_ in _others(plan, whole, moves)), default=np.inf)
    watch("a new time law")
    if plan.tracks and all(track.find() for track in plan.tracks.values()):
        for turn in range(ROUNDS + SLOWDOWNS):
            watch(f"a new time law, checked {rounds} times")
            if not plan.kept_within(demands) or plan.carried() >= fallback:
                break
            found, made = _checked(plan, rate)
            rounds += made
            if found.passed and found.reached >= RESERVE:
                best = found
                break
            if found.passed:
                for track in plan.tracks.values():
                    track.slowed *= back_off(found.reached / RESERVE, demands.standing_ratio()[0])
                continue
            if not found.of_the_carry or not _spared(plan, found, demands, whole_law=turn >= ROUNDS):
                break
    if best is not None and best.reached > SLACK:
        watch("a new time law, a little faster")
        best, made = _quickened(plan, best, demands, rate)
        rounds += made
    plan.rate = rate
    return _fastest(case, plan, best, whole, moves, rounds)


def _checked(plan: _Plan, rate: float) -> tuple[Judged, int]:
    """Check a plan at a fine rate and, where that is another one, as it is written; say how many checks that took."""
    plan.rate = max(rate, FINEST)
    found = judged(plan.job())
    if not found.passed or rate >= FINEST:
        return found, 1
    plan.rate = rate
    return judged(plan.job()), 2


def _quickened(plan: _Plan, best: Judged, demands: Demands, rate: float) -> tuple[Judged, int]:
    """Give back what the laws were eased by too much, if the program still passes and is faster."""
    kept = {i: (track.asked, track.slowed, track.law, track.pace) for i, track in plan.tracks.items()}
    before, eased = plan.carried(), False
    for track in plan.tracks.values():
        if track.slowed < 1.0 or track.asked.max() > 1.0:
            eased = True
            track.slowed = min(1.0, track.slowed * np.sqrt(best.reached))
            track.asked = np.maximum(track.asked / best.reached, 1.0)
            track.find()
    made = 0
    if eased and plan.kept_within(demands) and plan.carried() < before:
        found, made = _checked(plan, rate)
        if found.passed and found.reached >= RESERVE:
            return found, made
    for i, track in plan.tracks.items():
        track.asked, track.slowed, track.law, track.pace = kept[i]
    return best, made


def natural_ramp(case: Case) -> float:
    """Return the period of the slowest swing of the part on its pads, or a multiple of it within reason [s].

    A load that rises in a straight line over just such a time leaves no swing of that shape behind (Chopra,
    Dynamics of Structures, ch. 4: ramp of finite rise time, from memory).
    """
    period = 1.0 / float(modes_of(case.grip.backings[-1], case.job.part, case.job.air_density).hertz[0])
    return float(min(period * max(np.ceil(SHORTEST_RAMP / period), 1.0), LONGEST_RAMP))


@dataclass(eq=False, kw_only=True)
class _Plan:
    """The program as pieces between rests: some keep their time law, others get a new one."""

    program: JointProgram
    rate: float
    parts: list[Stretch]
    tracks: dict[int, Track]
    curves: dict[int, BSpline] = field(default_factory=dict)
    nearest: NDArray[np.intp] = field(default_factory=lambda: np.zeros(0, dtype=np.intp))

    @classmethod
    def of(cls, program: JointProgram, demands: Demands, rate: float) -> _Plan:
        parts = stretches(program.case, by_label=False)
        ramp = natural_ramp(program.case)
        tracks = {}
        for i, part in enumerate(parts):
            if part.kept:
                continue
            try:
                path = Path.of(program, part)
            except InputError as error:
                parts[i] = replace(part, kept=f"{error.found}")
                continue
            tracks[i] = Track(program=program, demands=demands, stretch=part, path=path, ramp=ramp)
        return cls(program=program, rate=rate, parts=parts, tracks=tracks)

    def durations(self) -> list[float]:
        t = self.program.laws.trajectory.t
        return [
            self.tracks[i].duration if i in self.tracks else float(t[part.last] - t[part.first])
            for i, part in enumerate(self.parts)
        ]

    def starts(self) -> FloatArray:
        return np.concatenate([[0.0], np.cumsum(self.durations())])

    def carried(self) -> float:
        """Time of the stretches that are not kept [s]."""
        return sum(d for d, part in zip(self.durations(), self.parts, strict=True) if not part.kept)

    def kept_within(self, demands: Demands) -> bool:
        """Slow the laws until the pads are within their targets, gaps between the samples included.

        This is the quasi-static share of the check, without the simulation of the handovers.
        """
        standing = demands.standing_ratio()[0]
        for _ in range(QUICK):
            job = self.job()
            motion = ProgramMotion.of(job.trajectory, job.robot)
            part, gravity = job.part, job.gravity
            changed = replace(
                self.program.case,
                job=job,
                motion=motion,
                load=part_load(part, motion.at, gravity, job.air_density),
                standing=standing_load(part, motion.at, gravity),
                airborne=self.program.case.airborne[self.nearest],
            )
            now = Demands.of(changed)
            use = peak_utilisation(now.face, now.still + now.moving)[0] + now.error
            over = self.part_of(self.instants())[now.samples]
            worst = {i: float(use[over == i].max(initial=0.0)) for i in self.tracks}
            if all(RESERVE * u <= 1.0 for u in worst.values()):
                return True
            for i, u in worst.items():
                if not RESERVE * u <= 1.0:
                    self.tracks[i].slowed *= back_off(1.0 / (RESERVE * u), standing)
        return False

    def instants(self) -> FloatArray:
        """Times from the start, evenly spaced at the rate or a hair closer."""
        end = float(self.starts()[-1])
        return np.linspace(0.0, end, int(np.ceil(end * self.rate - 1e-9)) + 1)

    def part_of(self, t: FloatArray) -> np.ndarray:
        return np.clip(np.searchsorted(self.starts(), t, side="right") - 1, 0, len(self.parts) - 1)

    def job(self) -> Job:
        """The job with the new program."""
        old, job = self.program.laws.trajectory, self.program.case.job
        t, starts = self.instants(), self.starts()
        where = self.part_of(t)
        q = np.empty((t.size, old.q.shape[1]))
        qd, qdd = np.empty_like(q), np.empty_like(q)
        labels = np.zeros(t.size, dtype=np.intp)
        then = np.empty(old.t.size)
        for i, part in enumerate(self.parts):
            inside = np.flatnonzero(where == i)
            local = t[inside] - starts[i]
            span = slice(part.first, part.last + 1)
            if i in self.tracks:
                track = self.tracks[i]
                s, sd, sdd = track.at(local)
                q[inside], qd[inside], qdd[inside] = track.path.joint_rates(s, sd, sdd)
                dense = np.linspace(0.0, track.duration, 4 * GRID)
                then[span] = starts[i] + np.interp(track.path.at_samples, *_rising(track.at(dense)[0], dense))
                nearest = np.searchsorted(track.path.at_samples, s, side="right") - 1
            else:
                q[inside], qd[inside], qdd[inside] = self._as_before(i, old.t[part.first] + local)
                then[span] = starts[i] + old.t[span] - old.t[part.first]
                nearest = np.searchsorted(old.t[span], old.t[part.first] + local, side="right") - 1
            labels[inside] = part.first + np.clip(nearest, 0, part.last - part.first)
        self.nearest = labels
        moves = None if old.moves is None else tuple(old.moves[k] for k in labels)
        trajectory = JointTrajectory(
            t=old.t[0] + t, q=q, qd=qd, qdd=qdd, names=old.names, moves=moves, source=f"{old.source}, retimed"
        )
        phases = moved_phases(job.phases, old.t, old.t[0] + then)
        return replace(job, trajectory=trajectory, phases=phases)

    def _as_before(self, index: int, times: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """A piece that keeps its time law, between its samples; neighbours that do so are one curve."""
        first, last = index, index
        while first > 0 and first - 1 not in self.tracks:
            first -= 1
        while last + 1 < len(self.parts) and last + 1 not in self.tracks:
            last += 1
        old = self.program.laws.trajectory
        span = slice(self.parts[first].first, self.parts[last].last + 1)
        t, q = old.t[span], old.q[span]
        if old.qdd is not None or t.size < FEWEST:
            return quintic_between(t, q, self.program.qd[span], self.program.qdd[span], times)
        if first not in self.curves:
            noise = float(channel_noise(t, np.ascontiguousarray(q.T)).max())
            self.curves[first] = fitted(t, q, EXACT + NOISES * noise).spline
        spline = self.curves[first]
        return spline(times), spline(times, 1), spline(times, 2)


def _rising(s: FloatArray, t: FloatArray) -> tuple[FloatArray, FloatArray]:
    """A law as a rising function of the path parameter."""
    kept = np.concatenate([[True], np.diff(np.maximum.accumulate(s)) > 0])
    return s[kept], t[kept]


def _spared(plan: _Plan, found: Judged, demands: Demands, *, whole_law: bool) -> bool:
    """Ask more of the law where the checker found too little; say whether there is anything to ask."""
    t = plan.instants()
    where, starts = plan.part_of(t), plan.starts()
    standing = demands.standing_ratio()[0]
    touched, renewed = False, set[int]()
    ratios = _ratios(found)
    for i, track in plan.tracks.items():
        inside = np.flatnonzero(where == i)
        if inside.size == 0:
            continue
        short = ratios[inside] < 1.0
        blamed = [s for s in found.of_the_carry if s.sample is None or _blames(plan, where, s.sample, i)]
        ratio = min([float(ratios[inside].min()), *(s.ratio for s in blamed)])
        if ratio < 1.0:
            track.eased_for = found.of_the_carry[0].check
        if ratio < 1.0 and (whole_law or ratio > CLOSE):
            track.slowed *= back_off(ratio, standing)
            touched = True
        elif short.any():
            s = track.at(t[inside] - starts[i])[0]
            need = np.where(short, 1.0 / np.maximum(ratios[inside], 0.5), 1.0)
            reach = max(int(np.ceil(track.ramp * plan.rate)), 1)
            spread = _smoothed(running_max(need, 2 * reach), reach)
            track.ask_more(np.interp(track.s, *_rising(s, spread)))
            renewed.add(i)
        elif blamed:
            track.ask_more(np.full(track.s.size, 1.0 / max(min(s.ratio for s in blamed), 0.7)))
            renewed.add(i)
    return (touched or bool(renewed)) and all(plan.tracks[i].find() for i in renewed)


def _smoothed(values: FloatArray, reach: int) -> FloatArray:
    """The mean over so many samples on either side: a law follows gentle limits better than abrupt ones."""
    padded = np.pad(values, reach, mode="edge")
    return np.convolve(padded, np.full(2 * reach + 1, 1.0 / (2 * reach + 1)), mode="valid")


def _blames(plan: _Plan, where: np.ndarray, sample: int, index: int) -> bool:
    """Whether a worst sample lies in a stretch, or in kept ones that follow it."""
    at = int(where[sample])
    before = [i for i in plan.tracks if i <= at]
    return index == (before[-1] if before else next(iter(plan.tracks)))


def _ratios(found: Judged) -> FloatArray:
    """The least margin over its target at every sample, of the checks that tell; inf where none does."""
    samples = found.report.samples
    out = np.full(samples.t.size, np.inf)
    targets = {result.check: result.target for result in found.report.checks}
    for check, name in registry.series().items():
        if check in targets:
            out = np.fmin(out, getattr(samples, f"{name}_low", getattr(samples, name)) / targets[check])
    return out


def _fastest(case: Case, plan: _Plan, best: Judged | None, whole: Override, moves: Moves, rounds: int) -> Retimed:
    """The new law, or the speeds by move or as a whole where those are faster or no law passes."""
    options = _others(plan, whole, moves)
    if best is not None:
        options.append((plan.carried(), "retiming", best))
    duration = float(case.job.trajectory.t[-1] - case.job.trajectory.t[0])
    if not options:
        return Retimed(
            rows=(),
            cycle_now=duration,
            cycle_then=duration,
            passed=False,
            job=moves.job,
            report=moves.report,
            rate=plan.rate,
            deviation=0.0,
            ramp=(),
            reached=0.0,
            by="retiming",
            rounds=rounds,
        )
    _, by, found = min(options, key=lambda option: option[0])
    job = found.job
    own = by == "retiming"
    return Retimed(
        rows=_rows(plan) if own else moves.rows if by == "moves" else (),
        cycle_now=duration,
        cycle_then=float(job.trajectory.t[-1] - job.trajectory.t[0]),
        passed=True,
        job=job,
        report=found.report,
        rate=plan.rate,
        deviation=max((t.path.deviation for t in plan.tracks.values()), default=0.0) if own else 0.0,
        ramp=tuple(t.ramp for t in plan.tracks.values()) if own else (),
        reached=found.reached,
        by=by,
        rounds=rounds,
    )


def _others(plan: _Plan, whole: Override, moves: Moves) -> list[tuple[float, str, Judged]]:
    """The programs by other means that pass: time of the carry [s], means, program."""
    out = []
    t = plan.program.laws.trajectory.t
    kept = sum(float(t[part.last] - t[part.first]) for part in plan.parts if part.kept)
    if moves.passed:
        out.append((moves.cycle_then - kept, "moves", Judged(job=moves.job, report=moves.report)))
    if whole.job is not None and whole.report is not None:
        new = whole.job.trajectory.t
        carried = sum(float(new[p.last] - new[p.first]) for p in plan.parts if not p.kept)
        out.append((carried, "override", Judged(job=whole.job, report=whole.report)))
    return out


def _rows(plan: _Plan) -> tuple[Move, ...]:
    t = plan.program.laws.trajectory.t
    out = []
    for i, (part, duration) in enumerate(zip(plan.parts, plan.durations(), strict=True)):
        now = float(t[part.last] - t[part.first])
        out.append(
            Move(
                moves=part.moves,
                start=float(t[part.first]),
                end=float(t[part.last]),
                factor=now / duration,
                time_then=duration,
                limit=_limit(plan.tracks[i]) if i in plan.tracks else None,
                kept=part.kept,
            )
        )
    return tuple(out)


def _limit(track: Track) -> Limit:
    """What limits a law, by shares of its time."""
    pads, joints = track.used()
    by_pads, by_joints = float((pads > NEAR).mean()), float((joints > NEAR).mean())
    text = f"pads over {100 * by_pads:.0f} %, joints over {100 * by_joints:.0f} % of the time"
    if track.eased_for:
        text += f"; eased for {track.eased_for}"
    return Limit(by=track.eased_for or ("pads" if by_pads >= by_joints else "joints"), text=text)
