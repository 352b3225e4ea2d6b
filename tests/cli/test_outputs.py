"""The command over many jobs: outputs, exit statuses, interruption."""

import io
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from gripmargin import cli
from support.jobs import ALONE, names


def test_lines_are_the_objects_of_the_json(folder, run):
    arguments = ("*.toml", "none.toml", *ALONE, "--samples")
    assert run(*arguments, "--json", "x.json", "--lines", "x.jsonl", "--junit", "x.xml")[0] == 1
    trees = json.loads((folder / "x.json").read_text())
    text = (folder / "x.jsonl").read_text()
    assert [json.loads(line) for line in text.splitlines()] == trees
    assert ": " not in text.split('"text"')[0]
    assert run(*arguments, "--lines", "-")[1] == text
    assert run(*arguments, "--json", "-")[1] == (folder / "x.json").read_text()
    assert run("*.toml", "none.toml", *ALONE, "--junit", "-")[1] == (folder / "x.xml").read_text()


def test_same_input_same_bytes_whatever_the_workers_and_the_hash_seed(folder):
    """From processes of their own, as a pipeline starts them."""
    outputs = ("--json", "--lines", "--junit")
    found = []
    for seed, workers in (("0", "1"), ("1", "2")):
        files = [folder / f"{seed}{output}" for output in outputs]
        arguments = [word for pair in zip(outputs, files, strict=True) for word in pair]
        done = subprocess.run(
            [sys.executable, "-m", "gripmargin", "check", "**/*.toml", "--samples", "--workers", workers, *arguments],
            cwd=folder,
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            check=False,
        )
        assert done.returncode == 1
        assert done.stderr == b""  # no bar in a pipe
        found.append([done.stdout, *(file.read_bytes() for file in files)])
    assert found[0] == found[1]


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--json", "-", "--lines", "-"], "--lines: found another report for standard output, expected a place of"),
        (["--junit", "x", "--json", "./x"], "--junit: found 'x', as --json has, expected a place of its own"),
        (
            ["--json", "good.toml"],
            "--json: found 'good.toml', which is read by the job good.toml, expected a file that",
        ),
        (["--json", "X.json", "--junit", "./x.JSON"], "--junit: found './x.JSON', as --json has, expected a place of"),
        (["--baseline", "good.json", "--json", "good.json"], "--json: found 'good.json', which is read"),
        (["--lines", "/no/such/folder/x"], "/no/such/folder/x: found No such file or directory, expected a place"),
        (["--junit", "line"], "line: found a directory, expected a place where a file can be written"),
        (["--samples", "--junit", "x"], "--samples: found no JSON to put them in, expected --json or --lines beside"),
        (["--worse", "0.1"], "--worse: found nothing to compare with, expected --baseline beside it"),
        (["--baseline", "no.json"], "no.json: found no such file, expected a file"),
        (["--baseline", "good.json", "--worse", "5%"], "--worse: found '5%', expected a number from 0 to below 1"),
        (["--baseline", "good.json", "--worse", "nan"], "--worse: found nan, expected a share of the earlier value"),
        (["--baseline", "good.json", "--worse", "-1"], "--worse: found -1.0, expected a share of the earlier value"),
        (["--workers", "0"], "--workers: found '0', expected a whole number from 1 to 9999"),
        (["--workers", "two"], "--workers: found 'two', expected a whole number from 1 to 9999"),
        (
            ["--limit", "5"],
            "--limit: found '5', expected a time, a memory or both, such as '90 s', '10 min, 4 GB'; units:",
        ),
        (["--limit", "5 mins"], "such as '90 s', '10 min, 4 GB'; did you mean 'min'?"),
        (["--limit", "5 s, 4 h"], "--limit: found '5 s, 4 h', expected a time, a memory or both"),
        (["--limit", "0 s"], "--limit: found '0 s', expected a time, a memory or both"),
        (["--workers", "9" * 5000], "expected a whole number from 1 to 9999"),
    ],
)
def test_bad_usage_is_found_before_anything_is_judged(folder, run, monkeypatch, arguments, says):
    (folder / "good.json").write_text("{}")
    monkeypatch.setattr("gripmargin.run.one.check_file", lambda path, **_: pytest.fail("judged"))
    before = {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}
    status, out, err = run("good.toml", *arguments)
    assert (status, out) == (2, "")
    assert f"gripmargin: {says}" in err or says in err
    assert {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()} == before


@pytest.mark.parametrize("spelling", ["good.csv", "line/../good.csv", "symbolic", "hard", "bag/part.mcap", "arm.urdf"])
def test_no_file_that_a_job_reads_is_overwritten(folder, run, monkeypatch, spelling):
    """Whatever it is called, whether the job can be read or not."""
    monkeypatch.setattr("gripmargin.run.one.check_file", lambda path, **_: pytest.fail("judged"))
    (folder / "symbolic").symlink_to("good.csv")
    (folder / "hard").hardlink_to(folder / "good.csv")
    (folder / "bag").mkdir()
    for name in ("bag/part.mcap", "arm.urdf"):
        (folder / name).write_text("kept")
    text = (folder / "good.toml").read_text().replace('good.csv"', 'good.csv"\nrecording = "bag"')
    (folder / "good.toml").write_text(text + '[robot]\nurdf = "arm.urdf"\nwrong = 1\n')
    before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    for output in ("--json", "--lines", "--junit", "--html"):
        status, out, err = run("heavy.toml", "good.toml", output, spelling)
        assert (status, out) == (2, "")
        assert err == (
            f"gripmargin: {output}: found '{spelling}', which is read by the job good.toml, expected a file that this "
            "run does not read; choose another name\n"
        )
    assert {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()} == before


def test_two_hard_links_of_one_file_are_one_output(folder, run):
    (folder / "a.json").write_text("")
    (folder / "b.json").hardlink_to(folder / "a.json")
    assert "--lines: found 'b.json', as --json has" in run("good.toml", "--json", "a.json", "--lines", "b.json")[2]


def test_where_one_output_cannot_be_written_none_is(folder, run, monkeypatch):
    """The folder of the last one goes while the jobs are judged."""
    (folder / "out").mkdir()
    (folder / "x.json").write_text("what an earlier run left")
    from gripmargin.run import one as checker

    real = checker.check_file

    def meanwhile(path, **_):
        (folder / "out").rmdir()
        return real(path)

    monkeypatch.setattr(checker, "check_file", meanwhile)
    assert run("good.toml", "--json", "x.json", "--junit", "out/x.xml")[0] == 2
    assert (folder / "x.json").read_text() == "what an earlier run left"
    assert [path.name for path in folder.iterdir() if path.name.startswith(".")] == []


def test_devices_and_links_are_written_through(folder, run):
    (folder / "link.json").symlink_to("real.json")
    assert run("good.toml", "--json", "link.json", "--junit", "/dev/null")[0] == 0
    assert (folder / "link.json").is_symlink()
    assert json.loads((folder / "real.json").read_text())["verdict"] == "pass"
    assert not Path("/dev/null").is_file()


def test_a_pipe_is_an_output_too(folder):
    done = subprocess.run(
        [sys.executable, "-m", "gripmargin", "check", "good.toml", "--json", "/dev/stdout", "--lines", "/dev/stderr"],
        cwd=folder,
        capture_output=True,
        check=False,
    )
    assert done.returncode == 0
    assert b'"verdict": "pass"' in done.stdout
    assert json.loads(done.stderr)["verdict"] == "pass"


def test_a_name_that_is_no_text_is_an_entry_all_the_same(folder):
    name = os.fsdecode(b"caf\xe9.toml")
    outputs = ["--json", "x.json", "--lines", "x.jsonl", "--junit", "x.xml"]
    done = subprocess.run(
        [sys.executable, "-m", "gripmargin", "check", name, *outputs], cwd=folder, capture_output=True, check=False
    )
    assert (done.returncode, done.stderr) == (2, b"gripmargin: caf\\udce9.toml: found no such file, expected a file\n")
    assert json.loads((folder / "x.json").read_text())["job_file"] == name
    assert json.loads((folder / "x.jsonl").read_text())["job_file"] == name
    assert "caf\\udce9.toml" in (folder / "x.xml").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("others", "status"), [(["good"], 4), (["noisy"], 4), (["none"], 4), (["heavy"], 1), ([], 4)], ids=str
)
def test_a_fault_of_ours_comes_after_what_falls_short_and_before_the_rest(
    folder, write, run, monkeypatch, others, status
):
    from gripmargin.run import one as checker

    write("noisy", "2 kg", noise=0.3)
    (folder / "crash.toml").write_text("")
    real = checker.check_file
    monkeypatch.setattr(checker, "check_file", lambda path, **_: {}[path] if path == "crash.toml" else real(path))
    found, _, err = run(*(f"{name}.toml" for name in [*others, "crash"]), *ALONE, "--junit", "x.xml")
    assert found == status
    assert "crash.toml: an error of the program itself: KeyError: 'crash.toml'. Nothing was decided" in err
    assert 'name="could not be checked"' in (folder / "x.xml").read_text()


@pytest.mark.parametrize("room", ["gripmargin.run.one.check_file", "gripmargin.cli.check.checked_places"])
def test_the_trace_of_a_fault_is_shown_when_asked_for(folder, monkeypatch, capsys, room):
    """And the status stays 4: that of a traceback, 1, would be a verdict."""

    def broken(*arguments, **_):
        raise ZeroDivisionError("a fault of ours")

    monkeypatch.setattr(room, broken)
    for asked in ("", "1"):
        monkeypatch.setenv("GRIPMARGIN_TRACEBACK", asked)
        assert cli.main(["check", str(folder / "good.toml")]) == 4
        err = capsys.readouterr().err
        assert ("Traceback" in err) == bool(asked)
        assert "ZeroDivisionError: a fault of ours" in err


def test_jobs_that_cannot_be_told_apart_are_reported_all_the_same(folder, write, run):
    run("good.toml", "--json", "approved.json")
    write("twin", job="good")
    status, _, err = run("good.toml", "twin.toml", *ALONE, "--baseline", "approved.json", "--lines", "x.jsonl")
    assert status == 2
    assert "two jobs with the name 'good'" in err
    assert len((folder / "x.jsonl").read_text().splitlines()) == 2


def _running(group):
    """Processes of a group that have not ended; one that has may wait for whoever takes it over to notice."""
    found = []
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            state, _, of = path.read_text().rpartition(")")[2].split()[:3]
        except OSError:
            continue  # it is gone by now
        found += [path.parent.name] if int(of) == group and state != "Z" else []
    return found


def test_an_interrupt_ends_cleanly(folder, write, watched):
    """As Ctrl-C does it: to the whole group of processes. No report is half written, no process stays."""
    for name in ("slow1", "slow2", "slow3", "slow4"):
        write(name)
    program = subprocess.Popen(
        [sys.executable, "-m", "gripmargin", "check", "slow*.toml", "--workers", "2", "--json", "x.json"],
        cwd=folder,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        start_new_session=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),  # noqa: PLW1509 - a pipeline may ignore it
    )
    end = time.monotonic() + 60
    while not watched.counted("begin") and time.monotonic() < end:
        time.sleep(0.02)
    os.killpg(program.pid, signal.SIGINT)
    out, err = program.communicate(timeout=30)
    assert program.returncode == 130
    assert err.decode().replace("a library that prints\n", "") == "gripmargin: interrupted\n"
    assert out == b""
    assert not (folder / "x.json").exists()
    assert _running(program.pid) == []


def test_what_was_judged_before_an_interrupt_is_reported(folder, run, monkeypatch):
    """Files are whole, and have a place for each job; where nothing was judged they stay as they were."""
    from gripmargin.run import one as checker

    real = checker.check_file

    def until(name):
        def check(path, **_):
            if path == name:
                raise KeyboardInterrupt
            return real(path)

        return check

    outputs = ["--json", "x.json", "--lines", "x.jsonl", "--junit", "x.xml", "--html", "x.html"]
    monkeypatch.setattr(checker, "check_file", until("heavy.toml"))
    status, out, err = run("good.toml", "heavy.toml", "line/a/good.toml", *ALONE, *outputs)
    assert (status, err) == (130, "gripmargin: interrupted\n")
    assert "IN ALL  3 jobs: 1 pass, 2 could not be checked\n" in out
    trees = json.loads((folder / "x.json").read_text())
    assert [json.loads(line) for line in (folder / "x.jsonl").read_text().splitlines()] == trees
    assert names(trees) == ["good", "heavy.toml", "line/a/good.toml"]
    assert trees[1]["errors"][0]["found"] == "an interrupt before it was judged"
    before = (folder / "x.json").read_bytes()
    monkeypatch.setattr(checker, "check_file", until("good.toml"))
    assert run("good.toml", "heavy.toml", *ALONE, *outputs)[:2] == (130, "")
    assert (folder / "x.json").read_bytes() == before


def test_a_signal_to_end_leaves_nothing_half_written(folder):
    """When both files are written beside their places, and none is in its place."""
    code = (
        "from gripmargin.cli import outputs\n"
        "real = outputs.put\n"
        "def ended(*given):\n"
        "    os.kill(os.getpid(), signal.SIGTERM)\n"
        "    return real(*given)\n"
        "outputs.put = ended"
    )
    start = f"import os, signal\nimport gripmargin.cli as cli\n{code}\ncli.command()"
    arguments = ["check", "none.toml", "--json", "x.json", "--junit", "x.xml"]
    done = subprocess.run([sys.executable, "-c", start, *arguments], cwd=folder, capture_output=True, check=False)
    assert done.returncode == 128 + signal.SIGTERM
    assert [path.name for path in folder.iterdir() if path.name.startswith((".", "x"))] == []


@pytest.mark.parametrize(("umask", "mode"), [(0o077, 0o600), (0o002, 0o664)])
def test_new_files_are_readable_to_whom_the_umask_says(folder, run, umask, mode):
    (folder / "old.xml").write_text("")
    (folder / "old.xml").chmod(0o640)
    before = os.umask(umask)
    try:
        assert run("good.toml", "--json", "x.json", "--junit", "old.xml")[0] == 0
    finally:
        os.umask(before)
    assert (folder / "x.json").stat().st_mode & 0o777 == mode
    assert (folder / "old.xml").stat().st_mode & 0o777 == 0o640  # as the one it replaces


def test_files_are_written_although_standard_output_is_closed(folder):
    """Nor does a file take its place."""
    done = subprocess.run(
        [sys.executable, "-m", "gripmargin", "check", "none.toml", "--json", "x.json"],
        cwd=folder,
        stderr=subprocess.PIPE,
        preexec_fn=lambda: os.close(1),
        check=False,
    )
    assert (done.returncode, done.stderr) == (2, b"gripmargin: none.toml: found no such file, expected a file\n")
    assert json.loads((folder / "x.json").read_text())["job_file"] == "none.toml"


class Gone(io.StringIO):
    """A pipe whose reader has left."""

    def write(self, text):
        raise BrokenPipeError


@pytest.mark.parametrize(("outputs", "status"), [(["--json", "x.json"], 1), (["--json", "-"], 4), ([], 4)])
def test_files_are_written_although_nobody_reads_the_text(folder, run, monkeypatch, outputs, status):
    monkeypatch.setattr(sys, "stdout", Gone())
    assert run("good.toml", "heavy.toml", *ALONE, *outputs, "--lines", "x.jsonl")[0] == (status if outputs else 1)
    assert [json.loads(line)["job"] for line in (folder / "x.jsonl").read_text().splitlines()] == ["good", "heavy"]
    assert run("good.toml", "heavy.toml", *ALONE, *outputs)[0] == status


def test_no_name_controls_a_terminal(folder, run):
    """The escape character and its one-byte form, in names of files."""
    evil = "a\x1b[2Jb\x9bc.toml"
    text = (folder / "good.toml").read_text()
    (folder / evil).write_text(text)
    for arguments in ([evil], [evil, "none\x1b.toml"], [evil, "--json", "-"], [evil, "--junit", "-"], ["no\x9b.toml"]):
        _, out, err = run(*arguments, *ALONE)
        assert not [c for c in out + err if not c.isprintable() and c != "\n"], arguments
    (folder / evil).write_text("job = 1")
    status, out, err = run(evil, "--lines", "-")
    assert json.loads(out)["job_file"] == evil
    assert status == 2
    assert err.startswith("gripmargin: a\\x1b[2Jb\\x9bc.toml: job: found")
