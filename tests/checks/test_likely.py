"""Positions whose scatter their last digit explains, and positions that shake, on pads that 0.05 mm tear off."""

from dataclasses import replace

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.checks import likely
from gripmargin.checks.case import work_out

RNG_SEED = 1
FILM = {"pull_off_stress": 5e3, "shear_strength": 5e3, "normal_stiffness": 1e8, "shear_stiffness": 1e8}


def lift(digit=0.0, noise=0.0, rest=0.0):
    """Up by 0.2 m in 0.8 s, after 0.2 s at rest, every 4 ms: [m], normal noise before the rounding.

    Args:
        digit: What is rounded to.
        noise: One standard deviation.
        rest: Part of that noise that is there at rest too.
    """
    t = 0.004 * np.arange(251)
    s = np.clip((t - 0.2) / 0.8, 0.0, 1.0)
    shaking = noise * np.random.default_rng(RNG_SEED).normal(size=t.size) * np.where((s > 0) & (s < 1), 1.0, rest)
    q = 0.2 * (10 * s**3 - 15 * s**4 + 6 * s**5) + shaking
    q = np.round(q / digit) * digit if digit else q
    return gm.Job(
        name="lift",
        trajectory=gm.JointTrajectory(t=t, q=q[:, None]),
        robot=gm.chain_from_axes([np.eye(4)], [(0, 0, 1)], [False], gm.pose(rpy=(np.pi, 0, 0))),
        gripper=gm.Gripper(pads=(gm.Pad.rectangle("pad", gm.PadMaterial(**FILM, damping_ratio=0.1), [0.05, 0.05]),)),
        part=gm.Part(mass=0.1, com=[0, 0, 0.002], inertia=[1e-4, 1e-4, 2e-4, 0, 0, 0], face="plane", rigid=True),
    )


@pytest.mark.parametrize(
    ("made", "named"),
    [
        ({"digit": 1e-4}, False),  # the error of rounding, a rectangle, has 1 / sqrt(12) of a digit: 3 of it are 87 um
        ({"digit": 1.9e-4}, False),
        ({"digit": 4e-4}, True),  # coarser than files are: no digit, whatever it is
        ({"noise": 29e-6, "rest": 1.0}, True),  # the same size, of no digit
        ({"digit": 1e-4, "noise": 20e-6}, False),  # hidden in the digit
        ({"digit": 1e-4, "noise": 100e-6}, True),  # a digit of noise makes twice what rounding does
        (
            {"digit": 1e-4, "noise": 40e-6, "rest": 1.0},
            True,
        ),  # so much is no more than the digit, but goes on where the robot stands
    ],
)
def test_what_the_last_digit_explains_is_no_shaking(made, named):
    assert ("scatter" in likely.found(work_out(lift(**made)))) == named


def test_a_rounded_program_is_decided_by_its_bounds():
    """Its margin by the law itself lies within, and a target below the lower bound is reached."""
    lifted = lift(digit=1e-4)
    exact = gm.check_job(lift(), checks=["hold"]).checks[0]
    (found,) = gm.check_job(lifted, checks=["hold"]).checks
    assert found.low < exact.value < found.high
    for share, verdict in ((0.99, gm.Verdict.PASS), (1.01, gm.Verdict.UNDECIDED)):
        job = replace(lifted, targets=gm.Targets(hold=share * found.low))
        assert gm.check_job(job, checks=["hold"]).verdict is verdict
