"""A better grasp for a program at its present speed: where the pads lie, how the tool is tilted, how large they are."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import shapely
from scipy.optimize import minimize
from scipy.spatial.transform import Rotation

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.base.poses import pose
from gripmargin.checks import registry
from gripmargin.checks.case import Case, work_out
from gripmargin.checks.changes import resized, shifted_pads
from gripmargin.contact.loads import part_load
from gripmargin.kernels.search import furthest
from gripmargin.kernels.utilisation import peak_utilisation
from gripmargin.motion.program import ProgramMotion
from gripmargin.motion.trajectory import PoseTrajectory
from gripmargin.results.findings import Verdict
from gripmargin.results.tuned import Grasp
from gripmargin.tuning.demands import Demands
from gripmargin.tuning.verify import judged
from gripmargin.workcell.job import Job

STEEPEST = math.radians(30.0)  # largest tilt of the tool that is looked at
TILTS = 15  # tilts up to it
AZIMUTHS = 36  # directions of the tilt
GRID = 9  # places along each side of the region from which the search starts
CLEARLY = 1.01  # gain from which a change is worth its words
LARGEST, SMALLEST = 3.0, 0.25  # factors on length and width of the pads that are tried
ONWARD = (1.0, 1.02, 1.05, 1.1, 1.2, 1.35, 1.5, 1.75, 2.0, 3.0, 4.0)  # times an area, until the checks pass
TRIED = 6  # of the best tilts, until the checks pass
KEPT = 200  # worst samples at each of some places that stand for all in the search

Region = tuple[float, float, float, float]


def better_grasp(case: Case, demands: Demands, region: Region | None = None) -> Grasp:
    """Nearest for the shift of the pads, the tilt of the tool and the size of the pads that suit a program.

    The shift is looked for within the part's outline, or the region given; the tilt is advice: it holds for the same
    path of the centre of mass. Each change has passed every check that passes without it, as it is named.

    Args:
        case: The job.
        demands: What the targets ask.
        region: Bounds of the shift of the pads along the tool's x and y: least x, largest x, least y, largest y [m].
    """
    now, short = float(demands.ratios([1.0])[0]), _short_of(case.job)
    place = _Places.of(case, demands, region)
    shift, shifted, left = _best_shift(case, place, now, short)
    tilt, axis, tilted, left_tilted = _best_tilt(case, demands, now, short)
    area, blamed = _area_needed(case, short)
    bounds = place.bounds
    return Grasp(
        ratio_now=now,
        shift=shift,
        ratio_shifted=shifted,
        region=bounds,
        tilt=tilt,
        tilt_axis=axis,
        ratio_tilted=tilted,
        area_factor=area,
        text=_text(now, (shift, shifted, left), bounds, (tilt, axis, tilted, left_tilted), area, blamed),
    )


@dataclass(frozen=True, eq=False, kw_only=True)
class _Places:
    """Where the pads may lie on the part.

    Attributes:
        region: Shifts of the pads along the tool's x and y that are allowed [m].
        ratio: Shift to the least margin over its target, on the samples that count.
    """

    region: shapely.Geometry
    ratio: Callable[[FloatArray], float]

    @property
    def bounds(self) -> Region:
        """Least x, largest x, least y, largest y [m]."""
        x0, y0, x1, y1 = self.region.bounds
        return float(x0), float(x1), float(y0), float(y1)

    @classmethod
    def of(cls, case: Case, demands: Demands, region: Region | None) -> _Places:
        """Find the region; an empty one becomes the present place."""
        allowed = _allowed(case, region)
        motion, part = case.motion.at, case.job.part

        def use(shift: FloatArray) -> FloatArray:
            moved = part.placed(pose(xyz=[-shift[0], -shift[1], 0.0]))
            load = part_load(moved, motion, case.job.gravity, case.job.air_density)[:, demands.samples]
            return np.asarray(peak_utilisation(demands.face, load)[0] + demands.error)

        x0, y0, x1, y1 = allowed.bounds
        corners = [np.array(c) for c in ((0.0, 0.0), (x0, y0), (x0, y1), (x1, y0), (x1, y1))]
        worst = np.unique(np.concatenate([np.argsort(use(c))[-KEPT:] for c in corners]))
        few = replace(
            demands,
            samples=demands.samples[worst],
            still=demands.still[:, worst],
            moving=demands.moving[:, worst],
            error=demands.error[worst],
        )
        state = replace(motion, t=motion.t[few.samples].copy(), told=motion.take(few.samples).state)

        def ratio(shift: FloatArray) -> float:
            moved = part.placed(pose(xyz=[-float(shift[0]), -float(shift[1]), 0.0]))
            load = part_load(moved, state, case.job.gravity, case.job.air_density)
            return float(1.0 / (peak_utilisation(few.face, load)[0] + few.error).max())

        return cls(region=allowed, ratio=ratio)


def _allowed(case: Case, region: Region | None) -> shapely.Geometry:
    """Shifts at which every pad lies wholly on the part, or within the region given."""
    pads = np.concatenate([_corners(pad.pose_in_tool, pad.outline) for pad in case.job.gripper.pads])
    if region is not None:
        box = shapely.box(region[0], region[2], region[1], region[3])
    else:
        reach = float(np.ptp(pads, axis=0).max())
        box = shapely.box(-reach, -reach, reach, reach)
    outline = case.job.part.outline
    if outline is not None:
        for x, y in pads:
            box = box.intersection(shapely.Polygon(outline - np.array([x, y])))
    return shapely.Point(0.0, 0.0).buffer(1e-9) if box.is_empty or box.area == 0.0 else box


def _corners(pose_in_tool: FloatArray, outline: FloatArray) -> FloatArray:
    return np.asarray(outline @ pose_in_tool[:2, :2].T + pose_in_tool[:2, 3])


def _best_shift(
    case: Case, place: _Places, now: float, short: frozenset[str]
) -> tuple[tuple[float, float], float, frozenset[str]]:
    """The best place found from a grid and by the simplex of Nelder and Mead, rounded to whole millimetres."""
    x0, x1, y0, y1 = place.bounds
    shapely.prepare(place.region)

    def cost(shift: FloatArray) -> float:
        inside = shapely.covers(place.region, shapely.Point(*shift))
        return -place.ratio(shift) if inside else float(shapely.distance(place.region, shapely.Point(*shift)))

    starts = [np.array([x, y]) for x in np.linspace(x0, x1, GRID) for y in np.linspace(y0, y1, GRID)]
    best = min([np.zeros(2), *starts], key=cost)
    size = max(x1 - x0, y1 - y0) / GRID
    simplex = best + size * np.array([[0.0, 0.0], [0.7, 0.0], [0.0, 0.7]])
    found = minimize(
        cost, best, method="Nelder-Mead", options={"initial_simplex": simplex, "xatol": 2e-4, "fatol": 1e-4}
    )
    dx, dy = (float(d) + 0.0 for d in np.round(found.x, 3))
    job = shifted_pads(case.job, dx, dy)
    try:
        ratio = _ratio_of(case, work_out(job, motion=case.motion, trial=True))
    except InputError:
        ratio = 0.0
    if ratio > CLEARLY * now:
        left = _short_of(job)
        if left <= short:
            return (dx, dy), ratio, left
    return (0.0, 0.0), now, short


def _ratio_of(case: Case, changed: Case) -> float:
    if changed.carried.size == 0:
        return 0.0
    for old, new in zip(case.whole.patches, changed.whole.patches, strict=True):
        if new.share < min(old.share, 0.999) - 1e-6:
            return 0.0
    return float(Demands.of(changed).ratios([1.0])[0])


def _best_tilt(
    case: Case, demands: Demands, now: float, short: frozenset[str]
) -> tuple[float, tuple[float, float, float], float, frozenset[str]]:
    """The tilt of the tool over the whole carry with the largest margin, for the same path of the centre of mass."""
    com = case.job.part.com
    load = demands.still + demands.moving
    force, about_com = load[:3], load[3:] - np.cross(com, load[:3], axis=0)
    found: list[tuple[float, float, FloatArray]] = []
    for azimuth in 2.0 * np.pi * np.arange(AZIMUTHS) / AZIMUTHS:
        axis = np.array([np.cos(azimuth), np.sin(azimuth), 0.0])
        for tilt in STEEPEST * np.arange(1, TILTS + 1) / TILTS:
            turned = Rotation.from_rotvec(-tilt * axis).as_matrix()
            pushed = turned @ force
            moment = turned @ about_com + np.cross(com, pushed, axis=0)
            use = peak_utilisation(demands.face, np.concatenate([pushed, moment]))[0] + demands.error
            found.append((float(1.0 / use.max()), float(tilt), axis))
    for ratio, tilt, axis in sorted(found, key=lambda each: -each[0])[:TRIED]:
        if ratio <= CLEARLY * now:
            break
        left = _short_in_the_air(_tilted(case, tilt * axis))
        if left <= short:
            x, y = (float(a) + 0.0 for a in np.round(axis[:2], 6))
            return tilt, (x, y, 0.0), ratio, left
    return 0.0, (1.0, 0.0, 0.0), now, short


def _tilted(case: Case, turn: FloatArray) -> Case:
    """The carry with the tool turned about the centre of mass, on the bond that the press has left."""
    about, job = case.job.part.com, case.job
    turned = np.eye(4)
    turned[:3, :3] = Rotation.from_rotvec(turn).as_matrix()
    turned[:3, 3] = about - turned[:3, :3] @ about
    trajectory, robot = job.trajectory, job.robot
    if isinstance(trajectory, PoseTrajectory):
        trajectory = trajectory.regripped(turned)
    elif robot is not None:
        robot = robot.mounted(tool=turned)
    job = replace(job, trajectory=trajectory, robot=robot)
    motion = ProgramMotion.of(trajectory, robot, stamps=job.stamps)
    return case.moved(motion, job=job, trial=True)


def _area_needed(case: Case, short: frozenset[str]) -> tuple[float | None, str]:
    """The least factor on the area of every pad with which the checks of the carry pass; None where none is enough.

    And the check that asks for more than the margins do by themselves; empty where none does.
    """

    def enough(factor: float) -> bool:
        try:
            changed = work_out(resized(case.job, factor), motion=case.motion, trial=True)
        except InputError:
            return False
        return _ratio_of(case, changed) >= 1.0

    high = next((float(f) for f in [LARGEST, *np.linspace(1.0, LARGEST, 9)[:-1]] if enough(float(f))), None)
    if high is None:
        return None, ""
    least, blamed = furthest(enough, high, SMALLEST, halvings=10), ""
    stays = {name for name in short if not registry.check_of(name).of_the_carry}
    for onward in ONWARD:
        area = math.ceil(100.0 * onward * least**2 - 1e-9) / 100.0
        if area > LARGEST**2:
            break
        spoilt = sorted(_resized_short(case.job, math.sqrt(area)) - stays)
        if not spoilt:
            return area, blamed
        blamed = spoilt[0]
    return None, blamed or "none"


def _resized_short(job: Job, factor: float) -> frozenset[str]:
    try:
        return _short_of(resized(job, factor))
    except InputError:
        return frozenset({"room"})


def _short_of(job: Job) -> frozenset[str]:
    """What of the whole check a job does not pass."""
    return frozenset(result.check for result in judged(job, trial=True).report.checks if result.verdict != Verdict.PASS)


def _short_in_the_air(case: Case) -> frozenset[str]:
    """What of the checks of the carry a case does not pass."""
    outcomes = (check.answer(case) for check in registry.CHECKS if check.of_the_carry)
    return frozenset(r.check for outcome in outcomes for r in outcome.results if r.verdict != Verdict.PASS)


def _text(
    now: float,
    shift: tuple[tuple[float, float], float, frozenset[str]],
    bounds: Region,
    tilt: tuple[float, tuple[float, float, float], float, frozenset[str]],
    area: float | None,
    blamed: str,
) -> tuple[str, ...]:
    x0, x1, y0, y1 = (1e3 * b for b in bounds)
    within = f"within x {x0:+.0f} to {x1:+.0f}, y {y0:+.0f} to {y1:+.0f} mm"
    out = [f"as it is: least margin over the carry {now:.2f} times its target"]
    (dx, dy), shifted, left = shift
    if (dx, dy) == (0.0, 0.0):
        out.append(f"no shift of the pads {within} is worth its while")
    else:
        by = f"x {1e3 * dx:+.0f}, y {1e3 * dy:+.0f} mm"
        out.append(f"pads shifted on the part by {by} (tool frame; {within}): {shifted:.2f}{_still(left)}")
    angle, axis, tilted, left = tilt
    if angle == 0.0:
        out.append(f"no tilt of the tool up to {math.degrees(STEEPEST):.0f} deg is worth its while")
    else:
        out.append(
            f"where it is free, the tool tilted over the whole carry by {math.degrees(angle):.0f} deg about its axis "
            f"({axis[0]:+.2f}, {axis[1]:+.2f}, 0): about {tilted:.2f}{_still(left)}"
        )
    more = f" (with less {blamed} does not pass)" if blamed else ""
    if area is None:
        out.append(
            f"no pads up to {LARGEST**2:.0f} times the area that fit the part are enough at the present speed{more}"
        )
    else:
        out.append(f"for the targets at the present speed the pads need {area:.2f} times their area{more}")
    return tuple(out)


def _still(short: frozenset[str]) -> str:
    return f"; {' and '.join(sorted(short))} still short" if short else ""
