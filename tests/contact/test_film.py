"""A sheet that is stretched as well as bent: what it asks of its pads at most, against large deflections."""

from dataclasses import replace
from functools import partial

import numpy as np
import pytest
import shapely
from scipy.integrate import solve_bvp

import gripmargin as gm
from contact.test_sheet import on, square
from gripmargin.contact.bonded import Bonded
from gripmargin.contact.film import Film, bound_of, buckling, is_steep
from gripmargin.contact.grip import grip_of
from gripmargin.kernels.utilisation import peak_utilisation

G = 9.80665
KN, KT, S = 6e7, 2e7, 75e3
PAPER = {"thickness": 1e-4, "youngs_modulus": 5e9, "poissons_ratio": 0.3}  # 80 g/m^2
FILM = gm.PadMaterial(pull_off_stress=S, shear_strength=S, normal_stiffness=KN, shear_stiffness=KT)


def part(outline, density=800.0, **more):
    given = {**PAPER, **more}
    outline = np.asarray(outline, dtype=float)
    mass = density * given["thickness"] * shapely.Polygon(outline).area
    com, inertia = gm.uniform_plate(mass, outline, given["thickness"])
    return gm.Part(mass=mass, com=com, inertia=inertia, outline=outline, **given)


def rectangle(x0, x1, y):
    return [[x0, -y], [x1, -y], [x1, y], [x0, y]]


def used(sheet, load, steep=False):
    """The bound of the tension [Pa]: pads that hold much more along the face."""
    face = bound_of(sheet, tuple((S, 1e12) for _ in sheet.backing.patches), steep=steep)
    return S * float(peak_utilisation(face, load[:, None])[0][0])


def hanging(sheet, times=1.0):
    x, y, _ = sheet.part.com
    return times * sheet.part.mass * G * np.array([0.0, 0.0, 1.0, y, -x, 0.0])


class Axisymmetric:
    """A round sheet on a round pad by von Karman's equations (Timoshenko & Woinowsky-Krieger, art. 97, from memory).

    States: deflection w, slope, its rate, load within r less traction there, radial displacement, radial membrane
    force; solved by collocation, the load raised step by step.
    """

    def __init__(self, inner, outer, q, stiff=True):
        self.inner, self.outer, self.q, self.stiff = inner, outer, q, stiff
        e, t, self.nu = PAPER["youngs_modulus"], PAPER["thickness"], PAPER["poissons_ratio"]
        self.d, self.eh = e * t**3 / 12 / (1 - self.nu**2), e * t

    def edge(self, loads):
        """Traction at the pad's edge under loads [Pa]; on the pad and beyond it side by side, met at its edge."""
        x, y, out = np.linspace(0.0, 1.0, 80), np.zeros((12, 80)), []
        for load in loads:
            found = solve_bvp(partial(self.rates, load), self.ends, x, y, tol=1e-3, max_nodes=4_000)
            assert found.success
            x, y = found.x, found.y
            out.append(KN * float(y[0, -1] * self.inner))
        return np.array(out)

    def rates(self, load, x, y):
        r = self.inner * (0.05 + 0.95 * x), self.inner + (self.outer - self.inner) * x
        return np.concatenate([self._part(r[0], y[:6], load, 1.0), self._part(r[1], y[6:], load, 0.0)])

    def _part(self, r, y, load, pad):
        """In lengths of the pad's radius a, forces D/a^2."""
        a, unit = self.inner, self.d / self.inner**2
        w, slope, curved, within, u, n = y
        r, wide = r / a, np.ptp(r) / a
        stretch = self.eh / unit
        around = self.nu * n + stretch * u / r
        return wide * np.stack(
            [
                slope,
                curved,
                -curved / r + slope / r**2 + n * self.stiff * slope + within / r,
                (load * self.q * a / unit - KN * a**2 / unit * w * pad) * r,
                n * (1 - self.nu**2) / stretch - slope**2 / 2 - self.nu * u / r,
                (around - n) / r + KT * a**2 / unit * u * pad,
            ]
        )

    def ends(self, at, to):
        free = to[8] + self.nu * to[7] * self.inner / self.outer, to[9], to[11]
        return np.array([at[1], at[3], at[4], *free, *(to[:6] - at[6:])])


def test_a_round_sheet_on_a_round_pad_stays_below_the_bound_however_far_it_droops():
    """Paper of 120 mm on a pad of 30 mm: the heavier, the smaller a part of the tension of small bending it has."""
    angle = np.linspace(0, 2 * np.pi, 33)[:-1] + np.pi / 32
    circle = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    sheet = on(part(0.06 * circle), gm.Pad.polygon("pad", FILM, 0.015 * circle))
    q, times = 800 * 1e-4 * G, np.array([1.0, 8.0, 40.0])
    (small,) = Axisymmetric(0.015, 0.06, q, stiff=False).edge([1.0])
    share = Axisymmetric(0.015, 0.06, q).edge(times) / (small * times)
    (patch,) = sheet.backing.patches
    ours = (sheet.traction_maps(patch, sheet.rim(patch))[0, 2] @ hanging(sheet)).max()
    assert ours == pytest.approx(small, rel=0.05)  # 32 corners for a round edge
    assert (np.diff(share) < -0.05).all()
    assert share[0] < 1.0
    assert share[0] * small < used(sheet, hanging(sheet)) < 6.0 * small


def elastica(a, q, d, gives):
    """Moment at the edge of a long pad of a heavy strip that reaches a beyond it, whatever its slope, per width.

    Semi-infinite pad: slope ``2 beta^2 (V + 2 beta M) / k`` (Hetenyi 1946, from memory); beyond it ``D theta'' =
    -q (a - s) cos theta``; gives: 0 for a strip that is clamped level.
    """
    beta = (KN / 4 / d) ** 0.25
    s = np.linspace(0, a, 60)

    def ends(at, to):
        return np.array([at[0] + gives * 2 * beta**2 / KN * (q * a - 2 * beta * d * at[1]), to[1]])

    y = np.zeros((2, s.size))
    for load in q * np.linspace(0.1, 1.0, 8):

        def rates(s, y, load=load):
            return np.stack([y[1], -load * (a - s) * np.cos(y[0]) / d])

        found = solve_bvp(rates, ends, s, y, tol=1e-6, max_nodes=20_000)
        s, y = found.x, found.y
    assert found.success
    theta, curved = found.y
    drop = float(np.trapezoid(np.sin(theta), found.x))
    return abs(d * curved[0]), abs(drop), beta


@pytest.mark.parametrize("reach", [0.5, 3.0])
def test_a_heavy_strip_that_droops_by_any_angle_stays_below_the_bound(reach):
    """Reach in gravity lengths ``(D/q)^(1/3)``: at 3 it hangs down.

    Clamped level it releases ``D kappa^2 / 2 = q drop`` at the edge, so at most ``q a``; on a pad, at most ``sqrt(2 k q
    a)`` of tension follows where bending fades over a length that is short beside a.
    """
    d, q = 5e9 * 1e-12 / 12, 0.08 * G
    a = reach * (d / q) ** (1 / 3)
    moment, drop, _ = elastica(a, q, d, 0.0)
    assert moment**2 / 2 / d == pytest.approx(q * drop, rel=1e-3)
    moment, drop, beta = elastica(a, q, d, 1.0)
    edge = 2 * beta * (q * a + beta * moment)
    assert 2 * beta**2 * moment < np.sqrt(2 * KN * q * a)
    strip = part(rectangle(-0.06, a, 0.004), poissons_ratio=0.0)
    sheet = on(strip, gm.Pad.rectangle("pad", FILM, [0.06, 0.008], gm.pose((-0.03, 0, 0))))
    steep = drop > 0.2 * a
    (patch,) = sheet.backing.patches
    small = (sheet.traction_maps(patch, sheet.rim(patch))[0, 2] @ hanging(sheet)).max()
    assert small == pytest.approx(2 * beta * (q * a + beta * q * a**2 / 2), rel=0.02)
    assert edge < small * 1.01
    assert edge < used(sheet, hanging(sheet), steep=steep)
    assert used(sheet, hanging(sheet), steep=True) > 1.8 * used(sheet, hanging(sheet)) - small


def test_the_bound_is_reached_by_a_force_at_a_pads_corner():
    """Nothing stretches, and the part gives way as it does under the force that tells the bound of that corner."""
    sheet = on(part(rectangle(-0.02, 0.02, 0.02), thickness=0.01, youngs_modulus=70e9), square(0.04, material=FILM))
    load = np.array([0.0, 0.0, 1.0, 0.02, -0.02, 0.0])
    (patch,) = sheet.backing.patches
    ours = (sheet.traction_maps(patch, patch.edge)[0, 2] @ load).max()
    assert ours == pytest.approx(7.0 / 0.04**2, rel=0.02)  # a rigid square under a force at its corner: 1 + 3 + 3
    assert used(sheet, load) == pytest.approx(ours, rel=1e-3)
    assert used(sheet, 3.0 * load) == pytest.approx(3.0 * ours, rel=1e-3)


def test_a_strip_on_end_buckles_under_its_own_weight():
    """Greenhill 1881: ``q a^3 / D = 7.8373`` for a column clamped at its foot (from memory); here a + 1/beta."""
    a, d = 0.06, 5e9 * 1e-12 / 12
    strip = part(rectangle(-0.03, a, 0.004), poissons_ratio=0.0)
    sheet = on(strip, gm.Pad.rectangle("pad", FILM, [0.03, 0.008], gm.pose((-0.015, 0, 0))))
    share = buckling(sheet.model, sheet.model.rigidities[0])[0, 0]
    length = a + (4 * d / KN) ** 0.25
    critical = 7.8373 * d / length**3 * 0.09 * 0.008  # on the whole strip, of which a part lies on the pad
    assert share == pytest.approx(1.0 / critical, rel=0.02)
    assert buckling(sheet.model, sheet.model.rigidities[0])[2, 1] == pytest.approx(
        -strip.com[0] * buckling(sheet.model, sheet.model.rigidities[0])[2, 5]
    )


def test_a_push_along_the_plane_is_a_share_of_what_is_held():
    """At the load that buckles it a sheet holds nothing, at half of that half of what it does without."""
    sheet = on(
        part(rectangle(-0.03, 0.06, 0.004)), gm.Pad.rectangle("pad", FILM, [0.03, 0.008], gm.pose((-0.015, 0, 0)))
    )
    share = float(buckling(sheet.model, sheet.model.rigidities[0])[0, 0])
    still, push = hanging(sheet), np.array([1.0 / share, 0, 0, 0, 0, 0])
    assert used(sheet, still + 0.5 * push) == pytest.approx(used(sheet, still) + 0.5 * S, rel=1e-4)


def test_places_along_the_rim_stand_for_all():
    """No place of the pads is used by a thousandth more than those that are looked at."""
    sheet = on(part(rectangle(-0.04, 0.04, 0.015)), *(square(0.01, (x, 0.0), material=FILM) for x in (-0.02, 0.02)))
    few = used(sheet, hanging(sheet))
    everywhere = replace(sheet)
    object.__setattr__(everywhere, "rim", lambda patch, step: sheet.places(patch))
    assert used(everywhere, hanging(sheet)) < 1.001 * few


def test_a_swing_that_stiffens_exceeds_a_linear_one_by_less_than_the_bound():
    """One vibration whose force grows by the cube of its way, undamped, under its weight and random moves up and down.

    What stiffens is mostly moved less; a swing that a linear one would be spared it may keep.
    """
    draw, dt = np.random.default_rng(5), 0.02  # of the period
    t, programs = np.arange(0.0, 16.0, dt), 150
    load = np.ones((t.size, programs))
    for start, end, sign in ((0.5, 4.0, 1.0), (5.0, 9.0, -1.0), (9.0, 12.0, 1.0)):
        at, size = draw.uniform(start, end, (2, programs)), draw.uniform(0.1, 0.9, programs)
        ramp = draw.uniform(0.02, 1.0)
        rise, fall = (np.clip((t[:, None] - when) / ramp, 0.0, 1.0) for when in np.sort(at, axis=0))
        load += sign * size * (rise - fall)
    peaks = []
    for cube in (0.0, 0.05, 0.1, 0.3, 1.0, 10.0):
        at, rate = np.ones(programs), np.zeros(programs)
        for _ in range(40):
            at -= (at + cube * at**3 - 1.0) / (1.0 + 3.0 * cube * at**2)
        most = np.abs(at)
        for q in load:
            rate = rate + dt * (2.0 * np.pi) ** 2 * (q - at - cube * at**3)
            at = at + dt * rate
            most = np.maximum(most, np.abs(at))
        peaks.append(most)
    worst = [float((peak / peaks[0]).max()) for peak in peaks]
    assert 1.0 < max(worst) < 1.6
    assert worst[-1] < 0.6
    sheet = on(part(rectangle(-0.04, 0.04, 0.015)), square(0.01, material=FILM))
    (patch,) = sheet.backing.patches
    small = (sheet.traction_maps(patch, sheet.rim(patch))[0, 2] @ hanging(sheet)).max()
    assert used(sheet, hanging(sheet)) > 2.0 * small


def test_what_stretches_a_sheet_may_all_draw_at_one_pad():
    """A stiff part on one pad: ``|v|^2 = F^2 / k A``, of which an eighth is twice what may shear the pad."""
    sheet = on(part(rectangle(-0.02, 0.02, 0.02), thickness=0.01, youngs_modulus=70e9), square(0.04, material=FILM))
    for steep, share in ((False, 1.0 / 8.0), (True, 1.0)):
        face = bound_of(sheet, ((1e12, S),), steep=steep)
        drawn = S * float(peak_utilisation(face, np.array([[0.0, 0.0, 5.0, 0.0, 0.0, 0.0]]).T)[0][0])
        assert drawn == pytest.approx(5.0 / 0.04**2 * np.sqrt(share * KT / KN), rel=1e-3)


def test_a_pull_along_the_pads_hides_no_load_that_stretches_the_sheet():
    """It uses them more than what bends the sheet, and stretches nothing: the share is that of what bends it."""
    sheet = on(part(rectangle(-0.06, 0.06, 0.06)), square(0.015))
    face, strengths = (
        grip_of(Bonded(whole=sheet.backing, full=((S, S / 20),), part=sheet.part), np.zeros((6, 1))).face,
        ((S, S / 20),),
    )
    lifted = hanging(sheet, 3.0)
    aside = lifted + np.array([0.9 * S / 20 * 0.015**2, 0, 0, 0, 0, 0])
    alone, both = (Film.of(sheet, strengths, face, np.stack(loads, axis=1)) for loads in ([lifted], [lifted, aside]))
    assert both.use > 1.5 * alone.use
    assert both.stretched * both.use**2 >= alone.stretched * alone.use**2 > 0.0


@pytest.mark.parametrize(("sag", "steep"), [(0.19, False), (0.21, True)])
def test_from_which_droop_on_slopes_are_large(sag, steep):
    """The tip of a heavy strip slopes by 4/3 of its droop over its length (handbooks); squared, 7 % of 1."""
    assert pytest.approx(0.071, abs=5e-4) == (4 / 3 * 0.2) ** 2
    sheet = on(part(rectangle(-0.06, 0.06, 0.01)), square(0.02))
    assert is_steep(sheet, sag * 0.05) == steep
