"""The load of the part on the gripper against Pinocchio, against MuJoCo's sensors, and against textbooks."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import gripmargin as gm
from gripmargin.contact.loads import CAUSES, load_by_cause, load_per_acceleration, part_load, standing_load
from gripmargin.kernels.jacobian import tool_jacobian
from gripmargin.motion.tool_motion import ToolMotion, joint_motion, pose_motion

RELATIVE = 1e-9
GRAVITY = np.array([0.4, -0.3, -9.75])


def random_rates(random, joints, samples=6):
    shape = (samples, joints)
    return random.uniform(-3, 3, shape), random.normal(size=shape) * 2, random.normal(size=shape) * 10


def moving(chain, rates):
    return joint_motion(chain, np.arange(len(rates[0]), dtype=float), *rates)


def agree(found, expected):
    """Forces and moments each within the relative tolerance of their own size."""
    for part in (slice(3), slice(3, 6)):
        size = float(np.abs(expected[part]).max())
        np.testing.assert_allclose(found[part], expected[part], rtol=0, atol=RELATIVE * size)


def still_motion(acceleration=(0, 0, 0), omega=(0, 0, 0), alpha=(0, 0, 0), rotation=None):
    """One sample with the tool frame along the world's axes unless it is turned."""
    turn = np.eye(3) if rotation is None else np.asarray(rotation)
    one = [np.array([v], dtype=float) for v in (acceleration, omega, alpha)]
    return pose_motion(np.zeros(1), np.zeros((1, 3)), turn[None], np.zeros((1, 3)), one[0], one[1], one[2])


class TestAgainstPinocchio:
    @given(seed=st.integers(0, 2**32 - 1), joints=st.integers(1, 8))
    @settings(derandomize=True, deadline=None, max_examples=80)
    def test_random_chains_and_bodies(self, random_chain, random_part, pinocchio_arm, seed, joints):
        random = np.random.default_rng(seed)
        chain, part = random_chain(random, joints), random_part(random)
        self.compare(chain, pinocchio_arm(chain, part, GRAVITY), part, random_rates(random, joints))

    def test_industrial_arms_from_their_urdf_files(self, industrial_arm, random_part):
        random = np.random.default_rng(2)
        part = random_part(random)
        chain, arm = industrial_arm(gm.pose((0, 0.02, 0.14), (0.1, -0.4, 0.7)), part, GRAVITY)
        self.compare(chain, arm, part, random_rates(random, chain.joints, 40))

    @staticmethod
    def compare(chain, arm, part, rates):
        found = part_load(part, moving(chain, rates), GRAVITY)
        data = arm.model.createData()
        for i, (q, qd, qdd) in enumerate(zip(*rates, strict=True)):
            agree(found[:, i], arm.load(data, q, qd, qdd))


class TestAgainstMujoco:
    @given(seed=st.integers(0, 2**32 - 1), joints=st.integers(1, 7))
    @settings(derandomize=True, deadline=None, max_examples=40)
    def test_force_and_torque_sensors_at_the_tool_site(self, random_chain, random_part, mujoco_sensors, seed, joints):
        """The sensor reads what the parent does to the child: the load with its sign turned."""
        random = np.random.default_rng(seed)
        chain, part = random_chain(random, joints), random_part(random)
        rates = random_rates(random, joints)
        found = part_load(part, moving(chain, rates), GRAVITY)
        read = mujoco_sensors(chain, part, GRAVITY)
        for i, (q, qd, qdd) in enumerate(zip(*rates, strict=True)):
            seen = read(q, qd, qdd)
            agree(found[:, i], -np.concatenate([seen["force"], seen["torque"]]))

    def test_the_sensor_holds_a_hanging_part_up(self, mujoco_sensors):
        """Which of the two the sensor reads, from a case with an obvious sign."""
        chain = gm.chain_from_axes([np.eye(4)], [(0, 0, 1)], [True], np.eye(4))
        part = gm.Part(mass=2.0, com=np.zeros(3), inertia=[1e-2, 1e-2, 1e-2, 0, 0, 0])
        seen = mujoco_sensors(chain, part, np.array([0, 0, -10.0]))(np.zeros(1), np.zeros(1), np.zeros(1))
        np.testing.assert_allclose(seen["force"], [0, 0, 20.0], atol=1e-12)
        np.testing.assert_allclose(part_load(part, still_motion(), np.array([0, 0, -10.0]))[:3, 0], [0, 0, -20.0])


class TestPublishedFigures:
    def test_moving_body(self, published):
        case = published("rigid_body", "moving body, load on its carrier")
        part = gm.Part(mass=case["mass"], com=case["com"], inertia=case["inertia"])
        motion = still_motion(case["acceleration"], case["omega"], case["alpha"])
        found = part_load(part, motion, np.array(case["gravity"]))[:, 0]
        np.testing.assert_allclose(found, case["value"], rtol=0, atol=case["tolerance"])

    @pytest.mark.parametrize("moves", [True, False])
    def test_joint_torques_of_an_open_chain(self, published, moves):
        """Joint torques by virtual work: each link's load through the Jacobian of its own centre of mass."""
        case = published("rigid_body", "open chain of three links, joint torques")
        homes = np.array(case["homes"])
        axes, points = np.array(case["axes"]), np.array(case["points"])
        stretch = np.linalg.norm(axes, axis=1)  # the example's first axis is not of unit length
        rates = [stretch * np.array(case[key]) * (moves or key == "q") for key in ("q", "qd", "qdd")]
        torques = np.zeros(3)
        home = np.eye(4)
        for link in range(4):
            home = home @ homes[link]
            joints = min(link + 1, 3)
            steps = np.diff(points[:joints], axis=0, prepend=np.zeros((1, 3)))
            chain = gm.chain_from_axes(
                [gm.pose(step) for step in steps], axes[:joints], [True] * joints, gm.pose(-points[joints - 1]) @ home
            )
            now = [np.array([r[:joints]]) for r in rates]
            columns = tool_jacobian(chain.links, chain.revolute, now[0])[:, :, 0]
            if link < 3:
                moments = case["moments"][link]
                body = gm.Part(mass=case["masses"][link], com=np.zeros(3), inertia=[*moments, 0, 0, 0])
                wrench = part_load(body, joint_motion(chain, np.zeros(1), *now), np.array(case["gravity"]))[:, 0]
            else:
                wrench = -np.array(case["tip_force"]) * moves
            torques[:joints] -= columns @ wrench
        expected = case["value"] if moves else case["still"]
        np.testing.assert_allclose(stretch * torques, expected, rtol=0, atol=case["tolerance"])


class TestTextbooks:
    def test_a_part_that_hangs_pulls_with_its_weight(self):
        part = gm.Part(mass=2.0, com=[0, 0, 0.05], inertia=[1e-3, 1e-3, 1e-3, 0, 0, 0])
        down = np.diag([1.0, -1.0, -1.0])
        load = part_load(part, still_motion(rotation=down), np.array([0, 0, -9.80665]))[:, 0]
        np.testing.assert_allclose(load, [0, 0, 2 * 9.80665, 0, 0, 0], atol=1e-12)

    def test_centre_of_mass_offset_peels_by_force_times_arm(self):
        """Moment = force times arm; a mass off to +x below the tool turns about the tool's -y."""
        part = gm.Part(mass=2.0, com=[0.03, 0, 0], inertia=[1e-3, 1e-3, 1e-3, 0, 0, 0])
        down = np.diag([1.0, -1.0, -1.0])
        load = part_load(part, still_motion(rotation=down), np.array([0, 0, -10.0]))[:, 0]
        np.testing.assert_allclose(load, [0, 0, 20.0, 0, -0.6, 0], atol=1e-12)

    def test_uniform_circular_motion_throws_the_part_outwards(self):
        """m omega^2 r away from the centre, r to the centre of mass, no moment about it: any textbook."""
        part = gm.Part(mass=0.5, com=[0.02, 0, 0], inertia=[1e-3, 2e-3, 2.5e-3, 0, 0, 0])
        chain = gm.chain_from_axes([np.eye(4)], [(0, 0, 1)], [True], gm.pose((0.4, 0, 0)))
        motion = joint_motion(chain, np.zeros(1), np.array([[1.1]]), np.array([[3.0]]), np.zeros((1, 1)))
        load = part_load(part, motion, np.zeros(3))[:, 0]
        np.testing.assert_allclose(load, [0.5 * 9.0 * 0.42, 0, 0, 0, 0, 0], atol=1e-14)

    def test_gyroscopic_moment_of_a_body_turning_about_a_skew_axis(self):
        """Euler's equation M1 = (I3 - I2) w2 w3 on the body: Goldstein, Classical Mechanics, sec. 5-5 (from memory)."""
        part = gm.Part(mass=1.0, com=np.zeros(3), inertia=[0.02, 0.03, 0.04, 0, 0, 0])
        load = part_load(part, still_motion(omega=(2.0, 3.0, 5.0)), np.zeros(3))[:, 0]
        on_body = [(0.04 - 0.03) * 3 * 5, (0.02 - 0.04) * 5 * 2, (0.03 - 0.02) * 2 * 3]
        np.testing.assert_allclose(load[3:], -np.array(on_body), rtol=1e-14)


class TestByCause:
    @given(seed=st.integers(0, 2**32 - 1))
    @settings(derandomize=True, deadline=None, max_examples=50)
    def test_the_causes_add_up_to_the_load(self, random_chain, random_part, seed):
        random = np.random.default_rng(seed)
        chain, part = random_chain(random, 4), random_part(random)
        motion = moving(chain, random_rates(random, 4))
        whole = part_load(part, motion, GRAVITY)
        causes = load_by_cause(part, motion, GRAVITY)
        assert tuple(causes) == CAUSES
        np.testing.assert_allclose(sum(causes.values()), whole, rtol=0, atol=1e-12 * np.abs(whole).max())
        np.testing.assert_allclose(causes["gravity"], standing_load(part, motion, GRAVITY), rtol=1e-13)

    @given(seed=st.integers(0, 2**32 - 1))
    @settings(derandomize=True, deadline=None, max_examples=50)
    def test_the_load_is_linear_in_the_accelerations(self, random_chain, random_part, seed):
        random = np.random.default_rng(seed)
        part, motion = random_part(random), moving(random_chain(random, 3), random_rates(random, 3))
        step = random.normal(size=6)
        state = motion.state.copy()
        state[:, 3] += step[:3, None]  # acceleration of the origin
        state[:, 2] += step[3:, None]  # angular acceleration
        change = part_load(part, ToolMotion(motion.t, state), GRAVITY) - part_load(part, motion, GRAVITY)
        expected = load_per_acceleration(part) @ step
        np.testing.assert_allclose(change, np.tile(expected[:, None], motion.samples), atol=1e-10)
