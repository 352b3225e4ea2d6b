"""The part as gripped: whether it is a plate, and what is on it."""

import numpy as np
import pytest

import gripmargin as gm

GLASS = 2500.0


def plate(size, thickness, density=GLASS, **more):
    outline = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * np.asarray(size) / 2
    mass = density * size[0] * size[1] * thickness
    com, inertia = gm.uniform_plate(mass, outline, thickness)
    given = {"mass": mass, "com": com, "inertia": inertia, "outline": outline, "thickness": thickness}
    return gm.Part(**{**given, **more})


class TestUniformPlate:
    def test_its_own_mass_moments(self):
        assert plate((0.2, 0.1), 0.004, GLASS).is_plate

    @pytest.mark.parametrize(("share", "is_one"), [(0.04, True), (0.06, False)])
    def test_another_inertia(self, share, is_one):
        part = plate((0.2, 0.2), 1e-6, GLASS)
        changed = part.inertia + np.diag([share, share, 0.0]) * part.inertia[2, 2] * 0.999
        assert plate((0.2, 0.2), 1e-6, GLASS, inertia=changed).is_plate is is_one

    @pytest.mark.parametrize(
        ("com", "is_one"),
        [((0.003, 0, 0.002), True), ((0.005, 0, 0.002), False), ((0, 0, 0.0039), True), ((0, 0, 0.0041), False)],
    )
    def test_another_centre_of_mass(self, com, is_one):
        """A twentieth of the radius of gyration, 0.2 m / sqrt 6 = 81.6 mm, aside; half the thickness up."""
        assert plate((0.2, 0.2), 0.004, GLASS, com=com).is_plate is is_one

    def test_a_ball_of_the_same_outline_is_none(self):
        """2/5 m r^2 about every axis against 1/2 m r^2 of a disc."""
        angle = np.linspace(0, 2 * np.pi, 65)[:-1]
        outline = 2.5e-3 * np.stack([np.cos(angle), np.sin(angle)], axis=1)
        inertia = [*np.full(3, 0.4 * 5e-4 * 2.5e-3**2), 0, 0, 0]
        given = {"mass": 5e-4, "com": [0, 0, 2.5e-3], "inertia": inertia, "outline": outline, "thickness": 5e-3}
        assert not gm.Part(**given).is_plate

    def test_no_outline(self):
        assert not gm.Part(mass=1.0, com=[0, 0, 0], inertia=[1, 1, 1, 0, 0, 0], thickness=0.01).is_plate


BOARD = np.array([[-0.08, -0.05], [0.08, -0.05], [0.08, 0.05], [-0.08, 0.05]])
COIL = gm.Component(mass=0.02, at=[0.05, 0.03, 0.006], size=[0.03, 0.02])
PLUG = gm.Component(mass=0.01, at=[-0.07, 0.0, 0.004])


def board(*components, mass=0.08, **more):
    com, inertia = gm.uniform_plate(mass, BOARD, 0.0016, components)
    given = {"mass": mass, "com": com, "inertia": inertia, "outline": BOARD, "thickness": 0.0016}
    return gm.Part(**{**given, "components": components, **more})


class TestComponents:
    def test_mass_moments_are_those_of_all_bodies(self):
        """Summed over small cubes: 50 g of board, 20 g over the coil's rectangle, 10 g at a point."""
        even = (np.indices((40, 40, 10)).reshape(3, -1).T + 0.5) / [40, 40, 10]
        on_board = even * [0.16, 0.1, 0.0016] + [-0.08, -0.05, 0.0]
        on_coil = even * [0.03, 0.02, 0.0] + [0.035, 0.02, 0.006]
        places = np.concatenate([on_board, on_coil, [[-0.07, 0.0, 0.004]]])
        weight = np.concatenate([np.full(16_000, 0.05 / 16_000), np.full(16_000, 0.02 / 16_000), [0.01]])
        com = weight @ places / 0.08
        arm = places - com
        inertia = np.einsum(
            "i,ijk->jk", weight, (arm**2).sum(1)[:, None, None] * np.eye(3) - arm[:, :, None] * arm[:, None]
        )
        part = board(COIL, PLUG)
        assert part.com == pytest.approx(com, abs=1e-9)
        assert part.inertia == pytest.approx(inertia, abs=1e-3 * inertia.max())
        assert part.is_plate

    def test_they_turn_with_the_part(self):
        part = board(COIL, PLUG, bending_stiffness=[3.0, 2.0]).placed(gm.pose((0.01, 0.02, 0), (0, 0, 0.4)))
        assert part.is_plate
        assert part.stiffness_axis == pytest.approx(0.4)
        assert part.components[0].outline.mean(axis=0) == pytest.approx(part.components[0].at[:2])

    @pytest.mark.parametrize(
        ("given", "said"),
        [
            ({"components": [gm.Component(mass=0.09, at=[0, 0, 0])]}, "0.09 kg of 0.08 kg in all"),
            (
                {"components": [gm.Component(mass=0.01, at=[0.079, 0, 0], size=[0.01, 0.01])]},
                r"components\[0\]: found a place",
            ),
            ({"components": [PLUG], "com": [0.0, 0.0, 0.0008]}, "differs from that of the plate with them"),
            ({"components": [PLUG], "thickness": None}, "components on no plate"),
            ({"bending_stiffness": [1.0, 1.0], "youngs_modulus": 1e9}, "a bending stiffness and a modulus"),
            ({"stiffness_axis": 0.1}, "no bending stiffness that it belongs to"),
            ({"twisting_stiffness": 0.1}, "no bending stiffness that it belongs to"),
        ],
    )
    def test_contradictions(self, given, said):
        with pytest.raises(gm.InputError, match=said):
            board(**given)
