"""Utilisation at the samples, and what is known to lie, or may lie, between them."""

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.checks.hold.use import pad_use, use_without

MASS, AREA, STRENGTH = 1.0, 0.0025, 50e3


@pytest.fixture(scope="module")
def thrust(gantry, one_pad, worked_out):
    """Utilisation of a small part at the pad's face that a gantry throws along x, without gravity.

    The part has next to no extent, so utilisation is m |a| / (A T), as the first law of shear has it.
    """

    def make(t, q, qd=None, qdd=None):
        still = np.zeros((len(t), 3))
        columns = {name: rows for name, rows in (("q", q), ("qd", qd), ("qdd", qdd)) if rows is not None}
        case = worked_out(
            trajectory=gm.JointTrajectory(t=t, **{k: np.column_stack([v, still]) for k, v in columns.items()}),
            robot=gantry,
            gripper=one_pad,
            part=gm.Part(face="plane", rigid=True, mass=MASS, com=np.zeros(3), inertia=[1e-6, 1e-6, 1e-6, 0, 0, 0]),
            gravity=(0.0, 0.0, 0.0),
        )
        return pad_use(case)[0]

    return make


def used(acceleration):
    return MASS * np.abs(acceleration) / (AREA * STRENGTH)


def swing(t, omega, amplitude):
    """A sine of the acceleration, with its exact integrals."""
    return (
        -amplitude / omega**2 * np.sin(omega * t),
        -amplitude / omega * np.cos(omega * t),
        amplitude * np.sin(omega * t),
    )


class TestBetweenSamples:
    @pytest.mark.parametrize("phase", [0.0, 0.1, 0.3, 0.5, 0.7])
    @pytest.mark.parametrize(
        ("rate", "omega"), [(100, 15.0), (250, 25.0), (20, 12.0), (20, 18.0), (50, 30.0), (100, 40.0), (125, 60.0)]
    )
    def test_the_peak_of_a_swing_is_covered_wherever_it_falls(self, thrust, phase, rate, omega):
        t = np.arange(0, np.pi / omega, 1 / rate) + phase / rate  # one crest, or the best sampled of many would do
        use = thrust(t, *swing(t, omega, 8.0))
        assert use.high.max() >= used(8.0) * (1 - 1e-3)
        assert use.low.max() <= used(8.0) * (1 + 1e-6)
        assert use.value.max() <= used(8.0) * 1.001  # a polynomial of degree five for a sine
        assert (use.low <= use.high).all()

    @pytest.mark.parametrize("rate", [50, 100, 250])
    def test_dense_samples_of_a_swing_are_not_overstated(self, thrust, rate):
        t = np.arange(0, 1.0, 1 / rate)
        assert thrust(t, *swing(t, 6.0, 8.0)).high.max() <= used(8.0) * 1.01

    def test_a_burst_inside_one_step_shows_in_the_speed(self, thrust):
        """0.03 m/s gained inside a step of 4 ms with no acceleration at either end: 7.5 m/s2 in the mean is certain,
        twice that is what a rise and fall in straight lines reach."""
        t = np.arange(0, 1.0, 0.004)
        late = np.maximum(t - t[100] - 0.002, 0.0)
        q, qd, qdd = swing(t - t[100] - 0.002, 2 * np.pi, 1.0)
        use = thrust(t, q + 0.03 * late, qd + 0.03 * (late > 0), qdd)
        assert use.low.max() == pytest.approx(used(7.5), rel=0.03)
        assert use.high.max() == pytest.approx(used(15.0), rel=0.03)

    def test_a_step_of_acceleration_is_not_overstated(self, thrust):
        t = np.arange(0, 1.0, 0.004)
        late = np.maximum(t - 0.401, 0.0)
        use = thrust(t, 2.5 * late**2, 5.0 * late, 5.0 * (late > 0))
        assert use.high.max() == pytest.approx(used(5.0), rel=1e-9)

    def test_one_sample_alone_has_no_neighbours(self, gantry, one_pad, worked_out):
        t = np.arange(0, 1.0, 0.01)
        q, qd, qdd = (np.column_stack([c, 0 * t, 0 * t, 0 * t]) for c in swing(t, 6.0, 8.0))
        case = worked_out(
            trajectory=gm.JointTrajectory(t=t, q=q, qd=qd, qdd=qdd),
            robot=gantry,
            gripper=one_pad,
            part=gm.Part(face="plane", rigid=True, mass=MASS, com=np.zeros(3), inertia=[1e-6, 1e-6, 1e-6, 0, 0, 0]),
            phases=(gm.Phase(kind="carry", start=0.295, end=0.305),),
        )
        use = pad_use(case)[0]
        assert case.job.trajectory.t[use.samples].tolist() == [0.3]
        assert use.low == use.value == use.high


@pytest.mark.parametrize("kink", [8.0, 2.0])
def test_where_estimated_rates_are_wrong_the_true_use_lies_between(thrust, kink):
    """Positions alone of a move that turns from speeding up to slowing down at once: estimates miss the step."""
    t = np.arange(0, 1.0, 0.01)
    late = np.maximum(t - 0.5, 0.0)
    use = thrust(t, 0.5 * 8.0 * t**2 - 0.5 * kink * late**2)
    before, after = (used(np.where(side, 8.0, 8.0 - kink)) for side in (t < 0.495, t < 0.505))
    # the sample at the step counts to one side of it
    assert (use.low <= np.maximum(before, after)[use.samples] + 1e-9).all()
    assert (use.high >= np.minimum(before, after)[use.samples] - 1e-9).all()


@pytest.mark.parametrize(
    ("hertz", "size", "speeds"), [(80.0, 2e-5, False), (100.0, 5e-5, False), (124.0, 2e-4, False), (110.0, 1e-4, True)]
)
def test_a_shaking_that_looks_like_noise_counts(thrust, hertz, size, speeds):
    """Positions every 4 ms of a move that shakes: A sin(w t) has A w^2."""
    t, w = np.arange(0, 4.0, 0.004), 2 * np.pi * hertz
    rise = size * np.sin(np.pi * t / 4.0) ** 2
    q, qd, _ = swing(t, 2.0, 0.4)
    use = thrust(t, q + rise * np.sin(w * t), qd + rise * w * np.cos(w * t) if speeds else None)
    due = used(size * w**2)
    assert due * 0.999 <= use.high.max() <= 1.05 * due + used(0.45)


class TestPadLost:
    def test_what_is_left_is_that_of_a_gripper_without_it(self, film, plate, worked_out):
        pads = [gm.Pad.disc(f"{i}", film, 0.03, gm.pose((0.05 * (i - 1), 0.01 * i, 0))) for i in range(3)]
        t = np.linspace(0, 1, 50)
        trajectory = gm.PoseTrajectory(
            t=t, position=np.zeros((50, 3)), rotation=np.broadcast_to(np.diag([1.0, -1.0, -1.0]), (50, 3, 3))
        )
        case = worked_out(trajectory=trajectory, part=plate(), gripper=gm.Gripper(pads=tuple(pads)))
        for lost in range(3):
            kept = tuple(pad for i, pad in enumerate(pads) if i != lost)
            without = worked_out(trajectory=trajectory, part=plate(), gripper=gm.Gripper(pads=kept))
            found = use_without(case, lost)
            np.testing.assert_allclose(found.value, pad_use(without)[0].value, rtol=1e-9)
            assert pads[lost] not in [patch.pad for patch in found.grip.whole.patches]
