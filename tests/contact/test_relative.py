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


def test_unsteadiness_is_that_of_noise_where_the_tool_keeps_its_height():
    """Half of the samples keep a height to a noise of 1 um, the others move by a smooth law: 8 standard deviations."""
    s = np.linspace(0, 1, 400)
    exact = np.concatenate([np.full(400, 0.0123), 0.0123 + 0.05 * (10 * s**3 - 15 * s**4 + 6 * s**5)])[:, None]
    noise = 1e-6 * np.random.default_rng(3).normal(size=exact.shape)
    assert unsteadiness(exact) < 1e-7
    assert unsteadiness(exact + noise) == pytest.approx(8e-6, rel=0.3)
    assert unsteadiness(exact[:4] + noise[:4]) == 0.0
