"""Random jobs: pads, a part, and a program that presses, carries, puts down and lets go, well or badly."""

from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np

import gripmargin as gm
from simulator.cells import cut
from simulator.hanging import Hanging, first_break, most
from simulator.held import Bond, flat
from simulator.whole import Whole, loads

STEP = 0.01  # s, of the program
G = 9.80665
KINDS = ("even", "rim", "slid", "planes", "bow", "drag", "labels", "outline", "sparse", "mixed")
HOLD, RELEASE = 2.0, 1.5  # targets
UNEVEN = ("rim", "slid", "planes", "bow", "drag")


@dataclass(frozen=True)
class Moves:
    """A gantry that moves from rest to rest, each time along a polynomial of degree five.

    Six axes: x, y, z of the tool origin [m], then turns about z, y, x [rad]; at zero the tool looks down.

    Attributes:
        start: Where it is at first, shape (6,).
        names: Of the moves.
        spans: Duration of each [s], shape (k,).
        ends: Where each ends, shape (k, 6).
        step: Between the samples of the program [s].
    """

    start: np.ndarray
    names: tuple
    spans: np.ndarray
    ends: np.ndarray
    step: float = STEP

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
        return (
            begin + (10 * s**3 - 15 * s**4 + 6 * s**5) * way,
            30 * s**2 * (1 - s) ** 2 * way / span,
            60 * s * (1 - s) * (1 - 2 * s) * way / span**2,
        )

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

    def trajectory(self):
        """The program with exact rates."""
        t = self.samples
        q, qd, qdd = self.at(t)
        k = np.clip(np.searchsorted(self.borders, t - 1e-9) - 1, 0, len(self.names) - 1)
        return gm.JointTrajectory(t=t, q=q, qd=qd, qdd=qdd, moves=tuple(self.names[i] for i in k))


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
class Attack:
    """A random job with what it does not say: the motion between its samples, the bow of the part's face."""

    seed: int
    kind: str
    job: gm.Job = None
    motion: Moves = None
    gap: object = flat
    bow: object = None
    whole: Whole = None

    def finer(self, times=2):
        """Simulated again on cells and steps of half the size, or a third."""
        return Whole(self.job, self.motion, self.gap, finer=times)

    def alike(self):
        """Simulated with other faces that are as plane as the job says, and nothing tells them from this one."""
        depth = self.job.pick.flatness
        gaps = [*map(self.bow, range(3)), flat, lambda x, y: depth] if depth else []
        return [Whole(self.job, self.motion, gap) for gap in gaps]


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

    def motion(self, start):
        """What was written down, as a motion."""
        names, spans, ends = zip(*self.moves, strict=True)
        return Moves(start, names, np.array(spans), np.array(ends), self.step)


def draw(seed, kind=None):
    """A random job; its kind says what is out of the ordinary."""
    random = np.random.default_rng(seed)
    kind = kind or KINDS[seed % len(KINDS)]
    materials = [_material(random, kind) for _ in range(1 + (random.random() < 0.2))]
    cycles = int(random.choice([0, 0, 5, 20]))
    pads, reach = _pads(random, kind, materials)
    outline = _outline(random, kind, reach)
    gripper = gm.Gripper(pads=tuple(pads), cycles_since_cleaning=cycles)
    height = random.uniform(2e-3, 20e-3) if kind != "outline" else random.uniform(10e-3, 60e-3)
    com, inertia = gm.uniform_plate(1.0, outline, height)
    lean = random.normal(size=2)
    lean /= np.linalg.norm(lean)
    if kind == "rim":  # often the weaker side is the one away from the load
        com = com + np.append(random.uniform(-0.1, 0.3) * reach * lean, 0.0)
    elif random.random() < 0.7:
        com = com + np.append(random.uniform(-0.25, 0.25, 2) * reach, 0.0)
    part = gm.Part(
        mass=1.0,
        com=com,
        inertia=inertia,
        outline=outline,
        thickness=height,
        surface_factor=random.uniform(0.7, 1.0),
        face="plane",
        rigid=True,
    )
    pick = gm.Pick(face=gm.pose(xyz=[0.3, 0.1, 0.05], rpy=[0, 0, random.uniform(-3, 3)]))
    nest = gm.Nest(
        face=gm.pose(xyz=[-0.2, 0.3, random.uniform(0.0, 0.1)], rpy=[0, 0, random.uniform(-3, 3)]),
        hold_down=0.0,
        lateral_force=5.0,
        moment=1.0,
        support=_outline(random, kind, reach) if kind == "outline" and random.random() < 0.3 else None,
    )
    gap, bowed = flat, (random.uniform(0, np.pi), random.integers(3))
    if kind == "bow":
        depth = random.uniform(0.2, 1.0) * min(m.pull_off_stress / m.normal_stiffness for m in materials)
        gap, pick = _bow(reach, depth, *bowed), replace(pick, flatness=depth)
    brief = all(material.min_dwell for material in materials)  # a knock does not bond
    motion, phases = _program(random, kind, materials[0], reach, lean, pick, nest, brief)
    job = gm.Job(
        name=f"{kind} {seed}",
        gripper=gripper,
        part=part,
        trajectory=motion.trajectory(),
        robot=GANTRY,
        phases=phases,
        pick=pick,
        nest=nest,
        targets=gm.Targets(hold=HOLD, release=RELEASE, preload=0.9, swing=0.01),
    )
    return _scaled(random, Attack(seed, kind, job, motion, gap, partial(_bow, reach, pick.flatness, bowed[0])))


def _about_one(random, often):
    """A factor on what a target asks: often 0.7 to 1.5, else with room."""
    return np.exp(random.uniform(*np.log([0.7, 1.5]))) if random.random() < often else random.uniform(1.7, 3.0)


def _material(random, kind):
    pull, stiffness = random.uniform(45e3, 90e3), random.uniform(0.5e8, 1.3e8)
    full = random.uniform(5e3, 25e3)
    curve = random.random() < 0.3
    loses = random.random() < 0.15
    return gm.PadMaterial(
        pull_off_stress=pull,
        shear_strength=pull * random.uniform(0.7, 1.2),
        normal_stiffness=stiffness,
        shear_stiffness=stiffness * random.uniform(0.3, 0.5),
        full_preload=None if curve else full,
        preload_curve=[[0.0, 0.0], [0.4 * full, random.uniform(0.3, 0.8)], [full, 1.0]] if curve else None,
        min_dwell=random.choice([None, 0.2]),
        overload_pressure=8 * full if loses else None,
        overload_residual=random.uniform(0.05, 0.3) if loses else None,
        fouling_per_cycle=random.choice([0.0, 0.01]),
        peel_energy=random.choice([None, pull**2 / (2.0 * stiffness) * random.uniform(0.5, 1.5)]),
        damping_ratio=0.1,
        name=f"film {kind}",
    )


def _pads(random, kind, materials):
    """Pads of three shapes on a grid of places, and how far they reach from the tool's axis."""
    few = {"slid": [2, 3, 4, 6], "planes": [2, 3, 4, 6], "rim": [1, 1, 1, 2, 4]}
    count = int(random.choice(few.get(kind, [1, 1, 2, 3, 4, 6])))
    size, apart = random.uniform(10e-3, 30e-3), random.uniform(45e-3, 60e-3)
    columns = min(count, 1 + (count > 1) + (count == 6))
    pads = []
    for k in range(count):
        place = (np.array([k % columns, k // columns]) - [(columns - 1) / 2, (-(-count // columns) - 1) / 2]) * apart
        place = place + random.uniform(-4e-3, 4e-3, 2)
        out = random.uniform(-1, 1, 3) * [40e-6, 1e-3, 1e-3] if kind == "planes" else np.zeros(3)
        if kind == "rim" and k == 1 and random.random() < 0.6:  # it barely touches
            out[0] = -_deep(materials[0]) * random.uniform(0.3, 1.1)
        at = gm.pose(xyz=[*place, out[0]], rpy=[out[1], out[2], random.uniform(-1, 1)])
        material, shape = materials[k % len(materials)], random.integers(3)
        if shape == 0:
            pads.append(gm.Pad.rectangle(f"pad {k}", material, size * random.uniform(0.7, 1.3, 2), at))
        elif shape == 1:
            pads.append(gm.Pad.disc(f"pad {k}", material, size * random.uniform(0.8, 1.3), at))
        else:
            angle = np.sort(random.uniform(0, 2 * np.pi / 5, 5) + 2 * np.pi / 5 * np.arange(5))
            corners = size * 0.65 * np.column_stack([np.cos(angle), np.sin(angle)])
            pads.append(gm.Pad.polygon(f"pad {k}", material, corners, at))
    reach = max(np.linalg.norm(pad.pose_in_tool[:2, 3]) for pad in pads) + 1.2 * size
    return pads, reach


def _outline(random, kind, reach):
    """Of the part: a rectangle that all pads lie on, or nearly; sharp, with some corners cut, or rounded."""
    half = reach * random.uniform(1.05, 1.6, 2) if random.random() < 0.8 else reach * random.uniform(0.75, 1.3, 2)
    half *= 1.7 if kind == "outline" else 1.0
    shift = random.uniform(-0.3, 0.3, 2) * (half - reach).clip(0.0) * (3.0 if kind == "outline" else 1.0)
    signs = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    corners = []
    for k, sign in enumerate(signs):
        radius = half.min() * random.uniform(0.1, 0.4) if kind == "outline" and random.random() < 0.7 else 0.0
        middle = sign * (half - radius)
        points = 1 if radius == 0.0 else int(random.choice([2, 24]))
        angle = np.pi / 2 * (k + 2 + (np.linspace(0, 1, points) if points > 1 else np.array([0.5])))
        arc = np.column_stack([np.cos(angle), np.sin(angle)])
        corners.append(middle + radius * arc if points > 1 else middle + 0 * arc)
    return np.vstack(corners) + shift


def _bow(reach, depth, turn, kind):
    """A face that falls off towards its rim (0), towards its middle (1), or to two sides (2)."""

    def gap(x, y):
        along = ((x * np.cos(turn) + y * np.sin(turn)) / reach) ** 2 if kind == 2 else (x * x + y * y) / reach**2
        along = np.minimum(along, 1.0)
        return depth * (1.0 - along if kind == 1 else along)

    return gap


def _deep(material):
    """How deep a press makes a full bond [m]."""
    return (material.full_preload or material.preload_curve[-1][0]) / material.normal_stiffness


def _program(random, kind, material, reach, lean, pick, nest, brief):  # noqa: PLR0912, PLR0915 - a list of what may happen
    """Moves and phases."""
    deep = _deep(material)
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
    else:
        program.to("lower", 0.6, z=down)
    declared = _let_go(random, kind, program, material, reach, down)
    if kind == "labels" and random.random() < 0.3:
        phase["carry"], phase["release"] = [*phase["carry"], "let go"], ["leave"]
    if kind == "labels" and random.random() < 0.3:
        program.to("return", 0.3, z=2.5 * down)
        program.to("return", 0.3, z=0.03)
    phases = [
        gm.Phase(kind=name, moves=tuple(moves), release=declared if name == "release" else None)
        for name, moves in phase.items()
    ]
    return program.motion(start), tuple(phases)


def _let_go(random, kind, program, material, reach, down):
    """Write down a release: straight, twisted, slid, tilted, overloaded or mixed; too short or long enough."""
    kind = "mixed" if kind == "mixed" else random.choice(["straight", "torsion", "shear", "peel", "overload"])
    stretch = material.shear_strength / material.shear_stiffness
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


def _scaled(random, attack):
    """The same with mass, restraints, allowed pressure and press target such that some margins lie about theirs."""
    hold, release = _about_one(random, 0.6), attack.kind in ("outline", "mixed", "even", "labels")
    up, slide, turn = (RELEASE * _about_one(random, 0.6 if release else 0.25) for _ in range(3))
    pressure, preload, stuck = _about_one(random, 0.35), _about_one(random, 0.7), random.choice([0.0, 0.0, 0.2, 1.0])
    mass, job, motion = _even_mass(attack) / (HOLD * hold), attack.job, attack.motion
    for _ in range(2):  # as the pads really hold it: what they are pressed and strained counts
        mass = float(np.clip(mass, 0.02, 30.0))
        part = replace(job.part, mass=mass, inertia=attack.job.part.inertia * mass)
        pick = replace(job.pick, break_away=stuck * mass * G)
        job = replace(job, part=part, pick=pick)
        found = Whole(job, motion, attack.gap)
        factor = most(found.carries, 0.2, 8.0, 0.03)
        mass *= np.clip(factor / (HOLD * hold), 0.2, 5.0) if factor else 0.7
        if abs(factor / (HOLD * hold) - 1.0) < 0.05:
            break
    nest = replace(job.nest, hold_down=1.0, lateral_force=1.0, moment=1.0)
    for _ in range(4):  # towards the force that keeps the part from being lifted or tipped by so much
        least = found.ratios(nest)[-1]
        now = found.weight + nest.hold_down
        held = now * up / max(min(least["lift"], least["tip"]), 1e-6) - found.weight
        nest = replace(nest, hold_down=float(np.clip(held, 0.0, 2e3)))
    nest = replace(
        nest,
        lateral_force=float(np.clip(slide / max(least["slide"], 1e-6), 0.5, 2e3)),
        moment=float(np.clip(turn / max(least["turn"], 1e-6), 0.01, 1e3)),
    )
    part = replace(job.part, max_pressure=float(max(found.pressure, 1e3) * pressure))
    asked = found.activation / preload if attack.kind in UNEVEN and found.activation > 0.0 else 0.9
    targets = replace(job.targets, preload=float(np.clip(asked, 0.02, 0.95)))
    attack.job = found.job = replace(job, part=part, nest=nest, targets=targets)
    attack.whole = found
    return attack


def _even_mass(attack):
    """Mass that evenly and fully bonded pads just carry."""
    job, motion = attack.job, attack.motion
    cells = cut(job.gripper, job.part)
    first, last = motion.borders[[motion.names.index("lift"), motion.names.index("lower")]]
    times = motion.samples[(motion.samples > first) & (motion.samples < last)]
    bond = replace(Bond.none(cells), bonded=cells.area >= 0.0, share=np.ones(cells.area.size))
    return first_break(Hanging(cells, bond, 0 * cells.at, cells.area), loads(job.part, job.gravity, motion, times))
