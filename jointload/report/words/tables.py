"""The numbers of an analysis as labelled tables in shown units, and the record of how they were made."""

from __future__ import annotations

import hashlib
import platform
from collections.abc import Iterable, Mapping
from dataclasses import fields
from importlib import metadata
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from jointload.analysis import Analysis
from jointload.insole.fitting.ledger import ledger, reading_of
from jointload.intake.plates.plates import centre_of_pressure
from jointload.intake.recording import SIDES, Array, Finding, Recording, split_side
from jointload.intake.rider import G
from jointload.landing.landed import Landing, Measure
from jointload.landing.measures.load_measures import MOMENT_PEAKS
from jointload.loads.moments import in_frame
from jointload.modeldata import load_model, model_names
from jointload.other_choices import MAIN_QUANTITIES
from jointload.report.words.quantities import (
    UNKNOWN,
    Quantity,
    glossary,
    of_joint,
    quantity,
    sanity,
    shown,
    told_number,
)
from jointload.report.words.section import Reported
from jointload.sources import in_words

if TYPE_CHECKING:
    import pandas

__all__ = [
    "Quantity", "all_findings", "change_table", "glossary", "metrics_table", "quality_table", "run_record", "sanity",
    "series_table", "shown", "variants_table",
]  # fmt: skip

METRIC_COLUMNS = (
    "recording", "rider", "condition", "side", "quantity", "value", "unit", "low", "high", "note", "shown", "shown_low",
    "shown_high",
)  # fmt: skip
FINDING_COLUMNS = tuple(field.name for field in fields(Finding))
SEVERITY_ORDER = ("refuse", "warn", "pass")
PRESSURE_THRESHOLD = 50.0
"""The centre of pressure is blank below this vertical force [N] (choice, for display: below it the point is noise)."""
MOMENT_KINDS = {(joint, rotation): kind for joint, rotation, kind, _ in MOMENT_PEAKS.values()}
LUMBAR_MOMENTS = {"flexion": ("extension", -1.0)}
"""Lower-back moments are internal; extension is the direction that is named, as in the glossary."""
ALIGNMENT_SERIES = (
    "pelvis_tilt", "pelvis_obliquity", "pelvis_rotation", "trunk_lean", "trunk_lean_forward",
    "tibia_inclination_frontal", "knee_over_ankle", "hip_pelvis_angle", "sole_angle",
)  # fmt: skip
BODY_DIRECTIONS = ("anterior", "upward", "rightward")
"""X, Y and Z of a segment (ISB)."""
LIBRARIES = ("numpy", "scipy", "ezc3d", "pandas", "matplotlib")


def metrics_table(analysis: Analysis, condition: str = "as recorded") -> pandas.DataFrame:
    """One row a number, in shown units; `value` is a word where the answer is one; unknown is empty with a note.

    shown, shown_low, shown_high : the same in the digits that the interval supports, as on the page
    """
    import pandas as pd

    return pd.DataFrame(metric_rows(analysis, condition), columns=list(METRIC_COLUMNS))


def metric_rows(analysis: Analysis, condition: str) -> list[tuple[Any, ...]]:
    """The rows of `metrics_table`."""
    weight = analysis.landing.weight
    trial, rider = analysis.session.trial.name, analysis.session.rider.id
    rows = []
    for measure in analysis.measures:
        what = quantity(measure.quantity)
        value, low, high = (shown(v, what, weight) for v in (measure.value, measure.low, measure.high))
        rows.append(
            (trial, rider, condition, measure.side, measure.quantity)
            + (measure.word or value, what.full_unit, low, high, measure.note)
            + ((measure.word, "", "") if measure.word else plain_digits(value, low, high, what.unit))
        )
    return rows


def plain_digits(value: float, low: float, high: float, unit: str, extra: int = 0) -> tuple[str, str, str]:
    """A number and its interval in the page's digits, as a file has them: a hyphen for the sign, empty for unknown."""
    told = told_number(value, low, high, unit, extra)
    texts = (text.replace("−", "-").replace(UNKNOWN, "") for text in (told.value, told.low, told.high))
    first, second, third = texts
    return first, second, third


def series_table(analysis: Analysis) -> pandas.DataFrame:
    """Every time series at the rate at which the motion is followed; the columns' second level is the unit row."""
    import pandas as pd

    time = analysis.landing.recording.time
    series = {"time": ("s", time), **landing_series(analysis.landing), **_heel_series(analysis)}
    columns = pd.MultiIndex.from_tuples([(name, unit) for name, (unit, _) in series.items()])
    return pd.DataFrame(np.column_stack([values for _, values in series.values()]), columns=columns)


def _heel_series(analysis: Analysis) -> dict[str, tuple[str, Array]]:
    """name -> (BW, (F,)) force under each heel over its landing, blank elsewhere and where it is not known."""
    landing, out = analysis.landing, {}
    for foot in analysis.feet:
        series = np.full(landing.recording.frames, np.nan)
        if foot.time.size:
            since = landing.recording.time - landing.events.sides[foot.side].touchdown
            middle = foot.heel_force[1] / landing.weight
            series = np.interp(since, foot.time, middle, left=np.nan, right=np.nan)
        out[f"{foot.side}_heel_force"] = ("BW", series)
    return out


def landing_series(landing: Landing) -> dict[str, tuple[str, Array]]:
    """name -> (unit, (F,) values) of forces, angles, moments, joint forces, powers and alignment, in shown units."""
    out: dict[str, tuple[str, Array]] = {}
    for side in SIDES:
        out |= _ground_series(landing, side)
    for joint, rotations in zip(landing.angles.joints, landing.angles.rotations, strict=True):
        for rotation in rotations:
            out[of_joint(joint, f"{rotation}_angle")] = ("deg", np.rad2deg(landing.angles.of(joint, rotation)))
    for joint, rotations in zip(landing.loads.joints, landing.loads.rotations, strict=True):
        for rotation in rotations:
            name, kind, moment = joint_moment(landing, joint, rotation)
            out[of_joint(joint, f"{name}_moment")] = (f"Nm/kg {kind}", moment)
    for joint in landing.loads.joints:
        out[of_joint(joint, "power")] = ("W/kg", joint_power(landing, joint))
    return out | _joint_force_series(landing) | _moment_vector_series(landing) | _alignment_series(landing)


def joint_moment(landing: Landing, joint: str, rotation: str) -> tuple[str, str, Array]:
    """Named direction, 'external' or 'internal', and (F,) moment [Nm/kg], each in the convention of the glossary."""
    per_kg = G / landing.weight
    if joint == "l5s1":
        name, sign = LUMBAR_MOMENTS.get(rotation, (rotation, 1.0))
        return name, "internal", sign * per_kg * landing.loads.of(joint, rotation, "internal")
    kind = MOMENT_KINDS.get((split_side(joint)[1], rotation), "external")
    return rotation, kind, per_kg * landing.loads.of(joint, rotation, kind)


def joint_power(landing: Landing, joint: str) -> Array:
    """(F,) power of a joint [W/kg]."""
    return landing.loads.power[landing.loads.joints.index(joint)] * (G / landing.weight)


def foot_pressure_centre(landing: Landing, side: str) -> Array:
    """(3, F) [m], lab axes; NaN below PRESSURE_THRESHOLD or the contact threshold, whichever is higher."""
    s, contact = SIDES.index(side), landing.contact
    threshold = max(landing.settings.contact_threshold, PRESSURE_THRESHOLD)
    return centre_of_pressure(contact.force[:, s], contact.moment[:, s], contact.floor, threshold)


def quality_table(findings: Iterable[Finding]) -> pandas.DataFrame:
    """One row a finding, the worst first."""
    import pandas as pd

    return pd.DataFrame(finding_rows(findings), columns=list(FINDING_COLUMNS))


def finding_rows(findings: Iterable[Finding]) -> list[list[Any]]:
    """The rows of `quality_table`."""
    return [[in_words(getattr(finding, name)) for name in FINDING_COLUMNS] for finding in worst_first(findings)]


def all_findings(analysis: Analysis, whatif: Any = None, fit: Any = None) -> list[Finding]:
    """Findings of the analysis, of the prediction and of the fitted shape, the worst first."""
    answers = Reported(analysis, whatif, fit).answers
    return worst_first([*analysis.findings, *(finding for answer in answers for finding in answer.findings)])


def worst_first(findings: Iterable[Finding]) -> list[Finding]:
    return sorted(findings, key=lambda finding: SEVERITY_ORDER.index(finding.severity))


def variants_table(analysis: Analysis) -> pandas.DataFrame:
    """The main numbers under the settings used and under every variant, in shown units."""
    import pandas as pd

    weight = analysis.landing.weight
    columns = {"these settings": analysis.measures, **{variant.name: variant.measures for variant in analysis.variants}}
    values = {name: _by_key(measures) for name, measures in columns.items()}
    rows = []
    for name in MAIN_QUANTITIES:
        what = quantity(name)
        for side in ("", *SIDES):
            if (name, side) in values["these settings"]:
                numbers = [shown(found.get((name, side), np.nan), what, weight) for found in values.values()]
                rows.append([name, side, what.full_unit, *numbers])
    return pd.DataFrame(rows, columns=["quantity", "side", "unit", *columns])


def change_table(analysis: Analysis, whatif: Any) -> pandas.DataFrame:
    """Predicted changes, a row a shape and quantity: before, after and change with two 95 % intervals, in shown units,
    first at the landing's extremes, then at the named instants.

    low, high : of the mechanics;  person_low, person_high : of one person;  percent : empty where before is near zero
    group_low, group_high : of a group's mean;  share_lower : of persons whose value falls, with its interval
    floor : a smaller change is negligible
    recording_least, rider_least : smallest change that the recording, and this rider's own landings, can show
    baseline_pressure : whether the pressure before the change was measured by pressure insoles or modelled
    shown_change, shown_low, shown_high : change and one person's interval in the page's digits
    """
    import pandas as pd

    rows = []
    for answer in (whatif, *whatif.others):
        for row in (*ordered_changes(answer), *answer.at_instants):
            what = quantity(row.quantity)
            numbers, leasts = (
                [shown(v, what, analysis.landing.weight) for v in values]
                for values in (
                    (
                        row.before,
                        row.after,
                        row.change,
                        row.low,
                        row.high,
                        row.group_low,
                        row.group_high,
                        row.person_low,
                        row.person_high,
                    ),
                    (row.floor, row.recording_least, row.rider_least),
                )
            )
            rows.append(
                (analysis.session.trial.name, analysis.session.rider.id, answer.shape_text, row.side, row.quantity)
                + (row.instant, *numbers, what.full_unit, row.percent)
                + (row.share_lower, row.share_lower_low, row.share_lower_high, *leasts)
                + (_change_note(row), answer.baseline_pressure)
                + plain_digits(numbers[2], numbers[7], numbers[8], what.unit, extra=1)
            )
    columns = [
        "recording", "rider", "condition", "side", "quantity", "instant", "before", "after", "change", "low", "high",
        "group_low", "group_high", "person_low", "person_high", "unit", "percent", "share_lower", "share_lower_low",
        "share_lower_high", "floor", "recording_least", "rider_least", "note", "baseline_pressure", "shown_change",
        "shown_low", "shown_high",
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=columns)


def ordered_changes(whatif: Any) -> list[Any]:
    """Rows of a prediction joint by joint, the knee's moments first, as they are always read together."""
    return [entry.row for entry in ledger(whatif)]


def run_record(analysis: Analysis, inputs: Mapping[str, Path] | None = None, now: str | None = None) -> dict[str, Any]:
    """What another person needs to make the same numbers: versions, SHA-256 of every input, settings and models.

    inputs : role -> file, hashed beside the recordings, which carry their own hash
    now : the time in UTC, written when it is given; without it the record of the same run is the same
    """
    landing, session = analysis.landing, analysis.session
    hashes = {"trial": _hash_row(session.trial)}
    if session.has_static:
        hashes["static"] = _hash_row(session.static)
    for role, path in (inputs or {}).items():
        sha256 = hashlib.sha256(Path(path).read_bytes()).hexdigest()
        hashes[role] = {"name": f"{role} {sha256[:8]}" if session.hide_names else Path(path).name, "sha256": sha256}
    record: dict[str, Any] = {
        "package": {"jointload": metadata.version("jointload")},
        "libraries": {name: metadata.version(name) for name in LIBRARIES},
        "python": platform.python_version(),
        "inputs": hashes,
        "settings": analysis.settings.as_dict(),
        "body": {
            "definition": _model_source("bodies", landing.body.definition.name),
            "calibrated_from": landing.body.calibrated_from,
            "hip_centre": _model_source("hip_centres", landing.body.hip_centre_method),
            "inertia": _model_source("inertia", landing.body.inertia_table),
            "not_computed": dict(landing.body.lost),
        },
        "intervals": _drawn_inputs(analysis),
        "weight_used_newton": landing.weight,
        "axes": session.trial.axes_evidence,
        "rates_hertz": {"markers": session.trial.point_rate, "plates": session.trial.force_rate},
        "plates": {
            str(plate.number): {"type": plate.kind, "baseline": plate.baseline} for plate in session.trial.plates
        },
        "landing": {
            "kind": landing.events.kind,
            "contact_threshold_newton": landing.events.threshold,
            "landing_end": landing.events.landing_end,
            "touchdown_seconds": {side: events.touchdown for side, events in landing.events.sides.items()},
        },
    }
    return record if now is None else {**record, "time_utc": now}


def _hash_row(recording: Recording) -> dict[str, str]:
    return {"name": recording.name, "sha256": recording.sha256}


def _drawn_inputs(analysis: Analysis) -> dict[str, Any] | None:
    if analysis.certainty is None:
        return None
    drawn = analysis.certainty
    return {"draws": drawn.draws, "seed": drawn.seed, "inputs": [each.name for each in drawn.inputs]}


def _model_source(kind: str, name: str) -> dict[str, str]:
    """Name and source of a model; a functional hip centre has no file."""
    source = (
        in_words(load_model(kind, name).provenance["source"])
        if name in model_names(kind)
        else "found from this rider's movement"
    )
    return {"name": name, "source": source}


def _by_key(measures: Iterable[Measure]) -> dict[tuple[str, str], float]:
    return {(measure.quantity, measure.side): measure.value for measure in measures}


def _change_note(row: Any) -> str:
    return f"prediction; {reading_of(row)}"


def _ground_series(landing: Landing, side: str) -> dict[str, tuple[str, Array]]:
    force = landing.contact.force[:, SIDES.index(side)] / landing.weight
    pressed = foot_pressure_centre(landing, side)
    return {
        f"{side}_vertical_force": ("BW", force[1]),
        f"{side}_ground_force_forward": ("BW", force[0]),
        f"{side}_ground_force_across": ("BW", force[2]),
        f"{side}_centre_of_pressure_forward": ("m", pressed[0]),
        f"{side}_centre_of_pressure_across": ("m", pressed[2]),
    }


def _joint_force_series(landing: Landing) -> dict[str, tuple[str, Array]]:
    """Net joint forces on the distal segment in the proximal segment's axes: X anterior, Y cranial, Z right."""
    force, _ = in_frame(landing.loads, landing.poses, landing.body, "proximal")
    out = {}
    for j, joint in enumerate(landing.loads.joints):
        for direction, component in zip(BODY_DIRECTIONS, force[:, j], strict=True):
            out[of_joint(joint, f"force_{direction}")] = ("BW internal", component / landing.weight)
    return out


def _moment_vector_series(landing: Landing) -> dict[str, tuple[str, Array]]:
    """Net internal joint moments in the axes the settings ask for; nothing when only the joint's own are wanted."""
    frame = landing.settings.moment_frame
    if frame == "joint":
        return {}
    _, moment = in_frame(landing.loads, landing.poses, landing.body, frame)
    return {
        of_joint(joint, f"moment_about_{axis}_{frame}"): ("Nm/kg internal", component * G / landing.weight)
        for j, joint in enumerate(landing.loads.joints)
        for axis, component in zip("xyz", moment[:, j], strict=True)
    }


def _alignment_series(landing: Landing) -> dict[str, tuple[str, Array]]:
    out: dict[str, tuple[str, Array]] = {}
    for name in ALIGNMENT_SERIES:
        values = np.rad2deg(getattr(landing.alignment, name))
        rows = (
            {name: values} if values.ndim == 1 else {f"{s}_{name}": row for s, row in zip(SIDES, values, strict=True)}
        )
        out |= {key: ("deg", row) for key, row in rows.items()}
    return out
