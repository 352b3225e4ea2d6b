"""A headless Chromium that tests drive over its own debugging pipe, and jobs whose pages are looked at."""

import base64
import json
import os
import shutil
import subprocess
import sys
import threading
from dataclasses import dataclass, field, replace
from pathlib import Path
from queue import Empty, Queue

import numpy as np
import pytest

import gripmargin as gm

FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync",
    "--disable-background-networking", "--disable-component-update", "--hide-scrollbars", "--remote-debugging-pipe",
)  # fmt: skip
NAMES = ("chromium", "chromium-browser", "google-chrome")
PATIENCE = 30.0  # s
JOBS = Path(__file__).parents[2] / "trajectories"


@dataclass
class Tab:
    """One page in the browser; what it logs and asks the network for is kept."""

    process: subprocess.Popen
    out: object
    answers: dict = field(default_factory=dict)
    events: Queue = field(default_factory=Queue)
    logged: list = field(default_factory=list)
    asked: list = field(default_factory=list)
    session: str | None = None
    count: int = 0

    def say(self, method, **params):
        self.count += 1
        number = self.count
        self.answers[number] = Queue()
        message = {"id": number, "method": method, "params": params}
        if self.session:
            message["sessionId"] = self.session
        self.out.write(json.dumps(message).encode() + b"\0")
        self.out.flush()
        answer = self.answers[number].get(timeout=PATIENCE)
        assert "error" not in answer, (method, answer)
        return answer["result"]

    def hear(self, pipe):
        for message in _messages(pipe):
            if "id" in message:
                self.answers[message["id"]].put(message)
            elif message["method"] in ("Runtime.exceptionThrown", "Log.entryAdded", "Runtime.consoleAPICalled"):
                self.logged.append(message["params"])
            elif message["method"] == "Network.requestWillBeSent":
                self.asked.append(message["params"]["request"]["url"])
            elif message["method"] == "Page.loadEventFired":
                self.events.put("loaded")

    def open(self, path, fragment="", width=1200, height=900):
        self.logged.clear()
        self.asked.clear()
        self.say("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=False)
        self.say("Page.navigate", url="about:blank")
        self._loaded()
        self.say("Page.navigate", url=f"file://{path}{fragment}")
        self._loaded()

    def _loaded(self):
        try:
            self.events.get(timeout=PATIENCE)
        except Empty:
            raise AssertionError("the page did not load") from None

    def run(self, script):
        """The value of an expression in the page."""
        answer = self.say("Runtime.evaluate", expression=script, returnByValue=True, awaitPromise=True)
        assert "exceptionDetails" not in answer, answer["exceptionDetails"]
        return answer["result"].get("value")

    def scene(self):
        return base64.b64decode(self.say("Page.captureScreenshot", format="png")["data"])

    def pdf(self):
        return base64.b64decode(self.say("Page.printToPDF", printBackground=True, preferCSSPageSize=True)["data"])


def _messages(pipe):
    rest = b""
    while chunk := os.read(pipe, 1 << 16):
        *whole, rest = (rest + chunk).split(b"\0")
        yield from (json.loads(text) for text in whole)


@pytest.fixture(scope="session")
def tab(tmp_path_factory):
    named = os.environ.get("GRIPMARGIN_CHROMIUM")
    found = next(filter(None, map(shutil.which, [named] if named else NAMES)), None)
    if found is None:
        reason = "no Chromium found: install Debian's package chromium, or name one in GRIPMARGIN_CHROMIUM"
        if os.environ.get("CI"):
            pytest.fail(reason)
        pytest.skip(reason)
    to_browser, from_us = os.pipe()
    from_browser, to_us = os.pipe()
    profile = tmp_path_factory.mktemp("chromium")

    # the browser reads commands from 3 and writes answers to 4; high numbers first, lest one overwrite the other
    wire = "; ".join([f"os.dup2({to_browser}, 103)", f"os.dup2({to_us}, 104)", "os.dup2(103, 3)", "os.dup2(104, 4)"])
    wired = [sys.executable, "-c", f"import os, sys; {wire}; os.execv(sys.argv[1], sys.argv[1:])"]
    process = subprocess.Popen(
        [*wired, found, *FLAGS, f"--user-data-dir={profile}", "about:blank"],
        pass_fds=(to_browser, to_us), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    os.close(to_browser)
    os.close(to_us)
    with os.fdopen(from_us, "wb") as out:
        tab = Tab(process, out)
        threading.Thread(target=tab.hear, args=(from_browser,), daemon=True).start()
        try:
            page = next(t for t in tab.say("Target.getTargets")["targetInfos"] if t["type"] == "page")
            tab.session = tab.say("Target.attachToTarget", targetId=page["targetId"], flatten=True)["sessionId"]
            for domain in ("Page", "Runtime", "Log", "Network"):
                tab.say(f"{domain}.enable")
            yield tab
        finally:
            process.terminate()
            process.wait(timeout=10)


FILM = {"pull_off_stress": 6e4, "shear_strength": 5e4, "normal_stiffness": 1e8, "shear_stiffness": 4e7}


@pytest.fixture(scope="session")
def carried():
    """A plate carried sideways on pads: the report of a check; what is given replaces what a check is given."""

    def make(
        *, samples=251, mass=0.6, names=("left", "right"), material="film", move="across", name="plate", hold=2.0,
        moves=True, phases=True, poses=None, gravity=(0.0, 0.0, -9.80665), seconds=1.0,
    ):  # fmt: skip
        t = np.linspace(0.0, seconds, samples)
        s = np.clip(t / 1.0, 0.0, 1.0)
        x = 0.5 * (10 * s**3 - 15 * s**4 + 6 * s**5)
        film = gm.PadMaterial(**FILM, name=material)
        poses = poses or [gm.pose(xyz=[0.05 * i - 0.025 * (len(names) - 1), 0.0, 0.0]) for i in range(len(names))]
        labels = tuple(np.where(t > 0.9 * seconds, "rest", move)) if moves else None
        kinds = (gm.Phase(kind="carry", moves=(move,)),) if moves and phases else ()
        return gm.check(
            name=name,
            trajectory=gm.PoseTrajectory(
                t=t,
                position=np.column_stack([x, 0 * t, 0.3 + 0 * t]),
                rotation=np.broadcast_to(np.diag([1.0, -1.0, -1.0]), (samples, 3, 3)),
                moves=labels,
            ),
            gripper=gm.Gripper(
                pads=tuple(
                    gm.Pad.rectangle(pad, film, [0.02, 0.03], pose) for pad, pose in zip(names, poses, strict=True)
                )
            ),
            part=gm.Part(face="plane", rigid=True, mass=mass, com=[0.01, 0.02, 0.02], inertia=1e-3 * np.eye(3)),
            phases=kinds,
            accept=("never_released",) if kinds else (),
            targets=gm.Targets(hold=hold),
            gravity=gravity,
        )

    return make


@pytest.fixture(scope="session")
def long_report(carried):
    """A minute at a kilohertz on four pads, noisy all through; made of a short report, for a check is slow."""
    short = carried(names=("a", "b", "c", "d"), mass=2.0)
    count, random = 60_001, np.random.default_rng(0)
    again = np.arange(count) % short.samples.t.size
    noise = 1.0 + 0.2 * random.standard_normal(count)

    def longer(values):
        if not isinstance(values, np.ndarray):
            return tuple(values[i] for i in again)
        return values[again] * noise if values.ndim == 1 else values[again] * noise[:, None]

    given = {key: values for key, values in vars(short.samples).items() if key != "stamp" and len(values)}
    samples = {key: longer(values) for key, values in given.items()} | {"t": 1e-3 * np.arange(count)}
    scene = replace(
        short.scene,
        gravity=short.scene.gravity[again],
        axis=short.scene.axis[again],
        airborne=short.scene.airborne[again],
        loads={check: load[:, again] for check, load in short.scene.loads.items()},
    )
    shares = {check: longer(share) for check, share in short.shares.items()}
    return replace(short, samples=replace(short.samples, **samples), shares=shares, scene=scene)


@pytest.fixture(scope="session")
def demo():
    """Reports of a job that fails and of one that cannot be decided, with press and release."""
    return {name: gm.check_file(JOBS / f"{name}.toml") for name in ("window-askew", "lid-no-data")}


@pytest.fixture(scope="session")
def pages(demo):
    return {name: gm.report_html(report) for name, report in demo.items()}
