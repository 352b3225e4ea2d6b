"""A field is declared once: Python's check, the file, its schema and its page all follow the declaration."""

import copy
import pickle
import subprocess
import sys
from collections.abc import Iterator

import jsonschema
import numpy as np
import pytest
from pydantic import ValidationError

import gripmargin as gm
from gripmargin.base.docstrings import attributes
from gripmargin.base.units import DIMENSIONS
from gripmargin.files import job_keys, job_schema
from gripmargin.files.column_map import ColumnGroup, TimeColumn
from gripmargin.files.job_schema import JobFile, table, table_at
from gripmargin.workcell.fields import Declared, Fault, key
from gripmargin.workcell.job import Job, JointLimits
from gripmargin.workcell.kinds import (
    CHECK_SIZE,
    POINT,
    Choice,
    Number,
    OfJoint,
    Pose,
    Row,
    Text,
    not_negative,
    positive,
)
from support.job_page import row


class Lamp(Declared, called="lamp"):
    """A lamp over the tray.

    It stands for a table of the file that someone adds.

    Attributes:
        mass: Of all of it.
        height: Above the tray; the lens counts.
        colour: Of its light.
        glare: Share of the light that blinds.
        lens: Where its lens is.
        pose: Where its foot is. It stands still.
        rays: Lengths of its rays.
        label: What it is called.
    """

    mass: float = key(positive("mass"), "hold")
    height: float | None = key(not_negative("length"), "hold", default=None, absent="not known", spelled="h")
    colour: str = key(Choice(("red", "blue")), "hold", default="red")
    glare: float = key(Number(least=0, below=1, what="a share"), "hold", default=0.25)
    lens: np.ndarray = key(POINT, "hold", absent="the middle of the tray")
    pose: np.ndarray | None = key(Pose(), default=None)
    rays: np.ndarray | None = key(Row(positive("length")), "swing", default=None, like="lens")
    label: str = key(Text(), default="lamp")

    def faults(self) -> Iterator[Fault]:
        """A blue light that blinds."""
        if self.colour == "blue" and self.glare > 0.5:
            yield "glare", f"{self.glare:g} of a blue light", "at most 0.5", "take a red one"


GIVEN = {"mass": 2.0, "lens": [0, 0, 1]}
READ = {"mass": "2 kg", "lens": ["0 m", "0 m", "1 m"]}


def sentence(**more):
    with pytest.raises(gm.InputError) as caught:
        Lamp(**{**GIVEN, **more})
    return str(caught.value)


class TestInPython:
    @pytest.mark.parametrize(
        ("more", "said"),
        [
            ({"mass": 0}, "lamp.mass: found 0, expected a value above 0 [kg]"),
            ({"mass": np.inf}, "lamp.mass: found inf, expected a value above 0 [kg]"),
            ({"mass": 1e300}, "lamp.mass: found 1e+300 kg, expected at most 1e+06 kg; check its unit and its exponent"),
            ({"mass": 1e-320}, f"lamp.mass: found {1e-320:g} kg, expected at least 1e-09 kg; {CHECK_SIZE}"),
            ({"lens": [0, 0, -1e4]}, f"lamp.lens[2]: found -10000 m, expected at most 1000 m; {CHECK_SIZE}"),
            ({"height": np.nan}, "lamp.height: found nan, expected a value of 0 or more [m]"),
            ({"colour": "green"}, "lamp.colour: found 'green', expected red or blue"),
            ({"glare": 1}, "lamp.glare: found 1, expected a share from 0 up to 1"),
            ({"lens": [0, 1]}, "lamp.lens: found an array of shape (2,), expected shape (3,)"),
            ({"rays": [1, 2, -3]}, "lamp.rays[2]: found -3, expected a value above 0 [m]"),
            ({"rays": []}, "lamp.rays: found an empty list, expected at least one value"),
            (
                {"glare": 0.75, "colour": "blue"},
                "lamp.glare: found 0.75 of a blue light, expected at most 0.5; take a red one",
            ),
        ],
    )
    def test_is_refused_in_full_sentences(self, more, said):
        assert sentence(**more) == said

    def test_stays_as_it_was_checked(self):
        given = np.array([0.0, 0.0, 1.0])
        lamp = Lamp(mass=2, lens=given)
        given[2] = 7.0
        for twin in (lamp, copy.deepcopy(lamp), pickle.loads(pickle.dumps(lamp))):
            assert twin == Lamp(**GIVEN)
            assert hash(twin) == hash(lamp)
            assert not twin.lens.flags.writeable
        assert isinstance(lamp.mass, float)
        assert lamp.height is None

    def test_is_asked_for_what_has_no_default(self):
        with pytest.raises(TypeError, match="'mass'"):
            Lamp(lens=[0, 0, 1])

    def test_the_docstring_has_unit_shape_and_what_none_stands_for(self):
        assert Lamp.__doc__.startswith("A lamp over the tray.\n\nIt stands for")
        assert attributes(Lamp) == {
            "mass": "Of all of it [kg].",
            "height": "Above the tray [m]; the lens counts; None: not known.",
            "colour": "Of its light.",
            "glare": "Share of the light that blinds [-].",
            "lens": "Where its lens is [m], shape (3,).",
            "pose": "Where its foot is, shape (4, 4), or None. It stands still.",
            "rays": "Lengths of its rays [m], shape (k,); None: that of `lens`.",
            "label": "What it is called.",
        }


class TestInTheFile:
    lamps = table("LampTable", Lamp)

    def faults(self, tree):
        with pytest.raises(ValidationError) as caught:
            self.lamps.model_validate(tree)
        return {
            job_schema.key_path(e["loc"]): e["ctx"]["expected"] for e in caught.value.errors() if "expected" in e["ctx"]
        }

    def test_is_read_into_si_under_the_names_of_the_fields(self):
        read = self.lamps.model_validate({**READ, "h": "12 cm", "colour": "blue", "rays": ["1 mm", "2 mm"]})
        lamp = Lamp(**read.given(Lamp))
        assert (lamp.mass, lamp.height, lamp.colour, lamp.glare) == (2.0, pytest.approx(0.12), "blue", 0.25)
        np.testing.assert_allclose(lamp.rays, [1e-3, 2e-3])

    def test_all_faults_are_found_in_one_reading_and_within_the_same_bounds(self):
        tree = {"mass": "0 kg", "h": "-1 m", "colour": "green", "glare": 1, "rays": ["0 m"]}
        assert self.faults(tree) == {
            "mass": "a mass above 0",
            "h": "a length of 0 or more",
            "colour": "one of red, blue",
            "glare": "a bare number of at least 0 and below 1",
            "rays[0]": "a length above 0",
        }

    def test_may_leave_out_what_something_stands_for(self):
        assert self.lamps.model_validate({"mass": "1 kg"}).given(Lamp) == {"mass": 1.0}
        with pytest.raises(ValidationError, match="Field required"):
            self.lamps.model_validate({})

    def test_has_no_key_of_a_field_that_is_used_nowhere(self):
        with pytest.raises(ValidationError, match="Extra inputs"):
            self.lamps.model_validate({**READ, "label": "mine"})

    def test_is_published(self):
        schema = self.lamps.model_json_schema(by_alias=True)
        assert schema["description"] == "A lamp over the tray."
        assert list(schema["properties"]) == ["mass", "h", "colour", "glare", "lens", "rays"]
        assert schema["required"] == ["mass"]
        jsonschema.validate({**READ, "h": "1 m"}, schema)
        for wrong in (
            {"mass": 2.0},
            {"glare": 1},
            {"colour": "green"},
            {"lens": ["0 m"]},
            {"rays": []},
            {"height": "1 m"},
        ):
            with pytest.raises(jsonschema.ValidationError):
                jsonschema.validate({**READ, **wrong}, schema)

    def test_a_key_of_the_file_alone_has_its_place(self):
        own = {"at": job_keys.Key(Pose(), "hold", doc="Where it is.", absent="the tray", after="mass")}
        both = table("LampTable", Lamp, own)
        assert job_schema.known_keys(both)[:3] == ["mass", "at", "h"]
        read = both.model_validate({**READ, "at": {"xyz": ["1 m", "2 m", "3 m"]}})
        np.testing.assert_array_equal(read.at, gm.pose([1, 2, 3]))
        assert "at" not in read.given(Lamp)


def test_on_the_page():
    lamps = TestInTheFile.lamps
    rows = [row(f"lamp.{key.spelled or name}", [("", key)]) for name, key in lamps.declared.items()]
    assert rows == [
        "| `lamp.mass` | mass | yes | | hold | of all of it |\n",
        "| `lamp.h` | length | no | not known | hold | above the tray; the lens counts |\n",
        "| `lamp.colour` | text: `red`, `blue` | no | red | hold | of its light |\n",
        "| `lamp.glare` | number from 0 up to 1 | no | 0.25 | hold | share of the light that blinds |\n",
        "| `lamp.lens` | 3 lengths | no | the middle of the tray | hold | where its lens is |\n",
        "| `lamp.rays` | list of lengths | no | that of `lens` | swing | lengths of its rays |\n",
    ]


# ---- the job's own fields ----

CLASSES = {
    "job": Job,
    "robot": JointLimits,
    "materials.film": gm.PadMaterial,
    "gripper": gm.Gripper,
    "part": gm.Part,
    "part.components": gm.Component,
    "program": Job,
    "pick": gm.Pick,
    "nest": gm.Nest,
    "process": gm.Process,
    "stop": gm.Stop,
    "stop.measured": gm.StopFigure,
    "flange": gm.Flange,
    "targets": gm.Targets,
    "program.phases": gm.Phase,
    "program.columns": gm.Columns,
    "program.columns.time": TimeColumn,
    "program.columns.joints": ColumnGroup,
    "gripper.stations": gm.Station,
    "gripper.pads.rectangle": gm.Pad,
    "gripper.pads.disc": gm.Pad,
    "gripper.pads.polygon": gm.Pad,
    "parts.any": gm.Part,
    "picks.any": gm.Pick,
    "nests.any": gm.Nest,
    "cleaners.roller": gm.Cleaner,
}
# What the file has in place of something that Python has otherwise.
FILE_ALONE = {
    "robot": {"model", "urdf", "xacro_arguments", "packages", "base_link", "end_link", "joint_names", "base", "tool"},
    "part": {"at"},
    "parts.any": {"at"},
    "program": {"topic", "recording_topic", "columns", "recording_columns"},
    "gripper.pads.rectangle": {"shape", "size"},
    "gripper.pads.disc": {"shape", "diameter"},
    "gripper.pads.polygon": {"shape", "outline"},
}


def table_of(place):
    steps = place.split(".")
    if steps[-1] in ("phases", "measured", "components", "process", "stations") or "pads" in steps:
        steps.insert(2, 0)
    return table_at(tuple(steps))


@pytest.mark.parametrize("place", CLASSES)
def test_every_key_of_the_file_is_a_field_by_the_same_declaration(place):
    kind, declared = CLASSES[place], table_of(place).declared
    assert {name for name, each in declared.items() if each is not kind.keys.get(name)} == FILE_ALONE.get(place, set())


def test_every_table_of_the_file_is_looked_at():
    schema = job_schema.job_schema()["$defs"]
    assert set(schema) == {table_of(place).__name__ for place in CLASSES} | {"PoseTable", "FaceTable"}
    assert set(JobFile.model_fields) == {place.split(".")[0] for place in CLASSES}


@pytest.mark.parametrize("kind", dict.fromkeys([*CLASSES.values(), job_keys.Frame, job_keys.Face, job_keys.Source]))
def test_every_field_says_what_it_means(kind):
    assert [name for name, each in kind.keys.items() if not each.doc] == []
    assert list(attributes(kind)) == list(kind.keys)


def bounds():
    """Every number of every class: the class, what else it needs, the field, its kind."""
    film = dict.fromkeys(("pull_off_stress", "shear_strength", "normal_stiffness", "shear_stiffness"), 1.0)
    needs = {
        gm.PadMaterial: film,
        gm.Gripper: {"pads": (gm.Pad.disc("a", gm.PadMaterial(**film), 0.1),)},
        gm.Part: {"mass": 1.0, "com": [0, 0, 0], "inertia": np.eye(3)},
        gm.Component: {"mass": 1.0, "at": [0, 0, 0]},
        gm.Pick: {"face": np.eye(4)},
        gm.Nest: {"face": np.eye(4)},
        gm.Cleaner: {"face": np.eye(4)},
        gm.Process: {"moves": ("in",), "overtravel": [0, 0, 1e-3], "at": [0, 0, 0], "shape": "ramp"},
        gm.Stop: {"axis_deceleration": [1.0]},
        gm.StopFigure: {"speed": 1.0, "time": 1.0},
        gm.Flange: {"payload": 1.0},
        gm.Targets: {},
    }
    for kind, given in needs.items():
        for name, each in kind.keys.items():
            if isinstance(each.kind, Number):
                yield pytest.param(kind, given, name, each.kind, id=f"{kind.__name__}.{name}")


@pytest.mark.parametrize(("kind", "given", "name", "number"), [*bounds()])
def test_bounds_are_kept_in_python(kind, given, name, number):
    """Whatever a bound excludes is refused, by the name of the field, and so is what is no number."""
    wrong = [np.nan, np.inf, -np.inf]
    wrong += [bound for bound in (number.above, number.below) if bound is not None]
    wrong += [number.least - 1e-9] if number.least is not None else []
    wrong += [number.most + 1e-9] if number.most is not None else []
    for value in wrong:
        with pytest.raises(gm.InputError, match=name):
            kind(**{**given, name: value})


def test_dimensions_are_known():
    numbers = [each.kind for kind in CLASSES.values() for each in kind.keys.values() if isinstance(each.kind, Number)]
    assert len(numbers) > 40
    assert {number.dimension for number in numbers} - {""} <= set(DIMENSIONS)
    assert OfJoint("jerk").unit == "rad/s^3 or m/s^3"


def test_targets_that_stand_in_for_others():
    targets = gm.Targets(hold=3.0)
    assert targets.of("swing") == targets.of("hold") == 3.0
    assert targets.swing is None
    assert gm.Targets(hold=3.0, swing=1.2).of("swing") == 1.2
    assert targets.of("peel") is targets.of("one_pad_lost") is None  # reported, not judged
    assert targets.of("preload") == 0.9


def test_what_a_job_consists_of_loads_neither_pydantic_nor_pint():
    code = "import sys, gripmargin.workcell.job; print(sorted({'pydantic', 'pint'} & set(sys.modules)))"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"
