"""What the pages say of names, figures and each other is what is there."""

import contextlib
import importlib.util
import io
import math
import re
import tomllib
from pathlib import Path
from typing import Any

import pytest

import gripmargin
from gripmargin import cli
from gripmargin.checks import registry
from gripmargin.checks.handover import pressure
from gripmargin.checks.handover import words as handover_words
from gripmargin.checks.hold import remedies, use
from gripmargin.contact import cells, limit, restraint, simulation, travel
from gripmargin.kernels import least_work
from gripmargin.motion import consistency, holes, interpolate, joints, turn_rates
from gripmargin.motion.trajectory import MAX_SAMPLES, RESOLVED
from gripmargin.run import assumptions
from gripmargin.workcell import Pad, Targets
from support.pages import FENCE, PAGES, ROOT, page_text, rows


def anchors(page: Path) -> set[str]:
    headings = re.findall(r"^#+ (.+)$", FENCE.sub("", page.read_text(encoding="utf-8")), re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-") for heading in headings}


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_links_lead_somewhere(page: Path) -> None:
    for target in re.findall(r"\]\(([^)\s]+)\)", FENCE.sub("", page.read_text(encoding="utf-8"))):
        assert "://" not in target, "pages link to pages"
        name, _, anchor = target.partition("#")
        file = (page.parent / name).resolve() if name else page
        assert file.exists(), target
        if anchor:
            assert anchor in anchors(file), target


def test_the_index_names_every_page() -> None:
    linked = set(re.findall(r"\]\(([^)#]+)\)", page_text("docs/index.md")))
    here = {path.name for path in (ROOT / "docs").iterdir() if path.name != "index.md"}
    assert linked == here | {"../README.md", "../DEVELOPERS.md"}


# ---- tables against the code ----


def test_checks_of_the_readme_are_those_made() -> None:
    defaults = Targets()
    listed = {row[0].strip("`"): row for row in rows("docs/checks.md") if len(row) == 6}
    assert list(listed) == [judged.name for judged in registry.judged()]
    for check, row in listed.items():
        name = {"lift_off": "hold", "recorded": "hold", "swing_as_run": "swing"}.get(check, check)
        assert row[2] == f"`targets.{name}`"
        default = getattr(defaults, name)
        if name == "swing":
            assert default is None
            assert row[3] == "that of hold"
            continue
        assert row[3].startswith("none" if default is None else f"{default:g}")


def test_exit_statuses_of_the_readme_are_those_of_the_command() -> None:
    help_text = io.StringIO()
    with contextlib.redirect_stdout(help_text):
        assert cli.main(["check", "--help"]) == 0
    shown = {int(row[0]): row[1] for row in rows("docs/checks.md") if len(row) == 2 and row[0].isdigit()}
    own = {int(k): v for k, v in re.findall(r"^ {2}(\d+) {2}(.+)$", help_text.getvalue(), re.MULTILINE)}
    assert set(shown) == set(own) == {cli.PASSED, cli.SHORT, cli.BAD_INPUT, cli.UNDECIDED, cli.INTERNAL, 130}
    for status, text in own.items():
        assert shown[status].startswith(text)


def test_targets_by_analogy_follow_their_formula() -> None:
    table = [row for row in rows("docs/choosing-targets.md") if row[0].startswith("target")]
    header = next(line for line in page_text("docs/choosing-targets.md").splitlines() if line.startswith("| tilt"))
    angles = [float(a) for a in re.findall(r"(\d+)°", header)]
    assert [float(v) for v in table[0][1:]] == [round(2 + 2 * math.sin(math.radians(a)), 1) for a in angles]


def test_rooms_are_listed_in_the_order_of_the_contract() -> None:
    project = tomllib.loads(page_text("pyproject.toml"))
    layers = project["tool"]["importlinter"]["contracts"][0]["layers"]
    listed = [re.findall(r"`(\w+)`", row[0]) for row in rows("DEVELOPERS.md") if len(row) == 2]
    assert len(listed) == 11
    assert listed == [re.split(r" [:|] ", layer) for layer in layers]


def test_names_for_contributors_exist() -> None:
    names = re.findall(r"`([^`\s]+)`", FENCE.sub("", page_text("DEVELOPERS.md")))
    paths = [name for name in names if re.search(r"/|\.(py|toml|md)$", name) and not re.search(r"[<*]", name)]
    dotted = [name for name in names if name not in paths and re.fullmatch(r"[a-z]+(\.\w+)+", name)]
    assert len(paths) > 10
    assert len(dotted) > 10
    for path in paths:
        assert (ROOT / path).exists() or (ROOT / "src" / "gripmargin" / path).exists(), path
    for name in dotted:
        head, *rest = name.split(".")
        rooms = [f"gripmargin.{room}{head}" for room in ("", "base.", "files.", "checks.", "results.", "run.")]
        found: Any = importlib.import_module(next(room for room in rooms if importlib.util.find_spec(room)))
        for step in rest:
            found = getattr(found, step)


def test_versions_agree() -> None:
    project = tomllib.loads(page_text("pyproject.toml"))
    module, _, name = project["tool"]["setuptools"]["dynamic"]["version"]["attr"].rpartition(".")
    place = f"src/{module.replace('.', '/')}.py"
    assert name == "__version__"
    assert "version" not in project["project"]
    assert project["project"]["dynamic"] == ["version"]
    assert f'__version__ = "{gripmargin.__version__}"' in page_text(place)
    assert f"Set the version in `{place}`, the only place that has it" in page_text("DEVELOPERS.md")
    headings = re.findall(r"^## (.+)$", page_text("docs/CHANGELOG.md"), re.MULTILINE)
    assert headings[0] == "Unreleased"
    assert len(headings) == 1 or headings[1].startswith(gripmargin.__version__)


def figures() -> dict[str, list[str]]:
    """Phrases of the pages with the figures of the code in them."""
    return {
        "docs/theory.md": [
            f"must give the travel within {100 * consistency.SPEED_TOLERANCE:g} %",
            f"within {100 * consistency.BARE_SPEED_TOLERANCE:g} % where there are none",
            f"the change of speed within {100 * consistency.ACCELERATION_TOLERANCE:g} %",
            f"A turn of {math.degrees(turn_rates.LARGEST_TURN):g} degrees or more between two samples is refused",
            f"It is sampled every {1e3 * interpolate.CONTROLLER_PERIOD:g} ms",
            f"normal more than {math.degrees(math.acos(cells.STEEPEST)):g} degrees off",
            f"circumscribed, with {Pad.DISC_CORNERS} corners",
            f"Where the bounds do not agree within `{10 * limit.RELATIVE_GAP:.0e}`".replace("e-03", "e-3"),
            f"both bounds agree within `{10 * least_work.LAST:.0e}`".replace("e-05", "e-5"),
            f"The coverage factor {use.COVERAGE:g} stands for",
            f"stand out from all of it with {100 * use.SURE:g} %",
            f"more than {('five', 'six')[int(holes.GAP_STEPS - 5)]} median steps",
            f"without speeds more than {1e3 * joints.LINEAR_SPACING:g} ms apart",
            f"the shift is {1e3 * remedies.WORTH_SHIFTING:g} mm or more and the pads stay on the part",
            f"no factor of {remedies.SLOWEST:g} or more helps",
            f"The factor, up to {remedies.LARGEST_PADS:g}, by which every pad",
            f"more than {('four', 'five')[int(assumptions.MUCH_LARGER - 4)]} times the area of the coupon",
            f"beyond {1e3 * consistency.NO_MOTION:g} mrad or mm makes the interval a doubt",
            f"where those given are more than {1e3 * RESOLVED:.0f} ms apart",
            f"to within {travel.SEATED:g} of the displacement that breaks a full bond",
            f"cut into cells, {cells.CELLS_ACROSS} along the longer side",
            f"No cell moves by more than 1/{1 / simulation.STEP:g} of what breaks a full bond",
            f"the demand is above {restraint.NEGLIGIBLE:g} of the part's weight",
            f"more than {pressure.BEYOND:g} times what the pads need",
        ],
        "docs/job-file.md": [
            f"At most {MAX_SAMPLES / 1e6:g} million samples",
            f"moving robot are more than {1e3 * joints.LINEAR_SPACING:g} ms apart",
            f"a force above {restraint.NEGLIGIBLE:g} of the part's weight",
        ],
        "docs/report.md": [f"only where the ratio is below {handover_words.WORTH_SAYING:g}"],
        "docs/choosing-targets.md": [
            f"`preload = {Targets().preload:g}`",
            f"`pressure = {Targets().pressure:.1f}`",
            f"`release = {Targets().release:g}`",
            f"`hold = {Targets().hold:.1f}`",
        ],
    }


def test_figures_in_the_text_are_those_of_the_code() -> None:
    for page, phrases in figures().items():
        text = " ".join(page_text(page).split())
        for phrase in phrases:
            assert phrase in text, page


def test_the_python_version_is_the_one_required() -> None:
    required = tomllib.loads(page_text("pyproject.toml"))["project"]["requires-python"]
    assert f"Python {required.removeprefix('>=')} or newer" in page_text("README.md")
