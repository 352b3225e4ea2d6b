"""What data decides a margin that is open: the part of the error that is named is put to the check."""

import re
from dataclasses import replace

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.checks import words
from gripmargin.checks.case import work_out
from gripmargin.checks.deciding import CLOSER, Enough, better_data, enough
from gripmargin.checks.hold import check as hold
from gripmargin.checks.stop import check as stop
from gripmargin.checks.swing import check as swing
from support.positions import MASS, SIDE, STRENGTH, program, true_margin


def job(kind, room, *, step=0.02, noise=1e-7, given=False):
    """A slide along a law whose true margin is so many times the target."""
    law, t = program(kind, 0, step), np.arange(round(3.0 / step)) * step
    x, v, a = law(t)
    film = gm.PadMaterial(
        pull_off_stress=STRENGTH, shear_strength=STRENGTH, normal_stiffness=1e8, shear_stiffness=3.3e7
    )
    rates = {"qd": v[:, None], "qdd": a[:, None]} if given else {}
    stray = 0.0 if given else noise * np.random.default_rng(0).normal(size=t.size)
    return gm.Job(
        name="slide",
        trajectory=gm.JointTrajectory(t=t, q=(x + stray)[:, None], **rates),
        robot=gm.chain_from_axes([np.eye(4)], [(1.0, 0.0, 0.0)], [False], gm.pose(rpy=(np.pi, 0, 0))),
        gripper=gm.Gripper(pads=(gm.Pad.rectangle("pad", film, [SIDE, SIDE]),)),
        part=gm.Part(face="plane", rigid=True, mass=MASS, com=[0, 0, 0], inertia=[3e-4, 3e-4, 6e-4, 0, 0, 0]),
        targets=gm.Targets(hold=true_margin(law, t) / room),
    )


@pytest.mark.parametrize(
    ("kind", "seed", "digit", "off", "said", "data"),
    [
        (
            "minimum jerk",
            102,
            1e-3,
            0.0,
            "rounded to 0.0001 m (now 0.001), or every 4 ms (now 8)",
            [(8, 1e-4), (4, 1e-3)],
        ),
        ("trapezoid", 21, 1e-5, 0.1, "positions at even times as they are", [(8, 1e-5)]),
    ],
)
def test_samples_that_are_named_are_enough_for_the_motion_itself(kind, seed, digit, off, said, data):
    """They were tried on motions fitted to the samples; here they are taken of the exact one."""
    law = program(kind, seed, 0.008)

    def sampled(step, digit, off=0.0):
        t = np.arange(round(3.0 / step)) * step
        x = np.rint(law(t)[0] / digit) * digit
        return gm.JointTrajectory(t=t + off * step * np.random.default_rng(2).uniform(-1, 1, t.size), q=x[:, None])

    target = true_margin(law, np.arange(375) * 0.008) / 1.3
    made = replace(job(kind, 1.3), trajectory=sampled(0.008, digit, off), targets=gm.Targets(hold=target))
    found = hold.run(work_out(made))
    assert found.results[0].verdict is gm.Verdict.UNDECIDED
    assert f"{said}, tried on two motions fitted to these; joint 1 needs it most" in found.findings[0].remedies[0].text
    for step, last in data:
        again = work_out(replace(made, trajectory=sampled(1e-3 * step, last)))
        assert next(iter(hold.results(again))).verdict is gm.Verdict.PASS


def verdict(case, part, check=hold):
    """Of a check, with a part of the error of the rates."""
    error = case.motion.error
    names = "sigma", "bias", "speed_sigma", "speed_bias"
    unsmoothed = error.unsmoothed.times(part, part)
    less = replace(error, unsmoothed=unsmoothed, **{name: part * getattr(error, name) for name in names})
    return next(iter(check.results(replace(case, motion=replace(case.motion, error=less))))).verdict


OPEN = [("blends", 1.3, 0.02, 1e-7), ("S-curve", 1.03, 0.02, 1e-7), ("trapezoid", 1.3, 0.004, 1e-4)]


@pytest.mark.parametrize(("kind", "room", "step", "noise"), OPEN)
def test_the_part_that_is_named_is_enough_and_the_next_one_is_not(kind, room, step, noise):
    case = work_out(job(kind, room, step=step, noise=noise))
    found = hold.run(case)
    assert found.results[0].verdict is gm.Verdict.UNDECIDED
    data = found.findings[0].remedies[0]
    said, now = (float(x) for x in re.search(r"known to (\S+) m/s\^2.*now (\S+) and", data.text).groups())
    part = min(CLOSER, key=lambda part: abs(part - said / now))
    assert verdict(case, part) is not gm.Verdict.UNDECIDED
    assert part == CLOSER[0] or verdict(case, CLOSER[CLOSER.index(part) - 1]) is gm.Verdict.UNDECIDED
    sample = found.findings[0].worst.margin.at.sample
    noise, bias = case.motion.error.sizes(np.array([sample]))[:, 0, 0]
    now = 2.0 * noise + bias
    assert data.text == (
        f"with accelerations known to {part * now:.2g} m/s^2 and 0 rad/s^2 (now {now:.2g} and 0 "
        f"at {case.job.trajectory.t[sample]:.3f} s) the check is decided, "
        "as was tried: give joint speeds and accelerations with the positions; else joint 1 needs positions with less "
        f"noise (now {case.motion.error.noise[0]:.1g} m) or closer than {1e3 * step:.3g} ms"
    )


def swung(kind, check, share=0.6):
    """A job on damped pads whose target lies so far from low to value of what a check leaves open; with its outcome."""
    made = job(kind, 1.2)
    film = replace(made.gripper.pads[0].material, damping_ratio=0.05)
    pads = gm.Gripper(pads=(gm.Pad.rectangle("pad", film, [SIDE, SIDE]),))
    made = replace(made, gripper=pads, stop=gm.Stop(time=0.5))
    open_ = next(iter(check.results(work_out(made))))
    middle = open_.low + share * (open_.value - open_.low)
    case = work_out(replace(made, targets=gm.Targets(swing=middle, stop=middle)))
    return case, check.run(case)


@pytest.mark.parametrize(("check", "kind"), [(swing, "S-curve"), (stop, "minimum jerk")], ids=["swing", "stop"])
def test_swing_and_stops_say_what_is_enough_where_and_from_which_joint(check, kind):
    case, found = swung(kind, check, 0.5)
    assert found.results[0].verdict is gm.Verdict.UNDECIDED
    (data,) = (each for each in found.findings[0].remedies if each.action == "better data")
    pattern = r"known to (\S+) m/s\^2.*now (\S+) and 0 at (\S+) s\).*joint 1"
    said, now, at = (float(x) for x in re.search(pattern, data.text).groups())
    part = min(CLOSER, key=lambda part: abs(part - said / now))
    assert verdict(case, part, check) is not gm.Verdict.UNDECIDED
    assert part == CLOSER[0] or verdict(case, CLOSER[CLOSER.index(part) - 1], check) is gm.Verdict.UNDECIDED
    noise, bias = case.motion.error.sizes(np.arange(case.carried.size))[:, 0]
    size = 2.0 * noise + bias
    assert size[np.argmin(np.abs(case.job.trajectory.t - at))] == pytest.approx(now, rel=0.05)
    # a swing comes of what was before it: the least known of that is said
    assert check is stop or now == pytest.approx(size[: found.findings[0].worst.margin.at.sample + 1].max(), rel=0.05)


def test_where_given_rates_alone_decide_a_swing_they_are_asked_for():
    case, found = swung("minimum jerk", swing)
    texts = [each.text for each in found.findings[0].remedies if each.action == "better data"]
    assert texts == [words.exact_rates_decide(poses=False)]
    given = replace(case, motion=replace(case.motion, given=True, error=None))
    assert next(iter(swing.results(given))).verdict is not gm.Verdict.UNDECIDED


def test_where_no_part_is_enough_exact_rates_are_asked_for():
    case = work_out(job("trapezoid", 1.3))
    data = better_data(case, int(case.carried[20]), Enough(0.0))
    assert data.text == (
        "give joint speeds and accelerations with the positions: the check is decided only where they have next to no "
        "error, as was tried"
    )
    assert enough(case, lambda tried: tried.motion.error is None) == Enough(0.0)
    assert enough(case, lambda tried: False) is None
    assert enough(work_out(job("trapezoid", 1.3, given=True)), lambda tried: True) is None


@pytest.mark.parametrize("check", [hold.HOLD, swing.SWING], ids=["hold", "swing"])
def test_a_recording_that_lost_the_samples_of_a_rest_is_asked_for_them(check, one_pad, plate):
    """Slower or stronger it would still not be known what the robot did from 0.516 to 0.920 s."""
    t = np.arange(400) * 0.004
    s = [np.clip((t - start) / 0.5, 0.0, 1.0) for start in (0.0, 1.0)]
    x = 0.4 * np.subtract(*(10 * s**3 - 15 * s**4 + 6 * s**5 for s in s))
    t = t + np.random.default_rng(1).normal(0.0, 5e-5, t.size)  # a logger's stamps
    kept = np.delete(np.arange(400), slice(130, 230))
    seen = gm.PoseTrajectory(
        t=t[kept],
        position=np.column_stack([x, 0.0 * x, 0.0 * x])[kept].round(9),
        rotation=np.tile(np.diag([1.0, -1.0, -1.0]), (kept.size, 1, 1)),
    )
    some = gm.Job(name="lost", trajectory=seen, gripper=one_pad, part=plate(0.5))
    open_ = next(iter(check.answer(work_out(some)).results))
    target = 0.6 * open_.value
    assert open_.low < target
    found = check.answer(work_out(replace(some, targets=gm.Targets(**{check.name: target})))).findings
    said = {each.text for finding in found for each in finding.remedies}
    assert said == {
        "give the samples from 0.516 to 0.920 s: export the wait with them, or record it again without losing any"
    }
    for finding in found:
        shares = finding.because.shares if check is swing.SWING else finding.because
        assert shares.undecided[0].startswith("no sample from 0.516 to 0.920 s, at rest before and after")
