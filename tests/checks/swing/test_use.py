"""How finely the swing is looked at between samples."""

from types import SimpleNamespace

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.swing import use
from gripmargin.checks.swing.drive import given_drive
from gripmargin.checks.swing.response import Start
from gripmargin.checks.swing.ringing import Stretch, Told, stretches_of
from gripmargin.checks.swing.sway import sway_of
from gripmargin.checks.swing.use import resolution, swing_use, use_over
from gripmargin.checks.swing.vibration import Modes
from gripmargin.kernels.face import Face
from support.pushed import lowered


def looked_at(*turns, steps=(1.0,), n=1001):
    """Modes that turn by some angles [rad] in a time of 1; steps between samples in that time."""
    t = np.cumsum(np.resize(steps, n)) if np.ndim(steps) else steps * np.arange(n)
    followed, count = resolution(SimpleNamespace(frequency=np.array(turns)), t)
    return followed.tolist(), count


@pytest.mark.parametrize(
    ("turns", "followed", "count"),
    [
        ((0.4,), [True], 1),
        ((0.4, 2.0), [True, True], 4),  # half a radian from instant to instant
        ((0.4, 3.9), [True, True], 8),
        ((0.4, 7.5), [True, True], 8),  # no more than eight, and no more than a radian
        ((0.4, 8.5), [True, False], 1),  # counts with its whole amplitude
    ],
)
def test_modes_are_followed_as_far_as_eight_instants_a_sample_do(turns, followed, count):
    assert looked_at(*turns) == (followed, count)


@pytest.mark.parametrize("steps", [0.5, 2.0, 3.9])
def test_a_long_program_is_looked_at_as_finely_as_a_short_one(steps):
    assert looked_at(steps, n=1_000) == looked_at(steps, n=130_000)


def test_the_margin_of_a_motion_does_not_depend_on_the_rest_after_it(gantry):
    """A pull that turns by 3.9 rad from sample to sample, with 60,000 samples of rest behind it and with few."""
    step, mass, size = 0.004, 0.5, 0.04
    film = gm.PadMaterial(
        pull_off_stress=5e4,
        shear_strength=5e4,
        normal_stiffness=mass * (3.9 / step) ** 2 / size**2,
        shear_stiffness=mass * (3.9 / step) ** 2 / size**2 / 3,
        damping_ratio=0.01,
    )
    margins = []
    for n in (200, 60_200):
        t = np.arange(n) * step
        s = np.clip((t - 0.1) / 0.3, 0, 1)
        columns = np.zeros((3, n, 4))
        columns[0, :, 2] = 0.1 * (10 * s**3 - 15 * s**4 + 6 * s**5)
        columns[1, :, 2] = 0.1 * 30 * s**2 * (1 - s) ** 2 / 0.3
        columns[2, :, 2] = 0.1 * 60 * s * (1 - s) * (1 - 2 * s) / 0.09
        q, qd, qdd = columns
        job = gm.Job(
            name="lift",
            robot=gantry,
            trajectory=gm.JointTrajectory(t=t, q=q, qd=qd, qdd=qdd),
            gripper=gm.Gripper(pads=(gm.Pad.rectangle("pad", film, [size, size]),)),
            part=gm.Part(face="plane", rigid=True, mass=mass, com=[0, 0, 0], inertia=[1e-6, 1e-6, 1e-6, 0, 0, 0]),
        )
        use = swing_use(work_out(job)).use
        margins.append((use.value.max(), use.high.max(), use.low.max()))
    np.testing.assert_allclose(*margins, rtol=1e-12)


def test_the_usual_interval_is_one_that_nine_in_ten_do_not_exceed():
    assert looked_at(1.0, steps=(*[1.0] * 17, *[2.0] * 3)) == ([True], 4)
    assert looked_at(1.0, steps=(*[1.0] * 19, 2.0)) == ([True], 2)


def test_a_peak_is_found_between_samples_that_all_meet_the_swing_at_its_middle():
    """0.3 + 1.2 sin w t, one turn a sample: samples show 0.3, peaks are a quarter of a turn after each.

    A push that nothing follows in time rises to 0.1 and falls again over an interval each: a quarter after the first
    sample it is 0.025. Later, the swing having died down, the load rises to 1, which samples do show.
    """
    n, w, damping = 101, 50.0, 0.02
    ups, t = np.eye(6)[:, [2, 0]], np.arange(n) * 2 * np.pi / w / np.sqrt(1 - damping**2)
    modes = Modes(
        frequency=np.array([w, 1e4 * w]), damping=np.full(2, damping), shapes=ups, loads=ups, names=("pull", "slide")
    )
    load = np.stack([np.interp(np.arange(n), [60, 80], [0.3, 1.0]), np.interp(np.arange(n), [0, 1, 2], [0, 0.1, 0])])
    rate = np.array([1.2 * w * np.sqrt(1 - damping**2), 0.0])
    start = Start(sample=0, load=ups @ load[:, 0], rate=ups @ rate)
    stretch = Stretch(
        samples=np.arange(n),
        start=start,
        modes=modes,
        told=Told(drive=given_drive(modes, t, ups @ load), still=np.zeros((2, n)), rest=np.zeros((6, n))),
    )
    maps = np.zeros((3, 1, 6))
    maps[2, 0, [0, 2]] = 1.0
    found = use_over(stretch, Face(maps=maps))
    peak = 0.3 + 1.2 * np.exp(-damping * np.pi / 2) + 0.025
    assert found.value.max() == pytest.approx(peak, rel=0.005)
    assert peak <= found.high.max()
    assert found.value[-1] == pytest.approx(1.0, abs=0.01)


def test_a_first_swing_that_peaks_between_two_instants_before_its_sample():
    """Pads that pull with 0.3 and a swing of 1.2, which turns by 2.4 rad up to its sample and peaks at 1.4 rad.

    It is looked at every 0.4 rad there, so 0.2 rad off the peak on either side.
    """
    w, n = 50.0, 40
    modes = Modes(
        frequency=np.array([w]), damping=np.zeros(1), shapes=np.eye(6)[:, 2:3], loads=np.eye(6)[:, 2:3], names=("pull",)
    )
    early = np.pi / 2 - 1.4
    start = Start(
        sample=1,
        load=np.eye(6)[2] * (0.3 + 1.2 * np.sin(early)),
        rate=np.eye(6)[2] * 1.2 * w * np.cos(early),
        lead=2.4 / w,
    )
    drive = given_drive(modes, np.arange(n) * 3.0 / w, np.outer(np.eye(6)[2], np.full(n, 0.3)))
    told = Told(drive=drive, still=np.zeros((1, n)), rest=np.zeros((6, n)))
    maps = np.zeros((3, 1, 6))
    maps[2, 0, 2] = 1.0
    stretch = Stretch(samples=np.arange(n), start=start, modes=modes, told=told)
    found = use_over(stretch, Face(maps=maps))
    assert found.value[1] == pytest.approx(0.3 + 1.2 * np.cos(0.2))
    assert found.high[1] == pytest.approx(0.3 + 1.2)


def test_stiffer_pads_carry_the_same_gravity():
    modes = Modes(
        frequency=np.array([50.0]),
        damping=np.zeros(1),
        shapes=np.eye(6)[:, 2:3],
        loads=np.eye(6)[:, 2:3],
        names=("pull",),
    )
    drive = given_drive(modes, np.arange(9.0), np.outer(np.eye(6)[2], np.arange(9.0)))
    told = Told(drive=drive, still=np.full((1, 9), 0.7), rest=np.zeros((6, 9)))
    start = Start(sample=0, load=np.zeros(6), rate=np.zeros(6))
    stretch = Stretch(samples=np.arange(9), start=start, modes=modes, told=told)
    other = stretch.on(modes.stiffer(9.0))
    np.testing.assert_allclose(other.modes.loads @ other.told.still, modes.loads @ told.still)
    np.testing.assert_allclose(other.modes.loads @ other.told.drive.load, modes.loads @ drive.load)


def test_vibrations_that_a_part_may_have_widen_the_use_by_what_they_differ(monkeypatch):
    """Of pads that may be half as stiff: the worse counts, and the difference of the largest uses on top."""
    job = lowered(pad={"normal_stiffness": 2e5, "shear_stiffness": 8e4})
    case = work_out(job)
    (stretch,), face = stretches_of(case), case.grip.face
    other = stretch.on(stretch.modes.stiffer(0.5))
    one, two = (
        use_over(each, face, sway_of(case, each, face, *resolution(each.modes, each.t))) for each in (stretch, other)
    )
    monkeypatch.setattr(use, "other_stretches", lambda case: [[other]])
    due = max(one.high.max(), two.high.max()) + abs(one.value.max() - two.value.max())
    assert swing_use(case).use.high.max() == pytest.approx(due, rel=1e-4)
