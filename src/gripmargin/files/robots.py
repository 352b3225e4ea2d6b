"""Robots of the Robotics Toolbox into serial chains; the only module that imports the toolbox.

The toolbox is imported inside the functions: it takes more than a second and loads plotting. URDF models
are read from their file, never from the toolbox's object, because the toolbox misreads joints whose axis
is not along x, y or z.
"""

from __future__ import annotations

import difflib
import importlib.util
import io
import sys
import warnings
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from dataclasses import replace
from importlib import import_module
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError, RobotError
from gripmargin.base.poses import as_pose, pose
from gripmargin.files.urdf import read_urdf
from gripmargin.motion.chain import Chain, chain_from_axes

AGREEMENT: Final = 1e-9  # largest difference to the toolbox's own pose, relative where it reaches beyond 1 m
_POSES_COMPARED: Final = 5

# The catalogue's URDF models whose file comes with the toolbox's data package, below its xacro folder.
URDF_FILES: Final = {
    "AL5D": "lynxmotion_al5d_description/urdf/al5d_robot.urdf",
    "LBR": "kuka_description/kuka_lbr_iiwa/urdf/lbr_iiwa_14_r820.xacro",
    "Panda": "qut_frankie_description/robots/panda_arm_hand.urdf.xacro",
    "Puma560": "unimation_puma560_description/urdf/puma560_robot.urdf.xacro",
    **{
        name: f"trossen_descriptions/urdf/{name}.urdf.xacro"
        for name in ("px100", "px150", "rx150", "rx200", "vx300", "vx300s", "wx200", "wx250", "wx250s")
    },
}
_PACKAGE_ALIASES: Final = {"kuka_lbr_iiwa_support": "kuka_description/kuka_lbr_iiwa"}
# Those that the toolbox clones from a repository the moment they are made.
FETCHED: Final = frozenset({"Fetch", "Frankie", "Jaco", "KinovaGen3", "PR2", "UR10", "UR3", "UR5", "Valkyrie", "YuMi"})
_SPLICED: Final = "FrankieOmni"  # put together from two files in code
_BY_FILE: Final = "hand in its URDF file instead"
_CHOOSE_END: Final = "choose the link that carries the gripper as the end link"

_Fkine = Callable[[FloatArray], Any]


def toolbox_chain(name: str, *, end: str | None = None) -> Chain:
    """Read a model of the Robotics Toolbox's catalogue, by its class name.

    A bare name means the DH model if there is one, else the ETS model, else the URDF model; "DH.Panda",
    "ETS.Panda" and "URDF.Panda" choose. A base and a tool that belong to the model are part of the chain,
    and its source says so. Nothing is fetched: models that need a network are refused.

    Args:
        name: For instance "Puma560" or "URDF.Puma560".
        end: Name of the end link, for a model with several; default: its only end.

    Raises:
        RobotError: No such model, it needs a network, or it is not a serial chain to that end.
    """
    kind, model = _find(name)
    where = f"robot model '{kind}.{model}'"
    if kind == "URDF":
        return _catalogue_urdf(model, where, end)
    toolbox = _toolbox(where)
    with _quiet():
        robot = getattr(getattr(toolbox.models, kind), model)()
    return _convert(toolbox, robot, where, end)


def is_robot_file(name: str) -> bool:
    """Return whether the name of a robot is that of a file, not of a model."""
    return name.lower().endswith((".urdf", ".xacro", ".xml"))


def named_chain(name: str, *, end: str | None = None) -> Chain:
    """Read a robot by the name of its URDF or xacro file, or of its model in the Robotics Toolbox.

    Raises:
        RobotError: As `read_urdf` and `toolbox_chain` do.
    """
    return read_urdf(name, end_link=end) if is_robot_file(name) else toolbox_chain(name, end=end)


def robot_chain(robot: object, *, end: str | None = None) -> Chain:
    """Read a live robot of the Robotics Toolbox: a DHRobot, a Robot (ERobot, PoERobot) or an ETS.

    The robot's own base and tool are part of the chain, as they are of its ``fkine``, and the two are
    compared at random joint values. A robot that the toolbox made from a URDF file is read from that file.
    An ETS taken out of such a robot cannot be told from any other: hand in the robot or the file.

    Args:
        robot: The object.
        end: Name of the end link of a branched robot; default: its only end.

    Raises:
        RobotError: Not such an object, not a serial chain to that end, or it disagrees with ``fkine``.
    """
    where = f"robot {getattr(robot, 'name', '') or type(robot).__name__!r}"
    if "roboticstoolbox" not in sys.modules:
        raise RobotError(where, f"a {type(robot).__name__}", "a robot of the Robotics Toolbox")
    return _convert(_toolbox(where), robot, where, end)


@contextmanager
def _quiet() -> Iterator[None]:
    with warnings.catch_warnings(), redirect_stdout(io.StringIO()), redirect_stderr(io.StringIO()):
        warnings.simplefilter("ignore")
        yield


def _toolbox(where: str) -> Any:
    try:
        with _quiet():
            return import_module("roboticstoolbox")
    except ImportError as error:
        found, expected = f"no usable Robotics Toolbox ({error})", "roboticstoolbox-python 1.5 or newer"
        raise RobotError(where, found, expected, f"install it, or {_BY_FILE}") from error


def _find(name: str) -> tuple[str, str]:
    where = f"robot model {name[:60]!r}"
    urdf = {*URDF_FILES, *FETCHED, _SPLICED}
    kind, _, model = name.rpartition(".")
    if kind == "URDF" and model in urdf:
        return kind, model
    models = _toolbox(where).models
    names = {"DH": set(models.DH.__all__), "ETS": set(models.ETS.__all__), "URDF": urdf}
    for candidate, known in names.items():
        if kind in ("", candidate) and model in known:
            return candidate, model
    folded = {known.casefold(): known for known in sorted(set().union(*names.values()))}
    near = [repr(folded[match]) for match in difflib.get_close_matches(model.casefold(), folded, n=3)]
    listed = ", ".join(near) or "'Puma560'"
    raise RobotError(where, "no such model in the Robotics Toolbox", f"a model such as {listed}")


def _catalogue_urdf(model: str, where: str, end: str | None) -> Chain:
    if model == _SPLICED:
        raise RobotError(where, "a model put together from two files in code", "one with a URDF file", _BY_FILE)
    if model in FETCHED:
        models = _toolbox(where).models
        also = [f"use {kind}.{model} or " for kind in ("DH", "ETS") if model in getattr(models, kind).__all__]
        found = "a model that the toolbox fetches over a network"
        raise RobotError(where, found, "one that loads offline", "".join(also[:1]) + _BY_FILE)
    path = next((file for root in _data() if (file := root / URDF_FILES[model]).is_file()), None)
    if path is None:
        raise RobotError(where, "no file for it in the data package rtbdata", "rtb-data 2.0 or newer", _BY_FILE)
    return _from_file(path, where, end)


def _data() -> list[Path]:
    """Folders of the robot files that come with the toolbox."""
    spec = importlib.util.find_spec("rtbdata")
    folders = (spec and spec.submodule_search_locations) or ()
    return [root for folder in folders if (root := Path(folder) / "xacro").is_dir()]


def _from_file(path: Path, where: str, end: str | None) -> Chain:
    """Read the URDF file of a model or of a live robot, its xacro macros expanded."""
    source = f"{where} ({path.name})"
    packages = {alias: root / folder for root in _data() for alias, folder in _PACKAGE_ALIASES.items()}
    try:
        chain = read_urdf(path, end_link=end, packages=packages)
    except RobotError as error:
        where = error.where.replace(str(path), source, 1)
        raise RobotError(where, error.found, error.expected, error.remedy) from error
    return replace(chain, source=chain.source.replace(str(path), source, 1))


def _convert(toolbox: Any, robot: Any, where: str, end: str | None) -> Chain:
    try:
        if isinstance(robot, toolbox.DHRobot):
            return _dh(robot, where, end)
        if isinstance(robot, toolbox.ETS):
            return _sequence(robot, where, end)
        if isinstance(robot, toolbox.Robot):
            return _tree(toolbox, robot, where, end)
    except RobotError:
        raise
    except InputError as error:
        raise RobotError(f"{where}: {error.where}", error.found, error.expected, error.remedy) from error
    if isinstance(robot, toolbox.Robot2 | toolbox.ETS2):
        raise RobotError(where, "a robot that moves in a plane (2-D)", "a robot with poses in space")
    raise RobotError(where, f"a {type(robot).__name__}", "a DHRobot, Robot, ERobot or ETS")


class _Parts:
    """Collects constant transforms and joints from the base outwards."""

    def __init__(self, where: str) -> None:
        self.where = where
        self.origins: list[FloatArray] = []
        self.axes: list[FloatArray] = []
        self.revolute: list[bool] = []
        self.names: list[str] = []
        self.limits: list[tuple[float, float]] = []
        self.pending = np.eye(4)

    def fixed(self, transform: Any) -> None:
        matrix = np.asarray(getattr(transform, "A", transform))
        if matrix.dtype == object:
            raise RobotError(self.where, "a symbolic transform", "numbers")
        self.pending = self.pending @ as_pose(matrix, "a transform")

    def joint(self, axis: ArrayLike, revolute: bool, limits: object, name: str | None = None) -> None:
        self.origins.append(self.pending)
        self.axes.append(np.asarray(axis, dtype=np.float64))
        self.revolute.append(revolute)
        self.names.append(name or "")
        lower, upper = (np.nan, np.nan) if limits is None else np.asarray(limits, dtype=np.float64).tolist()
        self.limits.append((-np.inf if np.isnan(lower) else lower, np.inf if np.isnan(upper) else upper))
        self.pending = np.eye(4)

    def sequence(self, ets: Iterable[Any], limits: object = None, name: str | None = None) -> None:
        for element in ets:
            if not element.isjoint:
                self.fixed(element.A())
                continue
            revolute = element.kind[0] == "R"
            axis = np.array([element.kind[1] == letter for letter in "xyz"], dtype=np.float64)
            own = element.qlim if limits is None else limits
            self.joint(-axis if element.isflip else axis, revolute, own, name)
            shift = axis * float(element.offset)
            self.fixed(pose(rpy=shift) if revolute else pose(shift))

    def chain(self, source: str) -> Chain:
        return chain_from_axes(
            self.origins,
            self.axes,
            self.revolute,
            self.pending,
            names=self.names,
            lower=[lower for lower, _ in self.limits],
            upper=[upper for _, upper in self.limits],
            source=source,
        )


def _dh(robot: Any, where: str, end: str | None) -> Chain:
    if end is not None:
        raise RobotError(where, f"the end link {end!r}", "none, for a Denavit-Hartenberg robot has one end")
    parts = _Parts(where)
    parts.fixed(robot.base)
    for number, link in enumerate(robot.links, start=1):
        try:
            alpha, a, theta, d, shift = (float(getattr(link, n)) for n in ("alpha", "a", "theta", "d", "offset"))
        except (TypeError, ValueError) as error:
            raise RobotError(f"{where}, link {number}", "a parameter that is no number", "numbers") from error
        revolute = not link.sigma
        along_x = pose((a, 0.0, 0.0), (alpha, 0.0, 0.0))
        along_z = pose((0.0, 0.0, d if revolute else shift), (0.0, 0.0, shift if revolute else theta))
        if link.mdh:
            parts.fixed(along_x)
        parts.joint((0.0, 0.0, -1.0 if link.isflip else 1.0), revolute, link.qlim)
        parts.fixed(along_z)
        if not link.mdh:
            parts.fixed(along_x)
    parts.fixed(robot.tool)
    return _compared(parts.chain(_source(robot, where)), robot.fkine, where)


def _source(robot: Any, where: str) -> str:
    own = [part for part in ("base", "tool") if not np.array_equal(getattr(robot, part).A, np.eye(4))]
    return f"{where}, with its own {' and '.join(own)}" if own else where


def _sequence(ets: Any, where: str, end: str | None) -> Chain:
    if end is not None:
        raise RobotError(where, f"the end link {end!r}", "none, for a sequence of transforms has one end")
    _check_order([element.jindex for element in ets if element.isjoint], where)
    parts = _Parts(where)
    parts.sequence(ets)
    return _compared(parts.chain(where), ets.fkine, where)


def _check_order(indices: list[int | None], where: str) -> None:
    given = [index for index in indices if index is not None]
    if given != sorted(set(given)):
        found = f"joints that take the values number {given} in the order from base to end"
        raise RobotError(where, found, "each value used once and in order", "number the joints from the base")


def _tree(toolbox: Any, robot: Any, where: str, end: str | None) -> Chain:
    link, gripper = _end(robot, where, end)
    path = _path(link)
    _check_order([part.jindex for part in path if part.isjoint], where)
    tool = robot.tool.A if gripper is None else np.asarray(getattr(gripper.tool, "A", gripper.tool)) @ robot.tool.A

    def fkine(q: FloatArray) -> Any:
        # PoERobot.fkine knows no end, and only the default end takes in the gripper's tool.
        plain = gripper is not None or isinstance(robot, toolbox.PoERobot)
        return robot.fkine(q) if plain else robot.fkine(q, end=link.name)

    if robot.urdf_filepath or any(_from_urdf(part) for part in path):
        return _tree_from_file(robot, tool, where, link.name, fkine)
    parts = _Parts(where)
    parts.fixed(robot.base)
    for part in path:
        parts.sequence(part.ets, part.qlim, part._joint_name)
    parts.fixed(tool)
    return _compared(parts.chain(f"{_source(robot, where)}, to link {link.name!r}"), fkine, where)


def _end(robot: Any, where: str, end: str | None) -> tuple[Any, Any]:
    """The end link, and the gripper whose tool belongs to it."""
    links = {link.name: link for link in robot.links}
    links |= {link.name: link for gripper in robot.grippers for link in gripper.links}
    if end is not None:
        if end not in links:
            near = ", ".join(map(repr, difflib.get_close_matches(end, links, n=3) or list(links)[:8]))
            raise RobotError(where, f"no link {end!r}", f"a link of this robot, such as {near}")
        return links[end], None
    if len(robot.grippers) == 1:
        return robot.grippers[0].links[0], robot.grippers[0]
    ends = [gripper.links[0] for gripper in robot.grippers]
    ends = ends or [link for link in robot.ee_links if any(part.isjoint for part in _path(link))]
    if len(ends) != 1:
        listed = ", ".join(repr(link.name) for link in ends)
        raise RobotError(where, f"{len(ends)} end links ({listed})", "one", _CHOOSE_END)
    return ends[0], None


def _path(link: Any) -> list[Any]:
    path = [link]
    while path[-1].parent is not None:
        path.append(path[-1].parent)
    return path[::-1]


def _from_urdf(link: Any) -> bool:
    """Whether the toolbox's URDF reader made a link: it names the joint and puts its origin into one SE3."""
    return bool(link._joint_name) and any(element.kind == "SE3" for element in link.ets)


def _tree_from_file(robot: Any, tool: FloatArray, where: str, end: str, fkine: _Fkine) -> Chain:
    path = Path(robot.urdf_filepath)
    if not (robot.urdf_filepath and path.is_file()):
        found = "a robot that the toolbox made from a URDF file, and no record of the file"
        raise RobotError(where, found, "one whose joint axes can be checked against its file", _BY_FILE)
    try:
        chain = _from_file(path, where, end)
    except RobotError as error:
        raise RobotError(error.where, error.found, error.expected, error.remedy or _BY_FILE) from error
    remedy = f"the toolbox misreads joint axes that are not along x, y or z; {_BY_FILE}"
    return _compared(chain.mounted(base=robot.base.A, tool=tool), fkine, where, path.name, remedy)


def _compared(chain: Chain, fkine: _Fkine, where: str, read: str = "its links", remedy: str = "") -> Chain:
    """Return the chain if the toolbox's own forward kinematics agrees with it at random joint values."""
    random = np.random.default_rng(20)
    for _ in range(_POSES_COMPARED):
        q = random.uniform(-1.0, 1.0, chain.joints) * np.where(chain.revolute, np.pi, 1.0)
        ours = _end_pose(chain, q)
        try:
            with _quiet():
                theirs = np.asarray(fkine(q).A, dtype=np.float64)
            difference = float(np.abs(ours - theirs).max() / max(1.0, np.abs(ours).max()))
        except (TypeError, ValueError, AttributeError, IndexError) as error:
            raise RobotError(where, f"an fkine that fails ({error})", "one that evaluates", remedy) from error
        if not difference <= AGREEMENT:
            found = f"an fkine that is off by {difference:.2g} from {read}"
            raise RobotError(where, found, "agreement within 1e-9", remedy)
    return chain


def _end_pose(chain: Chain, q: FloatArray) -> FloatArray:
    end: FloatArray = chain.links[0]
    for turns, value, link in zip(chain.revolute, q, chain.links[1:], strict=True):
        end = end @ (pose(rpy=(0.0, 0.0, value)) if turns else pose((0.0, 0.0, value))) @ link
    return end
