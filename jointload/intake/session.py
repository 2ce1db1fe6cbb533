"""Everything the analysis of one trial starts from, read and checked together."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from jointload.errors import LabelError, PressureError, RecordingError, expected_found, some
from jointload.intake.board import Board, read_board
from jointload.intake.c3d import read_recording
from jointload.intake.labels import LabelMap, check_labels, read_labels, with_closest
from jointload.intake.pressure import PressureRecording, read_layout, read_pressure
from jointload.intake.recording import SIDES, Recording
from jointload.intake.rider import Rider, read_rider
from jointload.intake.shoe import Shoe, read_shoe
from jointload.intake.standing import stands_still


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
    same_person: bool = False
    """Whether the standing trial is insisted to be this rider's, whatever speaks against it."""
    hide_names: bool = False
    """Whether the recordings bear pseudonyms in place of their files' names."""
    shoe: Shoe | None = None
    """What is known of the shoe, None where nothing was said."""

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
    shoe: str | Path | None = None,
    same_person: bool = False,
    hide_names: bool = False,
) -> Session:
    """Read the files of one landing; every InputError is one line.

    up, forward : overrule the file's axes, such as '+z';  same_person : insist that the standing trial is this rider's
    hide_names : give every recording a pseudonym in place of its file's name
    """
    label_map, person = read_labels(labels), rider if isinstance(rider, Rider) else read_rider(rider)
    beneath = (
        None if board is None else read_board(board),
        tuple(
            _nameless(each) if hide_names else each
            for each in _read_insoles(pressure_right, pressure_left, pressure_layout)
        ),
    )

    def read(path: str | Path) -> Recording:
        recording = read_recording(path, up=up, forward=forward, named=label_map)
        return replace(recording, name=pseudonym(recording)) if hide_names else recording

    worn = None if shoe is None else read_shoe(shoe)
    landing = read(trial)
    swing = None if hip_movement is None else read(hip_movement)
    if static is None:
        _check_own_labels(label_map, landing)
        return Session(landing, landing, label_map, person, swing, *beneath, same_person, hide_names, worn)
    standing = read(static)
    _check_not_exchanged(landing, standing)
    check_labels(label_map, [landing, standing])
    return Session(landing, standing, label_map, person, swing, *beneath, same_person, hide_names, worn)


def _check_not_exchanged(landing: Recording, standing: Recording) -> None:
    """RecordingError where the body stands still in the landing and moves in the standing trial."""
    if stands_still(landing) and not stands_still(standing):
        raise RecordingError(
            f"landing: it looks exchanged with the standing trial: the body stands still throughout {landing.name} "
            f"and moves in {standing.name}; give the one that moves as the landing"
        )


def pseudonym(recording: Recording | PressureRecording) -> str:
    """A name that follows from a recording's content alone."""
    return f"recording {recording.sha256[:8]}"


def _nameless(pressure: PressureRecording) -> PressureRecording:
    """A pressure recording under a pseudonym, in its findings, too."""
    new = pseudonym(pressure)
    findings = tuple(
        replace(f, where=f.where.replace(pressure.name, new), evidence=f.evidence.replace(pressure.name, new))
        for f in pressure.findings
    )
    return replace(pressure, name=new, findings=findings)


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
        lacking = some((f"no {label}" for label in with_closest(missing, landing, label_map.labels)), "; ")
        message = expected_found("static trial", "every marker of labels.toml", lacking, landing.name, advice)
        raise LabelError(message) from problem
