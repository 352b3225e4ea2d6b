"""Try changes of the physics on the tests nearest to them: ``PYTHONPATH=src:tests python -m mutants``."""

import argparse
import sys
import time
from collections import Counter
from pathlib import Path

from mutants.chosen import COUNT, ROOMS, ROOT, chosen, nearest, room_of, told
from mutants.trials import Record, in_order, prepared, tried


def main():
    """Run it."""
    parser = argparse.ArgumentParser(prog="mutants", description=__doc__)
    parser.add_argument("--list", action="store_true", help="say which changes are tried, and run nothing")
    parser.add_argument("--count", type=int, default=COUNT, help="about how many are chosen")
    parser.add_argument("--only", nargs="+", metavar="KEY", help="these alone")
    parser.add_argument("--in", dest="modules", nargs="+", default=[""], help="of modules named so, or in such rooms")
    record = ROOT / "build" / "mutants.json"
    parser.add_argument("--record", type=Path, default=record, help="which tests run which lines, kept between runs")
    asked = parser.parse_args()
    several = sorted(chosen(count=asked.count), key=lambda m: (ROOMS.index(room_of(m.module)), m.module, m.key))
    several = [m for m in several if any(name in m.module for name in asked.modules)]
    several = [m for m in several if not asked.only or m.key in asked.only]
    if asked.list:
        _say(*map(_line, several), *told(several), f"{len(several)} changes")
        return 0
    if trouble := prepared():
        raise SystemExit(trouble)
    begin = time.monotonic()
    record = Record(asked.record)
    for file, seconds in record.look_at(dict.fromkeys(file for m in several for file in nearest(m.module))):
        _say(f"{seconds:5.1f} s {file} without a change")
    survivors = [mutant for mutant in several if not _felt(mutant, record)]
    lost, tries = (Counter(room_of(mutant.module) for mutant in some) for some in (survivors, several))
    _say("", *map(_line, survivors), *(f"{room}: {lost[room]} of {tries[room]} survive" for room in tries))
    share = 100 * len(survivors) / max(len(several), 1)
    minutes = (time.monotonic() - begin) / 60
    _say(f"{len(survivors)} of {len(several)} changes survive ({share:.1f} %); {minutes:.0f} minutes")
    return 1 if survivors else 0


def _felt(mutant, record):
    """Whether a test feels a change; says which."""
    begin = time.monotonic()
    tests = record.tests_of(mutant, nearest(mutant.module))
    order = in_order(tests, mutant.module)
    by = tried(mutant, order, sum(tests[test] for test in order)) if order else ""
    left = f" ({len(tests) - len(order)} slow ones left out)" if len(order) < len(tests) else ""
    end = by or f"SURVIVES {len(order)} tests{left}"
    _say(f"{time.monotonic() - begin:5.1f} s {_line(mutant)}", f"        {end}")
    return bool(by)


def _line(mutant):
    cut = [text if len(text) < 70 else text[:67] + "..." for text in (mutant.old, mutant.new)]
    return f"{mutant.key} {mutant.module} {mutant.place}: {mutant.what}: {cut[0]} -> {cut[1]}"


def _say(*lines):
    sys.stdout.writelines(f"{line}\n" for line in lines)
    sys.stdout.flush()


if __name__ == "__main__":
    raise SystemExit(main())
