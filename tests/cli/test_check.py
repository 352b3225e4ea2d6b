"""Which jobs are judged, by which checks, and how much is said of them."""

import json

import pytest

from gripmargin.base.errors import InputError
from gripmargin.results.report import Judgement
from gripmargin.run.workers import Limits
from support.jobs import ALONE, names


def test_patterns_are_expanded_here_too(folder, run):
    assert run("**/*.toml", *ALONE, "--json", "x.json")[0] == 1
    assert names(json.loads((folder / "x.json").read_text())) == ["good", "heavy", "line/a", "line/b"]
    assert run("line/?/go*.toml", *ALONE, "--json", "x.json")[0] == 0
    assert names(json.loads((folder / "x.json").read_text())) == ["line/a", "line/b"]


def test_a_file_named_twice_is_judged_once(folder, run):
    run("heavy.toml", "good.toml", "./good.toml", "*.toml", *ALONE, "--json", "x.json")
    assert names(json.loads((folder / "x.json").read_text())) == ["heavy", "good"]


def test_a_name_that_looks_like_a_pattern_is_a_name(folder, run):
    (folder / "[good].toml").write_text((folder / "good.toml").read_text())
    assert run("[good].toml")[0] == 0


def test_a_pattern_that_matches_nothing_is_bad_input_and_the_others_go_on(folder, run):
    status, out, err = run("jobz/*.toml", "good.toml", *ALONE, "--lines", "x.jsonl")
    assert status == 2
    assert out.startswith("PASS  good\n")
    assert "gripmargin: jobz/*.toml: found no file that this pattern matches, expected job files" in err
    lines = [json.loads(line) for line in (folder / "x.jsonl").read_text().splitlines()]
    assert names(lines) == ["jobz/*.toml", "good"]
    assert run("jobz/*.toml")[0] == 2
    assert run("line/*")[0] == 2  # folders only


def test_several_jobs_end_with_a_sum(folder, run):
    status, out, _ = run("good.toml", "heavy.toml", "none.toml", *ALONE)
    assert status == 1
    last = out[out.index("IN ALL") :]
    assert last.startswith(
        "IN ALL  3 jobs: 1 pass, 1 falling short, 1 could not be checked\n  heavy.toml: hold: fail, "
    )
    assert "none.toml: found no such file" in last
    assert max(map(len, out.splitlines())) <= 100
    assert "IN ALL" not in run("good.toml")[1]
    assert run("good.toml", "heavy.toml", "none.toml", *ALONE, "--brief")[1] == last
    assert run("good.toml", "--brief")[:2] == (
        0,
        "PASS  good: hold, margin 26.91, target 2 at 0.168 s in move 'lift'\n",
    )


def test_a_folder_stands_for_the_jobs_in_it_and_below(folder, run):
    listed = run("line", *ALONE, "--json", "x.json")
    assert listed[:2] == run("line/**/*.toml", *ALONE)[:2]
    assert names(json.loads((folder / "x.json").read_text())) == ["line/a", "line/b"]
    (folder / "empty").mkdir()
    status, _, err = run("empty")
    assert status == 2
    assert "empty: found no job in this folder, expected a .toml file in it or below" in err


def test_it_stops_at_the_first_that_does_not_pass(folder, run):
    status, out, err = run("good.toml", "heavy.toml", "none.toml", *ALONE, "-x", "--json", "x.json")
    assert (status, err) == (1, "gripmargin: stopped, 1 not judged\n")
    assert "IN ALL  2 jobs: 1 pass, 1 falling short\n" in out
    assert names(json.loads((folder / "x.json").read_text())) == ["good", "heavy"]
    assert run("none.toml", "good.toml", *ALONE, "-x")[0] == 2


def test_how_much_is_said(folder, run):
    assert run("good.toml")[1].count("\n") < 12
    everything = run("good.toml", "-v")[1]
    assert "\nAssumed\n" in everything
    assert everything.count("\n") > 25
    assert run("good.toml", "-q")[1].count("\n") == 1
    assert run("good.toml", "-q", "-v")[2] == ("gripmargin: --verbose: found --brief as well, expected one of them\n")


@pytest.mark.parametrize(("given", "word"), [("holt", "did you mean 'hold'?"), (",", "at least one of: preload")])
def test_a_check_that_there_is_not(folder, run, given, word):
    status, _, err = run("good.toml", "--checks", given)
    assert status == 2
    assert err.startswith("gripmargin: --checks: found ")
    assert word in err


def test_checks_are_chosen_in_every_process(folder, run):
    outputs = [
        run("good.toml", "heavy.toml", "--checks", "swing", *workers)[1] for workers in (ALONE, ["--workers", "2"])
    ]
    assert outputs[0] == outputs[1]
    assert outputs[0].count("(chosen checks only)") == 2
    assert "  hold  " not in outputs[0]


def test_worse_than_approved_is_status_1(folder, write, run):
    """Even where every target is reached."""
    assert run("good.toml", "line/a/good.toml", *ALONE, "--json", "approved.json")[0] == 0
    status, out, _ = run("good.toml", "line/a/good.toml", *ALONE, "--baseline", "approved.json", "--worse", "0")
    assert status == 0
    assert out.endswith("BASELINE  2 jobs compared; nothing got worse by more than 0 %\n")
    write("good", "430 g")
    status, out, _ = run("good.toml", "line/a/good.toml", *ALONE, "--baseline", "approved.json", "--junit", "x.xml")
    assert status == 1
    assert "PASS  good" in out
    assert "BASELINE  worse than approved: " in out
    assert "% less" in out
    assert 'name="compared with the baseline"' in (folder / "x.xml").read_text()
    assert run("good.toml", *ALONE, "--baseline", "approved.json", "--worse", "0.2")[0] == 1  # a job is gone
    status, out, err = run("good.toml", "line/a/good.toml", *ALONE, "--baseline", "approved.json", "--json", "-")
    assert status == 1
    assert len(json.loads(out)) == 2  # the report alone
    assert "BASELINE  worse than approved" in err


def test_the_limit_of_a_job_is_that_of_the_command(folder, run, monkeypatch):
    """Off for one job, and for one process; generous for many; as given otherwise."""
    asked = []

    def made(names, **more):
        asked.append(more["limits"])
        return (Judgement(job_file=name, error=InputError(name, "a test", "none")) for name in names)

    monkeypatch.setattr("gripmargin.cli.judging.judgements", made)
    for arguments in (["good.toml"], ["*.toml", *ALONE], ["*.toml"], ["good.toml", "--limit", "2 min, 500 MB"]):
        run(*arguments)
    assert asked[:2] == [None, None]
    assert asked[2].time == 1800.0
    assert asked[2].memory is None or asked[2].memory >= 4e9
    assert asked[3] == Limits(time=120.0, memory=500_000_000)


def test_a_file_that_is_not_there_is_told_with_the_one_that_may_be_meant(folder, run):
    assert run("godo.toml")[2] == (
        "gripmargin: godo.toml: found no such file, expected a file; did you mean 'good.toml'?\n"
    )
    assert run("nothing like it.toml")[2].endswith("found no such file, expected a file\n")


def test_every_form_of_a_report_says_that_checks_were_chosen(folder, run):
    outputs = ["--json", "x.json", "--junit", "x.xml", "--html", "x.html"]
    out = run("good.toml", "heavy.toml", *ALONE, "--checks", "swing", *outputs)[1]
    assert "IN ALL  2 jobs, by chosen checks only: " in out
    page = (folder / "x.html").read_text()
    assert "good (chosen checks only)" in page
    assert '<span class="file">heavy.toml</span>' in page
    assert "good (chosen checks only)" in (folder / "x.xml").read_text()
    for tree in json.loads((folder / "x.json").read_text()):
        assert {"check": "hold", "reason": "it was not chosen"} in tree["not_checked"]


def test_where_nothing_was_checked_the_status_says_so_and_every_form_says_why(folder, run):
    """Status 2 in checks.md, beside one of bad input; no pass of something else makes up for it."""
    why = "nothing was checked: stop: the job has no [stop] data"
    chosen = "--checks", "stop"
    for said in ((), ("-v",), ("--brief",)):
        status, out, _ = run("good.toml", *chosen, *said)
        assert status == 2
        assert why in " ".join(out.split())
    status, out, _ = run("good.toml", "line/a/good.toml", *ALONE, *chosen, "--junit", "x.xml")
    assert status == 2
    assert "checks only: 2 could not be checked\n  good.toml: " + why in out
    assert f'<error type="nothing was checked" message="{why}">' in (folder / "x.xml").read_text()
