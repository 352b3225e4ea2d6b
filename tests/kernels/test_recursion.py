"""The motion of the tool frame against Pinocchio, against MuJoCo's sensors, and against textbook arms."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gripmargin.base.poses import pose
from gripmargin.kernels import recursion
from gripmargin.kernels.recursion import tool_motion
from gripmargin.motion.chain import Chain, chain_from_axes
from gripmargin.motion.tool_motion import joint_motion

RELATIVE = 1e-9
SAMPLES = 7


def random_rates(random, joints, samples=SAMPLES):
    q = random.uniform(-3, 3, (samples, joints))
    return q, random.normal(size=(samples, joints)) * 2, random.normal(size=(samples, joints)) * 10


def agree(found, expected, size):
    """Within the relative tolerance of the largest of what is compared."""
    np.testing.assert_allclose(found, expected, rtol=0, atol=RELATIVE * max(size, float(np.abs(expected).max())))


class TestAgainstPinocchio:
    @given(seed=st.integers(0, 2**32 - 1), joints=st.integers(1, 8))
    @settings(derandomize=True, deadline=None, max_examples=80)
    def test_pose_velocity_and_classical_acceleration_of_random_chains(self, random_chain, pinocchio_arm, seed, joints):
        random = np.random.default_rng(seed)
        chain = random_chain(random, joints)
        q, qd, qdd = random_rates(random, joints)
        self.compare(chain, pinocchio_arm(chain), q, qd, qdd)

    def test_industrial_arms_from_their_urdf_files(self, industrial_arm):
        chain, arm = industrial_arm(pose((0, 0.02, 0.14), (0.1, -0.4, 0.7)))
        self.compare(chain, arm, *random_rates(np.random.default_rng(1), chain.joints, 40))

    @staticmethod
    def compare(chain, arm, q, qd, qdd):
        motion = joint_motion(chain, np.arange(len(q), dtype=float), q, qd, qdd)
        for i in range(len(q)):
            place, velocity, acceleration = arm.frame(q[i], qd[i], qdd[i])
            agree(motion.rotation[i], place.rotation, 1.0)
            agree(motion.position[i], place.translation, 1.0)
            agree(motion.velocity[i], velocity.linear, 1.0)
            agree(motion.angular_velocity[i], velocity.angular, 1.0)
            agree(motion.acceleration[i], acceleration.linear, 1.0)
            agree(motion.angular_acceleration[i], acceleration.angular, 1.0)


class TestAgainstMujoco:
    @given(seed=st.integers(0, 2**32 - 1), joints=st.integers(1, 7))
    @settings(derandomize=True, deadline=None, max_examples=40)
    def test_gyro_velocimeter_and_accelerometer_of_random_chains(
        self, random_chain, random_part, mujoco_sensors, seed, joints
    ):
        random = np.random.default_rng(seed)
        chain, gravity = random_chain(random, joints), np.array([0.3, -0.2, -9.8])
        q, qd, qdd = random_rates(random, joints)
        motion = joint_motion(chain, np.arange(len(q), dtype=float), q, qd, qdd)
        read = mujoco_sensors(chain, random_part(random), gravity)
        for i in range(len(q)):
            seen = read(q[i], qd[i], qdd[i])
            agree(motion.angular_velocity[i], seen["gyro"], 1.0)
            agree(motion.velocity[i], seen["velocimeter"], 1.0)
            # an accelerometer at rest reads gravity, upwards
            agree(motion.acceleration[i] - motion.in_tool(gravity)[:, i], seen["accelerometer"], 1.0)


class TestTextbooks:
    def test_two_link_arm(self, published):
        case = published("rigid_body", "two-link arm, tip acceleration")
        first, second = case["lengths"]
        chain = chain_from_axes([np.eye(4), pose((first, 0, 0))], [(0, 0, 1)] * 2, [True, True], pose((second, 0, 0)))
        q, qd, qdd = (np.array([case[key]]) for key in ("q", "qd", "qdd"))
        motion = joint_motion(chain, np.zeros(1), q, qd, qdd)
        np.testing.assert_allclose(motion.acceleration[0, :2], case["value"], rtol=0, atol=case["tolerance"])
        assert motion.acceleration[0, 2] == 0.0

    @pytest.mark.parametrize("radius", [0.05, 1.3])
    @pytest.mark.parametrize("rate", [0.2, -7.0])
    def test_uniform_circular_motion_points_to_the_centre_with_omega_squared_r(self, radius, rate):
        """a = omega^2 r, v = omega r: any textbook of mechanics (Halliday & Resnick, sec. 4-5, from memory)."""
        chain = chain_from_axes([np.eye(4)], [(0, 0, 1)], [True], pose((radius, 0, 0)))
        q = np.linspace(-4, 4, 9)[:, None]
        motion = joint_motion(chain, q[:, 0] + 5, q, np.full_like(q, rate), np.zeros_like(q))
        np.testing.assert_allclose(motion.acceleration, np.tile([-(rate**2) * radius, 0, 0], (9, 1)), rtol=1e-15)
        np.testing.assert_allclose(motion.velocity, np.tile([0, rate * radius, 0], (9, 1)), rtol=1e-15)

    def test_slide_on_a_turntable_feels_the_coriolis_acceleration(self):
        """2 omega x v and -omega^2 r along the slide: Halliday & Resnick (from memory)."""
        out = pose(rpy=(0, np.pi / 2, 0))  # slide along the world's x at zero
        chain = Chain(links=np.stack([np.eye(4), out, np.eye(4)]), revolute=(True, False))
        omega, speed, radius = 3.0, 0.7, 0.4
        motion = joint_motion(chain, np.zeros(1), np.array([[0, radius]]), np.array([[omega, speed]]), np.zeros((1, 2)))
        world = motion.rotation[0] @ motion.acceleration[0]
        np.testing.assert_allclose(world, [-(omega**2) * radius, 2 * omega * speed, 0], atol=1e-14)


class TestBlocks:
    @pytest.mark.parametrize("samples", [1, 2, recursion.BLOCK - 1, recursion.BLOCK, recursion.BLOCK + 1])
    def test_the_end_of_a_block_leaves_no_trace(self, random_chain, samples):
        random = np.random.default_rng(3)
        chain = random_chain(random, 4)
        q, qd, qdd = random_rates(random, 4, samples)
        whole = tool_motion(chain.links, chain.revolute, q, qd, qdd)
        last = tool_motion(chain.links, chain.revolute, q[-1:], qd[-1:], qdd[-1:])
        np.testing.assert_allclose(whole[:, :, -1:], last, rtol=1e-13, atol=1e-13)

    def test_input_is_left_alone_and_no_sample_leaks_into_another(self, random_chain):
        random = np.random.default_rng(4)
        chain = random_chain(random, 3)
        q, qd, qdd = random_rates(random, 3, 5)
        kept = q.copy(), qd.copy(), qdd.copy()
        bad = qdd.copy()
        bad[2] = np.nan
        out = tool_motion(chain.links, chain.revolute, q, qd, bad)
        assert np.isnan(out[:, recursion.A, 2]).all()
        assert np.isfinite(np.delete(out, 2, axis=2)).all()
        for now, then in zip((q, qd, qdd), kept, strict=True):
            np.testing.assert_array_equal(now, then)
