"""A run of random jobs that was interrupted goes on where it was."""

import sys

import pytest

from simulator import __main__ as command
from simulator.against import Compared, Side


def side(seed):
    return Side(check="hold", verdict="pass", value=2.0 + seed, target=2.0, mine=2.4, good=True)


def test_jobs_that_were_judged_are_not_judged_again(tmp_path, monkeypatch, capsys):
    asked, kept = [], tmp_path / "build" / "kept.jsonl"

    def judged(seed, kind=None):
        if len(asked) == 3:
            raise KeyboardInterrupt
        asked.append(seed)
        return Compared(seed, "even", "pass", [side(seed)])

    monkeypatch.setattr(command, "judged", judged)
    monkeypatch.setattr(sys, "argv", ["simulator", "--jobs", "5", "--first", "7", "--keep", str(kept)])
    with pytest.raises(KeyboardInterrupt):
        command.main()
    kept.write_text(kept.read_text()[:-20])  # the last line was cut off as it was written
    again = command.Kept(kept, None)
    assert [(seed, job.sides) for seed, job in again.jobs.items()] == [(seed, [side(seed)]) for seed in (7, 8)]
    assert command.Kept(kept, "even").jobs == {}  # of another question
    asked.clear()
    monkeypatch.setattr(command, "judged", lambda seed, kind=None: asked.append(seed) or Compared(seed, "even", "pass"))
    with pytest.raises(SystemExit) as end:
        command.main()
    assert (asked, end.value.code) == ([9, 10, 11], False)
    assert "5 jobs: 5 pass" in capsys.readouterr().out
