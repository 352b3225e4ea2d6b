"""Try changes of the physics on the tests nearest to them: ``PYTHONPATH=src:tests python -m mutants``."""

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from queue import SimpleQueue

from mutants.chosen import COUNT, PACKAGE, ROOT, chosen, nearest, told

COPIED = ("src", "tests", "trajectories", "docs", "pyproject.toml", "README.md")
PATIENCE = 10.0  # times as long as without a change: then it hangs, and a test feels it


def main():
    """Run it."""
    parser = argparse.ArgumentParser(prog="mutants", description=__doc__)
    parser.add_argument("--list", action="store_true", help="say which changes are tried, and run nothing")
    parser.add_argument("--count", type=int, default=COUNT, help="about how many are chosen")
    parser.add_argument("--only", nargs="+", metavar="KEY", help="these alone")
    parser.add_argument("--first", type=int, help="the first so many of a fixed random order")
    parser.add_argument("--in", dest="modules", nargs="+", default=[""], help="of modules named so, or in such rooms")
    parser.add_argument("--workers", type=int, default=1, help="copies of the tree that are tried side by side")
    asked = parser.parse_args()
    several = sorted(chosen(count=asked.count), key=lambda mutant: mutant.key)
    several = [m for m in several if any(name in m.module for name in asked.modules)]
    several = [m for m in several if not asked.only or m.key in asked.only]
    several = several[: asked.first]
    if asked.list:
        _say(*(_line(mutant) for mutant in several), *told(several), f"{len(several)} changes")
        return 0
    with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
        trees = SimpleQueue()
        for k in range(asked.workers):
            trees.put(_copied(Path(folder) / str(k)))
        limits = {}
        with ThreadPoolExecutor(asked.workers) as pool:
            survivors = []
            for mutant, felt in zip(several, pool.map(lambda m: _tried(m, trees, limits), several), strict=True):
                _say(f"{felt or 'SURVIVES':24} {_line(mutant)}")
                survivors += [] if felt else [mutant]
    share = 100 * len(survivors) / max(len(several), 1)
    _say(f"{len(several)} changes, {len(survivors)} survive ({share:.1f} %):", *map(_line, survivors))
    return 1 if survivors else 0


def _line(mutant):
    cut = [text if len(text) < 70 else text[:67] + "..." for text in (mutant.old, mutant.new)]
    return f"{mutant.key} {mutant.module} {mutant.place}: {mutant.what}: {cut[0]} -> {cut[1]}"


def _copied(tree):
    tree.mkdir(parents=True)
    for name in COPIED:
        if (ROOT / name).is_dir():
            shutil.copytree(ROOT / name, tree / name, ignore=shutil.ignore_patterns("__pycache__", "mutants"))
        elif (ROOT / name).exists():
            shutil.copy(ROOT / name, tree / name)
    return tree


def _limit(tree, paths, limits):
    """Time that a stage of tests may take; what fails without a change cannot feel one."""
    if paths not in limits:
        begin = time.monotonic()
        if _fails(tree, paths, None):
            raise SystemExit(f"these tests fail without a change: {' '.join(paths)}")
        limits[paths] = PATIENCE * (time.monotonic() - begin)
    return limits[paths]


def _tried(mutant, trees, limits):
    """The first stage of tests that feels a change, or an empty text."""
    tree = trees.get()
    path = tree / PACKAGE / mutant.module
    source = path.read_bytes()
    try:
        for stage in map(tuple, nearest(mutant.module)):
            limit = _limit(tree, stage, limits)
            path.write_bytes(mutant.applied(source))
            if _fails(tree, stage, limit):
                return Path(stage[0]).stem
            path.write_bytes(source)
        return ""
    finally:
        path.write_bytes(source)
        trees.put(tree)


def _fails(tree, paths, seconds):
    environment = os.environ | {
        "PYTHONPATH": os.pathsep.join([str(tree / "src"), str(tree / "tests")]),
        "PYTHONDONTWRITEBYTECODE": "1",
        "OMP_NUM_THREADS": "1",
    }
    command = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", "--no-header", *paths]
    try:
        done = subprocess.run(command, cwd=tree, env=environment, capture_output=True, timeout=seconds, check=False)
    except subprocess.TimeoutExpired:
        return True
    if done.returncode not in (0, 1, 2):  # 2: it cannot even be imported
        raise SystemExit(done.stdout.decode() + done.stderr.decode())
    return done.returncode != 0


def _say(*lines):
    sys.stdout.writelines(f"{line}\n" for line in lines)
    sys.stdout.flush()


if __name__ == "__main__":
    raise SystemExit(main())
