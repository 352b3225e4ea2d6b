"""gripmargin: does a part held by passive dry-adhesive pads stay on through a robot program?

The main entrance is `check` (without files) or `check_file` (a job file). Importing this package loads no
robot toolbox and no plotting.
"""

from typing import TYPE_CHECKING, Any

from gripmargin.checker import check, check_file, check_job
from gripmargin.errors import GripmarginError, InputError, InputErrors, RobotError
from gripmargin.findings import CheckResult, Finding, NotChecked, Remedy, Verdict
from gripmargin.job import Job
from gripmargin.motion.chain import Chain, chain_from_axes
from gripmargin.motion.trajectory import JointTrajectory, PoseTrajectory
from gripmargin.poses import pose
from gripmargin.report import Report, Samples
from gripmargin.workcell import Gripper, Nest, Pad, PadMaterial, Part, Phase, Pick, Targets, uniform_plate

if TYPE_CHECKING:
    from gripmargin.files.job_file import read_job
    from gripmargin.files.trajectory_file import read_trajectory
    from gripmargin.files.urdf import read_urdf
    from gripmargin.reports.as_json import report_json, report_tree
    from gripmargin.reports.as_text import report_text
    from gripmargin.reports.tuning_as_json import tuning_json
    from gripmargin.reports.tuning_as_text import tuning_text
    from gripmargin.robots import robot_chain, toolbox_chain
    from gripmargin.tuning.tune import tune, tune_file

__version__ = "0.1.0"

# Loaded when first asked for: readers bring libraries that a pipeline without files need not wait for.
_LATER = {
    "read_job": "gripmargin.files.job_file",
    "read_trajectory": "gripmargin.files.trajectory_file",
    "read_urdf": "gripmargin.files.urdf",
    "report_json": "gripmargin.reports.as_json",
    "report_text": "gripmargin.reports.as_text",
    "report_tree": "gripmargin.reports.as_json",
    "robot_chain": "gripmargin.robots",
    "toolbox_chain": "gripmargin.robots",
    "tune": "gripmargin.tuning.tune",
    "tune_file": "gripmargin.tuning.tune",
    "tuning_json": "gripmargin.reports.tuning_as_json",
    "tuning_text": "gripmargin.reports.tuning_as_text",
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
    "GripmarginError",
    "Gripper",
    "InputError",
    "InputErrors",
    "Job",
    "JointTrajectory",
    "Nest",
    "NotChecked",
    "Pad",
    "PadMaterial",
    "Part",
    "Phase",
    "Pick",
    "PoseTrajectory",
    "Remedy",
    "Report",
    "RobotError",
    "Samples",
    "Targets",
    "Verdict",
    "chain_from_axes",
    "check",
    "check_file",
    "check_job",
    "pose",
    "read_job",
    "read_trajectory",
    "read_urdf",
    "report_json",
    "report_text",
    "report_tree",
    "robot_chain",
    "toolbox_chain",
    "tune",
    "tune_file",
    "tuning_json",
    "tuning_text",
    "uniform_plate",
]
