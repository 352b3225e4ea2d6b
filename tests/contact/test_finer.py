"""Cells of half the size: the same pads, and a range that holds what still finer cells give."""

import numpy as np
import pytest

from gripmargin.contact.finer import MeshRange, finer, finer_share


@pytest.mark.parametrize("shape", [{}, {"diameter": 0.024}])
def test_the_same_area_and_second_moments(pad_face, shape):
    face = pad_face(**shape)
    fine = finer(face)
    assert fine.patch.areas.size == 4 * face.patch.areas.size
    for power in (np.ones_like, lambda x: x, np.square):
        assert fine.patch.areas @ power(fine.patch.points[:, 0]) == pytest.approx(
            face.patch.areas @ power(face.patch.points[:, 0]), abs=1e-15
        )
    plane = face.patch.points @ [3.0, -2.0, 1.0] + 0.5
    np.testing.assert_allclose(
        finer_share(plane), np.clip(fine.patch.points @ [3.0, -2.0, 1.0] + 0.5, plane.min(), plane.max()), atol=1e-12
    )


# Straight pull of the core that a twist in place leaves of a disc of 24 mm, by the angle: N on cells 12, 24, 48 and 96
# a side (S 75, T 65 kPa, k_n 1.2e8, k_t 4e7 Pa/m; cut by `quadrature` each time); core over the radius of the disc in
# front, T/(k_t angle). Repeated with the twist of `test_simulation_closed_forms.py`.
CORES = {
    0.4: (2.22119, 2.14195, 2.1108, 2.11028),
    0.2: (0.61129, 0.56935, 0.55382, 0.54628),
    0.12: (0.26124, 0.24072, 0.22072, 0.21128),
    0.08: (0.2179, 0.12643, 0.11213, 0.11167),
    0.05: (0.13337, 0.07046, 0.07372, 0.06401),
}


@pytest.mark.parametrize("core", CORES)
def test_the_range_holds_what_still_finer_cells_give(core):
    coarse, fine, *_, finest = (1.0 / force for force in CORES[core])
    found = MeshRange.of(coarse, fine)
    assert found.low <= finest <= found.high
    assert found.high <= 1.8 * finest


def test_each_side_of_the_range_is_needed():
    """Once the difference is too little above, and none below: a core may hold more on finer cells."""
    coarse, fine, *_, finest = (1.0 / force for force in CORES[0.12])
    assert finest > fine + (fine - coarse)
    assert 1.0 / CORES[0.05][2] < 1.0 / CORES[0.05][1]
