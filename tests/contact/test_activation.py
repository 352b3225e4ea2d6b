"""How much of its strength a face holds after a pressure."""

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.base.errors import InputError
from gripmargin.contact.activation import ActivationLaw, pad_faces
from gripmargin.contact.cells import cut_pads


def material(**changes):
    values = {"pull_off_stress": 9e4, "shear_strength": 6e4, "normal_stiffness": 1e8, "shear_stiffness": 3.3e7}
    return gm.PadMaterial(**{**values, **changes})


class TestLaw:
    def test_straight_rise_to_the_full_preload(self):
        law = ActivationLaw.of(material(full_preload=2e4))
        np.testing.assert_allclose(law(np.array([0.0, 5e3, 2e4, 9e4])), [0, 0.25, 1, 1])
        assert law.rising
        assert law.source == "full preload"

    def test_a_measured_curve_goes_before_the_full_preload(self):
        law = ActivationLaw.of(material(full_preload=2e4, preload_curve=[[1e4, 0.5], [3e4, 0.9], [5e4, 0.7]]))
        np.testing.assert_allclose(law(np.array([0.0, 5e3, 1e4, 2e4, 4e4, 9e4])), [0, 0.25, 0.5, 0.7, 0.8, 0.7])
        assert not law.rising
        assert law.source == "measured curve"

    def test_no_data(self):
        law = ActivationLaw.of(material())
        np.testing.assert_allclose(law(np.array([0.0, 1.0])), 1)
        assert law.source == "none"

    @pytest.mark.parametrize("points", [2, 3])
    def test_the_quick_way_is_linear_interpolation(self, points):
        pressure, share = np.linspace(0, 4e4, points), np.linspace(0.2, 0.8, points)
        law = ActivationLaw(pressure, share, "measured curve")
        at = np.linspace(0, 6e4, 31)
        np.testing.assert_allclose(law(at), np.interp(at, pressure, share))

    @pytest.mark.parametrize(
        ("pressure", "share", "message"),
        [
            ([0, 1e4, 1e4], [0, 0.5, 1], "pressures that rise"),
            ([0, 1e4], [0, 1.2], "shares from 0 to 1"),
            ([0, np.nan], [0, 1], "a finite number"),
        ],
    )
    def test_bad_curves(self, pressure, share, message):
        with pytest.raises(InputError, match=message):
            ActivationLaw(np.array(pressure, float), np.array(share, float), "measured curve")


def test_pads_get_the_strength_that_is_left_on_this_part():
    """A share lost with each pick, compounding (common practice, no source), times the part's surface factor."""
    pad = gm.Pad.rectangle("a", material(fouling_per_cycle=0.01), [0.05, 0.05])
    part = gm.Part(mass=1, com=[0, 0, 0], inertia=[1e-3, 1e-3, 1e-3, 0, 0, 0], surface_factor=0.8)
    gripper = gm.Gripper(pads=(pad,), cycles_since_cleaning=10)
    (face,) = pad_faces(cut_pads((pad,), part), part, gripper, gap=1e-5)
    assert face.pull_off_stress == pytest.approx(9e4 * 0.8 * 0.99**10)
    assert face.shear_strength == pytest.approx(6e4 * 0.8 * 0.99**10)
    assert (face.gap == 1e-5).all()
    assert face.break_displacement == pytest.approx(min(face.pull_off_stress / 1e8, face.shear_strength / 3.3e7))
