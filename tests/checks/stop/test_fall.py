"""Where a part lands that a stop throws off."""

from dataclasses import replace

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.stop.fall import fall
from gripmargin.kernels import recursion
from gripmargin.kernels.wrench import mass_matrix
from gripmargin.motion.tool_motion import joint_motion
from support.stops import judged, stop_of


class TestFall:
    """v = 2 m/s, 1.5 m above the floor: 1.106003 m and 5.781868 m/s with g = 9.81 (closed form)."""

    def make(self, level, **more):
        fast = level(gm.Stop(deceleration=150.0, floor=-1.0), duration=0.75, travel=0.8, gravity=(0, 0, -9.81))
        return replace(fast, **more)

    def test_thrown_part(self, level):
        report = gm.check_job(self.make(level))
        fall = stop_of(report).details["fall"]
        assert fall["surely"]
        assert fall["speed"] == pytest.approx(2.0, rel=1e-3)
        assert fall["height"] == pytest.approx(1.5)
        assert fall["range"] == pytest.approx(1.106003, rel=1e-3)
        assert fall["impact_speed"] == pytest.approx(5.781868, rel=1e-3)
        assert fall["energy"] == pytest.approx(0.5 * 1.2 * 4.0, rel=2e-3)
        assert fall["impact_energy"] == pytest.approx(0.5 * 1.2 * 5.781868**2, rel=2e-3)
        assert fall["landing"] == pytest.approx([0.4 + 1.106003, 0.0], abs=2e-3)
        text = gm.report_text(report)
        assert "would throw the part off" in text
        assert "keep people out" in " ".join(text.split())

    def test_energy_of_a_part_that_turns(self, fast):
        fall = stop_of(gm.check_job(fast(gm.Stop(axis_deceleration=[60.0] * 6)))).details["fall"]
        job = fast(None)
        q, qd, qdd = fast.exact.at(np.array([fall["t"]]))
        motion = joint_motion(job.robot, np.zeros(1), q, qd, qdd)
        twist = np.concatenate([motion.velocity[0], motion.angular_velocity[0]])
        mass = mass_matrix(job.part.mass, job.part.com, job.part.inertia)
        assert fall["energy"] == pytest.approx(0.5 * twist @ mass @ twist, rel=1e-6)
        assert fall["range"] is None
        assert fall["reason"] == "stop.floor is not given"

    def test_it_comes_off_where_that_sets_most_energy_free(self, level):
        """60 rad/s about an axis of 4e-3 kg m^2 are more than 2 m/s of 1.2 kg."""
        case = work_out(level(gm.Stop(time=0.2)))
        at = case.motion.at
        state = at.state.copy()
        state[:, recursion.W, 10] = 0.0, 0.0, 60.0
        turning = replace(case, motion=replace(case.motion, at=replace(at, told=state)))
        found = fall(turning, None, np.arange(at.t.size), np.array([10]))
        assert found.sample == 10
        assert found.surely
        moving = 0.5 * 1.2 * np.linalg.norm(at.velocity[10]) ** 2
        assert found.energy == pytest.approx(0.5 * 4e-3 * 60.0**2 + moving)

    @pytest.mark.parametrize(
        ("change", "reason"),
        [
            ({"gravity": (0.0, 9.81, 0.0)}, "gravity does not point along -z"),
            ({"gravity": (0.0, 9.81 * 1.8e-3, -9.81)}, "gravity does not point along -z"),
            ({"stop": gm.Stop(deceleration=150.0, floor=2.0)}, "below stop.floor"),
        ],
    )
    def test_where_it_lands_is_not_always_known(self, level, change, reason):
        fall = stop_of(gm.check_job(self.make(level, **change))).details["fall"]
        assert reason in fall["reason"]
        assert fall["range"] is None

    def test_gravity_that_hardly_leans_is_upright(self, level):
        """A thousandth: the level of a robot's base."""
        fall = stop_of(gm.check_job(self.make(level, gravity=(0.0, 9.81 * 1.2e-3, -9.81)))).details["fall"]
        assert fall["range"] == pytest.approx(1.106003, rel=1e-3)

    @pytest.mark.parametrize(("margin", "falls"), [(0.7, True), (1.4, False)])
    def test_it_falls_where_the_margin_is_below_1(self, level, margin, falls):
        job = level(gm.Stop(deceleration=4.0))
        factor, (pad,) = margin / judged(job).value, job.gripper.pads
        scaled = {key: factor * getattr(pad.material, key) for key in ("pull_off_stress", "shear_strength")}
        weak = gm.Gripper(pads=(replace(pad, material=replace(pad.material, **scaled)),))
        fall = stop_of(gm.check_job(replace(job, gripper=weak))).details["fall"]
        assert (fall is not None and fall["surely"]) == falls

    def test_a_part_that_stays_on_does_not_fall(self, level):
        assert stop_of(gm.check_job(level(gm.Stop(deceleration=1.0)))).details["fall"] is None
