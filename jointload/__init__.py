"""Joint angles, joint moments and insole what-ifs from C3D recordings of hard landings.

Three lines do the same as the command line:

    session = jointload.read("landing.c3d", static="standing.c3d", labels="labels.toml", rider="rider.toml")
    landing = jointload.analyse(session)
    jointload.metrics_table(landing)
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from jointload.analysis import Analysis, analyse
    from jointload.errors import InputError, JointloadError
    from jointload.foot.bore import with_feet
    from jointload.insole.calibration.knowledge import known_of
    from jointload.insole.calibration.personal import Known
    from jointload.insole.fitting.aim import Limits
    from jointload.insole.fitting.fit import Fit, fit
    from jointload.insole.fitting.whatif import Parts, WhatIf, what_if, what_ifs
    from jointload.insole.shape.geometry import parse_wedge
    from jointload.insole.shape.materials import material
    from jointload.insole.shape.parts import HeelCup, ThinLayer
    from jointload.insole.shape.shape_file import read_shape
    from jointload.intake.c3d import read_recording
    from jointload.intake.session import Session
    from jointload.intake.session import read_session as read
    from jointload.report.files.folder import write_report
    from jointload.report.words.before_after import before_after_table
    from jointload.report.words.tables import metrics_table, quality_table, series_table
    from jointload.report.words.two_landings import changes_table
    from jointload.settings import Settings
    from jointload.uncertainty.intervals import changes, detectable_changes, with_intervals

__version__ = "0.1.0"

__all__ = [
    "Analysis",
    "Fit",
    "HeelCup",
    "InputError",
    "JointloadError",
    "Known",
    "Limits",
    "Parts",
    "Session",
    "Settings",
    "ThinLayer",
    "WhatIf",
    "analyse",
    "before_after_table",
    "changes",
    "changes_table",
    "detectable_changes",
    "fit",
    "known_of",
    "material",
    "metrics_table",
    "parse_wedge",
    "quality_table",
    "read",
    "read_recording",
    "read_shape",
    "series_table",
    "what_if",
    "what_ifs",
    "with_feet",
    "with_intervals",
    "write_report",
]

_ROOMS = {
    "Analysis": "analysis",
    "Fit": "insole.fitting.fit",
    "HeelCup": "insole.shape.parts",
    "InputError": "errors",
    "JointloadError": "errors",
    "Known": "insole.calibration.personal",
    "Limits": "insole.fitting.aim",
    "Parts": "insole.fitting.whatif",
    "Session": "intake.session",
    "Settings": "settings",
    "ThinLayer": "insole.shape.parts",
    "WhatIf": "insole.fitting.whatif",
    "analyse": "analysis",
    "before_after_table": "report.words.before_after",
    "changes": "uncertainty.intervals",
    "changes_table": "report.words.two_landings",
    "detectable_changes": "uncertainty.intervals",
    "fit": "insole.fitting.fit",
    "known_of": "insole.calibration.knowledge",
    "material": "insole.shape.materials",
    "metrics_table": "report.words.tables",
    "parse_wedge": "insole.shape.geometry",
    "quality_table": "report.words.tables",
    "read": "intake.session",
    "read_recording": "intake.c3d",
    "read_shape": "insole.shape.shape_file",
    "series_table": "report.words.tables",
    "what_if": "insole.fitting.whatif",
    "what_ifs": "insole.fitting.whatif",
    "with_feet": "foot.bore",
    "with_intervals": "uncertainty.intervals",
    "write_report": "report.files.folder",
}


def __getattr__(name: str) -> Any:
    """Public names are found when first used, so that importing the package costs nothing."""
    if name not in _ROOMS:
        raise AttributeError(f"module 'jointload' has no attribute {name!r}")
    return getattr(import_module(f"jointload.{_ROOMS[name]}"), "read_session" if name == "read" else name)


def __dir__() -> list[str]:
    return sorted([*__all__, "__version__"])
