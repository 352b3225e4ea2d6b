"""The swing at a stiffness between those that the pads may have, against integration in time by scipy."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.linalg import eigh
from scipy.signal import StateSpace, lsim
from scipy.spatial.transform import Rotation

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.stop.use import use_of_stops
from gripmargin.checks.swing import check, spans, use
from gripmargin.checks.swing.drive import given_drive
from gripmargin.checks.swing.response import Start
from gripmargin.checks.swing.ringing import Stretch, Told, mode_sets, other_stretches, stretches_of
from gripmargin.checks.swing.spans import largest_between, missed
from gripmargin.checks.swing.use import swing_use, use_over
from gripmargin.checks.swing.vibration import Modes, mixed
from gripmargin.contact.loads import load_per_acceleration
from gripmargin.kernels.utilisation import peak_utilisation
from support.pushed import DOWN

STEP, SHAKEN = 0.002, 45.5  # [s], [Hz]: between 41.9 Hz of the core and 49.3 Hz of all cells


def least_jerk(s):
    s = np.clip(s, 0.0, 1.0)
    return np.stack([10 * s**3 - 15 * s**4 + 6 * s**5, 30 * s**2 * (1 - s) ** 2, 60 * s - 180 * s**2 + 120 * s**3])


def shaken(size=0.2, seconds=1.0, damping=None, **targets):
    """A plate that askew pads press on, so that a rim does not bond; it is lifted, and shaken up and down [m/s^2]."""
    film = gm.PadMaterial(
        pull_off_stress=4.2e5,
        shear_strength=3.6e5,
        normal_stiffness=6e7,
        shear_stiffness=2e7,
        full_preload=2e4,
        min_dwell=0.05,
        damping_ratio=damping,
    )
    t = np.arange(0.0, 2.3 + seconds, STEP)
    down, up = -0.01015 * least_jerk(t / 0.5), 0.05 * least_jerk(t - 0.8)
    way, speed, gain = down * np.array([[1.0], [2.0], [4.0]]) + up
    way, lasts = way + 0.01, round(SHAKEN * seconds) / SHAKEN
    w, since = 2.0 * np.pi * SHAKEN, np.clip(t - 2.0, 0.0, lasts)
    way, speed = way + size / w * (since - np.sin(w * since) / w), speed + size / w * (1.0 - np.cos(w * since))
    rates, none = np.zeros((2, t.size, 6)), np.zeros_like(t)
    rates[0, :, 2], rates[1, :, 2] = speed, gain + size * np.sin(w * since) * (since < lasts)
    labels = np.select([t <= 0.8, t <= 2.0], ["press", "lift"], "shake")
    return gm.Job(
        name="shaken",
        trajectory=gm.PoseTrajectory(
            t=t,
            position=np.column_stack([none, none, way]),
            rotation=np.broadcast_to(DOWN @ Rotation.from_euler("x", 0.008).as_matrix(), (t.size, 3, 3)),
            velocity=rates[0],
            acceleration=rates[1],
            moves=tuple(labels.tolist()),
        ),
        gripper=gm.Gripper(pads=(gm.Pad.rectangle("pad", film, [0.04, 0.04]),)),
        part=gm.Part(mass=1.0, com=[0, 0, 0.004], inertia=[2e-3, 2e-3, 4e-3, 0, 0, 0], face="plane", rigid=True),
        phases=(gm.Phase(kind="preload", moves=("press",)), gm.Phase(kind="carry", moves=("lift", "shake"))),
        pick=gm.Pick(face=np.eye(4), break_away=0.0, flatness=0.0),
        targets=gm.Targets(**{"hold": 1.0, "swing": 1.44, **targets}),
    )


def true_use(case, share):
    """The largest use while it is shaken, undamped, at a stiffness between the core's (0) and that of all cells (1)."""
    whole, core = (backing.stiffness for backing in case.grip.backings)
    stiffness, none = (1.0 - share) * core + share * whole, np.zeros((6, 6))
    mass = -load_per_acceleration(case.job.part, case.job.air_density)
    system = StateSpace(
        np.block([[none, np.eye(6)], [-np.linalg.solve(mass, stiffness), none]]),
        np.vstack([none, np.linalg.inv(mass)]),
        np.hstack([stiffness, none]),
        none,
    )
    t, load = case.job.trajectory.t, case.own_load
    fine = np.arange(0.0, t[-1] - 2.0, STEP / 4.0)
    driven = np.stack([np.interp(fine, t - 2.0, row) for row in load])
    at_rest = np.concatenate([np.linalg.solve(stiffness, driven[:, 0]), np.zeros(6)])
    carried = lsim(system, driven.T, fine, X0=at_rest)[1]
    return float(peak_utilisation(case.grip.face, np.ascontiguousarray(carried.T))[0].max())


@pytest.fixture(scope="module")
def attacked():
    return work_out(shaken())


def test_a_program_made_for_a_frequency_in_between_does_not_pass(attacked, monkeypatch):
    """By both ends it would: they say less than half of what the pads are used at a stiffness between them."""
    true = max(true_use(attacked, share) for share in np.linspace(0.4, 0.6, 6))
    ends = [
        max(each.high.max() for each in (use_over(part, attacked.grip.face) for part in some))
        for some in (stretches_of(attacked), *other_stretches(attacked))
    ]
    found = swing_use(attacked)
    assert max(ends) < 0.5 * true
    assert true < found.use.high.max() < 1.25 * true
    assert found.built_up.swing is not None
    monkeypatch.setattr(check, "MOST_TRIALS", 0)
    result = gm.check_job(shaken(swing=1.0 / (0.9 * true)), checks=["swing"])
    assert str(result.checks[0].verdict) == "undecided"
    assert "a frequency in between may meet the program" in str(result)
    assert gm.check_job(shaken(size=0.0, damping=0.08, swing=3.3), checks=["swing"]).passed


def test_stops_are_followed_from_where_the_part_swings_most(attacked):
    """A stop in the shaking begins with what it has built up, at no end of the stiffnesses."""
    case = work_out(replace(shaken(), stop=gm.Stop(deceleration=2.0, category=1)), trial=True)
    built_up = max(true_use(attacked, share) for share in np.linspace(0.4, 0.6, 6))
    assert use_of_stops(case).whole.high.max() > built_up


@pytest.mark.parametrize("share", [0.0, 0.3, 1.0])
def test_vibrations_in_between_are_those_of_the_stiffness_in_between(attacked, share):
    """Generalised eigenvalues by scipy, of matrices joined by a straight line."""
    other, main = mode_sets(attacked)
    whole, core = (backing.stiffness for backing in attacked.grip.backings)
    stiffness = (1.0 - share) * core + share * whole
    mass = -load_per_acceleration(attacked.job.part, attacked.job.air_density)
    found = mixed(main, other, share)
    np.testing.assert_allclose(found.frequency**2, eigh(stiffness, mass, eigvals_only=True), rtol=1e-9)
    np.testing.assert_allclose(found.loads @ found.loads.T, stiffness, atol=1e-9 * stiffness.max())
    np.testing.assert_allclose(found.shapes.T @ found.loads, np.eye(6), atol=1e-9)


def pulled(w, t, load, damping=0.0):
    """A pull alone at a frequency, under a load as it is."""
    shape = np.eye(6)[:, 2:3]
    modes = Modes(frequency=np.array([w]), damping=np.array([damping]), shapes=shape / w, loads=shape * w, names=("",))
    drive = given_drive(modes, t, np.outer(np.eye(6)[2], load))
    told = Told(drive=drive, still=np.zeros((1, t.size)), rest=np.zeros((6, t.size)))
    return Stretch(
        samples=np.arange(t.size), start=Start(sample=0, load=np.zeros(6), rate=np.zeros(6)), modes=modes, told=told
    )


@pytest.mark.parametrize("damping", [0.0, 0.003])
def test_what_the_chord_misses_is_bounded_closely(damping):
    """A load at the frequency in the middle: what it swings by there, less the chord of both ends, by themselves."""
    t, apart = np.arange(0.0, 50.0, 0.02), 0.003
    load = np.sin(2.0 * np.pi * t)
    ends = [pulled(2.0 * np.pi * np.sqrt(1.0 + sign * apart), t, load, damping) for sign in (-1.0, 1.0)]
    middle = mixed(ends[0].modes, ends[1].modes, 0.5)
    assert middle.frequency[0] == pytest.approx(2.0 * np.pi)
    carried = [each.modes.loads @ each.swing.response() for each in (*ends, pulled(2.0 * np.pi, t, load, damping))]
    true = np.abs(carried[2] - 0.5 * (carried[0] + carried[1]))[2].max()
    bound = (ends[0].modes.loads @ missed(*ends))[2].max()
    assert true < bound < 1.3 * true


def test_how_finely_the_force_of_the_chord_is_looked_at():
    """Over one interval in which a mode turns by 3.9 rad: its mean, by a rule a hundred times as fine."""
    t = np.array([0.0, 1.0, 2.0])
    ends = [pulled(w, t, np.array([0.0, 1.0, 1.0])) for w in (3.85, 3.9)]
    fine = np.linspace(0.0, 1.0, 2001)
    ways = [(each.swing.vibration[:, [0]] * np.exp(1j * each.modes.frequency[:, None] * fine)).imag[0] for each in ends]
    stiff, across, along = (3.9 / 3.85) ** 2 - 1.0, 3.9 / 3.85, 3.85 / 3.9
    mean = np.trapezoid(0.25 * np.abs(stiff * ways[0] - (across - along) * ways[1]), fine)
    found = spans.chord_force(*(each.swing for each in ends))[0][0, 1]
    assert found == pytest.approx(3.9 * mean, rel=0.015)


def test_two_samples_that_mark_a_step_start_no_swing_of_their_own():
    """A load that comes at once and one that comes within a thousandth of a period, at stiffnesses 2 % apart."""
    bounds = []
    for rise in (1e-8, 1e-3):
        t = np.concatenate([np.arange(0.0, 1.0, 0.02), 1.0 + rise + np.arange(0.0, 5.0, 0.02)])
        load = np.where(t < 1.0, 0.0, np.minimum((t - 1.0) / rise, 1.0))
        ends = [pulled(2.0 * np.pi * np.sqrt(1.0 + sign * 0.01), t, load) for sign in (-1.0, 1.0)]
        bounds.append(missed(*ends).max())
    assert bounds[0] == pytest.approx(bounds[1], rel=0.01)


def looked(gap, monkeypatch, *, level=0.0, largest=1.0):
    """How often it is looked, where the most in between is by so much more than at both ends, whatever is tried."""
    count = []
    monkeypatch.setattr(spans, "mixed", lambda *_: None)
    monkeypatch.setattr(spans, "on_modes", lambda *_: [SimpleNamespace(modes=None)])
    kinds = {spans.stretches_of: [SimpleNamespace(modes=None)], spans.other_stretches: [[SimpleNamespace(modes=None)]]}

    def look(_):
        count.append(1)
        return np.array([largest])

    most, _ = largest_between(SimpleNamespace(shared=kinds.get), look, lambda *_: np.array([gap]), level=level)
    assert most == pytest.approx(largest + gap)
    return len(count)


def test_how_long_it_is_looked(monkeypatch):
    assert looked(0.0095, monkeypatch) == 2  # within 1 %
    assert looked(0.0105, monkeypatch) == 9  # a few more for the figure, where it is too much anyway
    assert looked(0.5, monkeypatch, level=1.6) == 9  # or surely not
    assert looked(0.5, monkeypatch, level=1.4) == 96  # as often as it may be where that tells


def test_what_is_followed_elsewhere_is_not_worked_out_again(attacked, monkeypatch):
    """Both ends are looked at for the figures themselves."""
    every = []
    real = use.in_place
    monkeypatch.setattr(use, "in_place", lambda *some: every.append(id(some[2])) or real(*some))
    swing_use(attacked)
    assert len(every) == len(set(every))
