"""Everything the analysis of one trial starts from, read and checked together."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from jointload.errors import LabelError, PressureError, expected_found
from jointload.intake.board import Board, read_board
from jointload.intake.c3d import read_recording
from jointload.intake.labels import LabelMap, check_labels, read_labels
from jointload.intake.pressure import PressureRecording, read_layout, read_pressure
from jointload.intake.recording import SIDES, Recording
from jointload.intake.rider import Rider, read_rider


@dataclass(frozen=True, eq=False)
class Session:
    """A landing trial, the static trial the body is fitted to (the landing itself when there is none), labels, rider,
    and
    where there is one a trial in which both thighs swing, for the hip centres."""

    trial: Recording
    static: Recording
    labels: LabelMap
    rider: Rider
    hip_movement: Recording | None = None
    board: Board | None = None
    insoles: tuple[PressureRecording, ...] = ()
    """Pressure under one foot or both."""

    @property
    def has_static(self) -> bool:
        return self.static is not self.trial


def read_session(
    trial: str | Path,
    static: str | Path | None = None,
    *,
    labels: str | Path,
    rider: str | Path | Rider,
    up: str | None = None,
    forward: str | None = None,
    hip_movement: str | Path | None = None,
    board: str | Path | None = None,
    pressure_right: str | Path | None = None,
    pressure_left: str | Path | None = None,
    pressure_layout: str | Path | None = None,
) -> Session:
    """Read the files of one landing; every InputError is one line. up, forward overrule the file's axes, such as
    '+z'."""
    label_map, person = read_labels(labels), rider if isinstance(rider, Rider) else read_rider(rider)
    beneath = (
        None if board is None else read_board(board),
        _read_insoles(pressure_right, pressure_left, pressure_layout),
    )
    landing = read_recording(trial, up=up, forward=forward, named=label_map)
    swing = None if hip_movement is None else read_recording(hip_movement, up=up, forward=forward, named=label_map)
    if static is None:
        _check_own_labels(label_map, landing)
        return Session(landing, landing, label_map, person, swing, *beneath)
    standing = read_recording(static, up=up, forward=forward, named=label_map)
    check_labels(label_map, [landing, standing])
    return Session(landing, standing, label_map, person, swing, *beneath)


def _read_insoles(
    right: str | Path | None, left: str | Path | None, layout: str | Path | None
) -> tuple[PressureRecording, ...]:
    given = [(path, side) for path, side in zip((right, left), SIDES, strict=True) if path is not None]
    if bool(given) != (layout is not None):
        found = "no layout" if layout is None else "a layout and no pressure"
        advice = "give --pressure-layout together with --pressure-right or --pressure-left"
        raise PressureError(
            expected_found("pressure", "tables and the layout of their sensors", found, "the files", advice)
        )
    if layout is None:
        return ()
    sensors = read_layout(layout)
    return tuple(read_pressure(path, side, sensors) for path, side in given)


def _check_own_labels(label_map: LabelMap, landing: Recording) -> None:
    missing = [label for label in label_map.landmarks.values() if label not in landing.labels]
    try:
        check_labels(label_map, landing)
    except LabelError as problem:
        if len(missing) > len(label_map.landmarks) // 2:
            raise
        advice = "give the standing trial that holds them with --static"
        message = expected_found(
            "static trial", "every marker of labels.toml", f"no {', '.join(missing)}", landing.name, advice
        )
        raise LabelError(message) from problem
