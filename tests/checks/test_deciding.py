"""What data decides a margin that is open: the part of the error that is named is put to the check."""

import re
from dataclasses import replace

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.deciding import CLOSER, better_data, enough
from gripmargin.checks.hold import check as hold
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


def verdict(case, part):
    """Of hold, with a part of the error of the rates."""
    error = case.motion.error
    less = replace(error, sigma=part * error.sigma, bias=part * error.bias)
    return next(iter(hold.results(replace(case, motion=replace(case.motion, error=less))))).verdict


@pytest.mark.parametrize(("room", "step", "noise"), [(1.3, 0.02, 1e-7), (1.1, 0.02, 1e-7), (1.3, 0.004, 1e-4)])
def test_the_part_that_is_named_is_enough_and_the_next_one_is_not(room, step, noise):
    case = work_out(job("trapezoid", room, step=step, noise=noise))
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
        f"with accelerations known to {part * now:.2g} m/s^2 and 0 rad/s^2 (now {now:.2g} and 0) the check is decided, "
        "as was tried: give joint speeds and accelerations with the positions; else joint 1 needs positions with less "
        f"noise (now {case.motion.error.noise[0]:.1g} m) or closer than {1e3 * step:.3g} ms"
    )


def test_where_no_part_is_enough_exact_rates_are_asked_for():
    case = work_out(job("trapezoid", 1.3))
    data = better_data(case, int(case.carried[20]), 0.0)
    assert data.text == (
        "give joint speeds and accelerations with the positions: the check is decided only where they have next to no "
        "error, as was tried"
    )
    assert enough(case, lambda tried: not tried.motion.error.bias.any()) == 0.0
    assert enough(case, lambda tried: False) is None
    assert enough(work_out(job("trapezoid", 1.3, given=True)), lambda tried: True) is None
