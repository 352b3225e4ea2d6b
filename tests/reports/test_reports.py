"""Reports: what a person and a program read of a check."""

import json
import re

import numpy as np
import pytest

import gripmargin as gm

FILM = {"pull_off_stress": 5e4, "shear_strength": 5e4, "normal_stiffness": 1e8, "shear_stiffness": 3e7}
CONTRACT = {"schema", "verdict", "job", "checks", "findings", "not_checked", "assumed", "references"}
SAMPLES = {
    "t", "phase", "move", "position", "acceleration", "angular_velocity", "angular_acceleration", "force", "moment",
    "hold_margin", "peel_index", "peel_azimuth",
}  # fmt: skip
NASTY = "<script>alert(1)</script> \x1b[31m \n second line \u202e & \u00e9"


def report(*, mass=2.0, name="plate", move="lift", pad="pad"):
    t = np.linspace(0.0, 1.0, 251)
    x = 0.8 * (10 * t**3 - 15 * t**4 + 6 * t**5)
    free = t > 0.9
    return gm.check(
        name=name,
        trajectory=gm.PoseTrajectory(
            t=t,
            position=np.column_stack([x, 0 * t, 0 * t]),
            rotation=np.broadcast_to(np.diag([1.0, -1.0, -1.0]), (251, 3, 3)),
            moves=tuple(np.where(free, "return", move)),
        ),
        gripper=gm.Gripper(
            pads=(
                gm.Pad.rectangle(pad, gm.PadMaterial(**FILM), [0.03, 0.03], gm.pose([-0.04, 0, 0])),
                gm.Pad.disc("other", gm.PadMaterial(**FILM), 0.03, gm.pose([0.04, 0, 0])),
            )
        ),
        part=gm.Part(face="plane", rigid=True, mass=mass, com=[0.01, 0.02, 0.02], inertia=1e-2 * np.eye(3)),
        phases=(gm.Phase(kind="carry", moves=(move,)),),
        accept=("never_released",),
    )


@pytest.fixture(scope="module")
def failing():
    return report()


def test_json_has_what_the_contract_names(failing):
    tree = gm.report_tree(failing, samples=True)
    assert tree.keys() >= CONTRACT
    assert tree["schema"] == "gripmargin-report/1"
    assert tree["samples"].keys() >= SAMPLES
    assert {"check", "verdict", "value", "target", "at"} <= tree["checks"][0].keys()
    assert {"t", "sample", "move"} <= tree["checks"][0]["at"].keys()
    assert {"check", "from", "to", "worst", "because", "remedy"} <= tree["findings"][0].keys()


def test_json_has_no_number_that_is_none(failing):
    def refuse(constant):
        raise AssertionError(constant)

    tree = json.loads(gm.report_json(failing, samples=True), parse_constant=refuse)
    margins = tree["samples"]["hold_margin"]
    assert all((m is None) == (p != "carry") for m, p in zip(margins, tree["samples"]["phase"], strict=True))


def test_json_is_the_tree_with_one_line_for_each_column_of_samples(failing):
    """The lines tell that no number stands alone; Python's own encoder says what the text means."""
    tree, text = gm.report_tree(failing, samples=True), gm.report_json(failing, samples=True)
    assert text.startswith(gm.report_json(failing).removesuffix("\n}\n") + ',\n "samples": {\n')
    assert json.loads(text) == json.loads(json.dumps(tree))
    assert text.count("\n") == gm.report_json(failing).count("\n") + len(tree["samples"]) + 2


def test_samples_of_the_json_are_those_of_the_report(failing):
    tree = gm.report_tree(failing, samples=True)["samples"]
    carried = np.array(failing.samples.phase) == "carry"
    np.testing.assert_array_equal(
        np.array(tree["hold_margin"], dtype=float)[carried], failing.samples.hold_margin[carried]
    )
    worst = int(np.nanargmin(failing.samples.hold_margin))
    assert failing.checks[0].at.sample == worst
    assert failing.checks[0].value == failing.samples.hold_margin[worst]


def test_findings_are_stretches_not_rows(failing):
    assert [finding.check for finding in failing.findings] == ["hold", "swing"]
    finding = failing.findings[0]
    short = failing.samples.t[failing.samples.hold_margin_low < 2.0]
    assert (finding.start, finding.end) == (short[0], short[-1])


def test_causes_and_ways_add_up_to_the_whole(failing):
    because = failing.findings[0].because
    assert sum(because["causes"].values()) == pytest.approx(1.0)
    assert sum(because["ways"].values()) == pytest.approx(1.0)


def test_text_is_narrow_and_begins_with_the_verdict(failing):
    text = gm.report_text(failing)
    assert text.startswith("FAIL  plate\n")
    assert max(map(len, text.splitlines())) <= 100
    order = ["What falls short", "What to change", "Not checked", "Assumed", "As read", "Cautions"]
    assert [line for line in text.splitlines() if line in order] == order


def test_text_says_no_minus_zero(failing):
    assert not re.search(r"-0(\.0+)?(?![\d.])", gm.report_text(failing))


def test_strings_from_the_job_cannot_forge_a_line_or_paint_the_terminal():
    made = report(name=NASTY, move=NASTY, pad=NASTY)
    text = gm.report_text(made)
    assert all(c.isprintable() for c in text.replace("\n", ""))
    assert not any(line.startswith(("second line", " second line")) for line in text.splitlines())
    assert json.loads(gm.report_json(made))["job"] == NASTY


def test_a_pass_is_said_with_what_it_does_not_cover():
    text = gm.report_text(report(mass=0.05))
    assert text.startswith(
        "PASS  plate\n      checked: hold, swing; "
        "not checked: preload, release, pressure, settle, stop, recorded, flange\n"
    )
    assert "What falls short" not in text
    assert "Full bond" in text


def test_a_report_passes_only_as_a_whole(failing):
    assert not failing.passed
    assert report(mass=0.05).passed


@pytest.mark.parametrize("length", [90, 300])
def test_long_names_do_not_widen_the_text(length):
    for name in ("n" * length, "a name of words " * (length // 16)):
        made = report(name=name, move=name, pad=name)
        assert max(map(len, gm.report_text(made).splitlines())) <= 100
        assert gm.report_text(made).startswith("FAIL  ")


def test_tractions_that_do_not_carry_the_load_pass_nothing(monkeypatch):
    monkeypatch.setattr("gripmargin.contact.backing.Backing.imbalance", lambda self, wrench: 0.01)
    assert report(mass=0.05).verdict == "undecided"
