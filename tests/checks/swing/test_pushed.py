"""The swing that forces of the process start, against closed forms and a simulation of its own."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.linalg import expm
from scipy.spatial.transform import Rotation

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.swing.pushed import Pushing, in_air, pushed_over
from gripmargin.checks.swing.ringing import mode_sets, stretches_of
from gripmargin.checks.swing.use import swing_use, use_over
from gripmargin.checks.swing.vibration import Modes
from gripmargin.contact.loads import load_per_acceleration
from gripmargin.contact.swung import started
from gripmargin.kernels.utilisation import largest_utilisation
from support.pushed import AREA, PULL, lowered, push

WEIGHT = 0.2 * 9.80665
HELD = PULL * AREA
MOVES = "down", "insert", "after"


def used(job, sample=120):
    """Use of the pads at a sample of the move "insert": what surely occurs there or later, and the most."""
    case = work_out(job)
    (stretch,), face = case.shared(stretches_of), case.grip.face
    found = use_over(stretch, face, None, pushed_over(case, stretch.modes, stretch.samples))
    return float(found.value[100:148].max()), float(found.high[sample])


def within(found, pull, *, off=2e-3):
    """Whether a use is that of a pull, but for what is left of the program's own swing."""
    return found == pytest.approx((WEIGHT + pull) / HELD, rel=off)


@pytest.mark.parametrize("damping", [None, 0.05, 0.2])
def test_what_comes_at_once_overshoots_by_as_much_again(damping):
    """2 undamped, else 1 + exp(-pi z / sqrt(1 - z^2)) (Chopra, Dynamics of Structures, ch. 4)."""
    sure, most = used(lowered(push((0, 0, 20)), damping=damping))
    z = damping or 0.0
    factor = 1.0 + np.exp(-np.pi * z / np.sqrt(1.0 - z * z))
    assert within(sure, factor * 20.0)
    assert within(most, factor * 20.0)


def test_what_presses_overshoots_on_the_pressed_side_alone():
    sure, most = used(lowered(push((0, 0, -20))))
    assert within(sure, 0.0, off=0.1)
    assert within(most, 0.0, off=0.1)


@pytest.mark.parametrize("x", [0.5, 0.8, 1.0, 1.5, 4.0])
def test_what_comes_over_a_time_overshoots_less(x):
    """1 + |sin pi x| / (pi x) with x = rise / period (Chopra, ch. 4); its envelope where the period may be any."""
    free = work_out(lowered())
    period = 2.0 * np.pi / free.shared(mode_sets)[-1].frequency[-1]
    assert period == pytest.approx(2.0 * np.pi * np.sqrt(0.2 / (1e8 * AREA)), rel=1e-2)
    most = used(lowered(push((0, 0, 20), shape="ramp", rise=x * period), move=0.0))[1]
    assert within(most, 20.0 * (1.0 + min(1.0, 1.0 / (np.pi * x))))
    assert most > (WEIGHT + 20.0 * (1.0 + abs(np.sin(np.pi * x)) / (np.pi * x))) / HELD * (1 - 2e-3)


def test_a_ramp_without_a_rise_takes_half_of_its_time():
    (pushed,) = work_out(lowered(push((0, 0, 20), shape="ramp"))).pushes
    assert pushed.rise == pytest.approx(0.5 * 0.392)


@pytest.mark.parametrize("force", [(0, 0, 20), (0, 0, -20), (8, 3, 0), (8, -3, 10)])
def test_many_modes_stay_within_and_come_near_what_is_said(force):
    """M x'' + C x' + K x = w + F step, stepped exactly by the matrix exponential, damped by modes."""
    job = lowered(push(force, (0.008, -0.004, 0.003)), damping=0.03, move=0.0)
    case = work_out(job)
    (push_,) = case.pushes
    mass, stiff = -load_per_acceleration(job.part), case.whole.stiffness
    squares, vectors = np.linalg.eig(np.linalg.solve(mass, stiff))
    root = (vectors * np.sqrt(squares)) @ np.linalg.inv(vectors)  # sqrt(M^-1 K): C = 2 z M sqrt(M^-1 K)
    step, system = 2e-5, np.zeros((12, 12))
    system[:6, 6:] = np.eye(6)
    system[6:, :6], system[6:, 6:] = -np.linalg.solve(mass, stiff), -2 * 0.03 * root.real
    once, state = expm(step * system), np.zeros(12)
    rest = np.linalg.solve(stiff, push_.wrench[:, 0])
    state[:6] = -rest  # about the place that the force pushes the part to
    ways = np.empty((12, 8000))
    for k in range(ways.shape[1]):
        ways[:, k] = state
        state = once @ state
    carried = stiff @ (ways[:6] + rest[:, None]) + case.own_load[:, [120]]
    true = float(largest_utilisation(case.grip.face, carried).max())
    sure, most = used(job)
    assert sure == pytest.approx(true, rel=5e-3)
    assert true <= most * (1 + 1e-9)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_what_presses_swings_back_no_further_than_it_came_from(sign):
    """Of a damped mode the far side alone fades, whichever way its shape is written."""
    case = work_out(lowered(push((0, 0, -20)), damping=0.2))
    modes, weight = case.shared(mode_sets)[-1], np.zeros((6, case.carried.size))
    modes = replace(modes, shapes=sign * modes.shapes, loads=sign * modes.loads)
    weight[2] = WEIGHT
    met = Pushing.over(modes, case.grip.face, case.carried.size)
    met.meets(pushed_over(case, modes, case.carried), 0, weight, np.zeros(case.carried.size))
    assert within(met.most[120], 0.0)


def test_what_goes_leaves_a_swing_of_its_own():
    """A push of 20 N that is gone may pull by 20 N, and by as much again of what its coming started."""
    case = work_out(lowered(push((0, 0, -20))))
    (stretch,) = case.shared(stretches_of)
    found = use_over(stretch, case.grip.face, None, pushed_over(case, stretch.modes, stretch.samples))
    assert within(float(found.high[160]), 40.0)
    assert within(float(found.high[90]), 0.0, off=0.1)
    damped = work_out(lowered(push((0, 0, -20)), damping=0.05))
    (stretch,) = damped.shared(stretches_of)
    found = use_over(stretch, damped.grip.face, None, pushed_over(damped, stretch.modes, stretch.samples))
    assert within(float(found.high[-1]), 0.0, off=0.1)


def test_what_acts_until_the_part_is_put_down_does_not_go_before():
    phases = gm.Phase(kind="carry", moves=("down", "insert")), gm.Phase(kind="free", moves=("after",))
    case = work_out(lowered(push((0, 0, -20)), phases=phases))
    (stretch,) = case.shared(stretches_of)
    found = use_over(stretch, case.grip.face, None, pushed_over(case, stretch.modes, stretch.samples))
    assert within(float(found.high[100:].max()), 0.0, off=0.1)


def test_a_force_that_turns_against_the_tool_starts_more():
    """Each change of it starts as much at most: half a turn, as much as twice the force."""
    t = np.linspace(0, 1.6, 201)
    angle = np.pi * np.clip((t - 0.8) / 0.392, 0.0, 1.0)
    turned = Rotation.from_euler("z", angle[:, None]).as_matrix() @ np.diag([1.0, -1.0, -1.0])
    case = work_out(lowered(push((5, 0, 0), frame="world"), turned=turned))
    modes = case.shared(mode_sets)[-1]
    felt = 5.0 * np.hypot(*modes.shapes[:2])
    np.testing.assert_allclose(started(modes, case.pushes[0]), 3.0 * felt, rtol=2e-3, atol=1e-9)


def test_a_part_that_forces_tilt_far_is_not_judged():
    soft = {"normal_stiffness": 2e6, "shear_stiffness": 1e6, "pull_off_stress": 1e6}
    case = work_out(lowered(push((0, 0, 30), (0.02, 0, 0)), pad=soft))
    modes = case.shared(mode_sets)[-1]
    met = Pushing.over(modes, case.grip.face, case.carried.size)
    met.meets(pushed_over(case, modes, case.carried), 0, case.own_load, np.zeros(case.carried.size))
    turn = 30 * 0.02 / (2e6 * 0.04**4 / 12)  # [rad], M / (k I)
    assert met.tilt[120] > turn > np.deg2rad(10.0)
    alone = Pushing.over(modes, case.grip.face, case.carried.size)
    alone.meets(pushed_over(case, modes, case.carried), 0, 0.0 * case.own_load, np.zeros(case.carried.size))
    assert alone.alone[120] == alone.most[120] > 0.0  # without any other load it is the same
    assert np.isinf(case.shared(swing_use).use.high[120])


def test_a_force_is_told_of_at_the_samples_of_its_own_stretch():
    """Put down in the middle: what acts in the second carry is in that one, by samples of the program."""
    phases = tuple(
        gm.Phase(kind=kind, moves=(move,)) for kind, move in zip(("carry", "release", "carry"), MOVES, strict=True)
    )
    case = work_out(lowered(push((0, 0, 20), moves=("after",)), phases=phases))
    at = np.concatenate([samples for samples, _ in in_air(case, case.shared(mode_sets)[-1])])
    moves = case.job.trajectory.moves
    assert {moves[k] for k in at} == {"after"}


def two(turn, along, x=0.0):
    """The most that a pull of 20 N uses pads that comes at once on two undamped modes, and what surely occurs.

    Args:
        turn: Frequency of the second mode over that of the first, 100 Hz.
        along: What each takes of a force, shape (2, 6).
        x: Force along x with it, over the pull.

    Returns:
        Both over the use by the pull at rest.
    """
    case, along = work_out(lowered(push((20 * x, 0, 20)))), np.asarray(along)
    modes = Modes(
        frequency=200.0 * np.pi * np.array([1.0, turn]),
        damping=np.zeros(2),
        shapes=along.T,
        loads=along.T,
        names=("slow", "fast"),
    )
    met = Pushing.over(modes, case.grip.face, case.carried.size)
    met.meets(pushed_over(case, modes, case.carried), 0, 0.0 * case.own_load, np.zeros(case.carried.size))
    return met.most[120] / 20.0 * HELD, met.value.max() / 20.0 * HELD


def test_modes_that_meet_late_are_followed_until_they_do():
    """Two modes that take half of it each, of ratio 2 + 1/19: both overshoot whole after 9 1/2 periods of the slow one.

    Up to 6 periods the most is 1.62.
    """
    half = np.eye(6)[2] / np.sqrt(2.0)
    most, sure = two(2.0 + 1.0 / 19.0, [half, half])
    assert most == pytest.approx(2.0)
    assert sure == pytest.approx(2.0, rel=5e-3)


@pytest.mark.parametrize(("share", "added"), [(1.5e-3, False), (0.75e-3, True)])
def test_what_a_slight_mode_adds_is_at_most_a_thousandth(share, added):
    """A slide by that share of a pull, square to it: as the shorter side of a triangle, or on top by itself."""
    most = two(3.0, np.eye(6)[[2, 0]], share)[0]
    assert most == pytest.approx(2.0 + (share if added else 0.0), abs=1e-5)
