"""Runs of tests in a process of their own, forked from one that has all libraries but not the package."""

import ast
import gc
import hashlib
import importlib
import importlib.util
import json
import multiprocessing
import os
import sys
import time
from importlib.machinery import SourceFileLoader
from itertools import accumulate
from pathlib import Path

from mutants.chosen import PACKAGE, ROOT, modules

LIBRARIES = """numpy scipy.interpolate scipy.linalg scipy.ndimage scipy.optimize scipy.signal scipy.sparse
    scipy.spatial.transform shapely pint pydantic yaml roboticstoolbox rtbdata xacrodoc hypothesis.strategies
    hypothesis.extra.numpy pytest _pytest.assertion.rewrite _pytest.doctest coverage"""
PATIENCE = 3.0  # times the processor's time without a change, and so much more: then it hangs, and a test feels it
START = 10.0  # [s]
ENOUGH = 40.0  # [s] of tests for a change: slower ones are left out


def prepared():
    """Why it cannot run here, or an empty text; else the libraries are there from now on."""
    if "fork" not in multiprocessing.get_all_start_methods():
        return "mutants: each change is tried in a forked process, which this system does not have; use Linux"
    os.environ |= {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1"}
    os.environ["GRIPMARGIN_CORE"] = "off"  # Python is what is changed
    for name in LIBRARIES.split():
        try:
            importlib.import_module(name)
        except ModuleNotFoundError as missing:
            return f"mutants: the package {missing.name} is missing; do: python -m pip install '.[test]' coverage"
    sys.path[:0] = [str(ROOT / "src"), str(ROOT / "tests")]
    gc.freeze()
    return ""


class Record:
    """What each test file's tests take, and which lines of the physics they run; kept in a file.

    Lines are kept by function and text, so that they are found again where code has moved. A test file is run anew
    once it has changed.
    """

    def __init__(self, path):
        self._path = path
        self._of_file = json.loads(path.read_text()) if path.exists() else {}

    def look_at(self, files):
        """Run the test files that are new or have changed; yields each with the seconds that its tests take."""
        for file in files:
            digest = hashlib.sha256((ROOT / file).read_bytes()).hexdigest()
            if self._of_file.get(file, {}).get("digest") == digest:
                continue
            found = _forked(_recorded, None, file)
            if found is None or found["failed"]:
                raise SystemExit(f"mutants: fails without a change: {file} {(found or {}).get('failed', '')}")
            self._of_file[file] = found | {"digest": digest}
            self._path.parent.mkdir(parents=True, exist_ok=True)
            self._path.write_text(json.dumps(self._of_file))
            yield file, sum(found["seconds"].values())

    def tests_of(self, mutant, files):
        """Tests of these files that run what is changed, with their seconds: those of its lines, else of its function.

        What runs on import, or in functions that keep their answers, counts for every test of the module.
        """
        source = modules()[mutant.module]
        first, last = (source[:end].count(b"\n") for end in mutant.span)
        lines = {line.strip() for line in source.decode().splitlines()[first : last + 1]}
        found = {}
        for file in files:
            of_file = self._of_file[file]
            of_place = of_file["lines"].get(mutant.module, {})
            of_line = of_place.get(mutant.place, {})
            near = [of_line[line] for line in lines if line in of_line] or list(of_line.values())
            if (not near and _on_import(source, mutant.place)) or _keeps(source, mutant.place):
                near = [tests for place in of_place.values() for tests in place.values()]
            found |= {test: of_file["seconds"][test] for tests in near for test in tests}
        return found


def in_order(tests, module, enough=ENOUGH):
    """Tests from the fastest until they take enough time; of those that take about as long the module's own first."""
    own = f"/test_{Path(module).stem}"

    def rank(test):
        about = next((k for k in range(8) if tests[test] < 0.02 * 4**k), 8)
        return about, own not in test, test.split("::")[0], tests[test]

    order = sorted(tests, key=rank)
    until = accumulate(tests[test] for test in order)
    return [test for test, seconds in zip(order, until, strict=True) if seconds < enough]


def tried(mutant, order, seconds):
    """The test that feels a change first, or an empty text; the seconds are what the tests take without it."""
    failed = _forked(_failing, START + PATIENCE * seconds, mutant, order)
    return "no end in time" if failed is None else failed


def _on_import(source, place):
    """Whether a place is no function: its expressions are worked out once, when the module is imported."""
    return place not in {name for name in _places(source).values() if name}


def _keeps(source, place):
    """Whether a function keeps its answers: then only the first test that asks for one runs its lines."""
    functions = [node for node in ast.walk(ast.parse(source)) if isinstance(node, ast.FunctionDef)]
    kept = [f.name for f in functions if any(ast.unparse(d).split("(")[0].endswith("cache") for d in f.decorator_list)]
    return place.rsplit(".", 1)[-1] in kept


def _forked(work, seconds, *given):
    """What the work gives in a process of its own, or None where it takes more of the processor or ends the process."""
    fork = multiprocessing.get_context("fork")
    here, there = fork.Pipe(duplex=False)
    process = fork.Process(target=_alone, args=(there, seconds, work, given))
    process.start()
    there.close()
    try:
        return here.recv()
    except EOFError:
        return None
    finally:
        process.join()


def _alone(there, seconds, work, given):
    if seconds is not None:
        import resource

        resource.setrlimit(resource.RLIMIT_CPU, (int(seconds) + 1,) * 2)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    os.dup2(nowhere, 2)
    os.chdir(ROOT)
    there.send(work(*given))


class _Plugin:
    """Chooses tests, puts them in order, notes which fail and how long each takes."""

    def __init__(self, order=None, begin=None):
        self.order = order and {test: k for k, test in enumerate(order)}
        self.begin = begin or (lambda test: None)
        self.failed = []
        self.seconds = {}

    def pytest_collection_modifyitems(self, items):
        if self.order:
            items[:] = sorted((i for i in items if i.nodeid in self.order), key=lambda i: self.order[i.nodeid])

    def pytest_runtest_logstart(self, nodeid):
        self.begin(nodeid)
        self.seconds[nodeid] = -time.process_time()

    def pytest_runtest_logfinish(self, nodeid):
        self.seconds[nodeid] += time.process_time()

    def pytest_runtest_logreport(self, report):
        if report.failed:
            self.failed.append(report.nodeid)

    def pytest_collectreport(self, report):
        if report.failed:
            self.failed.append(f"import of {report.nodeid}")


def _pytest(plugin, files):
    import hypothesis
    import pytest

    phases = (hypothesis.Phase.explicit, hypothesis.Phase.generate)  # one example is enough: it need not be small
    hypothesis.settings.register_profile("mutants", database=None, deadline=None, derandomize=True, phases=phases)
    hypothesis.settings.load_profile("mutants")
    status = pytest.main(
        ["-q", "-x", "--assert=plain", "-p", "no:cacheprovider", f"--rootdir={ROOT}", *files], plugins=[plugin]
    )
    if status not in (0, 1, 2, 5) and not plugin.failed:
        plugin.failed.append(f"pytest ended with {int(status)}")


def _failing(mutant, order):
    changed = mutant.applied(modules()[mutant.module])
    sys.meta_path.insert(0, _Changed(ROOT / PACKAGE / mutant.module, changed))
    plugin = _Plugin(order)
    _pytest(plugin, dict.fromkeys(test.split("::")[0] for test in order))
    return next(iter(plugin.failed), "")


class _Changed:
    """Finds one module with another source."""

    def __init__(self, path, source):
        self._name = ".".join(path.relative_to(ROOT / "src").with_suffix("").parts)
        self._path, self._source = str(path), source

    def find_spec(self, name, path=None, target=None):
        if name != self._name:
            return None
        loader = SourceFileLoader(name, self._path)
        loader.get_code = lambda name: compile(self._source, self._path, "exec")
        return importlib.util.spec_from_file_location(name, self._path, loader=loader)


def _recorded(file):
    import coverage

    physics = {str(ROOT / PACKAGE / module): module for module in modules()}
    watch = coverage.Coverage(data_file=None, include=list(physics), config_file=False)
    watch.start()
    plugin = _Plugin(begin=watch.switch_context)
    _pytest(plugin, [file])
    watch.stop()
    data = watch.get_data()
    lines = {}
    for path in data.measured_files():
        source = modules()[physics[path]]
        places, texts = _places(source), source.decode().splitlines()
        of_place = lines.setdefault(physics[path], {})
        for number, tests in data.contexts_by_lineno(path).items():
            ran = [test for test in tests if test]
            if places[number] and ran:
                of_text = of_place.setdefault(places[number], {})
                text = texts[number - 1].strip()
                of_text[text] = sorted({*of_text.get(text, []), *ran})
    return {"failed": plugin.failed, "seconds": plugin.seconds, "lines": lines}


def _places(source):
    """The function, with dots, that each line of a source stands in, an empty text outside; by line number."""
    tree = ast.parse(source)
    found = dict.fromkeys(range(1, source.count(b"\n") + 2), "")

    def fill(node, place):
        for child in ast.iter_child_nodes(node):
            inside = place
            if isinstance(child, ast.FunctionDef | ast.ClassDef):
                inside = f"{place}.{child.name}".lstrip(".")
                if isinstance(child, ast.FunctionDef):
                    found.update(dict.fromkeys(range(child.lineno, child.end_lineno + 1), inside))
            fill(child, inside)

    fill(tree, "")
    return found
