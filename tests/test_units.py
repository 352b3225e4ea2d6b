"""Quantities with their units into SI; factors from the SI Brochure, NIST SP 811 app. B and the CGPM (from memory)."""

import math

import pytest

from gripmargin.errors import InputError
from gripmargin.units import DIMENSIONS, parse_quantity, unit_factor


@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [
        ("9.8 N/cm^2", "stress", 98e3),
        ("1 kgf/cm^2", "stress", 98066.5),
        ("1 bar", "stress", 1e5),
        ("1 psi", "stress", 6894.757293168),
        ("0.10 N/mm^3", "foundation modulus", 1e8),
        ("35 deg", "angle", 0.6108652381980153),
        ("0.5 rev", "angle", math.pi),
        ("30 rpm", "angular speed", math.pi),
        ("420 g", "mass", 0.42),
        ("1 lb", "mass", 0.45359237),
        ("2 in", "length", 0.0508),
        ("12 um", "length", 12e-6),
        ("12 µm", "length", 12e-6),
        ("1e-3 kg*m^2", "moment of inertia", 1e-3),
        ("200 N mm", "moment", 0.2),
        ("0.2 J/m^2", "energy per area", 0.2),
        ("90 deg/s^2", "angular acceleration", math.pi / 2),
        ("-3mm", "length", -3e-3),
        (".5 min", "time", 30.0),
    ],
)
def test_values(text, dimension, value):
    assert parse_quantity(text, dimension, "x") == pytest.approx(value, rel=1e-12, abs=0)


@pytest.mark.parametrize(
    ("found", "dimension", "message"),
    [
        (5, "mass", 'found the bare number 5, expected a mass with its unit, such as "420 g"'),
        (True, "mass", "found True"),
        ("5", "mass", 'found "5", a number without a unit'),
        ("5 mm", "angle", 'found "5 mm", which is not an angle'),
        ("5 deg", "length", 'found "5 deg", which is not a length'),
        ("5 rad/s", "speed", "which is not a speed"),
        ("5 N", "mass", "which is not a mass"),
        ("5 foo", "mass", "whose unit is not known"),
        ("5 KG", "mass", "whose unit is not known"),
        ("nan kg", "mass", 'found "nan kg"'),
        ("1e999 kg", "mass", "expected a finite number"),
        ("2**3 kg", "mass", 'found "2**3 kg"'),
        ("1 m^999999999", "length", "whose unit is not known"),
        ("__import__('os') kg", "mass", "found"),
        ("1 " + "kg" * 100, "mass", "found"),
        (None, "mass", "found None"),
    ],
)
def test_refused(found, dimension, message):
    with pytest.raises(InputError) as caught:
        parse_quantity(found, dimension, "part.mass")
    assert str(caught.value).startswith("part.mass: ")
    assert message in str(caught.value)


@pytest.mark.parametrize("dimension", DIMENSIONS)
def test_examples_in_messages_are_of_their_own_dimension(dimension):
    si, example = DIMENSIONS[dimension]
    assert unit_factor(si, dimension) == 1.0
    assert math.isfinite(parse_quantity(example, dimension, "x"))
