"""Every malformed job gets one clear message with file, line or key: the table is in cases.toml."""

import contextlib
import io
import os
import pickle
import shutil
import sqlite3
import tomllib
import zipfile
from pathlib import Path

import numpy as np
import pytest

from fuzz.damage import attack
from fuzz.readers import MESSAGE, READERS
from gripmargin.base.errors import InputError, InputErrors
from gripmargin.files.job_file import read_job

HERE = Path(__file__).parent
TABLE = tomllib.loads((HERE / "cases.toml").read_text(encoding="utf-8"))
CASES, COMMANDS = TABLE["case"], TABLE["command"]

COLUMNS = {
    "t [s]": np.array([0.0, 0.1, 0.2]),
    "q1 [deg]": np.array([1.0, 2.0, 3.0]),
    "q2 [deg]": np.array([1.0, 2.0, 3.0]),
    "q3 [mm]": np.array([1.0, 2.0, 3.0]),
}


class Touched:
    """Unpickling it leaves a mark."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def __reduce__(self):
        return Path.touch, (self.path,)


def _point_job_to(folder: Path, name: str) -> None:
    job = folder / "job.toml"
    text = job.read_text(encoding="utf-8")
    assert text.count("program.csv") == 1
    job.write_text(text.replace("program.csv", name), encoding="utf-8")


def _npz(folder: Path, **changes) -> None:
    _point_job_to(folder, "program.npz")
    columns = {key: value for key, value in {**COLUMNS, **changes.pop("columns", {})}.items() if value is not None}
    np.savez(folder / "program.npz", **columns)


def make_directory(folder, _case):
    (folder / "folder.toml").mkdir()


def make_binary_job(folder, _case):
    (folder / "job.toml").write_bytes(bytes(range(256)))


def make_utf16_job(folder, _case):
    job = folder / "job.toml"
    job.write_bytes(job.read_text(encoding="utf-8").encode("utf-16"))


def make_latin1_job(folder, _case):
    job = folder / "job.toml"
    job.write_bytes(job.read_bytes().replace(b"panel to", b"piec\xe9 to"))


def make_large_job(folder, _case):
    with (folder / "job.toml").open("a", encoding="utf-8") as file:
        file.write("#" * 1_100_000)


def make_deep_toml(folder, _case):
    (folder / "job.toml").write_text("job = " + "[" * 100_000, encoding="utf-8")


def make_long_key(folder, _case):
    """The parser takes 1.6 GB for it."""
    (folder / "job.toml").write_text("# ...............................\n[job]\n" + "a." * 19_999 + "a = 1")


def make_deep_json(folder, _case):
    (folder / "job.json").write_text('{"job":' + "[" * 200_000, encoding="utf-8")


def make_pipe(folder, _case):
    (folder / "program.csv").unlink()
    os.mkfifo(folder / "program.csv")


def make_binary_csv(folder, _case):
    (folder / "program.csv").write_bytes(b"PK\x03\x04" + bytes(500))


def make_utf16_csv(folder, _case):
    program = folder / "program.csv"
    program.write_bytes(program.read_text(encoding="utf-8").encode("utf-16"))


def make_latin1_csv(folder, _case):
    program = folder / "program.csv"
    program.write_bytes(program.read_bytes().replace(b"103,lift", b"103,lev\xe9e"))


def make_bell_label(folder, _case):
    program = folder / "program.csv"
    program.write_bytes(program.read_bytes().replace(b"103,lift", b"103,li\aft"))


def make_ten_million_rows(folder, _case):
    block = b"0,0,0,0,a\n" * 100_000
    with (folder / "program.csv").open("wb") as file:
        file.write(b"t [s],q1 [deg],q2 [deg],q3 [mm],move\n")
        for _ in range(100):
            file.write(block)


def make_endless_line(folder, _case):
    (folder / "program.csv").write_bytes(b"1," * 2_000_000)


def make_pickled_npz(folder, _case):
    _npz(folder, columns={"q1 [deg]": np.array([Touched(folder / "touched"), 1, 2], dtype=object)})


def make_bare_pickle(folder, _case):
    _point_job_to(folder, "program.npz")
    (folder / "program.npz").write_bytes(pickle.dumps(Touched(folder / "touched")))


def make_cut_npz(folder, _case):
    _npz(folder)
    content = (folder / "program.npz").read_bytes()
    (folder / "program.npz").write_bytes(content[: len(content) // 2])


def make_npz_bomb(folder, _case):
    _point_job_to(folder, "program.npz")
    header = io.BytesIO()
    description = {"descr": "<f8", "fortran_order": False, "shape": (500_000_000,)}
    np.lib.format.write_array_header_1_0(header, description)
    with zipfile.ZipFile(folder / "program.npz", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("t [s].npy", header.getvalue() + bytes(10_000_000))


def make_open_npz(folder, _case):
    """The bracket of the shape is never closed."""
    _npz(folder)
    with zipfile.ZipFile(folder / "program.npz") as sound:
        content = {name: sound.read(name).replace(b"(3,), }", b"(3,  , ") for name in sound.namelist()}
    with zipfile.ZipFile(folder / "program.npz", "w") as archive:
        for name, array in content.items():
            archive.writestr(name, array)


def make_uneven_npz(folder, _case):
    _npz(folder, columns={"q1 [deg]": np.zeros(2)})


def make_matrix_npz(folder, _case):
    _npz(folder, columns={"q1 [deg]": np.zeros((3, 2))})


def make_unitless_npz(folder, _case):
    _npz(folder, columns={"q1 [deg]": None, "q1": np.zeros(3)})


def make_nan_npz(folder, _case):
    _npz(folder, columns={"q2 [deg]": np.array([0.0, np.nan, 0.0])})


def make_foreign_npz(folder, _case):
    _npz(folder)
    with zipfile.ZipFile(folder / "program.npz", "a") as archive:
        archive.writestr("readme.txt", "hello")


def make_hdf_mat(folder, _case):
    _point_job_to(folder, "program.mat")
    (folder / "program.mat").write_bytes(b"MATLAB 7.3 MAT-file".ljust(512) + b"\x89HDF\r\n\x1a\n")


def make_message(folder, case):
    _point_job_to(folder, "program.yaml")
    old, new = case["message"]
    assert MESSAGE.count(old) == 1
    (folder / "program.yaml").write_text(MESSAGE.replace(old, new), encoding="utf-8")


def make_deep_yaml(folder, _case):
    _point_job_to(folder, "program.yaml")
    (folder / "program.yaml").write_text("[" * 200_000, encoding="utf-8")


def make_deep_message(folder, _case):
    _point_job_to(folder, "program.json")
    (folder / "program.json").write_text("[" * 200_000, encoding="utf-8")


def make_recording(folder, case):
    _point_job_to(folder, "recording")
    (folder / "recording").mkdir()
    if "metadata" in case:
        (folder / "recording" / "metadata.yaml").write_text(case["metadata"], encoding="utf-8")


def make_other_database(folder, _case):
    _point_job_to(folder, "program.db3")
    with contextlib.closing(sqlite3.connect(folder / "program.db3")) as base:
        base.execute("CREATE TABLE messages (id INTEGER, text TEXT)")
        base.commit()


def _spoil(folder: Path, case: dict) -> Path:
    shutil.copytree(HERE / "good", folder, dirs_exist_ok=True)
    for name, old, new in case.get("edit", []):
        text = (folder / name).read_text(encoding="utf-8")
        assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times in {name}"
        (folder / name).write_text(text.replace(old, new), encoding="utf-8")
    for name, text in case.get("write", {}).items():
        (folder / name).write_text(text, encoding="utf-8")
    if "make" in case:
        globals()[f"make_{case['make']}"](folder, case)
    return folder / case.get("job", "job.toml")


def _problems(error: InputError) -> tuple[InputError, ...]:
    return error.problems if isinstance(error, InputErrors) else (error,)


def test_the_good_job_is_read():
    job = read_job(HERE / "good" / "job.toml")
    assert job.trajectory.samples == 7


def test_the_good_message_is_read(tmp_path):
    job = _spoil(tmp_path, {"make": "message", "message": ["joint_names", "joint_names"]})
    text = job.read_text(encoding="utf-8")
    phases = text[text.index("phases = [") : text.index("[nest]")]
    job.write_text(text.replace(phases, ""), encoding="utf-8")
    assert read_job(job).trajectory.interpolation == "cubic"


@pytest.mark.parametrize("case", CASES, ids=[case["name"] for case in CASES])
def test_bad_input_is_named(case, tmp_path):
    job = _spoil(tmp_path, case)
    with pytest.raises(InputError) as caught:
        read_job(job)
    text = str(caught.value).replace(f"{tmp_path}{os.sep}", "")
    lines = text.split("\n")
    assert len(lines) == len(_problems(caught.value))
    for expected in case["says"]:
        assert expected in text if case.get("part") else expected in lines, text
    assert not (tmp_path / "touched").exists()


@pytest.mark.parametrize("name", READERS)
def test_damaged_files_are_read_or_refused(name, tmp_path):
    """A few of those of `python -m fuzz`."""
    outcome = attack(name, 60, tmp_path)
    assert outcome.faults == []
    assert outcome.refused > 10


@pytest.mark.parametrize("case", CASES[::24], ids=[case["name"] for case in CASES[::24]])
def test_bad_input_ends_the_command_with_status_2(case, tmp_path, capsys):
    cli = pytest.importorskip("gripmargin.cli")
    job = _spoil(tmp_path, case)
    status = cli.main(["check", str(job)])
    output = capsys.readouterr()
    assert status == 2
    assert output.out == ""
    assert "Traceback" not in output.err
    for expected in case["says"]:
        assert expected in output.err.replace(f"{tmp_path}{os.sep}", "")


@pytest.mark.parametrize("case", COMMANDS, ids=[case["name"] for case in COMMANDS])
def test_bad_arguments_are_named(case, tmp_path, capsys, monkeypatch):
    cli = pytest.importorskip("gripmargin.cli")
    _spoil(tmp_path, case)
    monkeypatch.chdir(tmp_path)
    before = {path: path.read_bytes() for path in tmp_path.iterdir()}
    status = cli.main(case["arguments"])
    output = capsys.readouterr()
    assert status == 2
    assert output.out == ""
    assert output.err.splitlines() == case["says"]
    assert {path: path.read_bytes() for path in tmp_path.iterdir()} == before
