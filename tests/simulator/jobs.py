"""Random jobs: pads, a part, a tray and a nest, and a program by `simulator.programs`."""

from dataclasses import dataclass, replace
from functools import partial

import numpy as np

import gripmargin as gm
from gripmargin.workcell.job import ACCEPTABLE
from simulator.cells import cut
from simulator.hanging import Hanging, first_break, most
from simulator.held import Bond, flat
from simulator.programs import GANTRY, UNEVEN, Moves, full_depth, write_down
from simulator.whole import Whole, loads

G = 9.80665
KINDS = (
    *("even", "rim", "slid", "planes", "bow", "drag", "labels", "outline", "sparse", "mixed"),
    *("over", "row", "heights", "askew", "goes", "places", "ramps"),
)
HOLD, RELEASE = 2.0, 1.5  # targets


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


def draw(seed, kind=None):
    """A random job; its kind says what is out of the ordinary."""
    random = np.random.default_rng(seed)
    kind = kind or KINDS[seed % len(KINDS)]
    materials = [_material(random, kind) for _ in range(1 + (random.random() < 0.2 or kind == "heights"))]
    cycles = int(random.choice([0, 0, 5, 20]))
    gripper, reach = _gripper(random, kind, materials, cycles)
    outline = _outline(random, kind, reach)
    height = random.uniform(2e-3, 20e-3) if kind != "outline" else random.uniform(10e-3, 60e-3)
    com, inertia = gm.uniform_plate(1.0, outline, height)
    lean = random.normal(size=2)
    lean /= np.linalg.norm(lean)
    if kind == "rim":  # often the weaker side is the one away from the load
        com = com + np.append(random.uniform(-0.1, 0.3) * reach * lean, 0.0)
    elif kind == "row":  # far off along it
        com = com + np.array([random.uniform(-0.8, 0.8), random.uniform(-0.1, 0.1), 0.0]) * reach
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
    motion, phases = write_down(random, kind, materials[0], reach, lean, pick, nest, brief)
    job = gm.Job(
        name=f"{kind} {seed}",
        accept=ACCEPTABLE,  # loads are scaled by the mass
        gripper=gripper,
        part=part,
        trajectory=motion.trajectory(6 if kind == "places" or (kind == "ramps" and seed % 2) else None),
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


def _gripper(random, kind, materials, cycles):
    """Pads, drawn again where they overlap, and how far they reach from the tool's axis."""
    while True:
        pads, reach = _pads(random, kind, materials)
        try:
            return gm.Gripper(pads=tuple(pads), cycles_since_cleaning=cycles), reach
        except gm.InputError as refused:
            if "overlap" not in str(refused):
                raise


def _pads(random, kind, materials):
    """Pads of three shapes on a grid of places, and how far they reach from the tool's axis."""
    few = {"slid": [2, 3, 4, 6], "planes": [2, 3, 4, 6], "rim": [1, 1, 1, 2, 4], "row": [3, 4, 5, 6]}
    few |= {"heights": [2, 3, 4, 6]}
    count = int(random.choice(few.get(kind, [1, 1, 2, 3, 4, 6])))
    size, apart = random.uniform(10e-3, 30e-3), random.uniform(45e-3, 60e-3)
    columns = min(count, 1 + (count > 1) + (count == 6)) if kind != "row" else count
    pads = []
    for k in range(count):
        place = (np.array([k % columns, k // columns]) - [(columns - 1) / 2, (-(-count // columns) - 1) / 2]) * apart
        place = place + random.uniform(-4e-3, 4e-3, 2)
        out = random.uniform(-1, 1, 3) * [40e-6, 1e-3, 1e-3] if kind == "planes" else np.zeros(3)
        if kind == "rim" and k == 1 and random.random() < 0.6:  # it barely touches
            out[0] = -full_depth(materials[0]) * random.uniform(0.3, 1.1)
        if kind == "heights" and k > 0:  # one after the other comes down
            out[0] = -full_depth(materials[0]) * random.uniform(0.0, 1.0)
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
    if kind == "row":  # long and thin
        half[1] = random.uniform(18e-3, 30e-3)
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


def _scaled(random, attack):
    """The same with mass, restraints, allowed pressure and press target such that some margins lie about theirs."""
    hold, release = _about_one(random, 0.6), attack.kind in ("outline", "mixed", "even", "labels")
    up, slide, turn = (RELEASE * _about_one(random, 0.6 if release else 0.25) for _ in range(3))
    pressure, preload, stuck = _about_one(random, 0.35), _about_one(random, 0.7), random.choice([0.0, 0.0, 0.2, 1.0])
    mass, job, motion, tray = _even_mass(attack) / (HOLD * hold), attack.job, attack.motion, None
    for _ in range(2):  # as the pads really hold it: what they are pressed and strained counts
        mass = float(np.clip(mass, 0.02, 30.0))
        part = replace(job.part, mass=mass, inertia=attack.job.part.inertia * mass)
        pick = replace(job.pick, break_away=stuck * mass * G)
        job = replace(job, part=part, pick=pick)
        found = Whole(job, motion, attack.gap, tray=tray)
        tray = found.tray
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
