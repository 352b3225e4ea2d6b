"""Use and margins as figures."""

import numpy as np

from gripmargin.checks.use import quotient


def test_over_nothing_a_quotient_is_infinite_whatever_the_sign_of_nothing():
    """What presses nowhere may come out as -0.0; a page said of a release that its share was less than all."""
    assert quotient(2.0, [0.0, -0.0, 4.0]).tolist() == [np.inf, np.inf, 0.5]
