"""Figures of limits: never rounded up."""

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.reports.limits_as_text import figure
from support.made_up import limits


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (1239.9, "1230"),
        (99.99, "99.9"),
        (0.012349, "0.0123"),
        (100.0, "100"),
        (7.0, "7.00"),
        (0.0, "-"),
        (np.nan, "-"),
        (np.inf, "-"),
    ],
)
def test_three_digits(value, shown):
    assert figure(value) == shown


def test_never_above():
    values = 10.0 ** np.random.default_rng(0).uniform(-3, 6, 500)
    shown = np.array([float(figure(value)) for value in values])
    assert (shown <= values * (1 + 1e-9)).all()
    assert (shown > 0.99 * values).all()


def test_text_without_limits_says_why():
    said = gm.limits_text(limits(known=False, blocked=("nobody knows\x1b why",)))
    assert said.startswith("UNDECIDED")
    assert "nobody knows  why" in said
    assert "tilt up to" not in said
