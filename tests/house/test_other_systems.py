"""What other systems lack or do otherwise, tried on this one: calls of POSIX alone, ends of lines, letters, paths.

Which names are missing: the Python documentation of `os` and `signal`, "Availability: Unix", and of the modules under
"Unix-specific services".
"""

import ast
import json
import os
import subprocess
import sys
from pathlib import Path

from support.jobs import write_job

SOURCE = Path(__file__).parents[2] / "src" / "gripmargin"
MODULES = {"crypt", "fcntl", "grp", "posix", "pty", "pwd", "resource", "syslog", "termios", "tty"}
NAMES = {
    "os": {
        *("chown", "chroot", "ctermid", "fchmod", "fchown", "fork", "forkpty", "getegid", "geteuid", "getgid"),
        *("getgroups", "getloadavg", "getpgid", "getpgrp", "getpriority", "getuid", "getsid", "killpg", "lchown"),
        *("mkfifo", "mknod", "nice", "openpty", "pathconf", "posix_spawn", "pread", "pwrite", "sched_getaffinity"),
        *(
            "sendfile",
            "setgid",
            "setpgid",
            "setpriority",
            "setsid",
            "setuid",
            "statvfs",
            "sync",
            "sysconf",
            "tcsetpgrp",
        ),
        *("ttyname", "uname", "wait", "wait3", "wait4", "WIFEXITED", "WEXITSTATUS"),
    },
    "signal": {
        *("SIGALRM", "SIGCHLD", "SIGCONT", "SIGHUP", "SIGKILL", "SIGPIPE", "SIGQUIT", "SIGSTOP", "SIGUSR1", "SIGUSR2"),
        *("alarm", "pause", "pthread_kill", "pthread_sigmask", "setitimer", "sigpending", "sigwait", "sigwaitinfo"),
    },
}
LESS = """
import os, signal, sys

for module in MODULES - {"posix"}:  # which Python itself is made of here
    sys.modules[module] = None
for name in ("getpgid", "killpg", "nice", "sched_getaffinity", "statvfs", "sysconf", "sysconf_names"):
    vars(os).pop(name)
for name in ("SIGALRM", "SIGHUP", "SIGPIPE", "alarm", "pthread_kill", "pthread_sigmask", "setitimer"):
    vars(signal).pop(name)
"""


def needed(tree):
    """What of a source cannot be had on another system: names by their dots, modules that no `try` guards."""
    guarded = {id(inner) for node in ast.walk(tree) if isinstance(node, ast.Try) for inner in ast.walk(node)}
    for node in ast.walk(tree):
        match node:
            case ast.Attribute(value=ast.Name(module), attr=name) if name in NAMES.get(module, ()):
                yield f"{module}.{name}"
            case ast.Import(names=names) if id(node) not in guarded:
                yield from (alias.name for alias in names if alias.name in MODULES)
            case ast.ImportFrom(module=str(module)) if module in MODULES:
                yield module
            case ast.ImportFrom(module="os" | "signal" as module, names=names):
                yield from (f"{module}.{alias.name}" for alias in names if alias.name in NAMES[module])


def test_nothing_of_posix_alone_is_needed():
    assert list(needed(ast.parse("import fcntl, os\nfrom signal import alarm\nos.fork()"))) != []
    found = {
        str(path.relative_to(SOURCE)): names
        for path in SOURCE.rglob("*.py")
        if (names := list(needed(ast.parse(path.read_text(encoding="utf-8")))))
    }
    assert found == {}


def test_jobs_are_judged_without_it(tmp_path):
    """Two at a time, with ends of lines, letters of the console and names as on another system: the same reports."""
    folder = tmp_path / "Träger, Größe 1"
    folder.mkdir()
    for name, mass in (("leicht ä", "400 g"), ("schwer", "8 kg")):
        job = Path(write_job(folder, name, mass))
        for file in (job, job.with_suffix(".csv")):
            file.write_bytes(file.read_bytes().replace(b"\n", b"\r\n"))
    less = tmp_path / "less"
    less.mkdir()
    (less / "sitecustomize.py").write_text(f"MODULES = {MODULES!r}\n{LESS}", encoding="utf-8")

    def judged(**more):
        done = subprocess.run(
            [
                sys.executable,
                "-m",
                "gripmargin",
                "check",
                "*.toml",
                "--workers",
                "2",
                "--json",
                "-",
                "--html",
                "x.html",
            ],
            cwd=folder,
            env={**os.environ, **more},
            capture_output=True,
            check=False,
        )
        assert (done.stderr, done.returncode) == (b"", 1)
        return done.stdout

    path = os.pathsep.join(filter(None, [str(less), os.environ.get("PYTHONPATH")]))
    bare = judged(PYTHONPATH=path, PYTHONIOENCODING="cp1252", PYTHONUTF8="0")
    assert [entry["job"] for entry in json.loads(bare.decode("utf-8"))] == ["leicht ä", "schwer"]
    assert bare == judged()
