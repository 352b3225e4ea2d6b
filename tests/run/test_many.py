"""Many jobs side by side: nothing is lost, nothing is judged twice, the order is that of the call."""

import pickle
import subprocess
import sys
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import pytest

import gripmargin as gm
from gripmargin.base.errors import FaultError, InputErrors, RobotError
from gripmargin.reports.as_lines import report_lines
from gripmargin.run.many import judge_file, judgements


@pytest.fixture
def mixed(write, tmp_path):
    return [
        write("good"),
        write("heavy", "8 kg"),
        str(tmp_path / "not there.toml"),
        write("noisy", "2 kg", noise=0.3),
    ]


MIXED = ["pass", "fail", "InputError", "undecided"]


def test_one_bad_job_does_not_stop_the_others(mixed, outcomes):
    assert outcomes(gm.check_files(mixed, workers=1)) == MIXED


def test_the_outcome_does_not_depend_on_the_workers(mixed):
    found = [report_lines(gm.check_files(mixed, workers=workers), samples=True) for workers in (1, 2)]
    assert found[0] == found[1] == report_lines([judge_file(path) for path in mixed], samples=True)


def test_threads_of_this_process_give_the_same(mixed, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    names = [Path(path).name for path in mixed]
    with ThreadPoolExecutor(3) as executor:
        found = gm.check_files(names, executor=executor)
        assert executor.submit(len, "ab").result() == 2  # used, not shut down
    assert [j.job_file for j in found] == names
    assert found[2].error.where == mixed[2]  # where elsewhere it was looked for
    assert report_lines(found).splitlines()[:2] == report_lines([judge_file(path) for path in names[:2]]).splitlines()


def test_no_job_is_no_judgement():
    assert gm.check_files([]) == ()


def test_the_same_file_twice_has_two_places(write):
    path = write("good")
    assert [j.job_file for j in gm.check_files([path, path], workers=1)] == [path, path]


@pytest.mark.parametrize("workers", [0, -1, 1.5, True, "2"])
def test_a_number_of_workers_that_is_none(workers):
    with pytest.raises(gm.InputError, match="a whole number from 1 up"):
        gm.check_files(["a.toml"], workers=workers)


def test_without_samples_the_rest_is_the_same(write):
    paths = [write("good"), write("heavy", "8 kg")]
    full, slim = (gm.check_files(paths, workers=1, samples=samples) for samples in (True, False))
    assert report_lines(full) == report_lines(slim)
    assert [j.report.samples.t.size for j in full] == [201, 201]
    assert [j.report.samples.t.size for j in slim] == [0, 0]
    assert [len(j.report.samples.move) for j in slim] == [0, 0]


def test_judgements_travel_with_their_fields(mixed):
    for judgement in gm.check_files(mixed, workers=1):
        back = pickle.loads(pickle.dumps(judgement))
        assert report_lines([back], samples=True) == report_lines([judgement], samples=True)
        assert back.passed == judgement.passed


def test_errors_travel_with_their_fields():
    fault = FaultError("job.toml", "ZeroDivisionError: x", "a verdict", "report it")
    fault.trace = "Traceback: line 3"
    several = InputErrors([gm.InputError("a", "b", "c", "d"), RobotError("e", "f", "g")])
    for error in (fault, several, gm.InputError("a", "b", "c", "d"), RobotError("e", "f", "g")):
        back = pickle.loads(pickle.dumps(error))
        assert type(back) is type(error)
        assert str(back) == str(error)
        assert [vars(e) for e in getattr(back, "problems", ())] == [vars(e) for e in getattr(error, "problems", ())]
        for key in ("where", "found", "expected", "remedy"):
            assert getattr(back, key) == getattr(error, key)
    assert pickle.loads(pickle.dumps(fault)).trace == "Traceback: line 3"


def test_faults_of_the_program_are_entries_of_their_own(write, watched, once, outcomes):
    """Also where a job ends its worker process again and again."""
    names = ("good", "crash", "big", "deadly", "other")
    found = gm.check_files([write(name) for name in names], workers=2)
    assert outcomes(found) == ["pass", "FaultError", "FaultError", "FaultError", "pass"]
    assert found[1].error.found == "ZeroDivisionError: a fault of ours"
    assert "a fault of ours" in found[1].error.trace
    assert found[2].error.found == "out of memory"
    assert "SIGKILL" in found[3].error.found
    assert watched.counted("begin") == once(*names, "deadly", "deadly")


def test_a_worker_killed_in_the_midst_loses_nothing(write, watched, once):
    """The job in hand is begun again; what the others do is untouched, and the order is that of the call."""
    names = ("stuck", "b", "c", "d")
    paths = [write(name) for name in names]
    killed = watched.kill_at_work("stuck")
    ended = []
    found = list(judgements(paths, workers=2, ended=lambda j: ended.append(Path(j.job_file).stem)))
    assert killed() == 1
    assert [j.job_file for j in found] == paths
    assert all(j.passed for j in found)
    assert ended[0] == "b"
    assert sorted(ended) == sorted(names)
    assert watched.counted("end") == once(*names)
    assert watched.counted("begin") == once(*names, "stuck")


def test_a_pool_that_breaks_loses_nothing(write, watched, once, outcomes):
    """A pool of the standard library breaks as a whole: what has no result yet is judged by processes of ours."""
    names = ("a", "b", "slow", "deadly", "c", "d")
    paths = [write(name) for name in names]
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        found = gm.check_files(paths, executor=pool)
    assert outcomes(found) == ["pass", "pass", "pass", "FaultError", "pass", "pass"]
    ended = watched.counted("end")
    assert set(ended) == set(once("a", "b", "slow", "c", "d"))
    # one that had ended as the pool broke may have lost its way back; what came back is not judged again
    assert sum(ended.values()) <= 6
    assert watched.counted("begin")["deadly.toml"] == 3


class Closed(Executor):
    """An executor that takes a few tasks and is then shut down."""

    def __init__(self, takes):
        self.takes = takes

    def submit(self, fn, /, *args, **kwargs):
        if self.takes == 0:
            raise RuntimeError("cannot schedule new futures after shutdown")
        self.takes -= 1
        future = Future()
        future.set_result(fn(*args, **kwargs))
        return future


def test_an_executor_that_is_shut_down_under_way(write, watched, once, outcomes):
    paths = [write("a"), "b.toml", "c.toml"]
    assert outcomes(gm.check_files(paths, executor=Closed(1))) == ["pass", "InputError", "InputError"]
    assert watched.counted("begin") == once("b", "c")  # a was judged in this process, which is not watched


class Forgetful(Executor):
    """An executor that loses a task so many times."""

    def __init__(self, losses):
        self.losses = losses

    def submit(self, fn, /, *args, **kwargs):
        future = Future()
        if self.losses:
            self.losses -= 1
            future.cancel()
            future.set_running_or_notify_cancel()
        else:
            future.set_result(fn(*args, **kwargs))
        return future


@pytest.mark.parametrize(("losses", "found"), [(2, "pass"), (3, "FaultError")])
def test_work_that_is_lost_is_asked_for_again(write, losses, found, outcomes):
    assert outcomes(gm.check_files([write("a")], executor=Forgetful(losses))) == [found]


class Remembering(Executor):
    """An executor that gives the result of an earlier call with the same arguments again, as schedulers may."""

    def __init__(self):
        self.known = {}

    def submit(self, fn, /, *args, **kwargs):
        if args not in self.known:
            self.known[args] = fn(*args, **kwargs)
        future = Future()
        future.set_result(self.known[args])
        return future


def test_a_job_that_has_changed_is_judged_anew(write, outcomes):
    """A remembered verdict would be a false pass."""
    executor = Remembering()
    verdicts = [outcomes(gm.check_files([write("a", mass)], executor=executor)) for mass in ("400 g", "8 kg")]
    assert verdicts == [["pass"], ["fail"]]


def test_another_version_elsewhere_is_no_verdict(write):
    judgement = judge_file(write("a"), version="0.0.9")
    assert judgement.report is None
    assert str(judgement.error).startswith(f"{write('a')}: an error of the program itself: gripmargin ")


def test_a_script_needs_no_guard(tmp_path):
    """Processes that ran the caller's script again would start processes without end."""
    script = tmp_path / "script.py"
    script.write_text("import gripmargin as gm\nprint([j.passed for j in gm.check_files(['a', 'b'], workers=2)])\n")
    done = subprocess.run([sys.executable, str(script)], capture_output=True, text=True, check=False)
    assert (done.stdout, done.returncode) == ("[False, False]\n", 0), done.stderr


def test_a_job_over_its_limit_could_not_be_checked(tmp_path, monkeypatch):
    """A limit asks for a process, also for the only job."""
    (tmp_path / "slow.py").write_text("import time\ndef judge(*_):\n    time.sleep(60)\n")
    monkeypatch.syspath_prepend(tmp_path)
    import slow

    monkeypatch.setattr("gripmargin.run.many.judge_file", slow.judge)
    (found,) = gm.check_files(["a.toml"], limit=0.4)
    assert str(found.error) == (
        "a.toml: found more than 0.4 s of work, expected at most 0.4 s a job; allow more, or split the program"
    )
    assert not isinstance(found.error, FaultError)
