"""Given rates against positions: what is refused, what is a contradiction, what rounding explains."""

import numpy as np
import pytest

from gripmargin.base.errors import InputError
from gripmargin.motion.consistency import check_rates, contradictions, distrust, rounding
from gripmargin.motion.rates import estimate_rates
from gripmargin.motion.trajectory import JointTrajectory

FACTOR = "found speeds that account for the change only after a factor of"
UNITS = "check their units, and whether they are per second; or leave them out: the rates are then estimated"


@pytest.fixture(scope="module")
def smooth(exact_moves):
    return exact_moves(2, (0.1, 0.6, [0.8, -0.3]), (0.8, 0.4, [-0.5, 0.2]))


def sampled(exact, rate=250.0, duration=1.5, **changes):
    t = np.arange(0, duration, 1 / rate)
    columns = dict(zip(("q", "qd", "qdd"), exact.at(t), strict=True))
    return JointTrajectory(t=t, **{**columns, **{k: f(columns[k]) for k, f in changes.items()}})


def shaken(turn, way):
    """A joint that shakes by 1e-3 rad on a slow way, every 4 ms, exact."""
    t = np.arange(500)[:, None] * 0.004
    q, qd, qdd = 0.0, 0.0, 0.0
    for size, w in ((1e-3, turn / 0.004), (way, 2.0)):
        q, qd, qdd = q + size * np.sin(w * t), qd + size * w * np.cos(w * t), qdd - size * w**2 * np.sin(w * t)
    return JointTrajectory(t=t[:, 0], q=q, qd=qd, qdd=qdd)


class TestCheckRates:
    @pytest.mark.parametrize("rate", [50, 250, 1000])
    @pytest.mark.parametrize("digits", [2, 3, 6, 15])
    def test_good_columns_are_taken(self, smooth, rate, digits):
        check_rates(
            sampled(
                smooth,
                rate,
                q=lambda q: q.round(digits + 2),
                qd=lambda v: v.round(digits),
                qdd=lambda a: a.round(digits),
            )
        )

    @pytest.mark.parametrize(
        ("changes", "message"),
        [
            ({"qdd": lambda a: 0 * a}, ("qdd1: found accelerations that are zero while the joint moves", UNITS)),
            (
                {"qd": np.rad2deg, "qdd": np.rad2deg},
                (f"qd1: {FACTOR} 0.01745", "check units: the rates seem to be in deg where rad is said"),
            ),
            (
                {"qd": np.deg2rad, "qdd": np.deg2rad},
                (f"qd1: {FACTOR} 57.3", "check units: the rates seem to be in rad where deg is said"),
            ),
            ({"q": lambda q: 0 * q}, ("qd1: found speeds of a joint that does not move", UNITS)),
        ],
    )
    def test_refusals_in_full(self, smooth, changes, message):
        with pytest.raises(InputError) as caught:
            check_rates(sampled(smooth, **changes))
        found, remedy = message
        assert str(caught.value) == f"trajectory {found}, expected rates that follow from positions and times; {remedy}"

    def test_of_poses_the_tool_moves(self, smooth):
        names = [["xd", "yd"], ["xdd", "ydd"]]
        with pytest.raises(InputError, match="xdd: found accelerations that are zero while the tool moves"):
            check_rates(sampled(smooth, qdd=lambda a: 0 * a), names)

    @pytest.mark.parametrize("factor", [-1.0, 0.5, 0.97, 1.03, 2.0])
    def test_speeds_off_by_a_factor(self, smooth, factor):
        with pytest.raises(InputError, match="qd1: found speeds"):
            check_rates(sampled(smooth, qd=lambda v: factor * v))

    @pytest.mark.parametrize("factor", [-1.0, 0.5, 0.75, 1.5])
    def test_accelerations_off_by_a_factor(self, smooth, factor):
        with pytest.raises(InputError, match="qdd1: found accelerations"):
            check_rates(sampled(smooth, qdd=lambda a: factor * a))

    @pytest.mark.parametrize("turn", [1.3, 1.7, 2.5, 3.05, 3.1])
    @pytest.mark.parametrize("way", [0.0, 0.2])
    def test_a_shaking_that_samples_hardly_follow_is_no_fault(self, turn, way):
        """Exact columns of a sine that turns by so many rad from sample to sample: of its accelerations the trapezoidal
        rule gives x/2 / tan(x/2), next to nothing at half a turn."""
        made = shaken(turn, way)
        check_rates(made)
        check_rates(JointTrajectory(t=made.t, q=made.q, qd=made.qd))

    @pytest.mark.parametrize("turn", [1.3, 2.5])
    @pytest.mark.parametrize("way", [0.0, 0.2])
    @pytest.mark.parametrize("factor", [np.pi / 180, 180 / np.pi, 1e3, 1e-3])
    def test_another_unit_is_told_beside_a_shaking(self, turn, way, factor):
        made = shaken(turn, way)
        for speeds, accelerations in ((factor, factor), (1.0, factor)):
            with pytest.raises(InputError, match=r"qdd?1: found"):
                check_rates(JointTrajectory(t=made.t, q=made.q, qd=speeds * made.qd, qdd=accelerations * made.qdd))

    def test_the_joint_at_fault_is_named(self, smooth):
        with pytest.raises(InputError, match="qd2: found speeds that are zero"):
            check_rates(sampled(smooth, qd=lambda v: v * [1, 0], qdd=lambda a: a * [1, 0]))

    def test_a_joint_that_rounding_alone_moves_is_no_fault(self, smooth):
        """Positions to 1e-3 deg creep by one digit while the speeds, to 0.1 deg/s, stay at zero."""

        def creep(q):
            slow = np.linspace(0, 2e-5, len(q))
            return np.column_stack([q[:, 0], np.deg2rad(np.rad2deg(slow).round(3))])

        check_rates(sampled(smooth, q=creep, qd=lambda v: v * [1, 0], qdd=lambda a: a * [1, 0]))


class TestContradictions:
    @pytest.mark.parametrize("rate", [20, 100, 250, 1000])
    def test_a_smooth_program_has_none(self, smooth, rate):
        assert contradictions(sampled(smooth, rate)) == ()

    @pytest.mark.parametrize("rate", [50, 250, 1000])
    @pytest.mark.parametrize("digits", [3, 4, 5])
    def test_rounded_positions_have_none(self, smooth, rate, digits):
        made = sampled(smooth, rate, q=lambda q: np.deg2rad(np.rad2deg(q).round(digits)), qd=lambda v: v.round(digits))
        assert contradictions(made) == ()

    @pytest.mark.parametrize("ramp", [0.1, 0.1013])
    def test_steps_of_acceleration_have_none(self, ramp):
        t = np.arange(0, 1, 0.004)
        late = np.maximum(t[:, None] - [0.2, 0.2 + ramp, 0.6, 0.6 + ramp], 0)
        kinks = np.array([5.0, -5.0, -5.0, 5.0])
        columns = late**2 @ kinks / 2, late @ kinks, (late > 0) @ kinks
        q, qd, qdd = (c[:, None] for c in columns)
        assert contradictions(JointTrajectory(t=t, q=q, qd=qd, qdd=qdd)) == ()

    @pytest.mark.parametrize("sample", [0, 100, 200, 300])
    @pytest.mark.parametrize("size", [1e-3, -0.1])
    def test_a_position_off_at_one_sample(self, smooth, sample, size):
        def spoil(q):
            q = q.copy()
            q[sample, 0] += size
            return q

        found = contradictions(sampled(smooth, q=spoil))
        assert [(a, b) for a, b, _ in found] == [(i, i + 1) for i in (sample - 1, sample) if i >= 0]
        assert all("jump against the speeds" in reason for *_, reason in found)

    @pytest.mark.parametrize(
        ("jumps", "found"),
        [
            ([1e-4], 0),  # a last digit of 0.1 mm
            ([3e-4], 1),  # no file rounds to that
            ([0.1], 1),
            ([1.5e-4, 2.5e-4], 2),  # not both are whole digits of 0.15 mm
        ],
    )
    def test_a_joint_at_rest_that_jumps_by_more_than_its_last_digit(self, jumps, found):
        t = np.arange(100) * 0.004
        q = sum(jump * (t > 0.1 * (k + 1)) for k, jump in enumerate(jumps))[:, None]
        assert len(contradictions(JointTrajectory(t=t, q=q, qd=0 * q, qdd=0 * q))) == found


def test_a_lag_is_told_from_few_samples_too():
    """What is left of speeds once the lag is taken out is its error, not what the lag itself makes of them."""
    t = np.arange(60) * 0.008
    q, qd = np.sin(3 * t)[:, None], 3 * np.cos(3 * (t - 0.02))[:, None]
    noise = 1e-6 * np.random.default_rng(0).normal(size=q.shape)
    said = distrust(JointTrajectory(t=t, q=q, qd=qd), estimate_rates(t, q + noise))
    assert said == "Joint speeds of the file lag the positions by 20 ms: they are not used."


class TestRounding:
    def test_smooth_residuals_are_not_rounding(self):
        t = np.linspace(0, 1, 500)[:, None]
        assert rounding(np.sin(6 * t), np.ones((500, 1), dtype=bool)) < 1e-5

    def test_rounded_values_stay_within_what_is_allowed_them(self):
        random = np.random.default_rng(0)
        values = random.uniform(-0.5, 0.5, 501)
        residual = np.diff(values)[:, None]
        assert rounding(residual, np.ones((500, 1), dtype=bool)) >= np.abs(residual).max()

    def test_a_single_outlier_among_rests_is_not_rounding(self):
        residual = np.zeros((500, 1))
        residual[200] = 1.0
        moving = np.zeros((500, 1), dtype=bool)
        moving[195:205] = True
        assert rounding(residual, moving) == 0.0
