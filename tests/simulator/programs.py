"""A program of moves from rest to rest, known in closed form, and what may happen in it, well or badly."""

from dataclasses import dataclass, field

import numpy as np

import gripmargin as gm

STEP = 0.01  # s, of the program
UNEVEN = ("rim", "slid", "planes", "bow", "drag", "heights", "askew")


@dataclass(frozen=True)
class Moves:
    """A gantry that moves from rest to rest, each time along a polynomial of degree five, or by ramps of its speed.

    Six axes: x, y, z of the tool origin [m], then turns about z, y, x [rad]; at zero the tool looks down.

    Attributes:
        start: Where it is at first, shape (6,).
        names: Of the moves.
        spans: Duration of each [s], shape (k,).
        ends: Where each ends, shape (k, 6).
        step: Between the samples of the program [s].
        ramp: Share of a move in which its speed rises evenly, and in which it falls; None: the polynomial.
    """

    start: np.ndarray
    names: tuple
    spans: np.ndarray
    ends: np.ndarray
    step: float = STEP
    ramp: float | None = None

    @property
    def borders(self):
        """Times at which moves begin and end, shape (k + 1,)."""
        return np.concatenate([[0.0], np.cumsum(self.spans)])

    @property
    def samples(self):
        """Times of the program's samples, shape (n,)."""
        return np.arange(round(self.borders[-1] / self.step) + 1) * self.step

    def at(self, t):
        """Positions, speeds, accelerations of the axes, each (n, 6)."""
        k = np.clip(np.searchsorted(self.borders, t, side="left") - 1, 0, len(self.spans) - 1)
        s = ((t - self.borders[k]) / self.spans[k])[:, None]
        begin = np.vstack([self.start, self.ends[:-1]])[k]
        way, span = self.ends[k] - begin, self.spans[k][:, None]
        if self.ramp is None:
            law = 10 * s**3 - 15 * s**4 + 6 * s**5, 30 * s**2 * (1 - s) ** 2, 60 * s * (1 - s) * (1 - 2 * s)
        else:
            law = _ramps(s, self.ramp)
        return begin + law[0] * way, law[1] * way / span, law[2] * way / span**2

    def poses(self, t):
        """Rotation (n, 3, 3) and position (n, 3) of the tool frame in the world."""
        q, _, _ = self.at(t)
        first, second = _about(2, q[:, 3]), _about(1, q[:, 4])
        return first @ second @ _about(0, q[:, 5]) @ np.diag([1.0, -1.0, -1.0]), q[:, :3]

    def rates(self, t):
        """Acceleration of the tool origin, angular velocity and angular acceleration, world axes, each (n, 3)."""
        q, qd, qdd = self.at(t)
        first = _about(2, q[:, 3])
        second = first @ _about(1, q[:, 4])
        axes = np.broadcast_to([0.0, 0.0, 1.0], (len(t), 3)), first[:, :, 1], second[:, :, 0]
        omega, alpha = np.zeros((2, len(t), 3))
        for axis, speed, rate in zip(axes, qd.T[3:, :, None], qdd.T[3:, :, None], strict=True):
            alpha += rate * axis + np.cross(omega, speed * axis)
            omega += speed * axis
        return qdd[:, :3], omega, alpha

    def trajectory(self, decimals=None):
        """The program with exact rates; or by its places alone, rounded to some decimals, as robots put it out."""
        t = self.samples
        q, qd, qdd = self.at(t)
        k = np.clip(np.searchsorted(self.borders, t - 1e-9) - 1, 0, len(self.names) - 1)
        rates = {"qd": qd, "qdd": qdd} if decimals is None else {}
        q = q if decimals is None else np.round(q, decimals)
        return gm.JointTrajectory(t=t, q=q, **rates, moves=tuple(self.names[i] for i in k))


def _ramps(s, ramp):
    """Way, speed and acceleration of a move of length and duration 1 whose speed is a trapezoid."""
    near, most = np.minimum(s, 1.0 - s), 1.0 / (ramp * (1.0 - ramp))
    begun = np.where(near < ramp, most * near**2 / 2, most * ramp * (near - ramp / 2))
    early = s <= 0.5
    pushed = np.where((near < ramp) & (near > 0.0), most, 0.0)
    return np.where(early, begun, 1.0 - begun), most * np.minimum(near, ramp), np.where(early, pushed, -pushed)


def _about(axis, angle):
    turn = np.zeros((len(angle), 3, 3))
    i, j = (axis + 1) % 3, (axis + 2) % 3
    turn[:, axis, axis] = 1.0
    turn[:, i, i] = turn[:, j, j] = np.cos(angle)
    turn[:, j, i] = np.sin(angle)
    turn[:, i, j] = -turn[:, j, i]
    return turn


GANTRY = gm.chain_from_axes(
    [np.eye(4)] * 6,
    [(1, 0, 0), (0, 1, 0), (0, 0, 1), (0, 0, 1), (0, 1, 0), (1, 0, 0)],
    [False, False, False, True, True, True],
    gm.pose(rpy=(np.pi, 0.0, 0.0)),
    names=["x", "y", "z", "c", "b", "a"],
    source="gantry",
)


@dataclass
class _Program:
    """Moves being written down, by height above the face and turns from level."""

    random: np.random.Generator
    face: np.ndarray
    place: np.ndarray
    step: float = STEP
    moves: list = field(default_factory=list)

    def to(self, name, time, **where):
        """Move on; ``x``, ``y``, ``z`` from the face [m], ``c``, ``b``, ``a`` turns [rad]; others stay."""
        self.place = self.place.copy()
        for axis, value in where.items():
            k = "xyzcba".index(axis)
            self.place[k] = value + (self.face[k] if k < 3 else 0.0)
        self.moves.append((name, max(1, round(time / self.step)) * self.step, self.place))

    def motion(self, start, ramp=None):
        """What was written down, as a motion."""
        names, spans, ends = zip(*self.moves, strict=True)
        return Moves(start, names, np.array(spans), np.array(ends), self.step, ramp)


def full_depth(material):
    """How deep a press makes a full bond [m]."""
    return (material.full_preload or material.preload_curve[-1][0]) / material.normal_stiffness


def write_down(random, kind, material, reach, lean, pick, nest, brief):  # noqa: PLR0912, PLR0915 - a list of what may happen
    """Moves and phases."""
    deep = full_depth(material)
    brittle = material.pull_off_stress / material.normal_stiffness
    yaw = random.uniform(-0.5, 0.5)
    first = pick.face[:3, 3]
    program = _Program(
        random,
        first,
        np.array([first[0], first[1], first[2] + 0.03, yaw, 0, 0]),
        random.choice([0.02, 0.04, 0.05]) if kind == "sparse" else STEP,
    )
    start = program.place
    depth = -deep * (random.uniform(0.5, 1.5) if kind in UNEVEN else random.uniform(1.05, 2.5))
    tilt = np.zeros(2)
    phase = {"preload": ["touch", "press"], "carry": ["lift", "across", "lower"], "release": ["let go", "leave"]}
    bow = pick.flatness
    if kind == "rim":
        depth = -deep * random.choice([random.uniform(0.3, 0.95), random.uniform(0.95, 1.2)])
        tilt = lean[::-1] * deep * random.choice([0.2, 1.0]) * random.uniform(0.2, 1.0) / reach
    if kind == "labels" and random.random() < 0.3:  # a hard knock in a stretch that nobody looks at
        program.to("approach", 0.3, z=2.5 * depth)
        program.to("approach", 0.2, z=2e-3 if brief else -0.2 * deep)
    depth -= bow
    angle, way = random.uniform(0, 2 * np.pi), material.shear_strength / material.shear_stiffness
    along = np.array([np.cos(angle), np.sin(angle)])
    if kind == "slid":  # some pads bond, the tool slides and levels, the others bond
        tilt = random.uniform(1.5, 6.0) * deep / reach * random.choice([-1, 1])
        program.to("touch", 0.4, z=0.5 * abs(tilt) * reach - 0.7 * deep, a=tilt * random.uniform(-1, 1), b=tilt)
        x, y = along * way * random.uniform(0.1, 0.9)
        program.to("touch", 0.3, x=x, y=y)
        program.to("press", 0.3, z=depth, a=0, b=0)
    elif kind == "askew":  # it touches tilted, and levels while it is pressed on
        tilt = random.uniform(-1.5, 1.5, 2) * deep / reach
        program.to("touch", 0.4, z=depth * random.uniform(0.2, 1.0), a=tilt[0], b=tilt[1])
        program.to("press", 0.3, z=depth, a=0, b=0)
    elif kind == "drag":  # it bonds, slides in the tray, is pressed on
        program.to("touch", 0.5, z=depth * random.uniform(0.3, 1.0))
        x, y = along * way * random.choice([random.uniform(0.05, 0.9), random.uniform(1.0, 4.0)])
        program.to("press", 0.3, x=x, y=y, z=depth * random.uniform(0.5, 1.2))
        if random.random() < 0.5:
            program.to("press", 0.3, z=depth * random.uniform(0.9, 1.5))
    else:
        program.to("touch", 0.5, z=depth, a=tilt[0], b=tilt[1])
    program.to("press", random.choice([0.02, 0.3], p=[0.1, 0.9]))
    if kind == "labels" and random.random() < 0.3:
        phase["carry"].insert(0, "deeper")
        program.to("deeper", 0.2, z=depth * random.uniform(1.5, 3.0))
    if kind == "labels" and random.random() < 0.3 and "deeper" not in phase["carry"]:
        phase["preload"], phase["carry"] = ["touch", "press", "lift"], [*phase["carry"][:-3], "across", "lower"]
    if kind == "labels" and random.random() < 0.3:
        phase["preload"].remove("touch")
    if kind == "sparse" and random.random() < 0.3:
        phase["carry"].insert(0, "dip")  # its only sample is where the next move begins
        program.to("dip", program.step, z=depth * random.uniform(1.3, 2.5))
    program.to("lift", random.uniform(0.4, 0.8), z=0.12, a=0, b=0)
    program.face = nest.face[:3, 3]
    if kind == "over":
        _turned_over(random, program, yaw)
    for k in range(random.integers(1, 3)):
        share = random.uniform(0.3, 0.7) if k == 0 else 1.0
        turn = random.uniform(-0.6, 0.6, 3) * (random.random() < 0.6)
        program.place = program.place.copy()
        above = program.face + np.array([0.0, 0.0, 0.08])
        target = program.place[:3] + (above - program.place[:3]) * share
        program.to(
            "across",
            random.uniform(0.35, 0.8),
            x=target[0] - program.face[0],
            y=target[1] - program.face[1],
            z=target[2] - program.face[2],
            c=yaw + turn[0],
            b=turn[1],
            a=turn[2],
        )
    program.to("across", random.uniform(0.35, 0.8), x=0, y=0, z=0.04, b=0, a=0, c=yaw)
    down = -random.uniform(0.2, 1.5) * deep - bow
    if kind == "labels" and random.random() < 0.5:
        program.to("lower", 0.6, z=down * random.uniform(1.5, 4.0))
        if random.random() < 0.5:
            way = random.uniform(0.5, 6.0) * brittle
            program.to("lower", 0.3, x=way)
        program.to("lower", 0.2, z=down)
    elif kind == "askew":  # the nest is not parallel to the tool
        lean = random.uniform(-1.0, 1.0, 2) * random.uniform(0.1, 1.0) * brittle / reach
        program.to("lower", 0.6, z=down, a=lean[0], b=lean[1])
    else:
        program.to("lower", 0.6, z=down)
    if kind == "goes" and random.random() < 0.3:  # twisted in the nest before it is let go
        program.to("lower", 0.3, c=yaw + random.uniform(-1.0, 1.0) * way / reach)
    declared = _let_go(random, kind, program, material, reach, down)
    if kind == "labels" and random.random() < 0.3:
        phase["carry"], phase["release"] = [*phase["carry"], "let go"], ["leave"]
    if kind == "labels" and random.random() < 0.3:
        program.to("return", 0.3, z=2.5 * down)
        program.to("return", 0.3, z=0.03)
    listed = list(phase.items())
    if kind == "places" and random.random() < 0.5:  # two carries, and between them what no phase covers
        listed[1:2] = [("carry", ["lift"]), ("carry", ["lower"])]
    phases = [
        gm.Phase(kind=name, moves=tuple(moves), release=declared if name == "release" else None)
        for name, moves in listed
    ]
    return program.motion(start, random.uniform(0.12, 0.45) if kind == "ramps" else None), tuple(phases)


def _turned_over(random, program, yaw):
    """The part is shown around: on its side or on its back, high up between tray and nest, with rests."""
    start = program.place[:3].copy()
    for _ in range(random.integers(1, 4)):
        place = start + (program.face - start) * 0.5 + random.uniform(-0.05, 0.05, 3) + np.array([0.0, 0.0, 0.3])
        turn = random.uniform(-np.pi, np.pi, 3) * [1.0, 0.3, 1.0]
        x, y, z = place - program.face
        program.to("across", random.uniform(0.5, 1.2), x=x, y=y, z=z, c=yaw + turn[0], b=turn[1], a=turn[2])
        if random.random() < 0.5:
            program.to("across", random.uniform(0.05, 0.4))


def _let_go(random, kind, program, material, reach, down):
    """Write down a release: straight, twisted, slid, tilted, overloaded or mixed; too short or long enough."""
    stretch = material.shear_strength / material.shear_stiffness
    if kind == "goes":  # one after the other, there and back, pressed on between
        for _ in range(random.integers(2, 5)):
            x, y = program.place[:2] - program.face[:2] + random.uniform(-1.5, 1.5, 2) * stretch
            turn = np.clip(random.uniform(-3.0, 3.0) * stretch / reach, -0.7, 0.7)
            press = down * random.choice([1.0, random.uniform(0.3, 3.0)])
            each = random.choice(["slide", "turn", "press"])
            where = {"slide": {"x": x, "y": y}, "turn": {"c": program.place[3] + turn}, "press": {"z": press}}[each]
            program.to("let go", 0.3, **where)
        program.to("leave", 0.4, z=0.03)
        return None
    kind = "mixed" if kind == "mixed" else random.choice(["straight", "torsion", "shear", "peel", "overload"])
    long = random.uniform(0.3, 4.0)
    where = {}
    if kind in ("torsion", "mixed"):
        where["c"] = program.place[3] + np.clip(3 * long * stretch / reach, 0.0, 1.0) * random.choice([-1, 1])
    if kind in ("shear", "mixed"):
        angle, way = random.uniform(0, 2 * np.pi), long * 1.5 * stretch
        where["x"] = program.place[0] - program.face[0] + way * np.cos(angle)
        where["y"] = program.place[1] - program.face[1] + way * np.sin(angle)
    if kind in ("peel", "mixed"):
        lean = np.clip(long * material.pull_off_stress / material.normal_stiffness / reach, 0.0, 0.1)
        where["a"], where["b"] = lean * random.choice([-1, 1]), lean * random.uniform(-1, 1)
        where["z"] = down + random.uniform(0.0, 1.0) * lean * reach
    if kind == "overload":
        where["z"] = -1.3 * (material.overload_pressure or 40e3) / material.normal_stiffness
    if kind != "straight":
        program.to("let go", 0.4, **where)
        program.to("let go", 0.1)
    else:
        program.to("let go", 0.2)
    program.to("leave", 0.4, z=0.03)
    return None if kind in ("straight", "mixed") else str(kind)
