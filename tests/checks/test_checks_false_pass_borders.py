"""A carry that begins or ends between samples that are far apart: its load there is asked all the same."""

import numpy as np
import pytest

import gripmargin as gm


@pytest.mark.parametrize("given", ["times", "moves"])
def test_the_peak_between_the_press_and_the_first_carried_sample(gantry, one_pad, plate, given):
    """A lift of 0.3 m in 0.3 s from 0.2 s on, a polynomial of degree five, told every 50 ms."""
    t = np.arange(0.0, 0.8, 0.05)
    s = np.clip((t - 0.2) / 0.3, 0.0, 1.0)
    q, qd, qdd = np.zeros((3, t.size, 4))
    q[:, 2] = 0.3 * (10 * s**3 - 15 * s**4 + 6 * s**5)
    qd[:, 2] = 0.3 * 30 * s**2 * (1 - s) ** 2 / 0.3
    qdd[:, 2] = 0.3 * 60 * s * (1 - s) * (1 - 2 * s) / 0.3**2
    peak = 10.0 / np.sqrt(3.0) * 0.3 / 0.3**2  # closed form: the highest acceleration of that polynomial
    due = 50e3 * 0.05**2 / (9.80665 + peak)
    moves = tuple("lift" if 0.27 < x < 0.62 else "press" if x < 0.3 else "on" for x in t) if given == "moves" else None
    carry = gm.Phase(kind="carry", moves=("lift",)) if moves else gm.Phase(kind="carry", start=0.201, end=0.299)
    report = gm.check(
        trajectory=gm.JointTrajectory(t=t, q=q, qd=qd, qdd=qdd, moves=moves),
        gripper=one_pad,
        part=plate(1.0, (0.0, 0.0, 0.0)),
        robot=gantry,
        phases=(carry,),
        targets=gm.Targets(hold=1.005 * due, swing=0.05),
    )
    (hold,) = [check for check in report.checks if check.check == "hold"]
    assert hold.low <= due * 1.001
    assert not report.passed
