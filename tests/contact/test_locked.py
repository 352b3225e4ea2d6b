"""Traction locked in by the press and by the shape of the face, against closed forms."""

from itertools import combinations, product

import numpy as np
import pytest
from scipy.optimize import linprog

import gripmargin as gm
from gripmargin.contact import locked
from gripmargin.contact.backing import Backing
from gripmargin.contact.bonded import Bonded
from gripmargin.contact.cells import cut_pads
from gripmargin.contact.grip import grip_of
from gripmargin.contact.locked import locked_in
from gripmargin.kernels.utilisation import peak_utilisation

K, KT, S, T = 1.2e8, 4e7, 75e3, 65e3
FILM = gm.PadMaterial(pull_off_stress=S, shear_strength=T, normal_stiffness=K, shear_stiffness=KT)
PART = gm.Part(mass=1.0, com=[0, 0, 0], inertia=1e-3 * np.eye(3))
SQUARE = gm.Pad.rectangle("square", FILM, [0.04, 0.04])


def backing(*pads):
    return Backing(cut_pads(pads, PART))


def at_rest(whole):
    return [np.zeros((patch.areas.size, 3)) for patch in whole.patches]


def pulled(whole, gap):
    """Traction of pads bonded wholly to a face with some gap to their plane."""
    return [np.column_stack([np.zeros((len(p.points), 2)), K * gap(p.points)]) for p in whole.patches]


class TestCurvedFace:
    """A pad bonded wholly on a sphere of radius R: gap r^2/2R less its own fit."""

    def test_square(self):
        whole, radius = backing(SQUARE), 1.0
        offset = locked_in(whole, pulled(whole, lambda p: (p[:, 0] ** 2 + p[:, 1] ** 2) / (2 * radius)), None)
        corners = offset.at_corners(np.full(offset.traction[0].shape[0], S), np.full(offset.traction[0].shape[0], T))
        # + k L^2/(6R) at the corners, - k L^2/(12R) in the middle (integral of the parabola over the square)
        assert S * corners[2].max() == pytest.approx(K * 0.04**2 / (6 * radius), rel=0.02)
        assert offset.traction[0][:, 2].min() == pytest.approx(-K * 0.04**2 / (12 * radius), rel=0.01)
        assert np.abs(offset.traction[0][:, :2]).max() == 0.0

    def test_disc(self):
        whole, radius = backing(gm.Pad.disc("disc", FILM, 0.02)), 1.0
        offset = locked_in(whole, pulled(whole, lambda p: (p[:, 0] ** 2 + p[:, 1] ** 2) / (2 * radius)), None)
        corners = offset.at_corners(np.full(offset.traction[0].shape[0], S), np.full(offset.traction[0].shape[0], T))
        assert S * corners[2].max() == pytest.approx(K * 0.01**2 / (4 * radius), rel=0.04)

    def test_the_whole_disc_stays_on_only_beyond_a_radius(self):
        """R > k c^2/(4 S), within the polygon that stands for the disc."""
        whole = backing(gm.Pad.disc("disc", FILM, 0.02))
        limit = K * 0.01**2 / (4 * S)
        load = np.array([0, 0, 1e-3, 0, 0, 0])[:, None]
        for radius, holds in ((0.88 * limit, False), (1.1 * limit, True)):
            gap = lambda p, r=radius: (p[:, 0] ** 2 + p[:, 1] ** 2) / (2 * r)  # noqa: E731
            offset = locked_in(whole, pulled(whole, gap), None)
            pads = Bonded(whole=whole, full=((S, T),), locked=offset)
            assert (grip_of(pads, load).share == 1.0) == holds


class TestBalance:
    def test_a_straight_or_tilted_press_locks_nothing_in(self):
        whole = backing(SQUARE, gm.Pad.disc("disc", FILM, 0.02, gm.pose((0.06, 0.01, 0))))
        offset = locked_in(whole, pulled(whole, lambda p: -1e-4 + 0.003 * p[:, 0] - 0.002 * p[:, 1]), None)
        assert not any(t.any() for t in offset.traction)  # not what rounding leaves either

    def test_what_is_left_balances(self):
        whole = backing(SQUARE, gm.Pad.disc("disc", FILM, 0.02, gm.pose((0.06, 0.01, 0))))
        rng = np.random.default_rng(0)
        traction = [1e4 * rng.normal(size=(p.areas.size, 3)) for p in whole.patches]
        held = [np.where(rng.random(p.areas.size) < 0.7, 1.0, 0.0) for p in whole.patches]
        offset = locked_in(whole, traction, held)
        force, moment = np.zeros(3), np.zeros(3)
        for patch, t, own in zip(whole.patches, offset.traction, held, strict=True):
            assert not t[own == 0].any()
            f = (t * patch.areas[:, None]) @ patch.rotation.T
            force, moment = force + f.sum(axis=0), moment + np.cross(patch.points, f).sum(axis=0)
        assert np.abs(force).max() < 1e-9
        assert np.abs(moment).max() < 1e-9

    def test_one_of_four_pads_low(self):
        """Four pads in a square, one lower by h: four equal springs, + and - k A h/4 in turn (statics)."""
        four = [gm.Pad.rectangle(f"{x}{y}", FILM, [0.01, 0.01], gm.pose((0.05 * x, 0.05 * y, 0))) for x, y in CORNERS]
        whole, h = backing(*four), 50e-6
        traction = at_rest(whole)
        traction[0] = traction[0] + np.array([0, 0, K * h])
        offset = locked_in(whole, traction, None)
        means = [t[:, 2].mean() for t in offset.traction]
        np.testing.assert_allclose(means, K * h / 4 * np.array([1, -1, -1, 1]), rtol=0.02)


CORNERS = [(-1, -1), (-1, 1), (1, -1), (1, 1)]


@pytest.mark.parametrize(("share", "uneven"), [(0.02, False), (0.04, True)])
def test_offsets_of_less_than_three_percent_count_as_used_up(share, uneven):
    """Two pads sheared against each other, and pulled: used up they cost that share, as an offset hardly anything."""
    two = [gm.Pad.rectangle(n, FILM, [0.03, 0.03], gm.pose((x, 0, 0))) for n, x in (("a", -0.06), ("b", 0.06))]
    whole = backing(*two)
    traction = at_rest(whole)
    traction[0] = traction[0] + np.array([2 * share * T, 0, 0])
    pads = Bonded(whole=whole, full=((S, T),) * 2, locked=locked_in(whole, traction, None))
    load = np.array([0, 0, 10.0, 0, 0, 0])[:, None]
    left = 1 / peak_utilisation(grip_of(pads, load).face, load)[0][0] * 10.0 / (S * 2 * 0.03**2)
    assert left == pytest.approx(np.sqrt(1 - share**2) if uneven else 1 - share, rel=1e-4)


def affine(points):
    return np.column_stack([points, np.ones(len(points))])


class TestFlatness:
    """Tension anywhere on a pad by a face that lies between two planes a flatness apart."""

    H = 50e-6

    def test_a_disc(self):
        # a cylinder over the disc: x^2 less its mean, (1 - 1/4) of the rise; a sphere gives half of it
        whole = backing(gm.Pad.disc("disc", FILM, 0.02))
        assert locked_in(whole, at_rest(whole), None, self.H).bowed[0] == pytest.approx(0.75 * K * self.H, rel=0.03)

    def test_a_square(self):
        # a cylinder along a side: L^2/12 of L^2/4 is the mean: 2/3 at the edge; a saddle xy: +-1/2 at the corners;
        # a cylinder along the diagonal: x^2 from 0 to L^2/2, mean L^2/12: 5/6 at two corners
        whole = backing(SQUARE)
        assert locked_in(whole, at_rest(whole), None, self.H).bowed[0] == pytest.approx(5 / 6 * K * self.H, rel=0.03)

    def test_four_small_pads(self):
        # two on one diagonal low: +-1/2 of the rise, as a saddle over the four gives
        four = [gm.Pad.rectangle(f"{x}{y}", FILM, [0.004, 0.004], gm.pose((0.1 * x, 0.1 * y, 0))) for x, y in CORNERS]
        whole = backing(*four)
        assert locked_in(whole, at_rest(whole), None, self.H).bowed == pytest.approx(
            np.full(4, K * self.H / 2), rel=0.06
        )

    @pytest.mark.parametrize("at", [[(-0.05, 0), (0.05, 0)], [(0.09, 0.08), (-0.09, 0.08), (0, 0)]])
    def test_no_quadric_within_it_pulls_more(self, at):
        """The face lies between its planes over the pads and between them; the part lies as fits the pads best."""
        whole = backing(*(gm.Pad.rectangle(f"{x}", FILM, [0.03, 0.03], gm.pose((x, y, 0))) for x, y in at))
        cells, areas = (
            np.vstack([p.points[:, :2] for p in whole.patches]),
            np.concatenate([p.areas for p in whole.patches]),
        )
        rim = whole.edge_points()[:, :2]
        chords = [one + share * (other - one) for one, other in combinations(rim, 2) for share in np.arange(1, 8) / 8]
        seen = np.vstack([rim, chords])
        most = np.zeros(len(at))
        for angle, bend in product(np.linspace(0, np.pi, 12, endpoint=False), (0.5, 0.0, -0.3, -1.0)):
            turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]]) / 0.1
            inside, edge, height = ((xy @ turn) ** 2 @ [1.0, bend] for xy in (cells, rim, seen))
            root = np.sqrt(areas)
            fit = np.linalg.lstsq(affine(cells) * root[:, None], root * inside, rcond=None)[0]
            rows = np.block([[affine(seen), -np.ones((len(seen), 1))], [-affine(seen), -np.ones((len(seen), 1))]])
            apart = 2 * linprog([0, 0, 0, 1], rows, np.append(height, -height), bounds=(None, None)).fun
            left = np.abs(edge - affine(rim) @ fit).reshape(len(at), 4).max(axis=1)
            most = np.maximum(most, left * K * self.H / apart)
        bowed = locked_in(whole, at_rest(whole), None, self.H).bowed
        assert (bowed >= 0.99 * most).all()
        assert (bowed <= 1.15 * most).all()

    @pytest.mark.parametrize(
        "sides", [[(0, 0, 0.1, 0.01)], [(-0.05, 0, 0.03, 0.02), (0.05, 0.02, 0.03, 0.03), (0, -0.05, 0.02, 0.03)]]
    )
    def test_a_face_looked_at_in_more_places_pulls_no_less(self, monkeypatch, sides):
        """On a long pad most of a quadric lies on the outline; a face looked at in few places bows more between."""
        whole = backing(*(gm.Pad.rectangle(f"{x}", FILM, [a, b], gm.pose((x, y, 0))) for x, y, a, b in sides))
        usual = locked_in(whole, at_rest(whole), None, self.H).bowed
        monkeypatch.setattr(locked, "GRID", 33)
        finer = locked_in(whole, at_rest(whole), None, self.H).bowed
        assert (usual >= (1 - 1e-6) * finer).all()
        assert (usual <= 1.03 * finer).all()

    def test_it_takes_its_share_of_the_margin(self):
        whole = backing(SQUARE)
        load = np.array([0, 0, 10.0, 0, 0, 0])[:, None]
        margins = []
        for flatness in (0.0, self.H):
            pads = Bonded(whole=whole, full=((S, T),), locked=locked_in(whole, at_rest(whole), None, flatness))
            margins.append(1 / peak_utilisation(grip_of(pads, load).face, load)[0][0])
        taken = 5 / 6 * K * self.H / S
        assert margins[1] / margins[0] == pytest.approx(1 - taken, rel=0.01)

    def test_what_is_not_known_of_a_face_fails_nothing(self):
        """A face that may be bowed so much that nothing holds may as well be plane."""
        whole = backing(SQUARE)
        pads = Bonded(whole=whole, full=((S, T),), locked=locked_in(whole, at_rest(whole), None, 2 * S / K))
        load = np.array([0, 0, 10.0, 0, 0, 0])[:, None]
        grip = grip_of(pads, load)
        assert peak_utilisation(grip.face, load)[0][0] > 1.0
        assert not grip.bonded.even
        plane = grip_of(pads.on_a_plane(), load)
        assert plane.bonded.even
        assert 1 / peak_utilisation(plane.face, load)[0][0] == pytest.approx(S * 0.04**2 / 10, rel=1e-9)


class TestReleased:
    def test_cells_that_let_go_pass_on_what_they_carried(self):
        """A face with a hump: the rim pulls, the middle is pressed. Where the rim lets go the middle pulls less."""
        whole = backing(SQUARE)
        offset = locked_in(whole, pulled(whole, lambda p: (p[:, 0] ** 2 + p[:, 1] ** 2) / 2), None)
        inside = np.abs(whole.patches[0].points[:, :2]).max(axis=1) < 0.0134
        face = grip_of(Bonded(whole=whole, full=((S, T),)), np.array([[0, 0, 1.0, 0, 0, 0]]).T).face
        found, _ = offset.released(whole).worst(face, ~inside)
        # a uniform set of them: the whole rim's pull, shared by the pad as it stands
        pull = float((offset.traction[0][~inside, 2] * whole.patches[0].areas[~inside]).sum())
        assert (found >= pull / (S * 0.04**2) - 1e-12).all()
        assert not np.any(offset.released(whole).worst(face, np.zeros(inside.size, dtype=bool)))

    def test_it_is_no_more_than_the_worst_set(self):
        """Every component has a set of cells that passes on just that much."""
        whole = backing(SQUARE)
        rng = np.random.default_rng(2)
        offset = locked_in(whole, [1e4 * rng.normal(size=(whole.patches[0].areas.size, 3))], None)
        outside = rng.random(whole.patches[0].areas.size) < 0.3
        face = grip_of(Bonded(whole=whole, full=((S, T),)), np.array([[0, 0, 1.0, 0, 0, 0]]).T).face
        loads = offset.released(whole).loads[:, outside]
        pull, shear = offset.released(whole).worst(face, outside)
        for point in range(face.points):
            each = np.array([(face.maps[:, point] @ load.T) for load in loads])  # (2, 3, cells)
            up, down = (np.maximum(sign * each, 0).max(axis=0).sum(axis=1) for sign in (1, -1))
            assert pull[point] == pytest.approx(up[2], rel=1e-9)
            assert shear[point] == pytest.approx(np.hypot(*np.maximum(up, down)[:2]), rel=1e-9)
