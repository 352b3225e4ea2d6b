"""What the swing out of its place may add, beside what the checker finds that it does."""

from dataclasses import replace

import numpy as np

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.swing.ringing import mode_sets
from gripmargin.checks.swing.use import swing_use, use_over
from gripmargin.tuning.allowed import Condition, Motion
from gripmargin.tuning.sizes import GROUPS, inputs
from gripmargin.tuning.swayed import Swayed
from support.within import leaning, random_circle, random_slide

FILM = gm.PadMaterial(
    pull_off_stress=5e4, shear_strength=4e4, normal_stiffness=1e8, shear_stiffness=3.3e7, damping_ratio=0.08
)
PADS = [gm.Pad.rectangle(f"{x} m", FILM, [0.03, 0.025], at=gm.pose(xyz=(x, 0, 0))) for x in (-0.04, 0.03)]
PART = gm.Part(mass=0.6, com=[0.004, 0.003, 0.01], inertia=[2e-3, 2e-3, 4e-3, 0, 0, 0], face="plane", rigid=True)
SIZE, RAMP = 2.5, 0.1
ALONG = Motion(acceleration=1.0)


def swayed(program, pads=PADS, part=PART):
    job = gm.Job(name="plate", trajectory=program, gripper=gm.Gripper(pads=pads), part=part)
    case = work_out(job)
    modes = mode_sets(case)[-1]
    return case, Swayed(modes, part, case.whole.centre, inputs(job))


def test_a_part_upon_its_pads_leans_over_further_and_within_the_bound():
    """Its weight pulls it on where it has swung to."""
    upright = leaning(np.pi, 1.0)
    case, sway = swayed(random_slide(np.random.default_rng(0), SIZE, RAMP, upright, knots=12))
    carry = swing_use(case)
    alone = use_over(carry.stretches[0], case.grip.face).value.max()
    more = sway.more(ALONG, Condition(tilt=np.pi, ramp=RAMP, gravity=9.80665, drag=0.0), SIZE)
    bound = mode_sets(case)[-1].gain(case.grip.face) @ more
    assert 0.0 < carry.use.value.max() - alone < bound
    assert bound < 0.05  # a tenth of what a target of 2 leaves


def test_more_motion_adds_more_and_beyond_ten_degrees_nobody_knows():
    _, sway = swayed(gm.hanging_still())
    level = Condition(tilt=0.0, ramp=RAMP, gravity=9.80665, drag=0.0)
    found = np.array([sway.more(ALONG, level, x) for x in (0.0, 1.0, 4.0, 16.0)])
    assert (np.diff(found.max(axis=1)) > 0).all()
    assert 16.0 < sway.reach(ALONG, level, 1e4) < 1e4
    assert sway.reach(ALONG, level, 16.0) == 16.0


def test_responses_and_rates_of_a_tool_that_spins_leaning_are_within_the_bounds():
    """Of each mode beside its sag, as the checker follows it; of one by three quarters at least."""
    tilt, speed, gravity = np.deg2rad(30.0), 4.0, 9.80665
    tool = leaning(tilt, 1.0)
    spin = random_circle(np.random.default_rng(0), speed**2 / np.pi, speed, RAMP, tool, tool[:, 2], [0, 0, 0])
    case, sway = swayed(spin)
    swing = swing_use(case).stretches[0].swing
    about = Motion(about="spin", angular_velocity=1.0, angular_acceleration=1.0 / np.pi)
    response, rate = sway.sizes(about, Condition(tilt=tilt, ramp=RAMP, gravity=gravity, drag=0.0), speed)
    sag = gravity * np.linalg.norm(swing.modes.shapes.T @ inputs(case.job)[:, GROUPS["gravity"]], axis=1)
    for found, bound in ((swing.response(), response + sag), (swing.rates[0], rate)):
        share = np.abs(found).max(axis=1) / bound
        assert share.max() <= 1.0
        assert share.max() > 0.77


def test_what_is_pulled_straight_off_does_not_sway():
    """Middle of mass over the middle of the pads: it heaves without a turn, and its weight keeps its lever."""
    pads = [replace(pad, pose_in_tool=gm.pose(xyz=(x, 0, 0))) for pad, x in zip(PADS, (-0.035, 0.035), strict=True)]
    _, sway = swayed(gm.hanging_still(), pads, replace(PART, com=[0.0, 0.0, 0.01]))
    level = Condition(tilt=0.0, ramp=RAMP, gravity=9.80665, drag=0.0)
    along = sway.more(Motion(along="z", acceleration=1.0), level, SIZE)
    assert along.max() < 1e-9 * sway.more(ALONG, level, SIZE).max()
