"""A new time law for the carry on the path it has: the fastest that joints, pads and every check allow."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.checks.case import Case
from gripmargin.checks.rests import Stretch, stretches
from gripmargin.checks.swing.vibration import modes_of
from gripmargin.kernels.local_fit import running_max
from gripmargin.kernels.utilisation import peak_utilisation
from gripmargin.motion.program import ProgramMotion
from gripmargin.motion.trajectory import JointTrajectory
from gripmargin.results.findings import Verdict
from gripmargin.results.tuned import Limit, Move, Moves, Override, Retimed
from gripmargin.tuning.demands import Demands
from gripmargin.tuning.joint_program import JointProgram
from gripmargin.tuning.joints import joint_speeds
from gripmargin.tuning.kept import Kept
from gripmargin.tuning.override import back_off
from gripmargin.tuning.path import Path
from gripmargin.tuning.profile import REFERENCE
from gripmargin.tuning.quick import Look, QuickCheck
from gripmargin.tuning.track import GRID, Track
from gripmargin.tuning.verify import Judged, Shortfall, judged
from gripmargin.workcell.job import Job
from gripmargin.workcell.scaling import when_moved

REFERENCES = (REFERENCE,)
FINEST = 1000.0  # [1/s] rate at which a new program is checked, at least
SHORTEST_RAMP = 0.02  # [s] over which path accelerations are spread at least
LONGEST_RAMP = 0.25  # [s]
QUICK = 8  # times a law is slowed a little before it is checked
ROUNDS = 5  # programs checked while the law is brought to pass
SLOWDOWNS = 5  # and after that, as a whole
CLOSE = 0.985  # margin over target from which a law is only slowed a little
KEPT = 1.0 - 1e-9  # factor on the speed from which joint limits count as kept
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
    others = _others(whole, moves)
    fallback = min((option.cycle for option in others), default=np.inf)
    watch("a new time law")
    if plan.tracks and all(track.find() for track in plan.tracks.values()):
        for turn in range(ROUNDS + SLOWDOWNS):
            watch(f"a new time law, checked {rounds} times")
            plan.rate = fine = max(rate, FINEST)
            now = plan.kept_within(demands)
            if now is None or plan.cycle >= fallback:
                break
            seen = QuickCheck(now, spacing=0.5 / plan.rate).look(np.ones(now.job.trajectory.samples - 1))
            short = _shortfalls(seen)
            if not short:
                found, made = _checked(plan, rate)
                rounds += made
                if found.passed and found.reached >= RESERVE:
                    best = found
                    break
                if found.passed:
                    for track in plan.tracks.values():
                        track.slowed *= back_off(found.reached / RESERVE, demands.standing_ratio()[0])
                    continue
                as_fine = fine / plan.rate
                short = tuple(
                    s if s.sample is None else replace(s, sample=int(as_fine * s.sample)) for s in found.of_the_carry
                )
                plan.rate = fine
            if not short or not _spared(plan, seen, short, demands, whole_law=turn >= ROUNDS):
                break
    if best is not None and best.reached > SLACK:
        watch("a new time law, a little faster")
        best, made = _quickened(plan, best, demands, rate)
        rounds += made
    plan.rate = rate
    return _fastest(plan, best, others, moves, rounds)


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
    before, eased = plan.cycle, False
    for track in plan.tracks.values():
        if track.slowed < 1.0 or track.asked.max() > 1.0:
            eased = True
            track.slowed = min(1.0, track.slowed * np.sqrt(best.reached))
            track.asked = np.maximum(track.asked / best.reached, 1.0)
            track.find()
    made = 0
    if eased and plan.kept_within(demands) is not None and plan.cycle < before:
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
    kept: dict[int, Kept] = field(default_factory=dict)
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

    @property
    def cycle(self) -> float:
        """Time of the whole program [s]."""
        return sum(self.durations())

    def kept_within(self, demands: Demands) -> Case | None:
        """Slow the laws until pads and joints are within their limits, gaps between the samples included.

        Of the pads this is the quasi-static share of the check, without the simulation of the handovers.

        Returns:
            The program then, worked out on the bond that it has; None where it does not get there.
        """
        standing = demands.standing_ratio()[0]
        for _ in range(QUICK):
            job = self.job()
            motion = ProgramMotion.of(job.trajectory, job.robot)
            changed = self.program.case.moved(motion, job=job, airborne=self.program.case.airborne[self.nearest])
            now = Demands.of(changed)
            use = peak_utilisation(now.face, now.still + now.moving)[0] + now.error
            over = self.part_of(self.instants())[now.samples]
            worst = {i: float(use[over == i].max(initial=0.0)) for i in self.tracks}
            joints, where = joint_speeds(changed)[0], self.part_of(self.instants()[:-1])
            room = {i: float(joints[where == i].min(initial=1.0)) for i in self.tracks}
            if all(RESERVE * u <= 1.0 for u in worst.values()) and all(k >= KEPT for k in room.values()):
                return changed
            for i, u in worst.items():
                slower = back_off(1.0 / (RESERVE * u), standing) if not RESERVE * u <= 1.0 else 1.0
                self.tracks[i].slowed *= min(slower, room[i])
        return None

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
        return replace(job, trajectory=trajectory, **when_moved(job, old.t, old.t[0] + then))

    def _as_before(self, index: int, times: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """A piece that keeps its time law; neighbours that do so are one."""
        first, last = index, index
        while first > 0 and first - 1 not in self.tracks:
            first -= 1
        while last + 1 < len(self.parts) and last + 1 not in self.tracks:
            last += 1
        if first not in self.kept:
            self.kept[first] = Kept(self.program, self.parts[first].first, self.parts[last].last)
        return self.kept[first].at(times)


def _rising(s: FloatArray, t: FloatArray) -> tuple[FloatArray, FloatArray]:
    """A law as a rising function of the path parameter."""
    kept = np.concatenate([[True], np.diff(np.maximum.accumulate(s)) > 0])
    return s[kept], t[kept]


def _shortfalls(seen: Look) -> tuple[Shortfall, ...]:
    """The worst that a look has seen, where it is short of its target."""
    near = seen.nearest()
    if near.ratio >= 1.0:
        return ()
    return (Shortfall(check=near.check, verdict=Verdict.FAIL, ratio=near.ratio, sample=near.sample, text=near.check),)


def _spared(plan: _Plan, seen: Look, short: tuple[Shortfall, ...], demands: Demands, *, whole_law: bool) -> bool:
    """Ask more of the law where too little was found; say whether there is anything to ask."""
    t = plan.instants()[seen.samples]
    where, starts = plan.part_of(t), plan.starts()
    standing = demands.standing_ratio()[0]
    touched, renewed = False, set[int]()
    for i, track in plan.tracks.items():
        inside = np.flatnonzero(where == i)
        if inside.size == 0:
            continue
        ratios = seen.ratio[inside]
        blamed = [s for s in short if s.sample is None or _blames(plan, s.sample, i)]
        ratio = min([float(ratios.min()), *(s.ratio for s in blamed)])
        if ratio < 1.0:
            track.eased_for = short[0].check
        if ratio < 1.0 and (whole_law or ratio > CLOSE):
            track.slowed *= back_off(ratio, standing)
            touched = True
        elif (ratios < 1.0).any():
            s = track.at(t[inside] - starts[i])[0]
            need = np.where(ratios < 1.0, 1.0 / np.maximum(ratios, 0.5), 1.0)
            reach = max(int(np.ceil(track.ramp / float(np.median(np.diff(t))))), 1)
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


def _blames(plan: _Plan, sample: int, index: int) -> bool:
    """Whether a worst sample lies in a stretch, or in kept ones that follow it."""
    at = int(plan.part_of(plan.instants()[[sample]])[0])
    before = [i for i in plan.tracks if i <= at]
    return index == (before[-1] if before else next(iter(plan.tracks)))


class _Option(NamedTuple):
    """A program that passes: its time as a whole [s], how it was found, what the checker says of it, its stretches."""

    cycle: float
    by: str
    found: Judged
    rows: tuple[Move, ...] = ()


def _fastest(plan: _Plan, best: Judged | None, others: list[_Option], moves: Moves, rounds: int) -> Retimed:
    """The program that takes least time as a whole: by the new law, or by the speeds by move or as a whole."""
    options = others if best is None else [*others, _Option(plan.cycle, "retiming", best, _rows(plan))]
    none = _Option(moves.cycle_now, "retiming", Judged(job=moves.job, report=moves.report))
    chosen = min(options, key=lambda option: option.cycle, default=none)
    own, found = best is not None and chosen.found is best, chosen.found
    return Retimed(
        rows=chosen.rows,
        cycle_now=moves.cycle_now,
        cycle_then=chosen.cycle,
        passed=bool(options),
        job=found.job,
        report=found.full if own else found.report,
        rate=plan.rate,
        deviation=max((t.path.deviation for t in plan.tracks.values()), default=0.0) if own else 0.0,
        ramp=tuple(t.ramp for t in plan.tracks.values()) if own else (),
        reached=found.reached if options else 0.0,
        by=chosen.by,
        rounds=rounds,
    )


def _others(whole: Override, moves: Moves) -> list[_Option]:
    """The programs by other means that pass."""
    out = []
    if moves.passed:
        out.append(_Option(moves.cycle_then, "moves", Judged(job=moves.job, report=moves.report), moves.rows))
    if whole.cycle_then is not None and whole.job is not None and whole.report is not None:
        out.append(_Option(whole.cycle_then, "override", Judged(job=whole.job, report=whole.report)))
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
