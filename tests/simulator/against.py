"""Simulator and checker side by side: where does the checker pass what fails, and fail what holds?"""

from collections import Counter, defaultdict
from dataclasses import dataclass, field, replace

import gripmargin as gm
from simulator.jobs import draw

CHECKS = ("preload", "lift_off", "hold", "release", "pressure")
NEAR = 0.02  # of a target: closer to it the simulator's own cells and steps decide


@dataclass(frozen=True)
class Side:
    """One check of one job: what the checker says, and whether the simulator finds it good (None: too close)."""

    check: str
    verdict: str
    value: float | None
    target: float
    good: bool | None

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
    """Draw a job, and judge it twice; a disagreement counts if it stays on cells and steps of half the size."""
    attack = draw(seed, kind)
    compared = Compared(seed, attack.kind)
    try:
        report = gm.check_job(attack.job)
    except gm.GripmarginError as refused:
        compared.verdict, compared.error = "refused", str(refused)
        return attack, compared
    except Exception as crash:
        compared.error = f"{type(crash).__name__}: {crash}"
        return attack, compared
    compared.verdict = str(report.verdict)
    finer = None
    for check in report.checks:
        if check.check not in CHECKS:
            continue
        side = Side(check.check, str(check.verdict), check.value, check.target, good(check, attack.whole))
        if side.false_pass or side.false_fail:
            finer = finer or attack.finer()
            side = replace(side, good=good(check, finer, attack.whole))
        compared.sides.append(side)
    return attack, compared


def good(check, whole, coarser=None):
    """Whether the simulated program reaches the target of a check; None where that is too close to tell.

    With a coarser simulation beside it a figure counts with as much doubt as lies between both.
    """
    low, high = (1.0 - NEAR) * check.target, (1.0 + NEAR) * check.target
    if check.check in ("lift_off", "hold"):
        survives = [each.lifts if check.check == "lift_off" else each.carries for each in (whole, coarser or whole)]
        short, reached = not any(on(low) for on in survives), all(on(high) for on in survives)
    elif check.check == "release" and not whole.arrives:
        return None  # it was lost before
    else:
        value, doubt = figure(whole, check.check), 0.0
        if coarser:
            doubt = abs(value - figure(coarser, check.check))
        if check.check == "preload":
            high = min(high, 0.999)
        # A release may be judged on a full bond, though there is less: that is strict, not wrong.
        least = min(value, *(min(ratio.values()) for ratio in whole.ratios())) if check.check == "release" else value
        short, reached = value + doubt < low, least - doubt >= high and (check.check == "preload" or whole.arrives)
    return None if short == reached else bool(reached)


def figure(whole, check):
    """What the simulator finds in place of a check's value."""
    if check == "preload":
        return whole.activation
    if check == "pressure":
        return whole.job.part.max_pressure / whole.pressure
    if check == "release":
        return min(whole.ratios()[-1].values())
    return whole.factors()[check]


def table(compared):
    """Lines that say how often both sides agree, with the seed of each false pass and false fail."""
    kinds = Counter(job.kind for job in compared)
    verdicts = Counter(job.verdict for job in compared)
    yield f"{len(compared)} jobs: " + ", ".join(f"{count} {word}" for word, count in sorted(verdicts.items()))
    yield "kinds: " + ", ".join(f"{kind} {count}" for kind, count in kinds.items())
    passed = [job for job in compared if job.verdict == "pass"]
    wrong = [job for job in passed if any(side.good is False for side in job.sides)]
    yield f"jobs that pass as a whole: {len(passed)}, of them falsely: {len(wrong)}  {_seeds(wrong)}"
    yield f"{'check':10}{'pass':>6}{'false':>7}{'fail':>6}{'false':>7}{'undecided':>11}"
    listed = defaultdict(lambda: defaultdict(list))
    for name in CHECKS:
        sides = [(job, side) for job in compared for side in job.sides if side.check == name]
        said = Counter(side.verdict for _, side in sides)
        for job, side in sides:
            if side.false_pass or side.false_fail:
                listed[name, "pass" if side.false_pass else "fail"][job.kind].append(job)
        count = [sum(map(len, listed[name, word].values())) for word in ("pass", "fail")]
        yield (f"{name:10}{said['pass']:6}{count[0]:7}{said['fail']:6}{count[1]:7}{said['undecided']:11}")
    for (name, word), by_kind in listed.items():
        for kind, jobs in by_kind.items():
            yield f"false {word} of {name}, {kind}: {_seeds(jobs)}"
    for job in compared:
        if job.error:
            yield f"seed {job.seed}, {job.kind}: {job.verdict}: {job.error[:200]}"


def _seeds(jobs):
    return " ".join(str(job.seed) for job in jobs)


def both_sides(attack, compared):
    """Lines that say what either side finds in one job."""
    job = attack.job
    yield f"seed {attack.seed}, {attack.kind}: {compared.verdict} {compared.error}"
    factors = attack.whole.factors()
    for side in compared.sides:
        mine = factors[side.check] if side.check in factors else figure(attack.whole, side.check)
        word = "FALSE PASS" if side.false_pass else "false fail" if side.false_fail else ""
        yield (
            f"  {side.check:10}target {side.target:.2f}  checker {side.verdict:10}"
            f"{side.value if side.value is None else round(side.value, 3)!s:>8}  simulator {mine:8.3f}  {word}"
        )
    yield f"  first break of hold: {factors['first break']:.3f}"
    for bond, ratios in zip(("full", "real"), attack.whole.ratios(), strict=False):
        yield f"  release on the {bond} bond: " + ", ".join(f"{way} {ratio:.2f}" for way, ratio in ratios.items())
    yield f"  taken at {getattr(attack.whole.state, 'time', None)} s, down at {attack.whole.seat} s"
    part, nest = job.part, job.nest
    yield (
        f"  part {part.mass:.3f} kg, centre of mass {1e3 * part.com.round(5)} mm, may take {part.max_pressure:.0f} Pa; "
        f"nest {nest.hold_down:.2f} N, {nest.lateral_force:.2f} N, {nest.moment:.3f} N m"
    )
    for pad in job.gripper.pads:
        yield f"  {pad.name}: at {1e3 * pad.pose_in_tool[:3, 3].round(5)} mm, {len(pad.outline)} corners"
    for name, end, place in zip(attack.motion.names, attack.motion.borders[1:], attack.motion.ends, strict=True):
        yield f"  to {end:.2f} s {name:9} " + " ".join(f"{value:9.5f}" for value in place)
