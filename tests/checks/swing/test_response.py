"""The response to a load that steps and rises, against closed forms (Chopra, Dynamics of Structures, ch. 4)."""

import numpy as np
import pytest

from gripmargin.checks.swing.drive import Drive, given_drive
from gripmargin.checks.swing.response import Start, swing
from gripmargin.checks.swing.vibration import Modes

W, Z = 40.0, 0.1
UP = np.eye(6)[:, 2:3]
PULL = Modes(frequency=np.array([W]), damping=np.array([Z]), shapes=UP, loads=UP, names=("pull",))


def swung(t, load, *, first=0):
    """A force along z, met at rest and without load."""
    rest = Start(sample=first, load=np.zeros(6), rate=np.zeros(6))
    return swing(PULL, given_drive(PULL, t, UP * load), rest)


def step(t):
    """What a step of 1 does: its response, and the rate and second derivative of it."""
    turn, fade = W * np.sqrt(1 - Z * Z), np.exp(-Z * W * t)
    sine, cosine = np.sin(turn * t), np.cos(turn * t)
    place = 1 - fade * (cosine + Z * W / turn * sine)
    return place, W * W / turn * fade * sine, W * W / turn * fade * (turn * cosine - Z * W * sine)


def test_rate_and_bend_of_a_step_that_goes_on_as_a_rise():
    """A rise does what a step does, integrated."""
    t, slope = np.linspace(0, 0.5, 60), 7.0
    rate, bend = swung(t, 1 + slope * t).rates
    place, speed, bent = step(t)
    np.testing.assert_allclose(rate[0], speed + slope * place, atol=1e-9 * W)
    np.testing.assert_allclose(bend[0], bent + slope * speed, atol=1e-9 * W**2)


@pytest.mark.parametrize("share", [0.0, 0.25, 0.9])
def test_up_to_where_it_starts_the_pads_carry_the_load_and_then_it_swings(share):
    t, first = np.arange(40) * 0.01, 15
    load = np.where(t < t[first] - 1e-9, 3 * t, 1.0)
    found = swung(t, load, first=first)
    straight = (1 - share) * load[:first] + share * load[1 : first + 1]
    np.testing.assert_allclose(found.response(share)[0, :first], straight, rtol=1e-12)
    np.testing.assert_allclose(found.response(share)[0, first:-1], step(t[first:-1] - t[first] + 0.01 * share)[0])


def test_a_swing_goes_on_from_its_end_as_if_there_were_none():
    """Load, what is not known of it and noise, in one piece and in two that share an instant."""
    random = np.random.default_rng(3)
    t, (load, kinks, bias, growth, sigma) = np.arange(41) * 0.01, random.uniform(0.5, 1.0, (5, 1, 41))
    growth *= W
    drive = Drive(t=t, load=load, base=load, kinks=kinks, bias=bias, growth=growth, sigma=sigma, kick=np.zeros(1))
    whole = swing(PULL, drive, Start(sample=0, load=np.zeros(6), rate=np.zeros(6)))
    first = swing(PULL, drive.over(slice(0, 21)), Start(sample=0, load=np.zeros(6), rate=np.zeros(6)))
    second = swing(PULL, drive.over(slice(20, 41)), first.end)
    np.testing.assert_allclose(second.response(), whole.response()[:, 20:], rtol=1e-9)
    np.testing.assert_allclose(second.unsure, whole.unsure[:, 20:], rtol=1e-9)
    np.testing.assert_allclose(second.sigma, whole.sigma[:, 20:], rtol=1e-9)
