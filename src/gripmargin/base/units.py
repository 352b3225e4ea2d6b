"""Quantities as people write them ("9.8 N/cm^2") into SI numbers, with the dimension checked.

Angle is a dimension of its own here: "35 deg" is an angle and "35" is not, and a length never passes
for an angle. Only a plain number followed by a unit is read; nothing is evaluated.
"""

from __future__ import annotations

import math
import re
from difflib import get_close_matches
from functools import cache
from typing import TYPE_CHECKING, Any, Final

from gripmargin.base.errors import InputError

if TYPE_CHECKING:
    import pint

# Exact by definition: international yard and pound (1959), standard gravity (3rd CGPM, 1901), SI Brochure.
_DEFINITIONS: Final = """
micro- = 1e-6 = µ- = μ- = u-
milli- = 1e-3 = m-
centi- = 1e-2 = c-
deci- = 1e-1 = d-
kilo- = 1e3 = k-
mega- = 1e6 = M-
giga- = 1e9 = G-
nano- = 1e-9 = n-
metre = [length] = m = meter
gram = [mass] = g
second = [time] = s = sec
radian = [angle] = rad
degree = 0.017453292519943295 * radian = deg = °
turn = 6.283185307179586 * radian = _ = revolution = rev
minute = 60 * second = min
hour = 3600 * second = h
newton = kilogram * metre / second ** 2 = N
pascal = newton / metre ** 2 = Pa
joule = newton * metre = J
watt = joule / second = W
hertz = 1 / second = Hz
bar = 1e5 * pascal
tonne = 1000 * kilogram = t
kilogram_force = 9.80665 * newton = kgf = kilopond = kp
pound = 0.45359237 * kilogram = lb
ounce = 0.028349523125 * kilogram = oz
pound_force = 4.4482216152605 * newton = lbf
inch = 0.0254 * metre = in
foot = 0.3048 * metre = ft
psi = 6894.757293168361 * pascal
rpm = 0.10471975511965977 * radian / second
"""

# What each kind of quantity is measured in (SI), and an example for the error message.
DIMENSIONS: Final[dict[str, tuple[str, str]]] = {
    "length": ("m", "12 mm"),
    "angle": ("rad", "35 deg"),
    "time": ("s", "0.5 s"),
    "mass": ("kg", "420 g"),
    "speed": ("m/s", "250 mm/s"),
    "acceleration": ("m/s^2", "9.81 m/s^2"),
    "jerk": ("m/s^3", "50 m/s^3"),
    "angular speed": ("rad/s", "90 deg/s"),
    "angular acceleration": ("rad/s^2", "300 deg/s^2"),
    "angular jerk": ("rad/s^3", "3000 deg/s^3"),
    "force": ("N", "5 N"),
    "moment": ("N*m", "0.2 N*m"),
    "stress": ("Pa", "9.8 N/cm^2"),
    "foundation modulus": ("Pa/m", "0.10 N/mm^3"),
    "stiffness": ("N/m", "20 N/mm"),
    "moment of inertia": ("kg*m^2", "1e-3 kg*m^2"),
    "area": ("m^2", "4 cm^2"),
    "energy per area": ("J/m^2", "0.2 J/m^2"),
    "density": ("kg/m^3", "2500 kg/m^3"),
}

# Sizes in SI that a quantity of a job can have: the least, where it is no coordinate and not 0, and the most. Far past
# what a workcell has (no source), and so that no product of a few of them leaves the range of floats.
MAGNITUDES: Final[dict[str, tuple[float, float]]] = {
    "": (1e-9, 1e9),
    "length": (1e-9, 1e3),
    "angle": (1e-9, 1e4),
    "time": (1e-9, 1e9),
    "mass": (1e-9, 1e6),
    "speed": (1e-9, 1e4),
    "acceleration": (1e-9, 1e6),
    "jerk": (1e-9, 1e9),
    "angular speed": (1e-9, 1e5),
    "angular acceleration": (1e-9, 1e7),
    "angular jerk": (1e-9, 1e10),
    "force": (1e-9, 1e9),
    "moment": (1e-9, 1e9),
    "stress": (1e-6, 1e15),
    "foundation modulus": (1e-3, 1e18),
    "stiffness": (1e-6, 1e15),
    "moment of inertia": (1e-18, 1e9),
    "area": (1e-18, 1e6),
    "energy per area": (1e-9, 1e9),
    "density": (1e-6, 1e6),
}

# Units that a misspelt one may have been meant for, by what they measure.
_COMMON: Final[dict[str, str]] = {
    "length": "mm cm m um in ft",
    "angle": "deg rad turn",
    "time": "s ms min h us",
    "mass": "kg g mg t lb oz",
    "speed": "mm/s m/s m/min",
    "acceleration": "m/s^2 mm/s^2",
    "jerk": "m/s^3 mm/s^3",
    "angular speed": "deg/s rad/s rpm",
    "angular acceleration": "deg/s^2 rad/s^2",
    "angular jerk": "deg/s^3 rad/s^3",
    "force": "N kN mN kgf lbf",
    "moment": "N*m N*mm",
    "stress": "N/cm^2 N/mm^2 Pa kPa MPa GPa bar psi",
    "foundation modulus": "N/mm^3 Pa/m MPa/mm",
    "stiffness": "N/mm N/m",
    "moment of inertia": "kg*m^2 g*mm^2 kg*mm^2",
    "area": "mm^2 cm^2 m^2",
    "energy per area": "J/m^2",
    "density": "kg/m^3 g/cm^3",
}

_NUMBER: Final = r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?"
_QUANTITY: Final = re.compile(rf"\s*(?P<number>{_NUMBER})\s*(?P<unit>[A-Za-zµμ°%[(\"][^\x00-\x1f\x7f]*)?\s*")
_GROUPED: Final = re.compile(r"\s*[+-]?[0-9.]+[, '_\u00a0\u2009\u202f]+[0-9]")
_SLIPS: Final = str.maketrans({"²": "^2", "³": "^3", "·": "*", "⋅": "*", '"': "in", **dict.fromkeys(" []()")})
_UNIT: Final = re.compile(r"[A-Za-zµμ°_0-9 */^().-]{1,40}")


@cache
def _registry() -> pint.UnitRegistry[float]:
    import pint  # noqa: PLC0415 - only a job or a file with units needs it

    return pint.UnitRegistry(_DEFINITIONS.strip().splitlines(), on_redefinition="ignore")


@cache
def unit_factor(unit: str, dimension: str) -> float:
    """Return the factor from a unit to SI.

    Args:
        unit: For instance "deg/s".
        dimension: A key of DIMENSIONS.

    Raises:
        InputError: The unit is unknown or measures something else.
    """
    si, example = DIMENSIONS[dimension]
    expected = f"a unit of {dimension} such as {example.split(' ', 1)[1]}"
    known = _dimensionality(unit)
    if known is None:
        raise InputError(f"unit '{unit[:40]}'", "a unit that is not known", expected, _meant(unit, dimension))
    factor, dims = known
    if dims != _dimensionality(si)[1]:  # type: ignore[index]
        raise InputError(f"unit '{unit}'", "a unit of another dimension", expected)
    return factor


@cache
def _dimensionality(unit: str) -> tuple[float, str] | None:
    if not _UNIT.fullmatch(unit) or re.search(r"\d{3}|\^\s*\d+\s*\^", unit):
        return None
    registry = _registry()
    try:
        # exact keeps pint from guessing at case or plurals
        quantity = registry.Quantity(1.0, registry.parse_units(unit, case_sensitive=True)).to_base_units()
    except Exception:  # pint raises a dozen kinds for an unreadable unit
        return None
    return _to_si(quantity)


def _to_si(quantity: Any) -> tuple[float, str]:
    # The registry's base of mass is the gram, ours the kilogram.
    power = dict(quantity.dimensionality).get("[mass]", 0)
    return float(quantity.magnitude) * 1e-3 ** float(power), str(quantity.dimensionality)


def parse_quantity(text: object, dimension: str, where: str) -> float:
    """Read a quantity such as "9.8 N/cm^2" into SI.

    Args:
        text: The quantity with its unit.
        dimension: A key of DIMENSIONS.
        where: What to call it in an error.

    Returns:
        The value in the SI unit of that dimension.

    Raises:
        InputError: No text, no unit, unknown unit, another dimension, or not a finite number.
    """
    _, example = DIMENSIONS[dimension]
    expected = f'{with_article(dimension)} with its unit, such as "{example}"'
    if isinstance(text, bool) or not isinstance(text, str):
        kind = (
            f"the bare number {text}"
            if isinstance(text, int | float) and not isinstance(text, bool)
            else repr(text)[:60]
        )
        raise InputError(where, kind, expected, "write the number and its unit between quotes")
    match = _QUANTITY.fullmatch(text) if len(text) <= 80 else None
    if match is None:
        remedy = "write decimals with a point, and nothing between digits" if _GROUPED.match(text[:80]) else ""
        raise InputError(where, f'"{text[:60]}"', expected, remedy)
    if not match["unit"]:
        raise InputError(where, f'"{text}", a number without a unit', expected)
    known = _dimensionality(match["unit"].strip())
    if known is None:
        remedy = _meant(match["unit"].strip(), dimension)
        raise InputError(where, f'"{text}", whose unit is not known', expected, remedy)
    if known[1] != _dimensionality(DIMENSIONS[dimension][0])[1]:  # type: ignore[index]
        raise InputError(where, f'"{text}", which is not {with_article(dimension)}', expected)
    value = float(match["number"]) * known[0]
    if not math.isfinite(value):
        raise InputError(where, f'"{text}"', "a finite number")
    return value


def _meant(unit: str, dimension: str) -> str:
    """Ask whether another unit was meant by one that is not known."""
    known = _COMMON[dimension].split()
    small = {each.lower(): each for each in reversed(known)}
    bare = unit.lower().translate(_SLIPS)
    near = get_close_matches(bare, small, n=1, cutoff=0.5)
    return f"did you mean '{small[near[0]]}'?" if near else f"use one of {', '.join(known)}"


def with_article(dimension: str) -> str:
    """Return a dimension with its article, as messages name it."""
    return f"an {dimension}" if dimension[0] in "aeiou" else f"a {dimension}"
