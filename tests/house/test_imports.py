"""What the sources import: third-party libraries are declared, and the heavy ones have one place each."""

import ast
import re
import subprocess
import sys
import tomllib
from collections import defaultdict
from importlib.metadata import packages_distributions
from pathlib import Path

ROOT = Path(__file__).parents[2]
SOURCE = ROOT / "src" / "gripmargin"
ONLY_HERE = {"roboticstoolbox": "files/robots.py", "rtbdata": "files/robots.py", "toppra": "tuning/profile.py"}
OF_LATER_PYTHONS = {"compression"}


def imported(tree):
    """Names of the modules that a source file imports, those that it imports by their names included."""
    for node in ast.walk(tree):
        match node:
            case ast.Import():
                yield from (alias.name for alias in node.names)
            case ast.ImportFrom(module=str(module), level=0):
                yield module
            case ast.Call(func=ast.Name(name) | ast.Attribute(attr=name), args=[ast.Constant(str(module)), *_]):
                if name in ("import_module", "find_spec"):
                    yield module


def places():
    """The files that import each library."""
    found = defaultdict(set)
    for path in SOURCE.rglob("*.py"):
        for module in imported(ast.parse(path.read_text(encoding="utf-8"))):
            library = module.partition(".")[0]
            if library not in {*sys.stdlib_module_names, *OF_LATER_PYTHONS, "gripmargin"}:
                found[library].add(path.relative_to(SOURCE).as_posix())
    return found


def distribution(requirement):
    """The name of what a requirement asks for, in one spelling."""
    return re.match(r"[\w.-]+", requirement)[0].lower().replace("_", "-")


def test_every_library_that_is_imported_is_declared():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    asked = [*project["dependencies"], *(one for extra in project["optional-dependencies"].values() for one in extra)]
    declared = {distribution(requirement) for requirement in asked}
    known = packages_distributions()
    missing = {
        library: sorted(files)
        for library, files in places().items()
        if not {distribution(name) for name in known.get(library, ())} & declared
    }
    assert missing == {}


def test_every_library_that_is_required_is_imported():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    known = packages_distributions()
    used = {distribution(name) for library in places() for name in known.get(library, ())}
    assert {distribution(requirement) for requirement in project["dependencies"]} - used == set()


def test_heavy_libraries_have_one_place_each():
    found = places()
    assert {library: found[library] for library in ONLY_HERE} == {name: {file} for name, file in ONLY_HERE.items()}


def test_importing_the_package_loads_no_robot_toolbox_and_no_plotting():
    heavy = "{'roboticstoolbox', 'matplotlib', 'scipy.signal', 'pint', 'pydantic'}"
    code = f"import sys, gripmargin; print(sorted({heavy} & set(sys.modules)))"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"


def private(tree):
    """What a test takes of the package that is the package's own affair, each with its line."""
    names = {"gripmargin"}
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and (node.module or "").partition(".")[0] == "gripmargin":
            names |= {alias.asname or alias.name for alias in node.names}
            yield from (f"line {node.lineno}: {alias.name}" for alias in node.names if is_private(alias.name))
        elif isinstance(node, ast.Import):
            names |= {alias.asname or "gripmargin" for alias in node.names if alias.name.startswith("gripmargin")}
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and is_private(node.attr) and ast.unparse(node).partition(".")[0] in names:
            yield f"line {node.lineno}: {ast.unparse(node)}"


def is_private(name):
    return name.startswith("_") and not name.startswith("__")


def test_tests_take_no_private_names():
    taken = {
        str(path.relative_to(ROOT)): found
        for folder in ("tests", "trajectories")
        for path in (ROOT / folder).rglob("*.py")
        if (found := list(private(ast.parse(path.read_text(encoding="utf-8")))))
    }
    assert taken == {}


def test_a_check_of_a_job_with_a_urdf_loads_what_it_needs():
    """Neither the toolbox and what it draws with, nor what tuning, bags and pages take (0.3 s and more each)."""
    heavy = {"roboticstoolbox", "spatialmath", "matplotlib", "xacrodoc", "toppra", "rosbags", "pandas", "sympy"}
    code = (
        "import sys; from gripmargin.cli import main\n"
        "status = main(['check', sys.argv[1]])\n"
        f"print(status, sorted(set({sorted(heavy)}) & sys.modules.keys()))"
    )
    job = ROOT / "trajectories" / "reflector.toml"
    run = subprocess.run([sys.executable, "-c", code, str(job)], capture_output=True, text=True, check=True)
    assert run.stdout.splitlines()[-1] == "0 []"
