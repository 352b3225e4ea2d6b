"""Damage files by the thousand: `PYTHONPATH=src:tests python -m fuzz --inputs 100000`."""

from __future__ import annotations

import argparse
import faulthandler
import sys
import tempfile
import time
import warnings
from pathlib import Path

from fuzz.damage import attack
from fuzz.readers import READERS

ROUND = 500  # inputs between looks at the watch
MEMORY = 3 << 30  # [bytes] of addresses: the libraries take two thirds of it


def main() -> int:
    """Attack readers, and print what became of it; 1 where something went wrong."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("readers", nargs="*", metavar="READER", help=f"of {', '.join(READERS)}; default: all")
    parser.add_argument("--inputs", type=int, default=2000, help="for each reader")
    parser.add_argument("--seed", type=int, default=0)
    options = parser.parse_args()
    warnings.simplefilter("ignore")
    _limit_memory()
    wrong = 0
    for name in options.readers or READERS:
        begun, read, refused, slowest, faults = time.monotonic(), 0, 0, 0.0, []
        with tempfile.TemporaryDirectory() as folder:
            for first in range(0, options.inputs, ROUND):
                faulthandler.dump_traceback_later(120.0, exit=True)  # a reader that hangs
                count = min(ROUND, options.inputs - first)
                outcome = attack(name, count, Path(folder), seed=options.seed + first)
                read, refused = read + outcome.read, refused + outcome.refused
                slowest = max(slowest, outcome.slowest)
                faults += outcome.faults
        faulthandler.cancel_dump_traceback_later()
        took = time.monotonic() - begun
        _say(f"{name}: {read} read, {refused} refused, slowest {slowest:.2f} s, {len(faults)} wrong ({took:.0f} s)")
        for content, said in faults[:5]:
            _say(f"  {content!r}\n  {said}")
        wrong += len(faults)
    return 1 if wrong else 0


def _say(line: str) -> None:
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


def _limit_memory() -> None:
    try:
        import resource
    except ImportError:
        return
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))


if __name__ == "__main__":
    sys.exit(main())
