"""The press in the tray: what it surely leaves where the rules of a second bond are not known."""

from dataclasses import replace

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.checks.case import work_out
from support.handed import DOWN, plate_job

STEP = 0.01


def pressed(*knots):
    """The pickup of pads of 50 kPa for a full bond and a least dwell of 1.5 s, along straight legs of t, x, z."""
    t, x, z = np.array(knots, dtype=float).T
    times = np.arange(0.0, t[-1] + STEP / 2, STEP)
    at = np.column_stack([np.interp(times, t, x), np.zeros(times.size), np.interp(times, t, z)])
    job = plate_job(strength=6e4, stiffness=1e8, full_preload=5e4, min_dwell=1.5)
    moves = tuple("press" if time <= knots[-3][0] else "carry" for time in times)
    program = gm.PoseTrajectory(t=times, position=at, rotation=np.tile(DOWN, (times.size, 1, 1)), moves=moves)
    phases = (gm.Phase(kind="preload", moves=("press",)), gm.Phase(kind="carry", moves=("carry",)))
    return work_out(replace(job, trajectory=program, phases=phases, nest=None), trial=True).pickup


def dragged(until):
    """Pressed on, dragged off at 10 kPa, dragged on while the pressure doubles, pressed on to 30 kPa until a time."""
    return pressed(
        (0, 0, 0.02),
        (0.5, 0, -1e-4),
        (2.1, 0, -1e-4),
        (3.1, 4e-3, -1e-4),
        (3.4, 8e-3, -2e-4),
        (3.9, 8e-3, -3e-4),
        (until, 8e-3, -3e-4),
        (until + 0.5, 8e-3, 0.05),
        (until + 1.5, 8e-3, 0.05),
    )


@pytest.mark.parametrize(("until", "least"), [(6.0, 0.2), (4.0, 0.0)])
def test_a_press_leaves_the_lesser_of_what_a_dwell_that_goes_on_and_one_that_begins_anew_leave(until, least):
    pickup = dragged(until)
    shares = np.concatenate(pickup.activation)
    assert shares.min() == pytest.approx(least, rel=3e-2, abs=1e-9)
