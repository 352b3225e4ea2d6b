"""Which changes are tried, by which tests, and which of them change nothing."""

import hashlib
from collections import defaultdict
from functools import cache
from pathlib import Path

from mutants.changes import mutants

ROOT = Path(__file__).parents[2]
PACKAGE = Path("src/gripmargin")
ROOMS = ("contact", "kernels", "checks/hold", "checks/handover", "checks/swing", "checks/stop")
SPOKEN = ("remedies", "words", "figures", "explain", "__init__")  # advice and sentences
COUNT = 280
# Tests that look at the physics from further away, tried where those of the module itself feel nothing.
BESIDE = {
    "contact": ("tests/contact", "tests/checks/test_false_pass.py", "tests/checks/hold"),
    "kernels": ("tests/kernels", "tests/contact"),
    "checks/hold": ("tests/checks/hold", "tests/checks/test_false_pass.py"),
    "checks/handover": ("tests/checks/handover", "tests/checks/test_false_pass.py", "tests/contact"),
    "checks/swing": ("tests/checks/swing", "tests/kernels"),
    "checks/stop": ("tests/checks/stop", "tests/kernels/test_stopping.py"),
}

# Key of a change that no test can feel, and why.
EQUIVALENT = {}


@cache
def modules(root=ROOT):
    """Paths of the physics under the package, as text, with the source of each as bytes."""
    found = {}
    for room in ROOMS:
        for path in sorted((root / PACKAGE / room).rglob("*.py")):
            if not any(word in path.stem for word in SPOKEN):
                found[path.relative_to(root / PACKAGE).as_posix()] = path.read_bytes()
    return found


@cache
def chosen(root=ROOT, count=COUNT):
    """The changes that are tried: of each module as many as its share asks, by the least key."""
    of_module = {}
    for module, source in modules(root).items():
        once = {mutant.span: mutant for mutant in sorted(mutants(module, source), key=_order, reverse=True)}
        of_module[module] = sorted(once.values(), key=_order)
    whole = sum(map(len, of_module.values()))
    found = []
    for several in of_module.values():
        found += several[: -(-count * len(several) // whole)]
    return [mutant for mutant in found if mutant.key not in EQUIVALENT]


def _order(mutant):
    return hashlib.sha256(mutant.key.encode()).hexdigest()


def nearest(module, root=ROOT):
    """Stages of tests for a module: its own by name, then those beside it; each a list of paths under the root."""
    stem = Path(module).stem
    room = next(room for room in ROOMS if module.startswith(room + "/"))
    names = {f"test_{stem}.py", f"test_{stem}s.py", f"test_{stem.removesuffix('s')}.py"}
    own = sorted(str(path.relative_to(root)) for path in (root / "tests").rglob("test_*.py") if path.name in names)
    beside = [path for path in BESIDE[room] if (root / path).exists() and path not in own]
    return [stage for stage in (own, beside) if stage]


def told(several):
    """Lines that count changes by room and by kind."""
    rooms, kinds = defaultdict(int), defaultdict(int)
    for mutant in several:
        rooms[mutant.module] += 1
        kinds[mutant.what] += 1
    for counted in (rooms, kinds):
        yield ", ".join(f"{name} {number}" for name, number in sorted(counted.items()))
