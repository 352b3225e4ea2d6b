"""gripmargin: does a part held by passive dry-adhesive pads stay on through a robot program?

The main entrance is `check` (without files) or `check_file` (a job file). Importing this package loads no
robot toolbox and no plotting.
"""

from typing import TYPE_CHECKING, Any

from gripmargin.base.version import __version__ as __version__

if TYPE_CHECKING:
    from gripmargin.base.errors import GripmarginError, InputError
    from gripmargin.base.poses import pose
    from gripmargin.checks.recorded.check import compare_motion
    from gripmargin.files.column_map import ColumnGroup, Columns, TimeColumn
    from gripmargin.files.frames import samples_frame, trajectory_frame, trajectory_from_frame
    from gripmargin.files.job_draft import draft_job
    from gripmargin.files.job_file import read_job
    from gripmargin.files.messages import message_tree, trajectory_from_message
    from gripmargin.files.report_file import read_baseline
    from gripmargin.files.robots import robot_chain, toolbox_chain
    from gripmargin.files.series_file import series_bytes, write_series
    from gripmargin.files.trajectory_file import read_trajectory
    from gripmargin.files.trajectory_writer import trajectory_bytes, write_trajectory
    from gripmargin.files.urdf import read_urdf
    from gripmargin.files.waypoint_file import read_waypoints
    from gripmargin.motion.chain import Chain, chain_from_axes
    from gripmargin.motion.planned import sample_waypoints
    from gripmargin.motion.still import hanging_still
    from gripmargin.motion.trajectory import JointTrajectory, PoseTrajectory
    from gripmargin.motion.waypoints import Waypoint, Waypoints
    from gripmargin.reports.as_json import report_json, report_tree
    from gripmargin.reports.as_junit import junit_xml
    from gripmargin.reports.as_lines import report_lines
    from gripmargin.reports.as_text import report_text
    from gripmargin.reports.html import report_html
    from gripmargin.reports.html.limits_page import limits_html
    from gripmargin.reports.limits_as_json import limits_json
    from gripmargin.reports.limits_as_text import limits_text
    from gripmargin.reports.tuning_as_json import tuning_json
    from gripmargin.reports.tuning_as_text import tuning_text
    from gripmargin.results.findings import Verdict
    from gripmargin.results.limits import Limits
    from gripmargin.results.report import HoldReport, Judgement, Report
    from gripmargin.run.baseline import compare
    from gripmargin.run.live import MarginMeter
    from gripmargin.run.many import check_files
    from gripmargin.run.one import check, check_file, check_job
    from gripmargin.tuning.limits import limits, limits_file
    from gripmargin.tuning.tune import tune, tune_file
    from gripmargin.workcell import (
        Cleaner,
        Component,
        Flange,
        Gripper,
        Nest,
        Pad,
        PadMaterial,
        Part,
        Phase,
        Pick,
        Process,
        Station,
        Stop,
        StopFigure,
        Targets,
        uniform_plate,
    )
    from gripmargin.workcell.job import Job, JointLimits

# Every name is loaded when it is first asked for: a pipeline waits for what it uses, and a test session that only
# loads the plugin for nothing. One row a module.
_LATER = {
    "base.errors": "GripmarginError InputError",
    "base.poses": "pose",
    "checks.recorded.check": "compare_motion",
    "files.column_map": "ColumnGroup Columns TimeColumn",
    "files.frames": "samples_frame trajectory_frame trajectory_from_frame",
    "files.job_draft": "draft_job",
    "files.job_file": "read_job",
    "files.messages": "message_tree trajectory_from_message",
    "files.report_file": "read_baseline",
    "files.robots": "robot_chain toolbox_chain",
    "files.trajectory_file": "read_trajectory",
    "files.series_file": "series_bytes write_series",
    "files.trajectory_writer": "trajectory_bytes write_trajectory",
    "files.urdf": "read_urdf",
    "files.waypoint_file": "read_waypoints",
    "motion.chain": "Chain chain_from_axes",
    "motion.planned": "sample_waypoints",
    "motion.still": "hanging_still",
    "motion.trajectory": "JointTrajectory PoseTrajectory",
    "motion.waypoints": "Waypoint Waypoints",
    "reports.as_json": "report_json report_tree",
    "reports.as_junit": "junit_xml",
    "reports.as_lines": "report_lines",
    "reports.as_text": "report_text",
    "reports.html": "report_html",
    "reports.html.limits_page": "limits_html",
    "reports.limits_as_json": "limits_json",
    "reports.limits_as_text": "limits_text",
    "reports.tuning_as_json": "tuning_json",
    "reports.tuning_as_text": "tuning_text",
    "results.findings": "Verdict",
    "results.limits": "Limits",
    "results.report": "HoldReport Judgement Report",
    "run.baseline": "compare",
    "run.live": "MarginMeter",
    "run.many": "check_files",
    "run.one": "check check_file check_job",
    "tuning.limits": "limits limits_file",
    "tuning.tune": "tune tune_file",
    "workcell": "Cleaner Component Flange Gripper Nest Pad PadMaterial Part Phase Pick Process Station Stop StopFigure "
    "Targets uniform_plate",
    "workcell.job": "Job JointLimits",
}
_MODULE = {name: f"gripmargin.{module}" for module, names in _LATER.items() for name in names.split()}


def __getattr__(name: str) -> Any:
    if name not in _MODULE:
        raise AttributeError(f"module 'gripmargin' has no attribute {name!r}")
    from importlib import import_module  # noqa: PLC0415 - only here

    return getattr(import_module(_MODULE[name]), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})


__all__ = [
    "Chain",
    "Cleaner",
    "ColumnGroup",
    "Columns",
    "Component",
    "Flange",
    "GripmarginError",
    "Gripper",
    "HoldReport",
    "InputError",
    "Job",
    "JointLimits",
    "JointTrajectory",
    "Judgement",
    "Limits",
    "MarginMeter",
    "Nest",
    "Pad",
    "PadMaterial",
    "Part",
    "Phase",
    "Pick",
    "PoseTrajectory",
    "Process",
    "Report",
    "Station",
    "Stop",
    "StopFigure",
    "Targets",
    "TimeColumn",
    "Verdict",
    "Waypoint",
    "Waypoints",
    "chain_from_axes",
    "check",
    "check_file",
    "check_files",
    "check_job",
    "compare",
    "compare_motion",
    "draft_job",
    "hanging_still",
    "junit_xml",
    "limits",
    "limits_file",
    "limits_html",
    "limits_json",
    "limits_text",
    "message_tree",
    "pose",
    "read_baseline",
    "read_job",
    "read_trajectory",
    "read_urdf",
    "read_waypoints",
    "report_html",
    "report_json",
    "report_lines",
    "report_text",
    "report_tree",
    "robot_chain",
    "sample_waypoints",
    "samples_frame",
    "series_bytes",
    "toolbox_chain",
    "trajectory_bytes",
    "trajectory_frame",
    "trajectory_from_frame",
    "trajectory_from_message",
    "tune",
    "tune_file",
    "tuning_json",
    "tuning_text",
    "uniform_plate",
    "write_series",
    "write_trajectory",
]
