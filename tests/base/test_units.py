"""Quantities with their units, against the published conversion factors."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gripmargin.base.errors import InputError
from gripmargin.base.units import DIMENSIONS, MAGNITUDES, parse_quantity, unit_factor

# NIST Special Publication 811 (2008), appendix B.8, and the SI Brochure, 9th edition, tables 4 and 8 (from memory);
# figures there are exact unless they are given to fewer digits.
NIST = [
    ("1 in", "length", 0.0254),
    ("1 ft", "length", 0.3048),
    ("1 um", "length", 1e-6),
    ("1 µm", "length", 1e-6),
    ("1 lb", "mass", 0.45359237),
    ("1 oz", "mass", 0.028349523125),
    ("1 t", "mass", 1000.0),
    ("1 lbf", "force", 4.4482216152605),
    ("1 kgf", "force", 9.80665),
    ("1 psi", "stress", 6894.757),
    ("1 bar", "stress", 1e5),
    ("1 kgf/cm^2", "stress", 98066.5),
    ("1 N/mm^2", "stress", 1e6),
    ("1 kgf*m", "moment", 9.80665),
    ("1 lbf*in", "moment", 0.1129848),
    ("1 deg", "angle", 0.01745329251994330),
    ("1 rev", "angle", 6.283185307179586),
    ("1 rpm", "angular speed", 0.1047197551196598),
    ("1 min", "time", 60.0),
    ("1 ms", "time", 1e-3),
    ("1 ft/s^2", "acceleration", 0.3048),
    ("1 km/h", "speed", 0.2777777777777778),
    ("1 ft/min", "speed", 5.08e-3),
    ("1 lb*in^2", "moment of inertia", 2.926397e-4),
    ("1 lb/ft^3", "density", 16.01846),
    ("1 in^2", "area", 6.4516e-4),
]


@pytest.mark.parametrize(("text", "dimension", "value"), NIST)
def test_published_conversion_factors(text, dimension, value):
    assert parse_quantity(text, dimension, "x") == pytest.approx(value, rel=5e-7)


@pytest.mark.parametrize(("text", "dimension", "value"), [
    ("9.8 N/cm^2", "stress", 98e3),
    ("35 deg", "angle", math.radians(35)),
    ("420 g", "mass", 0.420),
    ("-9.80665 m/s^2", "acceleration", -9.80665),
    ("0.10 N/mm^3", "foundation modulus", 1e8),
    ("0.2 J/m^2", "energy per area", 0.2),
    ("1e-3 kg*m^2", "moment of inertia", 1e-3),
    ("1000 g*mm^2", "moment of inertia", 1e-6),
    ("3000 deg/s^3", "angular jerk", math.radians(3000)),
    (" 12mm ", "length", 0.012),
    (".5 s", "time", 0.5),
    ("+2. s", "time", 2.0),
    ("0 mm", "length", 0.0),
])  # fmt: skip
def test_quantities_of_a_job(text, dimension, value):
    assert parse_quantity(text, dimension, "x") == pytest.approx(value, rel=1e-15)


class TestRefused:
    @pytest.mark.parametrize("dimension", DIMENSIONS)
    @pytest.mark.parametrize("other", DIMENSIONS)
    def test_another_dimension(self, dimension, other):
        """Also angle for a plain number, and moment for energy: each is a dimension of its own."""
        unit = DIMENSIONS[other][0]
        if dimension == other:
            assert unit_factor(unit, dimension) == 1.0
            return
        if {dimension, other} == {"stiffness", "energy per area"}:  # 1 J/m^2 is 1 N/m
            assert unit_factor(unit, dimension) == 1.0
            return
        with pytest.raises(InputError, match="a unit of another dimension"):
            unit_factor(unit, dimension)

    @pytest.mark.parametrize(
        "text",
        [
            "5", "5.0", "mm", "", " ", "5 5 mm", "five mm", "1,5 mm", "0x10 mm", "1e999 m", "nan m", "inf m", "-inf m",
            "1_000 mm", "5 furlong", "5 MM", "5 Mm^2", "5 mm^", "5 mm^999", "5 mm^2^2", "5 mm; import os", "5 N/0",
            "__import__('os') m", "5 m" + " " * 100 + "m", "5 m\n6 m", "١ m", "5 degC", "5 mm + 3 mm", "5 m m",
        ],
    )  # fmt: skip
    def test_not_a_length(self, text):
        with pytest.raises(InputError):
            parse_quantity(text, "length", "part.size")

    @pytest.mark.parametrize("value", [5, 5.0, True, None, [], {}, b"5 mm", math.nan])
    def test_not_a_text(self, value):
        with pytest.raises(InputError):
            parse_quantity(value, "length", "part.size")

    @pytest.mark.parametrize(
        ("value", "found", "remedy"),
        [
            (5, "the bare number 5", "; write the number and its unit between quotes"),
            ("5", '"5", a number without a unit', ""),
            ("5 kg", '"5 kg", which is not a length', ""),
            ("5 mn", '"5 mn", whose unit is not known', "; did you mean 'm'?"),
        ],
    )
    def test_messages_in_full(self, value, found, remedy):
        with pytest.raises(InputError) as caught:
            parse_quantity(value, "length", "pad.size")
        assert str(caught.value) == f'pad.size: found {found}, expected a length with its unit, such as "12 mm"{remedy}'


@given(number=st.floats(-1e12, 1e12), unit=st.sampled_from(["mm", "m", "in", "um", "km"]))
@settings(derandomize=True, deadline=None, max_examples=150)
def test_the_number_is_read_as_python_reads_it(number, unit):
    assert parse_quantity(f"{number!r} {unit}", "length", "x") == number * unit_factor(unit, "length")


def test_every_dimension_has_its_bounds_and_its_example_keeps_them():
    assert set(MAGNITUDES) == {"", *DIMENSIONS}
    for dimension, (_, example) in DIMENSIONS.items():
        least, most = MAGNITUDES[dimension]
        assert 1e3 * least < parse_quantity(example, dimension, "") < 1e-2 * most
