"""Names of columns as loggers and controllers write them: what one says of quantity, number, axis and unit."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from gripmargin.base.errors import InputError
from gripmargin.base.units import unit_factor
from gripmargin.files.columns import LONGEST

_UNIT_IN_BRACKETS: Final = re.compile(
    r"(?P<name>[^\[\](){}<>]*?)\s*(?:\[(?P<a>.*)\]|\((?P<b>.*)\)|\{(?P<c>.*)\}|<(?P<d>.*)>)\s*"
)
_UNIT_AT_END: Final = re.compile(
    r"(?P<name>.*?[A-Za-z0-9])(?:[_./ ]+)(?P<unit>[A-Za-zµμ°]+(?:/s(?:\^?2)?|_per_s|ps)?)\s*"
)
_SPELT: Final = {
    "degree": "deg", "degrees": "deg", "radian": "rad", "radians": "rad", "seconds": "s", "second": "s", "secs": "s",
    "sec": "s", "msec": "ms", "millis": "ms", "milliseconds": "ms", "usec": "us", "micros": "us", "microseconds": "us",
    "nsec": "ns", "nsecs": "ns", "nanosec": "ns", "nanos": "ns", "nanoseconds": "ns", "meter": "m", "meters": "m",
    "metres": "m", "degps": "deg/s", "radps": "rad/s", "mps": "m/s", "deg_per_s": "deg/s", "rad_per_s": "rad/s",
    "deg/s2": "deg/s^2", "rad/s2": "rad/s^2", "m/s2": "m/s^2", "mm/s2": "mm/s^2",
}  # fmt: skip
_BARE_UNITS: Final = {"deg", "rad", "mm", "cm", "m", "um", "s", "ms", "us", "ns", "deg/s", "rad/s", "mm/s", "m/s"}
_WORD: Final = re.compile(r"[A-Z]?[a-z]+|[A-Z]+(?![a-z])|\d+|\*")

# Words by what they say of a column (from memory: names that drivers, controllers and loggers give).
TIMES: Final = {"t", "time", "times", "timestamp", "timestamps", "stamp", "elapsed", "clock", "sec", "secs", "seconds"}
_POSITION: Final = {"q", "position", "positions", "pos", "angle", "angles", "theta"}
_SPEED: Final = {"qd", "dq", "qdot", "velocity", "velocities", "vel", "speed", "speeds", "v"}
_ACCELERATION: Final = {"qdd", "ddq", "qddot", "acceleration", "accelerations", "acc", "accel"}
_JOINT: Final = {"joint", "joints", "axis", "axes", "j", "a", "*"}
_CARTESIAN: Final = {"tcp", "pose", "tool", "cartesian", "flange", "ee", "eef", "tip", "wrench", "twist", "base"}
_OTHERWISE: Final = {
    "torque", "torques", "tau", "effort", "efforts", "currents", "current", "moment", "moments", "temperature",
    "temperatures", "temp", "voltage", "voltages", "force", "forces", "power", "wrench", "ft", "stiffness",
}  # fmt: skip
_ROLES: Final = {
    "target": "target", "desired": "target", "des": "target", "command": "target", "commanded": "target",
    "cmd": "target", "reference": "target", "ref": "target", "setpoint": "target", "goal": "target",
    "actual": "actual", "act": "actual", "measured": "actual", "meas": "actual", "feedback": "actual",
    "fbk": "actual", "real": "actual",
}  # fmt: skip
# What a column with such a word is, is never the motion of a joint or of the tool itself.
_NEVER: Final = {
    "error", "err", "delta", "diff", "offset", "min", "max", "limit", "limits", "std", "motor", "encoder", "rotor",
    "imu", "gyro", "mag", "gravity", "camera", "marker", "object", "base", "flange", "home",
}  # fmt: skip
_TOOL: Final = {"position", "positions", "pos", "translation", "trans", "tcp", "tool", "pose", "ee", "eef", "tip", "p"}
_QUATERNION: Final = {"quat", "quaternion", "orientation", "q"}
_AXES: Final = {"x": 0, "y": 1, "z": 2, "w": 3}
_ANGLES: Final = (("roll", "pitch", "yaw"), ("a", "b", "c"), ("w", "p", "r"), ("alpha", "beta", "gamma"))


@dataclass(frozen=True)
class Name:
    """What the name of a column says.

    Attributes:
        quantity: "t", "q", "qd", "qdd" (of joints), "position", "quaternion", "rpy", "angles" (whose convention is not
            said), "rotation vector", "other" (read by nothing here) or "" (not known).
        template: The name, `*` in the place of its number or axis.
        number: Which of the group: the number of a joint as it stands there, or the place of the axis from 0.
        unit: As `gripmargin.base.units` writes it; None: none is said.
        role: "actual", "target", or "" where it says nothing.
    """

    quantity: str
    template: str
    number: int = 0
    unit: str | None = None
    role: str = ""


def read_name(header: str, joints: Sequence[str] = ()) -> Name:
    """Return what a name says; where its end may be a unit, that is taken for one if the rest makes sense with it.

    Args:
        header: As it stands in the file.
        joints: Names of the robot's joints.
    """
    if len(header) > LONGEST or header.count("[") != header.count("]"):
        return Name("", header)
    bracketed = _UNIT_IN_BRACKETS.fullmatch(header)
    if bracketed and bracketed["name"]:
        unit = next((each for each in bracketed.groups()[1:] if each is not None), "").strip()
        found = _without_unit(bracketed["name"], joints)
        return Name(found.quantity, found.template, found.number, _SPELT.get(unit, unit), found.role)
    whole = _without_unit(header.strip(), joints)
    if whole.unit is not None:
        return whole
    ended = _UNIT_AT_END.fullmatch(header)
    if ended:
        unit = _SPELT.get(ended["unit"], ended["unit"])
        found = _without_unit(ended["name"], joints)
        if unit in _BARE_UNITS and found.quantity and _fits(unit, found.quantity):
            return Name(found.quantity, found.template, found.number, unit, found.role)
    return whole


def _fits(unit: str, quantity: str) -> bool:
    for dimension in DIMENSIONS_OF.get(quantity, ()):
        try:
            unit_factor(unit, dimension)
        except InputError:
            continue
        return True
    return False


DIMENSIONS_OF: Final = {
    "t": ("time",),
    "q": ("angle", "length"),
    "qd": ("angular speed", "speed"),
    "qdd": ("angular acceleration", "acceleration"),
    "position": ("length",),
    "rpy": ("angle",),
    "angles": ("angle",),
    "rotation vector": ("angle",),
}


def _without_unit(name: str, joints: Sequence[str]) -> Name:
    for i, joint in sorted(enumerate(joints), key=lambda each: -len(each[1])):
        found = re.search(rf"(?<![A-Za-z0-9]){re.escape(joint)}(?![A-Za-z0-9])", name)
        if found:
            return _joint(name, found.span(), i)
    words = [word.lower() for word in _WORD.findall(name)]
    if not words:
        return Name("", name)
    plain = set(words)
    if words[-1] in ("nanosec", "nanosecs", "nsec", "nsecs", "nanoseconds") and plain & {"stamp", "header", words[-1]}:
        return Name("t", name, 1, "ns")
    if words[-1] in TIMES or (name.lower() in ("rosbagtimestamp", "__time")):
        return Name("t", name, 0, "s" if words[-1] in ("sec", "secs", "seconds") else None)
    numbers = list(re.finditer(r"\d+", name))
    axis = _axis(name, words)
    if axis is not None:
        return axis
    if numbers and len(numbers[-1][0]) <= 2:
        return _joint(name, numbers[-1].span(), int(numbers[-1][0]))
    return Name("other" if plain & _OTHERWISE else "", name)


def _joint(name: str, span: tuple[int, int], number: int) -> Name:
    """What a name with the number or the name of a joint in it says."""
    template = f"{name[: span[0]]}*{name[span[1] :]}"
    words = {word.lower() for word in _WORD.findall(template)}
    role = _role(words)
    said = words & (_POSITION | _SPEED | _ACCELERATION)
    if words & _OTHERWISE and not (said and words & _OTHERWISE == {"current"}):
        return Name("other", template, number, None, role)
    if words & (_CARTESIAN | _NEVER):
        return Name("", template, number, None, role)
    if words & _ACCELERATION:
        return Name("qdd", template, number, None, role)
    if words & _SPEED:
        return Name("qd", template, number, None, role)
    is_numbered = name[slice(*span)].isdigit()
    known = not is_numbered or bool(words & (_POSITION | _JOINT) - {"*"})
    return Name("q" if known else "", template, number, None, role)


def _axis(name: str, words: Sequence[str]) -> Name | None:
    """What a name that ends with an axis or an angle says; None: it does not."""
    rest, last = {*words[:-1]}, words[-1]
    role = _role(rest)
    template = f"{name[: len(name) - len(last)]}*"
    if rest & _NEVER:
        return Name("other" if rest & _OTHERWISE else "", template, 0, None, role)
    if last in _AXES and rest & _QUATERNION:
        return Name("quaternion", template, _AXES[last], None, role)
    for i, angles in enumerate(_ANGLES):
        if last in angles and (i in (0, 3) or rest & (_CARTESIAN | {"orientation", "rotation"})):
            return Name("rpy" if i == 0 else "angles", template, angles.index(last), None, role)
    if len(last) == 2 and last[1] in _AXES and last[0] in "pqrt":
        template = f"{name[: len(name) - 1]}*"
        quantity = {"p": "position", "t": "position", "q": "quaternion", "r": "angles"}[last[0]]
        return Name(quantity, template, _AXES[last[1]], None, role)
    if last not in _AXES:
        return None
    if rest & _OTHERWISE:
        return Name("other", template, _AXES[last], None, role)
    if rest & {"rotvec", "axisangle"} or {"rotation", "vector"} <= rest:
        return Name("rotation vector", template, _AXES[last], None, role)
    if rest & {"rot", "rotation", "euler", "r", "rpy", "angle", "angles"}:
        return Name("angles", template, _AXES[last], None, role)
    if rest & (_SPEED | _ACCELERATION | {"angular", "linear", "twist"}) or last == "w":
        return Name("", template, _AXES[last], None, role)
    known = not rest or bool(rest & _TOOL)
    return Name("position" if known else "", template, _AXES[last], None, role)


def _role(words: set[str]) -> str:
    return next((_ROLES[word] for word in sorted(words & _ROLES.keys())), "")
