"""What a margin says besides its figure."""

import numpy as np

import gripmargin as gm
from gripmargin.checks.hold.check import HOLD


def test_a_margin_that_is_open_says_why(smooth, gantry, one_pad, plate, worked_out):
    """Rates estimated from positions leave a margin open where the target lies within what they leave open."""
    exact = smooth(length=0.6, duration=0.6)
    q = np.column_stack([exact.q, np.zeros((exact.t.size, 3))])
    given = {"trajectory": gm.JointTrajectory(t=exact.t, q=q), "robot": gantry, "gripper": one_pad, "part": plate(1.0)}
    hold = HOLD.answer(worked_out(**given)).results[0]
    assert hold.low < hold.value
    assert hold.details.first_break is None  # the bond is even
    answer = HOLD.answer(worked_out(**given, targets=gm.Targets(hold=0.5 * (hold.low + hold.value))))
    assert (answer.results[0].low, answer.results[0].high) == (hold.low, hold.high)
    found = answer.findings[0]
    assert found.verdict == "undecided"
    assert found.because.undecided
