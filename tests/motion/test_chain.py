"""The serial chain: what it keeps, what it refuses, and joints about any axis against scipy's rotations."""

import copy
import pickle

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from gripmargin.base.errors import InputError
from gripmargin.base.poses import pose
from gripmargin.motion.chain import Chain, chain_from_axes

TOLERANCE = 1e-12


def end_pose(chain, q):
    end = chain.links[0]
    for turns, value, link in zip(chain.revolute, q, chain.links[1:], strict=True):
        end = end @ (pose(rpy=(0, 0, value)) if turns else pose((0, 0, value))) @ link
    return end


def random_pose(random):
    matrix = np.eye(4)
    matrix[:3, :3] = Rotation.random(rng=random).as_matrix()
    matrix[:3, 3] = random.uniform(-1, 1, 3)
    return matrix


def two_joints(**changes):
    values = {"links": np.stack([np.eye(4)] * 3), "revolute": (True, False), "source": "arm", **changes}
    return Chain(**values)


class TestChainFromAxes:
    @given(seed=st.integers(0, 2**32 - 1), joints=st.integers(1, 8))
    @settings(derandomize=True, deadline=None, max_examples=60)
    def test_joints_about_any_axis_move_as_rotation_vectors_and_shifts_do(self, seed, joints):
        random = np.random.default_rng(seed)
        origins, end = [random_pose(random) for _ in range(joints)], random_pose(random)
        axes = random.normal(size=(joints, 3)) * 10.0 ** random.uniform(-3, 3, (joints, 1))
        revolute, q = random.integers(2, size=joints).astype(bool), random.uniform(-3, 3, joints)
        expected = np.eye(4)
        for origin, axis, turns, value in zip(origins, axes, revolute, q, strict=True):
            move, along = np.eye(4), axis / np.linalg.norm(axis)
            if turns:
                move[:3, :3] = Rotation.from_rotvec(value * along).as_matrix()
            else:
                move[:3, 3] = value * along
            expected = expected @ origin @ move
        chain = chain_from_axes(origins, axes, revolute, end)
        np.testing.assert_allclose(end_pose(chain, q), expected @ end, atol=TOLERANCE)

    @pytest.mark.parametrize("axis", [*np.eye(3), *-np.eye(3)])
    def test_axes_along_the_frame(self, axis):
        chain = chain_from_axes([np.eye(4)], [axis], [True], np.eye(4))
        turned = Rotation.from_rotvec(0.7 * axis).as_matrix()
        np.testing.assert_allclose(end_pose(chain, [0.7])[:3, :3], turned, atol=TOLERANCE)

    @pytest.mark.parametrize("axis", [[0, 0, 0], [1e-13, 0, 0], [np.nan, 0, 1], [np.inf, 0, 0]])
    def test_an_axis_without_a_direction_is_refused(self, axis):
        with pytest.raises(InputError, match=r"^arm axis of joint 2: .*a direction of non-zero length$"):
            chain_from_axes([np.eye(4)] * 2, [[0, 0, 1], axis], [True, True], np.eye(4), source="arm")

    def test_lists_of_different_lengths_are_refused(self):
        with pytest.raises(ValueError, match="zip"):
            chain_from_axes([np.eye(4)] * 2, [[0, 0, 1]], [True, True], np.eye(4))


class TestMounted:
    def test_base_goes_before_and_tool_behind(self):
        random = np.random.default_rng(5)
        chain = two_joints(links=np.stack([random_pose(random) for _ in range(3)]), names=("a", "b"))
        base, tool, q = random_pose(random), random_pose(random), [0.4, -0.3]
        mounted = chain.mounted(base=base, tool=tool)
        np.testing.assert_allclose(end_pose(mounted, q), base @ end_pose(chain, q) @ tool, atol=TOLERANCE)
        assert (mounted.names, mounted.source) == (chain.names, chain.source)
        np.testing.assert_array_equal(mounted.lower, chain.lower)

    def test_nothing_changes_without_them(self):
        assert two_joints().mounted() == two_joints()

    @pytest.mark.parametrize("end", ["base", "tool"])
    def test_a_matrix_that_is_no_pose_is_refused(self, end):
        with pytest.raises(InputError, match=f"^{end}: found a matrix whose 3 x 3 part is no rotation"):
            two_joints().mounted(**{end: np.diag([1.0, 1.0, -1.0, 1.0])})


class TestChain:
    def test_defaults(self):
        chain = two_joints()
        assert (chain.joints, chain.names) == (2, ("", ""))
        assert np.isneginf(chain.lower).all()
        assert np.isposinf(chain.upper).all()

    def test_it_keeps_its_own_arrays(self):
        links, lower = np.stack([np.eye(4)] * 3), np.array([-1.0, -2.0])
        chain = two_joints(links=links, lower=lower)
        links[0, 0, 3] = lower[0] = 9.0
        assert chain.links[0, 0, 3] == 0.0
        assert chain.lower[0] == -1.0

    @pytest.mark.parametrize("copied", [copy.copy, copy.deepcopy, lambda chain: pickle.loads(pickle.dumps(chain))])
    def test_copies_are_equal_and_stay_frozen(self, copied):
        chain = copied(two_joints(names=("a", "b"), lower=[-1, -np.inf]))
        assert chain == two_joints(names=("a", "b"), lower=[-1, -np.inf])
        assert hash(chain) == hash(two_joints(names=("a", "b"), lower=[-1, -np.inf]))
        for array in (chain.links, chain.lower, chain.upper):
            with pytest.raises(ValueError, match="read-only"):
                array[0] = 0.0

    @pytest.mark.parametrize(
        ("changes", "message"),
        [
            (
                {"revolute": ()},
                "arm: found a chain without joints, expected at least one revolute or prismatic joint",
            ),
            ({"revolute": (True,)}, "arm links: found shape (3, 4, 4), expected shape (2, 4, 4)"),
            ({"names": ("a",)}, "arm names: found 1 names, expected 2, one a joint"),
            ({"lower": [-1.0]}, "arm lower: found [-1.], expected 2 limits"),
            ({"upper": [1.0, np.nan]}, "arm upper: found [ 1. nan], expected 2 limits"),
        ],
    )
    def test_refused(self, changes, message):
        with pytest.raises(InputError) as caught:
            two_joints(**changes)
        assert str(caught.value) == message

    @pytest.mark.parametrize("value", [np.nan, np.inf])
    def test_links_that_are_not_finite_are_refused(self, value):
        links = np.stack([np.eye(4)] * 3)
        links[1, 0, 3] = value
        with pytest.raises(InputError, match=r"^arm links\[1\]\[0, 3\]: .*a finite number"):
            two_joints(links=links)

    def test_links_that_are_not_rigid_are_refused(self):
        with pytest.raises(InputError, match=r"^arm links\[0\]: found a matrix whose 3 x 3 part is no rotation"):
            two_joints(links=np.stack([2.0 * np.eye(4)] * 3))
