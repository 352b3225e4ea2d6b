"""In how many steps a motion relative to a face has to be followed."""

import numpy as np
import pytest

from gripmargin.base.errors import InputError
from gripmargin.contact.relative import RelativeMotion, steps, unsteadiness

OUTLINE = np.array([[x, y, 0.0] for x in (-0.02, 0.02) for y in (-0.01, 0.01)])


def count(motion):
    return steps(motion, OUTLINE, 1e-3, 1e-5).count.tolist()


def test_no_point_moves_by_more_than_the_longest_way(move):
    assert count(move([0, 1, 2], x=[0, 9.9e-5, 9.9e-5 + 4.5e-5])) == [10, 5]
    assert count(move([0, 1], turn=[[0, 0, 0], [0, 0, 1e-3]])) == [np.ceil(np.hypot(0.02, 0.01) * 1e-3 / 1e-5)]


def test_out_of_reach_there_is_nothing_to_follow(move):
    assert count(move(np.arange(4), z=[0.2, 0.1, 0.05, 5e-4], x=0.01 * np.arange(4))) == [
        0,
        0,
        np.ceil(np.hypot(0.0495, 0.01) / 1e-5),
    ]


@pytest.mark.parametrize(("creep", "followed"), [(0.8e-9, 0), (1.5e-9, 1)])
def test_of_a_rest_the_last_interval_alone_is_followed(move, creep, followed):
    assert count(move(np.arange(4), x=creep * 1e-5 * np.arange(4))) == [followed, followed, 1]


def test_a_matrix_that_is_no_rotation_is_refused(move):
    motion = move([0, 1])
    stretched = motion.rotation * np.array([1.0, 1.0, 1.001])
    with pytest.raises(InputError, match="rotations"):
        RelativeMotion(t=motion.t, rotation=stretched, position=motion.position)


class TestUnsteadiness:
    S = np.linspace(0, 1, 400)
    LAW = 10 * S**3 - 15 * S**4 + 6 * S**5

    def test_is_that_of_noise_where_the_tool_keeps_its_height(self):
        """Half of the samples keep a height to a noise of 1 um, the others move: 8 standard deviations."""
        t, exact = 0.01 * np.arange(800), np.concatenate([np.full(400, 0.0123), 0.0123 + 0.05 * self.LAW])[:, None]
        noise = 1e-6 * np.random.default_rng(3).normal(size=exact.shape)
        assert unsteadiness(t, exact) < 1e-7
        assert unsteadiness(t, exact + noise) == pytest.approx(8e-6, rel=0.3)
        assert unsteadiness(t[:8], exact[:8] + noise[:8]) == 0.0

    @pytest.mark.parametrize("uneven", [False, True])
    def test_is_not_that_of_a_short_move(self, uneven):
        """1 mm over 16 samples, and no rest: third differences would be those of a noise of 3 um."""
        t = np.linspace(0, 1, 17) ** (1.1 if uneven else 1.0)
        assert unsteadiness(t, 1e-3 * (10 * t**3 - 15 * t**4 + 6 * t**5)[:, None]) < 1e-9

    def test_is_that_of_rounding(self):
        """To 1 um: 8 times 1/sqrt(12) um and a step more. At an even acceleration third differences often cancel."""
        t = 0.01 * np.arange(120)
        assert 2.3e-6 < unsteadiness(t, np.round(4e-3 * t[:, None] ** 2, 6)) < 5e-6
