"""Simulator and checker side by side: where does the checker pass what fails, and fail what holds?"""

from collections import Counter, defaultdict
from copy import copy
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np

import gripmargin as gm
from gripmargin.checks import registry
from gripmargin.checks.case import work_out
from gripmargin.checks.hold.check import HOLD, results
from gripmargin.results.findings import Outcome, overall
from simulator.hanging import most
from simulator.jobs import KINDS, draw

CHECKS = ("preload", "lift_off", "hold", "release", "pressure")
LEAST = {"preload": 1e-6, "lift_off": 0.01, "hold": 0.01, "release": 0.05, "pressure": 1e-3}  # nine in ten change less
NEAR = (0.7, 1.5)  # times the target: where a job is worth something


@dataclass(frozen=True)
class Side:
    """One check of one job: what the checker says, and what the simulator finds.

    Attributes:
        value: The checker's, or None.
        mine: The simulator's; of a margin without a doubt only whether it lies below, about or above the target.
        doubt: Of it, as a share: what cells and steps of half the size change, at least `LEAST`; None: not looked at.
        good: Whether the simulator finds the target reached; None: too close to tell.
    """

    check: str
    verdict: str
    value: float | None
    target: float
    mine: float
    good: bool | None
    doubt: float | None = None

    @property
    def false_pass(self):
        """Whether it passes what falls short."""
        return self.verdict == "pass" and self.good is False

    @property
    def false_fail(self):
        """Whether it fails what is good."""
        return self.verdict == "fail" and self.good is True


@dataclass
class Compared:
    """One job compared."""

    seed: int
    kind: str
    verdict: str = "error"
    sides: list = field(default_factory=list)
    error: str = ""


def compare(seed, kind=None):
    """Draw a job, and judge it twice."""
    attack = draw(seed, kind)
    return attack, judged_twice(attack)


def judged(seed, kind=None):
    """What both sides find in a job of a seed: in a module of its own, for processes started anew."""
    return compare(seed, kind)[1]


def judged_twice(attack):
    """What both sides find in a job; a disagreement counts if it stays on cells and steps of half the size."""
    compared = Compared(attack.seed, attack.kind)
    try:
        checks = answers(attack.job)
    except gm.GripmarginError as refused:
        compared.verdict, compared.error = "refused", str(refused)
        return compared
    except Exception as crash:
        compared.error = f"{type(crash).__name__}: {crash}"
        return compared
    compared.verdict, finer = str(overall(check.verdict for check in checks)), None
    for check in checks:
        if check.check == "release" and not attack.whole.arrives:
            continue  # what was lost before is not let go
        said = check.check, str(check.verdict), check.value, check.target
        side = Side(*said, *found(said[0], said[3], attack.whole))
        if side.false_pass or side.false_fail:
            finer = finer or [attack.finer(), attack.finer(3)]
            alike = attack.alike() if side.false_fail else []
            side = Side(*said, *found(said[0], said[3], attack.whole, finer, alike))
        compared.sides.append(side)
    return compared


def answers(job):
    """What the checker says of a job where the simulator judges it too, without the advice that takes most of its time.

    A change on trial is judged, and nobody reads more of it: so are all checks but that of the carry, of which a trial
    does not say whether an uneven bond that may hold is lost.
    """
    case = work_out(job)
    case.undone  # noqa: B018 - the releases, simulated once for both
    trial = copy(case)
    object.__setattr__(trial, "trial", True)
    return [
        result
        for check in registry.CHECKS
        if any(judged.name in CHECKS for judged in check.judged)
        for result in (_alone(check).answer(trial if check is not HOLD else case).results)
        if result.check in CHECKS
    ]


def _alone(check):
    """A check without its findings: on trial one does not say whether an uneven bond that may hold is lost."""
    if check is not HOLD:
        return check
    return replace(
        HOLD, run=lambda case: Outcome(results=tuple(replace(each, text="as judged") for each in results(case)))
    )


def found(check, target, whole, finer=(), alike=()):
    """The simulator's figure, whether it reaches the target, and how far it may be off, as a share.

    Beside finer simulations the doubt is as large as what lies between them all, and none may contradict. What is
    good has to be good with all faces ``alike``.
    """
    each, doubt = [whole, *finer], None
    carried = check in ("lift_off", "hold")
    figures = [figure(one, check, target) if finer or not carried else _about(one, check, target) for one in each]
    if finer:
        doubt = LEAST[check]
        if len({*figures}) > 1:
            doubt = max(doubt, max(figures) / min(figures) - 1.0 if min(figures) > 0.0 else np.inf)
    low, high = target * (1.0 - min(doubt or 0.0, 1.0)), target * (1.0 + (doubt or 0.0))
    if carried:  # a load that is carried does not show that every smaller one is
        short = not any(_survives(check, one, low) for one in each)
        reached = all(_survives(check, one, high) for one in [*each, *alike])
    else:
        high = min(high, 0.999) if check == "preload" else high
        short = max(figures) < low
        reached = min(figures) >= high and all(figure(one, check) >= high for one in alike)
    if check == "pressure":  # in a nest that the part never sees it is judged as if it did: strict, not wrong
        reached = reached and whole.arrives
    if check == "release":  # so it is on a full bond, though there is less
        reached = reached and all(min(ratio.values()) >= high for one in [*each, *alike] for ratio in one.ratios())
    return figures[-1], None if short == reached else bool(reached), doubt


def asked(job):
    """What each check has to reach."""
    hold = job.targets.hold
    return {
        "preload": job.targets.preload,
        "lift_off": hold,
        "hold": hold,
        "release": job.targets.release,
        "pressure": 1.0,
    }


def _survives(check, whole, factor):
    key = check, factor
    if key not in whole.survived:
        whole.survived[key] = whole.lifts(factor) if check == "lift_off" else whole.carries(factor)
    return whole.survived[key]


def _about(whole, check, target):
    """A margin to the nearest border: what lies near the target, under and over it."""
    if _survives(check, whole, target):
        return target * (2.0 if _survives(check, whole, NEAR[1] * target) else 1.2)
    return target * (0.8 if _survives(check, whole, NEAR[0] * target) else 0.5)


def figure(whole, check, target=1.0):
    """What the simulator finds in place of a check's value; margins within 4 times of the target."""
    if check == "preload":
        return whole.activation
    if check == "pressure":
        return whole.job.part.max_pressure / whole.pressure if whole.pressure > 0.0 else np.inf
    if check == "release":
        return min(whole.ratios()[-1].values())
    return most(partial(_survives, check, whole), target / 4.0, target * 4.0)


def converged(seeds, kind=None):
    """Lines that say how far figures change on cells and steps of half the size, by check."""
    off = defaultdict(list)
    for seed in seeds:
        attack = draw(seed, kind)
        finer = attack.finer()
        goals = asked(attack.job)
        for check in CHECKS:
            if check == "release" and not (attack.whole.arrives and finer.arrives):
                continue
            a, b = (figure(each, check, goals[check]) for each in (attack.whole, finer))
            off[check].append((0.0 if a == b else abs(b / a - 1.0) if a else np.inf, seed))
    yield f"{'check':10}{'median':>9}{'90 %':>9}{'largest':>9}  change on cells and steps of half the size"
    for check, changes in off.items():
        shares = np.array([change for change, _ in changes])
        yield (
            f"{check:10}" + "".join(f"{np.quantile(shares, q):9.4f}" for q in (0.5, 0.9, 1.0)) + f"  {max(changes)[1]}"
        )


def table(compared):
    """Lines that say how often both sides agree, with the seed of each false pass and false fail."""
    verdicts = Counter(job.verdict for job in compared)
    yield f"{len(compared)} jobs: " + ", ".join(f"{count} {word}" for word, count in sorted(verdicts.items()))
    passed = [job for job in compared if job.verdict == "pass"]
    wrong = [job for job in passed if any(side.good is False for side in job.sides)]
    yield f"jobs that pass as a whole: {len(passed)}, of them falsely: {len(wrong)}  {_seeds(wrong)}"
    yield ""
    yield f"{'check':10}{'pass':>6}{'false':>7}{'fail':>6}{'false':>7}{'undecided':>11}{'too close':>11}"
    for check in CHECKS:
        yield f"{check:10}" + _counted([s for job in compared for s in job.sides if s.check == check])
    yield ""
    yield "by kind: false passes, false fails, undecided of all; simulated below and above the target, near it"
    yield f"{'kind':9}" + "".join(f"{check:>22}" for check in CHECKS)
    for kind in KINDS:
        line = f"{kind:9}"
        for check in CHECKS:
            sides = [s for job in compared for s in job.sides if job.kind == kind and s.check == check]
            short = sum(NEAR[0] * s.target <= s.mine < s.target for s in sides)
            above = sum(s.target <= s.mine <= NEAR[1] * s.target for s in sides)
            wrong = [sum(s.false_pass for s in sides), sum(s.false_fail for s in sides)]
            line += f"{'{} {} {}/{}  {}<{}'.format(*wrong, _undecided(sides), len(sides), short, above):>22}"
        yield line
    yield ""
    listed = defaultdict(list)
    for job in compared:
        for side in job.sides:
            if side.false_pass or side.false_fail:
                listed[f"false {side.verdict} of {side.check}, {job.kind}"].append(job)
    yield from (f"{name}: {_seeds(listed[name])}" for name in sorted(listed, reverse=True))
    yield from (f"seed {job.seed}, {job.kind}: {job.verdict}: {job.error[:200]}" for job in compared if job.error)


def _undecided(sides):
    return sum(side.verdict == "undecided" for side in sides)


def _counted(sides):
    """Of one check: how often it passes, falsely, fails, falsely, is undecided; how often the simulator is."""
    said = Counter(side.verdict for side in sides)
    close = sum(side.good is None and side.verdict != "undecided" for side in sides)
    return (
        f"{said['pass']:6}{sum(s.false_pass for s in sides):7}{said['fail']:6}{sum(s.false_fail for s in sides):7}"
        f"{said['undecided']:11}{close:11}"
    )


def _seeds(jobs):
    return " ".join(str(job.seed) for job in jobs)


def both_sides(attack, compared):
    """Lines that say what either side finds in one job."""
    job = attack.job
    yield f"seed {attack.seed}, {attack.kind}: {compared.verdict} {compared.error}"
    for side in compared.sides:
        word = "FALSE PASS" if side.false_pass else "false fail" if side.false_fail else ""
        yield (
            f"  {side.check:10}target {side.target:.2f}  checker {side.verdict:10}"
            f"{side.value if side.value is None else round(side.value, 3)!s:>8}  simulator {side.mine:8.3f}"
            f"{'' if side.doubt is None else f' +- {100 * side.doubt:.1f} %':10}  {word}"
        )
    factors = attack.whole.factors()
    yield "  " + ", ".join(f"{name} {factor:.3f}" for name, factor in factors.items())
    for bond, ratios in zip(("full", "real"), attack.whole.ratios(), strict=False):
        yield f"  release on the {bond} bond: " + ", ".join(f"{way} {ratio:.2f}" for way, ratio in ratios.items())
    yield f"  taken at {getattr(attack.whole.state, 'time', None)} s, down at {attack.whole.seat} s"
    part, nest = job.part, job.nest
    yield (
        f"  part {part.mass:.3f} kg, centre of mass {1e3 * part.com.round(5)} mm, may take {part.max_pressure:.0f} Pa; "
        f"nest {nest.hold_down:.2f} N, {nest.lateral_force:.2f} N, {nest.moment:.3f} N m; "
        f"highest pressure {attack.whole.pressure:.0f} Pa"
    )
    for pad in job.gripper.pads:
        yield f"  {pad.name}: at {1e3 * pad.pose_in_tool[:3, 3].round(5)} mm, {len(pad.outline)} corners"
    yield from (f"  {material}" for material in {pad.material.name: pad.material for pad in job.gripper.pads}.values())
    for phase in job.phases:
        yield f"  {phase.kind}: {', '.join(phase.moves)}"
    for name, end, place in zip(attack.motion.names, attack.motion.borders[1:], attack.motion.ends, strict=True):
        yield f"  to {end:.2f} s {name:9} " + " ".join(f"{value:9.5f}" for value in place)
