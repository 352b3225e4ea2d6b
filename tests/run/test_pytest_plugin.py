"""The plugin in test sessions of its own: found by its entry point, loads nothing, says what falls short."""

import os
import tomllib
from pathlib import Path

import pytest

import gripmargin as gm
from gripmargin.run.pytest_plugin import Grip, assert_grip

pytest_plugins = ["pytester"]

ROOT = Path(__file__).parents[2]


@pytest.fixture
def session(pytester, monkeypatch):
    """Run a test module in a process of its own, as strictly as pytest can, with the entry points of pyproject.toml."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    info = pytester.mkdir("installed") / "gripmargin-1.dist-info"
    info.mkdir()
    (info / "METADATA").write_text("Metadata-Version: 2.1\nName: gripmargin\nVersion: 1\n")
    points = project["entry-points"]["pytest11"].items()
    (info / "entry_points.txt").write_text("[pytest11]\n" + "".join(f"{name} = {at}\n" for name, at in points))
    paths = [str(info.parent), str(ROOT / "src"), *filter(None, [os.environ.get("PYTHONPATH")])]
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join(paths))

    def run(code, *arguments):
        pytester.makepyfile(code)
        strict = ("-W", "error", "--strict-config", "--strict-markers", "-p", "no:cacheprovider")
        return pytester.runpytest_subprocess(*strict, *arguments)

    return run


def test_a_session_says_what_falls_short(session, write):
    jobs = {name: write(name, *more) for name, more in {"good": (), "heavy": ("8 kg",)}.items()}
    noisy = write("noisy", "2 kg", noise=0.3)
    done = session(
        f"""
        import sys

        import pytest

        def test_nothing_is_loaded_before_it_is_used():
            assert not {{"numpy", "scipy", "pydantic", "gripmargin.run.one"}} & set(sys.modules)

        def test_good(grip):
            assert grip.holds({jobs["good"]!r}).passed

        def test_good_made(grip):
            grip.holds({jobs["good"]!r}, made=["hold"])

        def test_heavy(grip):
            grip.holds({jobs["heavy"]!r})

        def test_noisy(grip):
            grip.holds({noisy!r})

        def test_not_there(grip):
            grip.holds("not there.toml")

        def test_not_made(grip):
            grip.holds({jobs["good"]!r}, made=["hold", "release", "smell"])

        def test_a_report_of_its_own():
            import gripmargin as gm
            from gripmargin.run.pytest_plugin import assert_grip
            assert_grip(gm.check_file({jobs["heavy"]!r}))
        """
    )
    done.assert_outcomes(passed=3, failed=5)
    done.stdout.fnmatch_lines(
        [
            "E * AssertionError: 'heavy' falls short",
            "E * hold: fail, margin 1.*, target 2, worst at * s in move 'lift'",
            "E * hold: move 'lift', * s: margin 1.*; acts as pull *",
            "E * to change: *",
            "E * AssertionError: 'noisy' is undecided, which is no pass",
            "E * hold: undecided, margin *, target 2, may be as low as *, worst at *",
            "E * undecided: the accelerations are estimated, *",
            "E * to change: *give velocities and accelerations *",
            "E * AssertionError: the job could not be checked",
            "E *not there.toml: found no such file, expected a file",
            "E * AssertionError: 'good' passes, but not all was checked",
            "E * release: the job has no [[]nest[]] face",
            "E * smell: no such check",
        ],
    )
    assert "gripmargin/run/one.py" not in done.stdout.str()  # no insides of the library in the way


def test_it_can_be_left_out(session):
    done = session("def test_grip(grip):\n    pass\n", "-p", "no:gripmargin")
    done.assert_outcomes(errors=1)
    done.stdout.fnmatch_lines(["*fixture 'grip' not found*"])


def test_names_are_relative_to_the_file_of_the_test(write, tmp_path):
    write("good")
    assert Grip(tmp_path).holds("good.toml").passed


def test_it_takes_whatever_the_library_takes(write, reports, tmp_path):
    grip = Grip(tmp_path)
    job = gm.read_job(write("good"))
    assert grip.holds(job).passed
    assert grip.holds(reports["good"]) is reports["good"]
    arguments = {"trajectory": job.trajectory, "gripper": job.gripper, "part": job.part}
    assert grip.holds(**arguments).passed
    with pytest.raises(AssertionError, match="falls short"):
        grip.holds(**arguments, targets=gm.Targets(hold=1e6))
    with pytest.raises(TypeError, match="not both"):
        grip.holds(job, **arguments)


@pytest.mark.parametrize("name", ["heavy", "noisy"])
def test_what_is_no_pass_is_refused(reports, name):
    assert assert_grip(reports["good"]) is reports["good"]
    with pytest.raises(AssertionError):
        assert_grip(reports[name])


def test_the_page_shows_the_message_as_it_is():
    page = (ROOT / "docs" / "gate.md").read_text(encoding="utf-8")
    shown = [line[8:] for line in page.splitlines() if line.startswith("E  ")]
    with pytest.raises(AssertionError) as failure:
        Grip(ROOT).holds("trajectories/window-fast.toml")
    lines = str(failure.value).splitlines()
    assert shown[0] == f"AssertionError: {lines[0]}"
    for line, whole in zip(shown[1:], lines[1:], strict=True):
        assert whole.startswith(line.removesuffix("..."))
