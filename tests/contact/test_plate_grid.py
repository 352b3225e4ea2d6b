"""The grid over a plate that bends."""

import numpy as np
import shapely

from gripmargin.contact.plate_grid import FINE, grid_over


def test_edges_of_pads_that_nearly_meet_make_no_slivers():
    """Two edges 0.15 of a cell apart are one line of the grid; 0.25 apart they are two."""
    fading = 0.01
    cell, outline = FINE * fading, shapely.box(-0.1, -0.05, 0.1, 0.05)
    for apart, narrowest in ((0.15, 0.5), (0.25, 0.25)):
        pads = [shapely.box(-0.03, -0.02, 0.0, 0.02), shapely.box(apart * cell, -0.02, 0.03, 0.02)]
        assert np.diff(grid_over(outline, pads, fading).x).min() >= narrowest * cell * (1 - 1e-9)
