"""docs/report.md describes every key that a report can have, and no other.

The reports are those of one small pad that takes a plate from a tray to a nest, each time with another fault.
"""

import itertools
import json
import re
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

import gripmargin as gm
from gripmargin.contact.loads import AIR_CAUSES, CAUSES
from gripmargin.contact.restraint import WAYS
from gripmargin.reports.as_json import error_json, report_json
from gripmargin.results.findings import RootCause
from gripmargin.results.time_laws import CheckUnderLaw, TimeLaw
from gripmargin.workcell import Stop
from support.cleaned import rolled, roller
from support.cycles import kit

PAGE = Path(__file__).parents[2] / "docs" / "report.md"
PERIOD = 0.01  # s
TOLERANCE = 1e-4  # m
DOWN = np.diag([1.0, -1.0, -1.0])  # the tool looks down
# Name and time of each move, and where it ends: x and height above the face [m], tilt and turn [deg]. A move that
# names no end rests.
Moves = dict[str, tuple[float, dict[str, float]]]
GOOD: Moves = {
    "touch": (0.6, {"z": -0.2e-3}),
    "press": (0.4, {}),
    "lift": (0.5, {"z": 0.02}),
    "across": (0.6, {"x": 0.2}),
    "lower": (0.5, {"z": -0.1e-3}),
    "seat": (0.2, {}),
    "let go": (0.3, {"turn": 15.0}),
    "leave": (0.4, {"z": 0.01}),
}


def program(moves: Moves) -> gm.PoseTrajectory:
    at = {"x": 0.0, "z": 0.01, "tilt": 0.0, "turn": 0.0}
    places, labels = [[*at.values()]], ["touch"]
    for name, (time, end) in moves.items():
        s = np.linspace(0.0, 1.0, round(time / PERIOD) + 1)[1:, None]
        start, at = np.array([*at.values()]), at | end
        places += list(start + (np.array([*at.values()]) - start) * (10 * s**3 - 15 * s**4 + 6 * s**5))
        labels += [name] * s.size
    x, z, tilt, turn = np.array(places).T
    rotation = Rotation.from_euler("yz", np.column_stack([tilt, turn]), degrees=True).as_matrix() @ DOWN
    return gm.PoseTrajectory(
        t=PERIOD * np.arange(x.size), position=np.column_stack([x, 0 * x, z]), rotation=rotation, moves=tuple(labels)
    )


def job(*, release: Any = None, moves: Moves | None = None, **material: float | None) -> gm.Job:
    given: dict[str, Any] = {"full_preload": 1e4, "min_dwell": 0.2} | material
    film = gm.PadMaterial(
        pull_off_stress=6e4, shear_strength=5e4, normal_stiffness=1e8, shear_stiffness=4e7, name="film", **given
    )
    outline = np.array([[-0.05, -0.04], [0.05, -0.04], [0.05, 0.04], [-0.05, 0.04]])
    com, inertia = gm.uniform_plate(0.2, outline, 0.004)
    kinds = {
        "preload": ("touch", "press"),
        "carry": ("lift", "across", "lower"),
        "release": ("seat", "let go", "leave"),
    }
    return gm.Job(
        name="plate",
        gripper=gm.Gripper(pads=(gm.Pad.rectangle("pad", film, [0.012, 0.012]),)),
        part=gm.Part(
            mass=0.2,
            com=com,
            inertia=inertia,
            outline=outline,
            thickness=0.004,
            max_pressure=5e4,
            face="plane",
            rigid=True,
        ),
        trajectory=program(GOOD | (moves or {})),
        phases=tuple(
            gm.Phase(kind=kind, moves=labels, release=release if kind == "release" else None)  # type: ignore[arg-type]
            for kind, labels in kinds.items()
        ),
        pick=gm.Pick(face=np.eye(4)),
        nest=gm.Nest(face=gm.pose(xyz=[0.2, 0.0, 0.0]), hold_down=4.0, lateral_force=10.0, moment=0.2),
    )


def three_pads(**given: Any) -> gm.Job:
    """Three pads in a row, and a nest that holds the part down against two of them."""
    good = job(release=None, **given)
    film = good.gripper.pads[0].material
    pads = tuple(
        gm.Pad.rectangle(name, film, [0.012, 0.012], gm.pose(xyz=[x, 0.0, 0.0]))
        for name, x in (("left", -0.02), ("middle", 0.0), ("right", 0.02))
    )
    nest = gm.Nest(face=gm.pose(xyz=[0.2, 0.0, 0.0]), hold_down=27.0)
    return replace(good, gripper=gm.Gripper(pads=pads), nest=nest)


def picked(**given: Any) -> gm.Job:
    """Without a nest, which takes time."""
    return replace(job(**given), nest=None)


def labelled() -> gm.Job:
    """On a liner that is drawn off nearly along it."""
    liner = {"peel_energy": 2.0, "peel_angle": 1.0, "peel_direction": 0.0, "peel_speed": [0.01, 10.0]}
    return replace(picked(), pick=gm.Pick(face=np.eye(4), **liner))


def carried(*, hurry: float = 0.6, offset: float = 0.0, **targets: float) -> gm.Job:
    """The carry alone, on two pads."""
    good = job(moves={"across": (hurry, {"x": 0.2})})
    film = good.gripper.pads[0].material
    pads = tuple(
        gm.Pad.rectangle(name, film, [0.012, 0.012], gm.pose(xyz=[x, offset, 0.0]))
        for name, x in (("a", -0.02), ("b", 0.02))
    )
    return replace(good, gripper=gm.Gripper(pads=pads), targets=gm.Targets(**targets), pick=None, nest=None)


def on_a_wrist(*, mass: float | None = 1.0, **rated: Any) -> gm.Job:
    """The carry alone, by a robot with rated values."""
    good = carried()
    com, inertia = (None, None) if mass is None else ([0.01, 0.0, -0.05], [2e-3, 2e-3, 1e-3, 0.0, 0.0, 0.0])
    return replace(
        good,
        gripper=replace(good.gripper, mass=mass, com=com, inertia=inertia),
        part=replace(good.part, com=good.part.com + np.array([0.02, 0.0, 0.0])),
        flange=gm.Flange(**{"payload": 2.0, "wrist": gm.pose(xyz=[0.0, 0.0, -0.2])} | rated),
    )


def as_run(made: gm.Job) -> gm.Job:
    """With a recording of just what was programmed."""
    return replace(made, recording=replace(made.trajectory, t=made.trajectory.t + 3.0, moves=None))


def set_down(**material: float) -> gm.Job:
    """A quick move across and hardly a rest before the part is set down within a hundredth of a millimetre."""
    good = job(moves={"across": (0.4, {"x": 0.2}), "lower": (0.4, {"z": -0.1e-3})}, **material)
    assert good.nest is not None
    return replace(good, nest=replace(good.nest, tolerance=TOLERANCE), targets=gm.Targets(hold=0.5, swing=0.1))


def drooping() -> gm.Job:
    """A plate of plastic that hangs off its pads by more than there is room."""
    good = carried(hold=0.5, swing=0.3)
    return replace(good, part=replace(good.part, rigid=None, youngs_modulus=5e8, clearance=1e-6))


def dirtied() -> gm.Job:
    """Pads that lose strength with every pick, and are to last for too many."""
    good = carried(hold=0.5, swing=0.3, interval=1e4)
    film = replace(good.gripper.pads[0].material, fouling_per_cycle=1e-3)
    pads = tuple(replace(pad, material=film) for pad in good.gripper.pads)
    return replace(good, gripper=replace(good.gripper, pads=pads), accept=("fouling",))


def half_cleaned() -> gm.Job:
    """Rolled over a roller by too little, which a thread holds."""
    return rolled(0.0165, roller(fixing_force=0.1))


@lru_cache
def faults() -> dict[str, tuple[gm.Job, set[str]]]:
    """Jobs by fault, each with the changes that its report advises."""
    straight: Moves = {"let go": (0.3, {})}
    tilted: Moves = {"touch": (0.6, {"z": -0.15e-3, "tilt": 1.2}), "lift": (0.5, {"z": 0.02, "tilt": 0.0})}
    overload = {"overload_pressure": 4e4, "overload_residual": 0.05}
    nest = job().nest
    assert nest is not None
    loose = replace(nest, lateral_force=0.5, moment=0.01)
    return {
        "none": (job(), set()),
        "shallow": (picked(moves={"touch": (0.6, {"z": -0.05e-3}), "press": (0.1, {})}), {"press deeper"}),
        "tilted": (picked(moves=tilted), {"align", "strengthen"}),
        "brief": (picked(moves={"press": (0.02, {})}), {"dwell"}),
        "hard": (picked(moves={"touch": (0.6, {"z": -0.7e-3})}), {"press less"}),
        "no law": (picked(full_preload=None), {"better data"}),
        "liner": (labelled(), {"peel angle", "strengthen"}),
        "straight": (job(release="torsion", moves=straight), {"travel", "hold down"}),
        "stays": (job(moves=straight | {"leave": (0.4, {"z": 0.0})}), {"release"}),
        "loose nest": (replace(job(moves={"let go": (0.3, {"turn": 20.0, "x": 0.203})}), nest=loose), {"nest"}),
        "loose nest, not held down": (
            replace(
                job(moves={"let go": (0.3, {"turn": 20.0, "x": 0.203})}),
                nest=replace(loose, hold_down=0.0),
            ),
            {"nest"},
        ),
        "one pad too many": (three_pads(moves=straight), {"smaller pads", "fewer pads", "hold down"}),
        "no overload data": (job(release="overload", moves=straight), {"better data"}),
        "light press": (job(release="overload", moves=straight, **overload), {"travel", "hold down"}),
        "never down": (job(moves={"lower": (0.5, {"z": 0.002})}), {"seat"}),
        "askew": (job(moves={"lower": (0.5, {"z": 0.0, "tilt": 15.0})}), {"seat"}),
        "beside": (carried(offset=0.006, hold=4.0), {"shift pads", "larger pads", "strengthen"}),
        "in a hurry": (carried(hurry=0.3, hold=5.0, peel=8.0, one_pad_lost=3.0), {"slow", "none"}),
        "heavy": (on_a_wrist(payload=3.0, moment=[0.12]), {"shift part", "lighten", "robot"}),
        "not weighed": (on_a_wrist(mass=None), {"better data"}),
        "stop": (replace(carried(), stop=Stop(deceleration=60.0, floor=-1.0)), {"stop softer", "strengthen"}),
        "as run": (as_run(carried(hurry=0.3, hold=5.0)), {"slow"}),
        "shaken": (carried(hurry=0.25, hold=1.2, swing=2.9), {"slow", "smooth", "strengthen"}),
        "set down swinging": (set_down(damping_ratio=0.03), {"wait"}),
        "swings for ever": (set_down(), {"better data"}),
        "droops": (drooping(), {"none"}),
        "dirty": (dirtied(), {"clean sooner"}),
        "half cleaned": (half_cleaned(), {"travel", "press deeper", "peel angle"}),
        "pressed once": (rolled(0.03, roller(least_presses=2)), {"travel"}),
    }


@pytest.fixture(scope="module")
def reports() -> dict[str, gm.Report]:
    return {name: gm.check_job(made) for name, (made, _) in faults().items()}


def rows() -> list[list[str]]:
    """The cells of all table rows of the page, without headers and rules."""
    found = []
    lines = PAGE.read_text(encoding="utf-8").splitlines()
    for line, following in itertools.pairwise([*lines, ""]):
        if line.startswith("|") and not line.startswith("|---") and not following.startswith("|---"):
            found.append([cell.strip() for cell in line.strip("|").split("|")])
    return found


def words(path: str) -> set[str]:
    """What stands in backquotes beside a key."""
    (row,) = (row for row in rows() if row[0] == f"`{path}`")
    return set(re.findall(r"`([^`]+)`", row[1]))


def keys(value: Any, path: str = "") -> set[str]:
    """The paths of all leaves; a list of tables counts as one table."""
    if path in ("findings[].because.causes", "findings[].because.ways"):
        return {path}
    if isinstance(value, dict) and value:
        inner = (keys(item, f"{path}.{key}".strip(".")) for key, item in value.items())
        return set().union(*inner) | ({path} if path in NAMED else set())
    if isinstance(value, list) and value and isinstance(value[0], dict):
        return set().union(*(keys(item, f"{path}[]") for item in value)) | ({path} if path in NAMED else set())
    # an empty table or list of tables has nothing to describe
    return set() if value == {} or (value == [] and path in LISTS) else {path}


LISTS = {
    "checks",
    "findings",
    "not_checked",
    "causes",
    "time_laws",
    "findings[].remedies",
    "checks[].details.one_pad_lost",
    "checks[].details.moves",
}
NAMED = {
    "checks[].at",
    "checks[].low_at",
    "checks[].details",
    "checks[].details.peel",
    "checks[].details.fall",
    "checks[].details.liner",
    "checks[].details.one_pad_lost",
    "checks[].details.moves",
    "findings[].worst",
    "findings[].remedies",
    "findings[].remedies[].figures",
    "findings[].because.loads",
    "findings[].because.ringing",
    "checks[].details.ringing",
}


def described() -> set[str]:
    listed = {row[0].strip("`") for row in rows()}
    choices = {"<place>": ("checks[].details.peel", "findings[].worst"), "<cause>": (*CAUSES, "swing"), "<way>": WAYS}
    found = set()
    for key in listed:
        (mark,) = [mark for mark in choices if mark in key] or [""]
        found |= {key.replace(mark, choice) for choice in choices[mark]} if mark else {key}
    return found


def test_every_key_of_real_reports_is_described_and_no_other(reports: dict[str, gm.Report]) -> None:
    seen = keys(json.loads(report_json(reports["none"], samples=True))) | keys_of_an_error()
    cause = RootCause(code="no_bond", text="the press leaves none", explains=("hold",))
    under = CheckUnderLaw(check="hold", verdict=gm.Verdict.PASS, share=1.2)
    law = TimeLaw(law="quintic", blends=False, duration=1.0, verdict=under.verdict, counts=True, checks=(under,))
    caused = replace(reports["none"], causes=(cause,), time_laws=(law,))
    for report in (*reports.values(), caused):
        seen |= keys(json.loads(report_json(report)))
    tree = json.loads(report_json(several()))
    own = {key: value for hold in tree.pop("holds") for key, value in hold.items() if value is not None}
    alike = {"like": None, "checks": None, "causes": None, "not_checked": None, "assumed": None}  # as of a report
    seen |= keys(tree) | keys({"holds": [own | alike]})
    assert seen == described()


def several() -> gm.Report:
    """Of two picks, the second in a hurry."""
    return gm.check_job(kit(*(((0, 0, 0), (0.3, 0, 0), {"over": over}) for over in (1.5, 0.1)), pick=None, nest=None))


def keys_of_an_error() -> set[str]:
    return keys(json.loads(error_json("job.toml", gm.InputError("part.mass", "nothing", "a mass"))))


@pytest.mark.parametrize("name", [*faults()])
def test_the_change_for_each_fault_is_advised(reports: dict[str, gm.Report], name: str) -> None:
    advised = {remedy.action for finding in reports[name].findings for remedy in finding.remedies}
    assert faults()[name][1] <= advised
    assert advised <= words("findings[].remedies[].action")


def test_names_of_checks_causes_and_ways_are_given(reports: dict[str, gm.Report]) -> None:
    assert {check.check for report in reports.values() for check in report.checks} == words("checks[].check")
    assert {*CAUSES, *AIR_CAUSES, "swing"} == words("findings[].because.causes")
    carry = [finding for finding in reports["in a hurry"].findings if finding.check == "hold"]
    assert set(carry[0].because["ways"]) == words("findings[].because.ways")
    assert set(WAYS) == words("findings[].worst.way") - {"release"}
    assert set(map(str, gm.Verdict)) == words("verdict")


def test_faults_are_told_from_what_is_right(reports: dict[str, gm.Report]) -> None:
    assert reports["none"].passed
    assert not any(report.passed for name, report in reports.items() if name != "none")
