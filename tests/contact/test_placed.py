"""Forces at places of a strip that bends, with a tall component and without, against beam elements of its own."""

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.contact import placed
from gripmargin.contact.placed import ramp_response
from gripmargin.contact.swung import Vibration
from support import strip as strips
from support.pushed import push
from support.strip import LENGTH, TALL, Strip


def figures(strip, force, at, rise, **targets):
    shape = {"shape": "ramp", "rise": rise} if rise else {}
    targets = gm.Targets(**{"hold": 1.0, "swing": 1.0, **targets})
    return {each.check: each for each in strip.job(push(force, at, **shape), targets=targets).checks}


@pytest.mark.parametrize(
    ("component", "force", "at", "rise", "near"),
    [
        (None, (0, 0, 0.02), (-0.08, 0, 0), 0.0, 1.03),  # at an end, away from the pad
        (None, (0.3, 0, 0), (0.09, 0, 0.0008), 0.0, 1.06),  # along the middle plane: the pad's shear bends the strip
        (TALL, (-0.5, 0, 0), (0.06, 0, 0.0016), 0.0, 1.3),  # along the face, below a component that feels nothing of it
        (TALL, (0.05, 0, 0.03), (LENGTH / 2 + 0.006, 0, 0.006), 0.02, 1.05),  # beside and above it
    ],
)
def test_what_a_force_at_its_place_asks_at_rest_and_swinging(component, force, at, rise, near):
    """Of the pad, within half a per cent at rest; swinging what may occur lies within and near the low end."""
    strip = Strip(component)
    found, swung = figures(strip, force, at, rise), strip.swinging(force, at, rise)
    assert found["hold"].value == pytest.approx(strip.margin(force, at), rel=5e-3)
    assert found["hold"].high < 1.005 * strip.margin(force, at)
    assert found["swing"].low <= 1.002 * swung <= 1.002 * near * found["swing"].low
    assert swung <= 1.005 * found["swing"].high


@pytest.mark.parametrize(
    ("force", "at", "rise", "damping", "near"),
    [
        ((0, 0, 0.5), (0.01, 0, 0), 0.0, 0.08, 1.2),  # over the pad, at once: as finely as it is followed
        ((0.1, 0, 0.06), (LENGTH / 2 + 0.006, 0, 0.006), 0.02, 0.02, 1.08),  # hardly damped: as long as it is
    ],
)
def test_how_closely_a_swing_is_followed(monkeypatch, force, at, rise, damping, near):
    monkeypatch.setattr(strips, "DAMPING", damping)
    swung = Strip().swinging(force, at, rise)
    low = figures(Strip(), force, at, rise)["swing"].low
    assert low <= 1.002 * swung <= near * low


def test_further_ways_of_the_plate_change_nothing(monkeypatch):
    """Over the pad, at once, where a plate that bends in fewer ways is used a twentieth less."""
    low = figures(Strip(), (0, 0, 0.5), (0.01, 0, 0), 0.0)["swing"].low
    monkeypatch.setattr(placed, "BLOCKS", 2 * placed.BLOCKS)
    assert figures(Strip(), (0, 0, 0.5), (0.01, 0, 0), 0.0)["swing"].low == pytest.approx(low, rel=2e-3)


@pytest.mark.parametrize(("share", "verdict"), [(0.95, "pass"), (1.05, "fail")])
def test_to_either_side_of_the_target_below_a_tall_component(share, verdict):
    force, at = (-0.5, 0, 0), (0.06, 0, 0.0016)
    target = share * Strip().margin(force, at)
    assert str(figures(Strip(), force, at, 0.02, hold=target)["hold"].verdict) == verdict


@pytest.mark.parametrize(("beside", "verdict"), [(0.008, "pass"), (0.012, "undecided")])
def test_how_far_beside_the_rim_a_force_may_act(beside, verdict):
    assert str(figures(Strip(), (0, 0, 0.01), (LENGTH / 2 + beside, 0, 0), 0.1)["hold"].verdict) == verdict


@pytest.mark.parametrize("rise", [0.0, 0.3])
def test_an_oscillator_under_what_rises_and_stays(rise):
    """By Runge and Kutta's rule of scipy, as an ordinary differential equation."""
    from scipy.integrate import solve_ivp

    modes = Vibration(frequency=np.array([20.0]), damping=np.array([0.1]), shapes=np.zeros((6, 1)))
    t = np.linspace(0.0, 1.0, 41)

    def rate(at, state):
        driven = min(at / rise, 1.0) if rise else 1.0
        return [state[1], 400.0 * (driven - state[0]) - 4.0 * state[1]]

    found = solve_ivp(rate, (0.0, 1.0), [0.0, 0.0], t_eval=t, rtol=1e-8, atol=1e-10, max_step=0.01).y[0]
    np.testing.assert_allclose(ramp_response(modes, t, rise)[0], found, atol=1e-6)
