"""Largest accelerations of any path: against figures by hand, and against the checker."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.base.errors import InputError
from gripmargin.checks.case import work_out
from gripmargin.checks.swing.ringing import mode_sets
from gripmargin.contact.bonded import Bonded
from gripmargin.contact.grip import grip_of
from gripmargin.kernels.utilisation import largest_utilisation
from gripmargin.tuning.allowed import Allowed, Condition, Motion
from gripmargin.tuning.sizes import Sizes, inputs
from support.within import circling, judged, leaning, random_circle, random_slide, sliding, worst_slide

G = 9.80665
HELD = 5e4 * 0.04**2  # [N] of the one pad, in pull and in shear alike
MASS = 1.5
TILTS, RAMP = np.deg2rad([0.0, 30.0]), 0.1


def film(damping=0.08, stiffness=1e9, pull=5e4, shear=5e4):
    return gm.PadMaterial(
        pull_off_stress=pull,
        shear_strength=shear,
        normal_stiffness=stiffness,
        shear_stiffness=stiffness / 3,
        damping_ratio=damping,
    )


def point_mass(material=None, mass=MASS, **part):
    """A part so small against its one pad that it only moves up and down or sideways."""
    return gm.Job(
        name="lump",
        trajectory=gm.hanging_still(),
        gripper=gm.Gripper(pads=(gm.Pad.rectangle("pad", material or film(), [0.04, 0.04]),)),
        part=gm.Part(
            **{"face": "plane", "rigid": True} | part, mass=mass, com=[0, 0, 0], inertia=[1e-5, 1e-5, 1e-5, 0, 0, 0]
        ),
    )


@cache
def plate(stiffness=1e9):
    """Two pads aside of a plate's centre of mass."""
    pads = [
        gm.Pad.rectangle(
            f"pad {i}", film(stiffness=stiffness, shear=4e4), [0.03, 0.025], at=gm.pose(xyz=(x, 0.01 * i, 0))
        )
        for i, x in enumerate((-0.04, 0.03))
    ]
    part = gm.Part(mass=0.6, com=[0.004, 0.003, 0.01], inertia=[2e-3, 2e-3, 4e-3, 0, 0, 0], face="plane", rigid=True)
    job = gm.Job(name="plate", trajectory=gm.hanging_still(), gripper=gm.Gripper(pads=pads), part=part)
    return job, gm.limits(job, tilts=TILTS, ramps=[RAMP], radii=[0.3])


def slowly(found, direction="any", tilt=0):
    return found.linear[direction][tilt, -1]


class TestByHand:
    """One pad, no lever: ``(m a_shear / held)^2 + (m a_pull / held)^2 <= 1 / target^2``, rounded down by the grid."""

    def test_level(self):
        found, room = gm.limits(point_mass(), tilts=[0.0], ramps=[RAMP], radii=[1.0]), HELD / MASS / 2
        assert found.passed
        assert slowly(found, "z") == pytest.approx(room - G, rel=6e-3)
        assert slowly(found, "x") == pytest.approx(np.sqrt(room**2 - G**2), rel=6e-3)
        assert slowly(found) == pytest.approx(room - G, rel=6e-3)  # up is worst
        assert slowly(found, "z") <= room - G
        assert slowly(found, "x") <= np.sqrt(room**2 - G**2)

    def test_leaning(self):
        """At any tilt up and along the pads are as good; at 90 degrees all of the weight is shear."""
        found, room = gm.limits(point_mass(), tilts=np.deg2rad([0.0, 90.0]), ramps=[RAMP], radii=[1.0]), HELD / MASS / 2
        assert slowly(found, "x", 1) == pytest.approx(room - G, rel=6e-3)
        assert slowly(found, "z", 1) == pytest.approx(room - G, rel=6e-3)

    def test_swing(self):
        """At once: times coth(pi z / (2 sqrt(1 - z^2))) for one mode, up and down; see `test_impulse`."""
        z, room = 0.08, HELD / MASS / 2
        found = gm.limits(point_mass(), tilts=[0.0], ramps=[RAMP], radii=[1.0])
        due = (room - G) * np.tanh(np.pi * z / 2 / np.sqrt(1 - z * z))
        assert found.linear["z"][0, 0] == pytest.approx(due, rel=0.02)
        assert found.linear["z"][0, 0] <= due

    def test_a_stop_keeps_its_own_target(self):
        """Twice the load of a deceleration that comes at once (Chopra ch. 4), and twice again when it goes."""
        job = point_mass()
        found = gm.limits(replace(job, targets=gm.Targets(stop=1.25)), tilts=[0.0], ramps=[RAMP], radii=[1.0])
        due = (HELD / MASS / 1.25 - G) / 2
        assert found.stop[0] == pytest.approx(due, rel=0.05)  # of any direction, up is all but the worst
        assert found.stop[0] <= due

    def test_spinning_about_the_normal(self):
        """A rod across the pad: twisted by ``I alpha`` alone, shear at a corner ``I alpha R / J``, J = a^4 / 6."""
        inertia, room = 2e-2, HELD / MASS / 2
        job = point_mass()
        job = replace(job, part=replace(job.part, inertia=np.diag([inertia, 1e-5, inertia])))
        found = gm.limits(job, tilts=[0.0], ramps=[RAMP], radii=[1.0])
        speed, alpha = found.turning["spin"][0, -1], found.turning_acceleration("spin")[0, -1]
        assert alpha == pytest.approx(speed**2 / np.pi)
        shear = 5e4 * np.sqrt(1 - (G / room) ** 2) / 2
        assert alpha == pytest.approx(shear * 0.04**4 / 6 / (0.02 * np.sqrt(2)) / inertia, rel=6e-3)

    def test_gravity_that_turns_with_the_tool(self):
        """A lump that spins with a leaning tool feels g sin(tilt) go round, ``1 / sqrt((1 - r^2)^2 + (2 z r)^2)``.

        At the rate of its slide that is 1 / (2 z), too much here; up to the limit it is not.
        """
        job, z, tilt, room = point_mass(), 0.08, TILTS[1], HELD / MASS / 2
        case = work_out(job)
        modes = mode_sets(case)[-1]
        allowed = Allowed(Sizes(case.grip.face.asked(2.0), inputs(job), [modes]))
        about = Motion(about="spin", angular_velocity=1.0)
        speed = allowed.largest(about, Condition(tilt=tilt, ramp=RAMP, gravity=G, drag=0.0))
        slide = modes.frequency[modes.names.index("slide along x")]

        def feels(rate):
            r = rate / slide
            around = G * np.sin(tilt) / np.sqrt((1 - r * r) ** 2 + (2 * z * r) ** 2)
            return np.hypot(around, G * np.cos(tilt))

        assert feels(slide) > room
        assert 0.1 * slide < speed < slide
        assert feels(np.linspace(0.0, speed, 50)).max() < room

    @pytest.mark.parametrize(("about", "com"), [("spin", [0.0, 0.003, 0.0]), ("turn", [0.0, 0.0, 0.003])])
    def test_what_is_carried_round_pulls_outward(self, about, com):
        """``m W^2 r`` without gravity: as shear where it lies beside the axis, as pull where it hangs below it."""
        job = point_mass()
        job = replace(job, part=replace(job.part, com=com))
        allowed = Allowed(Sizes(work_out(job).grip.face.asked(2.0), inputs(job)))
        motion = Motion(about=about, angular_velocity=1.0)
        speed = allowed.largest(motion, Condition(tilt=1.0, ramp=np.inf, gravity=0.0, drag=0.0))
        due = np.sqrt(HELD / MASS / 2 / 0.003)
        assert 0.6 * due < speed <= due  # turning about a slanting axis it does both, and bends the pad as well

    def test_a_steady_turn_about_its_worst_axis(self):
        """Tried over 4,000 axes: the six products of three angular velocities do not vary freely."""
        job, _ = plate()
        face = work_out(job).grip.face
        motion = Motion(about="turn", angular_velocity=1.0)
        speed = Allowed(Sizes(face.asked(2.0), inputs(job))).largest(
            motion, Condition(tilt=1.0, ramp=np.inf, gravity=0.0, drag=0.0)
        )
        axis = np.random.default_rng(1).normal(size=(3, 4000))
        axis /= np.linalg.norm(axis, axis=0)
        products = np.vstack([axis**2, np.sqrt(2.0) * axis[[0, 0, 1]] * axis[[1, 2, 2]]])
        use = largest_utilisation(face, speed**2 * inputs(job)[:, 6:12] @ products).max()
        assert 0.99 * 0.5 < use <= 0.5

    def test_a_break_away_force_is_a_swing_at_the_start(self):
        job = point_mass()
        free, held = (
            gm.limits(
                replace(job, pick=gm.Pick(face=np.eye(4), break_away=force)), tilts=[0.0], ramps=[RAMP], radii=[1.0]
            )
            for force in (0.0, 5.0)
        )
        room = HELD / MASS / 2 - G
        assert held.linear["z"][0, 0] / free.linear["z"][0, 0] == pytest.approx(1 - 5.0 / MASS / room, rel=5e-3)
        assert slowly(held) == slowly(free)

    def test_the_air(self):
        """Drag ``rho/2 A v^2`` and its added mass ``8/3 rho r^3`` take of the room."""
        job, area, v = point_mass(drag_area=0.128, mass=1.0), 0.128, 5.0
        found = gm.limits(job, tilts=[0.0], ramps=[RAMP], radii=[1.0], speed=v)
        air = 1.225 * 8 / 3 * np.sqrt(area / 1.28 / np.pi) ** 3
        due = (HELD / 2 - G - 1.225 / 2 * area * v**2) / (1.0 + air)
        assert slowly(found, "z") == pytest.approx(due, rel=6e-3)


class TestOrder:
    def test_more_tilt_and_less_time_allow_less(self):
        _, found = plate()
        for each in (*found.linear.values(), *found.turning.values(), found.together, *found.circling):
            assert (np.diff(each, axis=0) <= 1e-6 * each[:-1]).all()
            assert (np.diff(each[:, :3], axis=1) >= 0).all()
        for one in ("x", "y", "z"):
            assert (found.linear["any"] <= found.linear[one] * (1 + 1e-9)).all()
        assert (found.together < found.linear["any"]).all()

    def test_a_wider_circle_allows_more(self):
        job, found = plate()
        wide = gm.limits(job, tilts=TILTS, ramps=[RAMP], radii=[0.9])
        assert (wide.circling > found.circling).all()


class TestAgainstTheChecker:
    # soft pads let the part swing far out of its place
    @pytest.mark.parametrize(("stiffness", "seed"), [(1e9, 0), (1e9, 1), (2e8, 2)])
    def test_random_programs_within_pass(self, stiffness, seed):
        """Slides in all directions and along one, turns in place, circles; at tilts and ramps of all limits."""
        job, found = plate(stiffness)
        rng = np.random.default_rng(seed)
        i, j = rng.integers(2), rng.integers(2)
        tool, ramp = leaning(TILTS[i], rng.uniform(0.0, 6.0)), found.ramps[j]
        turn, circle = found.turning["spin"][0, j], found.circling[0, i, j] / 0.3
        for program in (
            random_slide(rng, found.linear["any"][i, j], ramp, tool),
            random_slide(rng, found.linear["y"][i, j], ramp, tool, direction=np.array([0.0, 1.0, 0.0])),
            random_circle(rng, turn**2 / np.pi, turn, ramp, leaning(0.0, 1.0), [0, 0, 1], [0, 0, 0]),
            random_circle(rng, circle**2, circle, ramp, tool, [0, 0, 1], [0.3, 0, 0]),
        ):
            assert judged(job, program) == {"hold": "pass", "swing": "pass"}

    def test_a_part_that_bends_a_little(self):
        """Its vibrations are known twice, and the check counts what both differ by: so do the limits."""
        outline, thickness = np.array([[-0.09, -0.06], [0.09, -0.06], [0.09, 0.06], [-0.09, 0.06]]), 0.006
        mass = 2500 * 0.18 * 0.12 * thickness
        com, inertia = gm.uniform_plate(mass, outline, thickness)
        shape = {"outline": outline, "thickness": thickness, "youngs_modulus": 70e9}
        part = gm.Part(mass=mass, com=com, inertia=inertia, face="plane", **shape)
        job = replace(point_mass(film(stiffness=2e8)), part=part, accept=["tool_travel"])
        assert len(mode_sets(work_out(job))) == 2
        found = gm.limits(job, tilts=[0.0], ramps=[RAMP], radii=[1.0])
        program = random_slide(np.random.default_rng(4), found.linear["any"][0, 0], 0.0, leaning(0.0, 0.0))
        assert judged(job, program) == {"hold": "pass", "swing": "pass"}

    def test_the_worst_program_passes_within_and_falls_short_outside(self):
        job, found = plate()
        most = found.linear["any"][0, 0]
        level = leaning(0.0, 0.0)
        assert judged(job, worst_slide(job, most, level)) == {"hold": "pass", "swing": "pass"}
        assert judged(job, worst_slide(job, 1.05 * most, level))["swing"] != "pass"

    @pytest.mark.parametrize("direction", ["any", "x", "z"])
    def test_a_steady_acceleration_outside_falls_short_of_hold(self, direction):
        """Slow ramps: of 400 directions, or of the two along an axis, the worst fails 1 % outside and none within."""
        job, found = plate()
        axes = {"x": np.eye(3)[:1], "z": np.eye(3)[2:]}
        ways = axes.get(direction, np.random.default_rng(0).normal(size=(400, 3)))
        ways = np.vstack([ways, -ways])
        ways /= np.linalg.norm(ways, axis=1, keepdims=True)
        case = work_out(job)
        use = largest_utilisation(
            case.grip.face, case.load[:, :1] + inputs(job)[:, :3] @ (slowly(found, direction) * ways.T)
        )
        worst = ways[int(use.argmax())]
        for factor, verdict in ((0.999, "pass"), (1.01, "fail")):
            a = factor * slowly(found, direction) * worst
            program = sliding(np.array([0.0, 1.0, 1.1]), np.array([0 * a, a, a]), leaning(0.0, 0.0), 0.01)
            assert judged(job, program)["hold"] == verdict

    def test_a_stop_within_keeps_its_target(self):
        """On and off at once, a third of a second long, in 6 directions, on a job that asks the target of all else."""
        job, found = plate()
        asked = replace(job, targets=gm.Targets(hold=job.targets.stop))
        for way in (*np.eye(3), *-np.eye(3)):
            a = found.stop[1] * way
            knots = np.array([0 * a, 0 * a, a, a, 0 * a, 0 * a])
            times = np.array([0.0, 0.1, 0.10002, 0.43, 0.43002, 0.7])
            assert judged(asked, sliding(times, knots, leaning(TILTS[1], 0.5)))["swing"] == "pass"

    @pytest.mark.parametrize(("factor", "verdict"), [(0.995, "pass"), (1.05, "fail")])
    def test_circling_outside_falls_short_of_hold(self, factor, verdict):
        """Slow ramps: getting up to its speed on the worst of 72 level circles of one radius, this way or that."""
        job, found = plate()
        case, speed = work_out(job), found.circling[0, 0, -1] / 0.3
        round_ = np.linspace(0.0, 2 * np.pi, 37)[:-1]
        ways = np.stack([np.cos(round_), np.sin(round_), 0 * round_])
        load, sign = inputs(job), np.array([1.0, -1.0])[:, None, None]
        pulled = 0.3 * (-ways + sign * np.stack([-ways[1], ways[0], ways[2]]))  # inward, and along
        push = load[:, :3] @ pulled + sign * load[:, 5:6] + load[:, 8:9]
        use = largest_utilisation(
            case.grip.face, (case.load[:, :1] + speed**2 * push.transpose(1, 0, 2).reshape(6, -1))
        )
        arm = 0.3 * ways[:, use.argmax() % 36] * [1, -1, -1]  # in the world, where the tool's z axis points down
        speed *= factor
        alpha = np.array([0.0, -(speed**2), -(speed**2)]) * (1 if use.argmax() < 36 else -1)
        times = np.array([0.0, 2e-4, 1 / speed])
        program = circling(times, alpha, leaning(0.0, 0.0), [0, 0, 1], arm, 0.002)
        assert judged(job, program)["hold"] == verdict


class TestAllTargets:
    def test_a_pad_lost_and_peel_count(self):
        job, found = plate()
        for targets in (gm.Targets(one_pad_lost=1.0), gm.Targets(peel=8.0)):
            less = gm.limits(replace(job, targets=targets), tilts=[0.0], ramps=[RAMP], radii=[0.3])
            assert slowly(less) < 0.9 * slowly(found)

    def test_the_bond_that_the_press_of_a_program_leaves(self):
        """Pressed on by 0.02 mm of a backing of 2e8 N/m^3, 4 kPa, four fifths of the pressure for a full bond."""
        job, t = point_mass(replace(film(stiffness=2e8), full_preload=5e3), mass=0.8), np.arange(0.0, 1.5, 0.01)
        z = np.interp(t, [0.0, 0.3, 0.6, 1.5], [0.006, -2e-5, -2e-5, 0.02])
        down = np.broadcast_to(np.diag([1.0, -1.0, -1.0]), (t.size, 3, 3))
        pressed = replace(
            job,
            trajectory=gm.PoseTrajectory(t=t, position=np.column_stack([0 * t, 0 * t, z]), rotation=down),
            phases=[gm.Phase(kind="preload", start=0.0, end=0.6), gm.Phase(kind="carry", start=0.6, end=1.5)],
            pick=gm.Pick(face=np.eye(4)),
        )
        found = gm.limits(pressed, tilts=[0.0], ramps=[RAMP], radii=[1.0])
        assert slowly(found, "z") == pytest.approx(0.8 * HELD / 0.8 / 2 - G, rel=0.01)
        assert "press" in " ".join(found.notes)

    def test_an_uneven_bond_holds_as_its_core_does(self):
        """Cells of which a third hardly hold: against the utilisation of the places that count, on the same grip."""
        job, _ = plate()
        case = work_out(job)
        rng = np.random.default_rng(2)
        held = tuple(np.where(rng.uniform(size=p.areas.size) < 0.3, 0.02, 0.9) for p in case.whole.patches)
        bonded = Bonded(whole=case.whole, full=case.grip.bonded.full, held=held)
        face = grip_of(bonded, case.load).face
        assert not face.plain
        level = Condition(tilt=0.0, ramp=np.inf, gravity=G, drag=0.0)
        most = Allowed(Sizes(face.asked(2.0), inputs(job))).largest(Motion(acceleration=1.0), level)
        ways = rng.normal(size=(3, 2000))
        push = inputs(job)[:, :3] @ (ways / np.linalg.norm(ways, axis=0))
        assert largest_utilisation(face, case.load[:, :1] + most * push).max() <= 0.5
        # what the cells outside the core may do to weight and push is added up
        assert largest_utilisation(face, case.load[:, :1] + 1.3 * most * push).max() > 0.5


class TestNotKnown:
    @pytest.mark.parametrize("damping", [None, 0.004])
    def test_without_damping_no_swing_is_bounded(self, damping):
        found = gm.limits(point_mass(film(damping=damping)), tilts=[0.0], ramps=[RAMP], radii=[1.0])
        assert found.verdict == "undecided"
        assert np.isnan(found.linear["any"][0, :2]).all()
        assert slowly(found) > 0
        assert "damping_ratio" in found.blocked[0]

    def test_without_damping_a_stop_and_one_move_are_bounded(self):
        """One mode, worst upward: ``1 + 3 r`` times the push, r = 2 / (w T) of each ramp; of steps, ``2 r`` each."""
        job, room = point_mass(film(damping=None)), HELD / MASS / 2 - G
        found = gm.limits(job, tilts=[0.0], ramps=[0.05], radii=[1.0])
        w = np.sqrt(1e9 * 0.04**2 / MASS)
        assert found.one_move[0, 1] == pytest.approx(room / (1 + 3 * 2 / (w * 0.05)), rel=0.02)
        assert found.one_move[0, 0] == pytest.approx(room / 4, rel=0.02)
        assert found.stop[0] == pytest.approx((HELD / MASS / 1.5 - G) / 2, rel=0.05)
        assert found.one_move[0, 2] == slowly(found)

    @pytest.mark.parametrize(("factor", "verdict"), [(0.99, "pass"), (1.05, "fail")])
    def test_one_move_without_damping_against_the_checker(self, factor, verdict):
        """Down, and braked: ramps of ``w T = 3 pi`` leave all of ``2 / (w T)``, ``-cos(w t)`` from the middle of each.

        So swings add up half a period apart where the load changes the other way, and whole ones where the same way.
        """
        w = np.sqrt(2e7 * 0.04**2 / MASS)
        job, half = point_mass(film(damping=None, stiffness=2e7)), np.pi / w
        found = gm.limits(job, tilts=[0.0], ramps=[3 * half], radii=[1.0])
        times = np.array([0, 0.05 * w / np.pi, 3, 2, 3, 1, 3, 2, 3, 2]).cumsum() * half
        pull = factor * found.one_move[0, 1] * np.array([0, 0, 1, 1, 0, 0, -1, -1, 0, 0])
        assert judged(job, sliding(times, np.outer(pull, [0, 0, 1]), leaning(0.0, 0.0)))["swing"] == verdict

    @pytest.mark.parametrize(("part", "why"), [({"face": None}, "plane"), ({"rigid": None}, "bends")])
    def test_what_no_check_can_judge_has_no_limits(self, part, why):
        found = gm.limits(point_mass(**part), tilts=[0.0], ramps=[RAMP], radii=[1.0])
        assert found.verdict == "undecided"
        assert np.isnan(found.linear["any"]).all()
        assert why in found.blocked[0]

    def test_gravity_alone_is_too_much(self):
        found = gm.limits(point_mass(mass=5.0), tilts=[0.0], ramps=[RAMP], radii=[1.0])
        assert found.verdict == "fail"
        assert not found.linear["any"].any()

    @pytest.mark.parametrize(
        ("asked", "where"),
        [
            ({"tilts": [4.0]}, "tilts"),
            ({"tilts": []}, "tilts"),
            ({"ramps": [0.0]}, "ramps"),
            ({"radii": [-1.0]}, "radii"),
            ({"speed": np.nan}, "speed"),
        ],
    )
    def test_figures_out_of_bounds(self, asked, where):
        with pytest.raises(InputError, match=where):
            gm.limits(point_mass(), **asked)
