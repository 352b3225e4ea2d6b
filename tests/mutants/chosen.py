"""Which changes are tried, by which tests, and which of them change nothing."""

import hashlib
from collections import defaultdict
from functools import cache
from pathlib import Path

from mutants.changes import mutants

ROOT = Path(__file__).parents[2]
PACKAGE = Path("src/gripmargin")
ROOMS = (
    "contact",
    "kernels",
    "motion",
    "checks/hold",
    "checks/handover",
    "checks/swing",
    "checks/stop",
    "checks/recorded",
)
SPOKEN = ("remedies", "other_release", "words", "sentence", "figures", "explain", "__init__")  # advice and sentences
COUNT = 320
# The tests nearest to a room.
FALSE_PASS = ("tests/checks/test_checks_false_pass.py", "tests/checks/test_checks_false_pass_borders.py")
NEAR = {room: (f"tests/{room}",) for room in ROOMS} | {
    "kernels": ("tests/kernels", "tests/motion"),
    "checks/hold": ("tests/checks/hold", *FALSE_PASS),
    "checks/handover": ("tests/checks/handover", "tests/contact/test_handover.py", *FALSE_PASS),
}

# Key of a change that no test can feel, and why: what it changes is not wrong.
TIME_ALONE = "more cells or loads are looked at than need be: it costs time, and nothing else"
ONE_OF_MANY = "one of the cores that are tried: the bound that the others find is as tight"
EQUIVALENT = {
    "0a9ea6463d": "a length that makes stiffnesses comparable: what is compared with 1e-10 changes by a factor of two",
    "ebdb7e8db5": "a length that makes stiffnesses comparable: the inverse is the same",
    "412587a738": ONE_OF_MANY,
    "6409c6312c": ONE_OF_MANY,
    "83949b534d": ONE_OF_MANY,
    "a15ce08233": ONE_OF_MANY,
    "241b005045": TIME_ALONE,
    "7c5d2a598b": TIME_ALONE,
    "fb49e456c3": TIME_ALONE,
    "c96223fba8": TIME_ALONE,
    "946602f56c": "another share of the way to the best motion: the bounds meet all the same",
    "e79f27d13b": "a share of a step that is rounding: half of it is rounding too",
    "e06eebfa3a": "bounds that close in further: they meet all the same, later",
    "4f6450a0c6": "the length of a screw, along which it is searched: travel is measured where the tool then is",
    "eb29324c44": "the whole record before a chunk is worked on with it: it costs memory and time, and nothing else",
    "d35b91d36e": "a first guess on a finer grid of times, which is refined all the same: it costs time",
    "1950250ecc": "angles up to which a series stands for sine and cosine: at twice as much it is exact all the same",
    "b9b14ed585": "a millionth of a segment stands for just inside of it: half of that does as well",
    "3035e311dd": "a speed that stands for none: half of it does too",
    "c86d99b1f8": "noise that may be left out: with half of it more is looked at, which costs time",
    "dcc7a4ece8": "fewer modes are followed from node to node, for longer: it costs time and width of the bound",
    "5ad6744241": "a place that is a millionth beyond the interval at most is put back to its end",
    "acb357bbb0": "the same is asked with time running back, and the smaller of both counts",
    "8651ead0f2": "the same is asked with time running back, and the smaller of both counts",
    "b2b03c8bf9": "a millionth of a step that is rounding: half of it does as well",
    "d5d7c50eb2": "steps of whole units differ by a unit or by nothing, not by a hundredth of one",
    "fcee6ebc07": "what hides between samples is in what the swing may miss as well: it counts twice",
    "c58199096a": "how closely stops are followed: time, and width of the bound",
    "1972505f5d": "another angle of a liner is tried: what is advised is shown",
    "f2448fe4ac": "another angle of a liner is tried: what is advised is shown",
    "d72fa48ad2": "angles of a liner that pull harder are tried too, in vain",
    "72219aeb10": "tractions balance a load to rounding, or miss a good part of it",
    "90e7724f1c": "a search that goes on to the last digit",
    "015861d124": "where a search begins: it ends at the same law",
    "9c2bae5e4d": "where a search begins: it ends at the same law",
    "b45d7faaa3": "when a search ends: after some steps all the same",
    "744ec57394": "shorter steps of a search: it takes more of them",
    "927cc23920": "the gap under a pad is the same everywhere in what a pick describes",
}


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
        several = [m for m in mutants(module, source) if not any(word in m.place for word in SPOKEN)]
        once = {mutant.span: mutant for mutant in sorted(several, key=_order, reverse=True)}
        of_module[module] = sorted(once.values(), key=_order)
    whole = sum(map(len, of_module.values()))
    found = []
    for several in of_module.values():
        found += several[: -(-count * len(several) // whole)]
    return [mutant for mutant in found if mutant.key not in EQUIVALENT]


def _order(mutant):
    return hashlib.sha256(mutant.key.encode()).hexdigest()


def nearest(module, root=ROOT):
    """The test files nearest to a module, as paths under the root."""
    near = [root / path for path in NEAR[room_of(module)]]
    files = [file for path in near for file in ([path] if path.is_file() else sorted(path.glob("test_*.py")))]
    return [file.relative_to(root).as_posix() for file in files]


def room_of(module):
    """The room that a module stands in."""
    return next(room for room in ROOMS if module.startswith(room + "/"))


def told(several):
    """Lines that count changes by room and by kind."""
    rooms, kinds = defaultdict(int), defaultdict(int)
    for mutant in several:
        rooms[mutant.module] += 1
        kinds[mutant.what] += 1
    for counted in (rooms, kinds):
        yield ", ".join(f"{name} {number}" for name, number in sorted(counted.items()))
