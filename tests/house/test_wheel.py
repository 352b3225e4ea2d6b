"""The wheel: what a user installs, in an environment of its own, where the source tree is not."""

import os
import subprocess
import sys
import sysconfig
from pathlib import Path

import pytest

from support.both_ways import need_the_core

ROOT = Path(__file__).parents[2]
SNIPPET = """
import gripmargin as gm

reveal_type(gm.check_file("job.toml").verdict)
gm.check_file(3)
"""


def run(*command, settings=None, **more):
    alone = {name: value for name, value in os.environ.items() if not name.startswith(("PYTHON", "PYTEST"))}
    alone |= settings or {}
    done = subprocess.run(
        [str(word) for word in command], capture_output=True, text=True, check=False, env=alone, **more
    )
    return done.returncode, done.stdout, done.stderr


@pytest.fixture(scope="module")
def scripts(tmp_path_factory):
    """The commands of a fresh environment with the wheel, which borrows the other libraries from this one."""
    folder = tmp_path_factory.mktemp("wheel")
    pip = [sys.executable, "-m", "pip", "--quiet", "--disable-pip-version-check"]
    # Built aside: the source tree stays as it is, and nothing is taken from what was built in it before.
    aside = folder / "aside.cfg"
    aside.write_text(f"[build]\nbuild_base = {folder / 'build'}\n[egg_info]\negg_base = {folder}\n", encoding="utf-8")
    asked = "--no-deps", "--no-build-isolation", "--wheel-dir", folder
    made = run(*pip, "wheel", ROOT, *asked, settings={"DIST_EXTRA_CONFIG": str(aside)})
    assert made[0] == 0, made
    (wheel,) = folder.glob("*.whl")
    fresh = folder / "environment"
    assert run(sys.executable, "-m", "venv", "--without-pip", fresh)[0] == 0
    paths = sysconfig.get_paths("venv", vars={"base": str(fresh), "platbase": str(fresh)})
    installed = run(*pip, "--python", Path(paths["scripts"]) / "python", "install", "--no-deps", wheel)
    assert installed[0] == 0, installed
    # A path in such a file is looked through for modules alone: the source tree that this environment knows is not.
    Path(paths["purelib"], "borrowed.pth").write_text(sysconfig.get_path("purelib") + "\n")
    return Path(paths["scripts"])


def test_the_command_runs(scripts, tmp_path):
    where = run(scripts / "python", "-c", "import gripmargin; print(gripmargin.__file__)", cwd=tmp_path)
    assert where[1].startswith(str(scripts.parent))
    status, out, err = run(scripts / "gripmargin", "check", ROOT / "trajectories" / "window.toml", cwd=tmp_path)
    assert (status, err) == (0, "")
    assert out.startswith("PASS  window, tray to frame\n")


def test_the_kernels_in_c_are_in_it(scripts, tmp_path):
    need_the_core()
    code = "from gripmargin.kernels import core; print(core.built(), core.kernel('follow'))"
    place, kernel = run(scripts / "python", "-c", code, cwd=tmp_path)[1].split(maxsplit=1)
    assert place.startswith(str(scripts.parent))
    assert kernel.strip() != "None"


def test_types_are_seen(scripts, tmp_path):
    (tmp_path / "snippet.py").write_text(SNIPPET)
    status, out, _ = run(scripts / "python", "-m", "mypy", "--strict", "snippet.py", cwd=tmp_path)
    assert status == 1
    assert 'Revealed type is "gripmargin.results.findings.Verdict"' in out
    assert 'Argument 1 to "check_file" has incompatible type "int"' in out
    assert "Found 1 error in 1 file" in out


def test_the_tests_of_the_command_pass(scripts):
    tests = ["tests/cli/test_cli.py", "tests/cli/test_outputs.py"]
    status, out, err = run(
        scripts / "python", "-m", "pytest", "-q", "-n", "0", "-p", "no:cacheprovider", *tests, cwd=ROOT
    )
    assert status == 0, out[-5000:] + err[-2000:]
