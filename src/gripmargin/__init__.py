"""gripmargin: does a part held by passive dry-adhesive pads stay on through a robot program?

The main entrance is `check` (without files) or `check_file` (a job file). Importing this package loads no
robot toolbox and no plotting.
"""

from typing import TYPE_CHECKING, Any

from gripmargin.checker import check, check_file, check_job
from gripmargin.errors import GripmarginError, InputError, InputErrors, RobotError
from gripmargin.findings import CheckResult, Finding, NotChecked, Place, Remedy, Verdict
from gripmargin.job import Job, JointLimits
from gripmargin.meter import MarginMeter, Reading
from gripmargin.motion.chain import Chain, chain_from_axes
from gripmargin.motion.trajectory import JointTrajectory, PoseTrajectory
from gripmargin.poses import pose
from gripmargin.report import Report, Samples
from gripmargin.workcell import Flange, Gripper, Nest, Pad, PadMaterial, Part, Phase, Pick, Stop, Targets, uniform_plate

if TYPE_CHECKING:
    from gripmargin.files.frames import samples_frame, trajectory_frame, trajectory_from_frame
    from gripmargin.files.job_file import read_job
    from gripmargin.files.messages import message_tree, trajectory_from_message
    from gripmargin.files.trajectory_file import read_trajectory
    from gripmargin.files.trajectory_writer import trajectory_bytes, write_trajectory
    from gripmargin.files.urdf import read_urdf
    from gripmargin.reports.as_json import report_json, report_tree
    from gripmargin.reports.as_text import report_text
    from gripmargin.robots import robot_chain, toolbox_chain

__version__ = "0.1.0"

# Loaded when first asked for: readers bring libraries that a pipeline without files need not wait for.
_LATER = {
    "message_tree": "gripmargin.files.messages",
    "read_job": "gripmargin.files.job_file",
    "read_trajectory": "gripmargin.files.trajectory_file",
    "read_urdf": "gripmargin.files.urdf",
    "report_json": "gripmargin.reports.as_json",
    "report_text": "gripmargin.reports.as_text",
    "report_tree": "gripmargin.reports.as_json",
    "robot_chain": "gripmargin.robots",
    "samples_frame": "gripmargin.files.frames",
    "toolbox_chain": "gripmargin.robots",
    "trajectory_bytes": "gripmargin.files.trajectory_writer",
    "trajectory_frame": "gripmargin.files.frames",
    "trajectory_from_frame": "gripmargin.files.frames",
    "trajectory_from_message": "gripmargin.files.messages",
    "write_trajectory": "gripmargin.files.trajectory_writer",
}


def __getattr__(name: str) -> Any:
    if name not in _LATER:
        raise AttributeError(f"module 'gripmargin' has no attribute {name!r}")
    from importlib import import_module  # noqa: PLC0415 - only here

    return getattr(import_module(_LATER[name]), name)


__all__ = [
    "Chain",
    "CheckResult",
    "Finding",
    "Flange",
    "GripmarginError",
    "Gripper",
    "InputError",
    "InputErrors",
    "Job",
    "JointLimits",
    "JointTrajectory",
    "MarginMeter",
    "Nest",
    "NotChecked",
    "Pad",
    "PadMaterial",
    "Part",
    "Phase",
    "Pick",
    "Place",
    "PoseTrajectory",
    "Reading",
    "Remedy",
    "Report",
    "RobotError",
    "Samples",
    "Stop",
    "Targets",
    "Verdict",
    "chain_from_axes",
    "check",
    "check_file",
    "check_job",
    "message_tree",
    "pose",
    "read_job",
    "read_trajectory",
    "read_urdf",
    "report_json",
    "report_text",
    "report_tree",
    "robot_chain",
    "samples_frame",
    "toolbox_chain",
    "trajectory_bytes",
    "trajectory_frame",
    "trajectory_from_frame",
    "trajectory_from_message",
    "uniform_plate",
    "write_trajectory",
]
