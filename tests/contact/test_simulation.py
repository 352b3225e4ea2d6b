"""Pads taken off a part that is held, and pressed on it: the mechanics that must come out, against closed forms."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from gripmargin.base.errors import BudgetError, InputError
from gripmargin.contact import simulation
from gripmargin.contact.activation import PadFace
from gripmargin.contact.cell_states import CellState
from gripmargin.contact.relative import RelativeMotion
from gripmargin.contact.simulation import remembering, simulate

LINE = np.array([0.0, 1.0])
S, T, KN, KT = 9e4, 6e4, 1e8, 3.3e7  # of the pads below
LENGTH, WIDTH = 0.08, 0.05
AREA = LENGTH * WIDTH


def tilt_about_edge(move, angle):
    """A tilt about the edge at the low x end, so that the other end lifts."""
    return move(LINE, turn=[[0, 0, 0], [0, -angle, 0]], about=[-LENGTH / 2, 0, 0])


def random_screw(random):
    """A motion in which everything happens at once: tilt, twist, slide and lift, to beyond any bond."""
    turn = random.normal(size=3) * [0.05, 0.05, 0.3]
    return {"turn": [[0, 0, 0], turn], "about": [*random.uniform(-0.05, 0.05, 2), 0.0], "z": [0, 6e-3], "x": [0, 2e-3]}


class TestEnergy:
    @pytest.mark.parametrize(
        "way",
        [
            {"z": [0, 5e-3]},
            {"x": [0, 5e-3]},
            {"turn": [[0, 0, 0], [0, -0.3, 0]], "about": [-0.04, 0, 0], "z": [0, 3e-3]},
            {"turn": [[0, 0, 0], [0, 0, 1.5]], "z": [0, 3e-3]},
            {"turn": [[0, 0, 0], [0.2, -0.3, 0.9]], "y": [0, 3e-3], "z": [0, 30e-3]},
        ],
        ids=["pull", "slide", "peel", "twist", "mixture"],
    )
    def test_a_full_release_spends_what_it_breaks(self, pad_face, move, full, way):
        """Work from reaction and motion alone = fracture energy, with nothing left in the backing."""
        for across in (4, 12):
            face = pad_face(across=across)
            history = simulate([face], move(LINE, **way), full(face))
            assert history.held_total[-1] == 0
            assert history.elastic[-1] == pytest.approx(0, abs=1e-9)
            assert history.work[-1] == pytest.approx(history.fracture[-1], rel=1e-4)
            assert history.imbalance < 1e-4

    @pytest.mark.parametrize("missing", ["work", "elastic"])
    def test_an_account_without_one_side_is_out_by_all_of_it(self, pad_face, move, full, missing):
        history = simulate([pad_face()], move(LINE, z=[0, 5e-4]), full(pad_face()))
        assert history.imbalance < 1e-9
        assert replace(history, **{missing: 0 * history.work}).imbalance == pytest.approx(1.0)

    def test_press_hold_and_pull(self, pad_face, move):
        face = pad_face(full_preload=3e4, min_dwell=0.5)
        history = simulate([face], move([0, 1, 2, 3], z=[1e-3, -2e-4, -2e-4, 3e-3], turn=[2e-3, 1e-3, 0]))
        assert history.imbalance < 1e-3
        assert history.fracture[-1] > 0

    def test_the_balance_closes_at_second_order_in_the_step(self, pad_face, move, full, monkeypatch):
        """Work by the trapezoidal rule, breaks by straight lines within a step: both of second order."""
        face = pad_face(across=8)
        motion = move(LINE, turn=[[0, 0, 0], [0.2, -0.3, 0.9]], y=[0, 3e-3], z=[0, 30e-3])
        residuals = []
        for step in (1 / 4, 1 / 8, 1 / 16):
            monkeypatch.setattr(simulation, "STEP", step)
            residuals.append(simulate([face], motion, full(face)).imbalance)
        rates = np.log2(np.array(residuals[:-1]) / np.array(residuals[1:]))
        np.testing.assert_allclose(rates, 2.0, atol=0.3)

    def test_work_of_a_tilt_is_that_of_the_continuum(self, pad_face, move, full):
        """G A - b S delta^2/(3 theta), integrated from the moment of the hinged plate; closed form, small tilt.

        What is left at the hinge is some rows of cells, so the error is that of a row, not smooth in the cells.
        """
        angle, delta = 0.03, S / KN
        exact = S * delta / 2 * AREA - WIDTH * S * delta**2 / (3 * angle)
        for across, within in ((6, 2e-3), (12, 1e-3), (24, 3e-4)):
            face = pad_face(across=across)
            history = simulate([face], tilt_about_edge(move, angle), full(face))
            assert history.work[-1] == pytest.approx(exact, rel=within)


class TestAgainstSpringsThatBreakOneByOne:
    """The same cells, written the other way round: when does each spring break; then who is left when."""

    @staticmethod
    def springs(face, motion, steps=160):
        from scipy.linalg import expm, logm
        from scipy.optimize import brentq

        start, end = (np.eye(4) for _ in range(2))
        start[:3, :3], start[:3, 3] = motion.rotation[0], motion.position[0]
        end[:3, :3], end[:3, 3] = motion.rotation[1], motion.position[1]
        screw = np.real(logm(end @ np.linalg.inv(start)))
        grid = np.linspace(0, 1, steps + 1)
        poses = [expm(s * screw) @ start for s in grid]

        def excess(pose, root, anchor):
            seen = np.linalg.inv(pose) @ np.append(anchor, 1.0)
            x, y, z = seen[:3] - root
            return (max(z, 0) * KN / S) ** 2 + (np.hypot(x, y) * KT / T) ** 2 - 1

        breaks = []
        for root_ in face.patch.points:
            anchor = (start @ np.append(root_, 1.0))[:3]
            values = [excess(pose, root_, anchor) for pose in poses]
            over = next((i for i, value in enumerate(values) if value >= 0), None)
            if over is None:
                breaks.append(np.inf)
                continue
            breaks.append(
                brentq(lambda s, r=root_, a=anchor: excess(expm(s * screw) @ start, r, a), grid[over - 1], grid[over])
            )
        return np.array(breaks), start, screw, expm

    @pytest.mark.parametrize("seed", [1, 2])
    def test_when_each_cell_breaks_and_what_is_left(self, pad_face, move, full, seed):
        face = pad_face(across=4)
        motion = move(LINE, **random_screw(np.random.default_rng(seed)))
        history = simulate([face], motion, full(face))
        breaks, start, screw, expm = self.springs(face, motion)
        # A cell that the turn presses first may break, touch and bond again; the queue knows the first break only.
        once = history.pads[0].breaks == 1
        assert once.mean() > 0.9
        np.testing.assert_allclose(history.pads[0].broken[once], breaks[once], atol=5e-4)
        assert np.nanmax(history.pads[0].broken) == pytest.approx(breaks.max(), abs=5e-4)
        for share in (0.3, 0.6):
            s = float(np.quantile(breaks, share)) + 2e-3
            pose = expm(s * screw) @ start
            force, moment = np.zeros(3), np.zeros(3)
            for i in np.nonzero(breaks > s)[0]:
                anchor = (start @ np.append(face.patch.points[i], 1.0))[:3]
                stretch = (np.linalg.inv(pose) @ np.append(anchor, 1.0))[:3] - face.patch.points[i]
                pull = -pose[:3, :3] @ (stretch * [KT, KT, KN]) * face.patch.areas[i]
                force += pull
                moment += np.cross(anchor, pull)
            up_to = RelativeMotion(
                t=np.array([0.0, s]),
                rotation=np.stack([motion.rotation[0], pose[:3, :3]]),
                position=np.stack([motion.position[0], pose[:3, 3]]),
            )
            there = simulate([face], up_to, full(face))
            # Broken cells still carry pressure on the low side; the queue has bonded springs only.
            touching = there.pads[0].state == CellState.TOUCHING
            assert not touching.any()
            np.testing.assert_allclose(there.force[-1], force, atol=1e-5 * S * AREA)
            np.testing.assert_allclose(there.moment[-1], moment, atol=1e-5 * S * AREA * LENGTH)


class TestInvariance:
    @settings(max_examples=6, deadline=None, derandomize=True)
    @given(st.integers(0, 10_000))
    def test_of_the_choice_of_face_frame(self, pad_face, move, full, seed):
        """Shift the face frame along the face and turn it about its normal: the reaction is the same wrench."""
        random = np.random.default_rng(seed)
        face = pad_face(across=4)
        motion = move(LINE, **random_screw(random))
        turn = Rotation.from_rotvec([0, 0, random.uniform(-3, 3)]).as_matrix()
        shift = np.array([*random.uniform(-0.5, 0.5, 2), 0.0])
        other = RelativeMotion(t=motion.t, rotation=turn @ motion.rotation, position=motion.position @ turn.T + shift)
        one, two = simulate([face], motion, full(face)), simulate([face], other, full(face))
        np.testing.assert_allclose(two.t[two.row_of_sample], one.t[one.row_of_sample])
        rows = np.linspace(0, 1, 50)
        for mine, theirs in (
            (one.force @ turn.T, two.force),
            (one.moment @ turn.T, two.moment_about(shift)),
        ):
            for i in range(3):
                a, b = np.interp(rows, one.t, mine[:, i]), np.interp(rows, two.t, theirs[:, i])
                np.testing.assert_allclose(a, b, atol=1e-6 * S * AREA)
        assert one.fracture[-1] == pytest.approx(two.fracture[-1], rel=1e-9)

    def test_of_the_world(self, pad_face, move, full):
        """A face on a wall: the motion relative to it is the motion over a table."""
        flat = move(
            np.linspace(0, 1, 11), z=np.linspace(0, 3e-3, 11), turn=np.outer(np.linspace(0, 0.1, 11), [1, 0, 1])
        )
        wall = np.eye(4)
        wall[:3, :3] = Rotation.from_rotvec([0.3, 1.2, -0.4]).as_matrix()
        wall[:3, 3] = [1.0, -2.0, 0.5]
        seen = RelativeMotion.of(
            flat.t, wall[:3, :3] @ flat.rotation, flat.position @ wall[:3, :3].T + wall[:3, 3], wall
        )
        np.testing.assert_allclose(seen.rotation, flat.rotation, atol=1e-14)
        np.testing.assert_allclose(seen.position, flat.position, atol=1e-14)

    def test_mirrored_tilt_mirrors_the_reaction(self, pad_face, move, full):
        face = pad_face()
        left = simulate([face], move(LINE, turn=[[0, 0, 0], [0, -0.05, 0]], about=[-LENGTH / 2, 0, 0]), full(face))
        right = simulate([face], move(LINE, turn=[[0, 0, 0], [0, 0.05, 0]], about=[LENGTH / 2, 0, 0]), full(face))
        assert left.force[:, 2].max() == pytest.approx(right.force[:, 2].max(), rel=1e-3)
        assert left.moment[:, 1].min() == pytest.approx(-right.moment[:, 1].max(), rel=1e-3)

    def test_of_how_densely_a_motion_is_sampled(self, pad_face, move, full):
        face = pad_face(across=6)
        t = np.linspace(0, 1, 801)
        way = {"about": [0.01, 0.02, 0.0]}
        dense = simulate([face], move(t, z=4e-3 * t, turn=np.outer(t, [0.02, 0.03, 0.25]), **way), full(face))
        coarse = simulate(
            [face], move(t[::80], z=4e-3 * t[::80], turn=np.outer(t[::80], [0.02, 0.03, 0.25]), **way), full(face)
        )
        for key in ("force", "moment"):
            one, two = (np.abs(getattr(h, key)).max(axis=0) for h in (dense, coarse))
            np.testing.assert_allclose(one, two, rtol=0.02)
        assert coarse.fracture[-1] == pytest.approx(dense.fracture[-1], rel=5e-3)

    def test_two_pads_are_the_sum_of_each(self, pad_face, move, full):
        left, right = np.eye(4), np.eye(4)
        left[0, 3], right[0, 3] = -0.06, 0.06
        a, b = pad_face(at=left, across=6), pad_face(at=right, across=6, diameter=0.05)
        motion = move(LINE, z=[0, 3e-3], turn=[[0, 0, 0], [0.02, -0.03, 0.2]])
        both = simulate([a, b], motion, full(a, b))
        alone = [simulate([face], motion, full(face)) for face in (a, b)]
        grid = np.linspace(0, 1, 101)
        for i in range(3):
            total = sum(np.interp(grid, h.t, h.force[:, i]) for h in alone)
            np.testing.assert_allclose(np.interp(grid, both.t, both.force[:, i]), total, atol=0.01 * S * AREA)
        assert both.fracture[-1] == pytest.approx(sum(h.fracture[-1] for h in alone), rel=1e-3)

    def test_a_pad_that_leans_in_the_tool(self, pad_face, move, full):
        """Lean the pad one way in the tool and the tool the other way: the pad sees the same face."""
        at = np.eye(4)
        at[:3, :3] = Rotation.from_rotvec([0, 0.3, 0]).as_matrix()
        straight, leaning = pad_face(across=6), pad_face(across=6, at=at)
        motion = move(LINE, z=[0, 3e-3], x=[0, 1e-3])
        tilted = RelativeMotion(t=motion.t, rotation=motion.rotation @ at[:3, :3].T, position=motion.position)
        one, two = simulate([straight], motion, full(straight)), simulate([leaning], tilted, full(leaning))
        np.testing.assert_allclose(one.force, two.force, atol=1e-6 * S * AREA)


class TestInput:
    def test_a_weak_bond_is_torn_where_a_full_one_would_hold(self, pad_face, move):
        """0.01 of the bond holds for 9 um; 10 um above the face, within what counts as seated, nothing holds."""
        face = pad_face()
        history = simulate([face], move(LINE, z=[1e-5, 2e-3]), [np.full(face.patch.areas.size, 0.01)])
        assert history.held_total[-1] == 0
        assert history.force[:, 2].max() == pytest.approx(KN * 1e-5 * AREA, rel=1e-3)

    def test_a_bonded_part_far_from_its_place(self, pad_face, move, full):
        face = pad_face()
        with pytest.raises(InputError, match="bonded pads 5 mm above the face") as error:
            simulate([face], move(LINE, z=[5e-3, 0]), full(face))
        assert error.value.remedy == "start at the sample where the part is seated"

    @pytest.mark.parametrize("share", [np.nan, -0.1, 1.1])
    def test_a_bond_that_is_no_share(self, pad_face, move, share):
        face = pad_face()
        with pytest.raises(InputError, match="a share outside 0 to 1 or not a number"):
            simulate([face], move(LINE), [np.full(face.patch.areas.size, share)])

    def test_a_bond_of_other_pads(self, pad_face, move):
        face = pad_face()
        with pytest.raises(InputError, match="one a cell"):
            simulate([face], move(LINE), [np.ones(3)])
        with pytest.raises(InputError, match="found 2 pads, expected 1"):
            simulate([face], move(LINE), [np.ones(face.patch.areas.size)] * 2)

    def test_no_pad(self, move):
        with pytest.raises(InputError, match="no pad"):
            simulate([], move(LINE))

    def test_results_cannot_be_changed(self, pad_face, move, full):
        face = pad_face()
        history = simulate([face], move(LINE, z=[0, 1e-4]), full(face))
        with pytest.raises(ValueError, match="read-only"):
            history.force[0] = 0
        with pytest.raises(ValueError, match="read-only"):
            history.pads[0].held[0] = 0

    def test_strength_has_to_be_above_0(self, pad_face):
        face = pad_face()
        with pytest.raises(InputError, match="a value above 0"):
            PadFace(patch=face.patch, pull_off_stress=float("nan"), shear_strength=1.0, law=face.law, gap=face.gap)


class TestUpToAPull:
    """Pressed 0.1 mm deep and lifted by 1 mm in a second: 50 N of 360 N are pulled 0.125 mm above the plane."""

    @pytest.mark.parametrize("noise", [0.0, 1e-6])
    def test_it_ends_with_the_last_sample_before(self, pad_face, move, noise):
        t = np.linspace(0, 3, 301)
        z = 1e-3 * np.interp(t, [0, 1, 2, 3], [0.4, -0.1, -0.1, 0.9]) + noise * np.random.default_rng(0).normal(
            size=301
        )
        motion = move(t, z=z)
        history = simulate([pad_face()], motion, pull=50.0)
        end = int(np.argmax(KN * AREA * z * (t > 2) > 50.0)) - 1
        assert history.row_of_sample.size == end + 1 == pytest.approx(223, abs=1)
        alone = simulate([pad_face()], motion.between(0, end))
        for key in ("t", "force", "held", "elastic"):
            np.testing.assert_array_equal(getattr(history, key), getattr(alone, key))

    def test_a_pull_that_is_never_reached_ends_nothing(self, pad_face, move):
        motion = move([0, 1, 2], z=[4e-4, -1e-4, 9e-4])
        assert simulate([pad_face()], motion, pull=361.0).row_of_sample.size == 3
        assert simulate([pad_face()], motion, pull=359.0).row_of_sample.size == 2


class TestRemembering:
    """What is equal is simulated once; what differs anywhere is not."""

    def test_equal_pads_and_motions_share_what_was_found(self, pad_face, move, full):
        with remembering():
            first = simulate([pad_face()], move(LINE, x=[0, 1e-4]), full(pad_face()))
            with remembering():  # a check within a check
                assert simulate([pad_face()], move(LINE, x=[0, 1e-4]), full(pad_face())) is first
            assert simulate([pad_face()], move(LINE, x=[0, 1e-4]), full(pad_face())) is first
        assert simulate([pad_face()], move(LINE, x=[0, 1e-4]), full(pad_face())) is not first

    def test_any_difference_counts(self, pad_face, move, full):
        face, motion = pad_face(), move(LINE, x=[0, 1e-4])
        bond = full(face)
        others = (
            ([replace(face, gap=face.gap + 1e-9)], motion, bond),
            ([replace(face, pull_off_stress=1.001 * face.pull_off_stress)], motion, bond),
            ([pad_face(min_dwell=0.1)], motion, bond),
            ([face], move(LINE, x=[0, 1.001e-4]), bond),
            ([face], motion, [0.9 * share for share in bond]),
            ([face], motion),
        )
        with remembering():
            found = [simulate([face], motion, bond), *(simulate(*other) for other in others)]
            assert len({id(each) for each in found}) == len(found)
        for history, other in zip(found[1:], others, strict=True):
            np.testing.assert_array_equal(history.force, simulate(*other).force)

    def test_what_it_keeps_is_bounded(self, pad_face, move, full, monkeypatch):
        """A place for one: the second takes it."""
        face, motion, other = pad_face(), move(LINE, x=[0, 1e-4]), move(LINE, x=[0, 2e-4])
        monkeypatch.setattr(simulation, "MOST_KEPT", 1.5 * simulate([face], motion, full(face)).size)
        with remembering():
            first = simulate([face], motion, full(face))
            second = simulate([face], other, full(face))
            assert simulate([face], other, full(face)) is second
            assert simulate([face], motion, full(face)) is not first


@pytest.mark.parametrize(("factor", "refused"), [(0.9, False), (1.1, True)])
def test_a_motion_is_followed_up_to_a_budget(pad_face, move, monkeypatch, factor, refused):
    """The budget is that of ten of the largest release of random jobs: 951 steps of 17 484 cells."""
    assert simulation.MOST_WORK >= 10 * 951 * (17_484 + simulation.WORK_OF_A_STEP)
    face = pad_face()
    steps = simulation.MOST_WORK / (face.patch.areas.size + simulation.WORK_OF_A_STEP)
    motion = move(LINE, x=[0, factor * steps * simulation.STEP * face.break_displacement])
    begun = []
    monkeypatch.setattr(simulation, "PressEngine", lambda *_: begun.append(1))
    with pytest.raises(BudgetError if refused else AttributeError):
        simulate([face], motion)
    assert bool(begun) != refused


def test_few_cells_are_followed_no_longer_than_a_minute(pad_face, move):
    """A step without any cells takes up to 0.3 ms (measured): 200,000 of them are a minute."""
    face = pad_face(across=1)
    with pytest.raises(BudgetError):
        simulate([face], move(LINE, x=[0, 210_000 * simulation.STEP * face.break_displacement]))
