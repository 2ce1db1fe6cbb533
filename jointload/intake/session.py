"""Everything the analysis of one trial starts from, read and checked together."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from jointload.errors import LabelError, expected_found
from jointload.intake.board import Board, read_board
from jointload.intake.c3d import read_recording
from jointload.intake.labels import LabelMap, check_labels, read_labels
from jointload.intake.recording import Recording
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
) -> Session:
    """Read the files of one landing; every InputError is one line. up, forward overrule the file's axes, such as
    '+z'."""
    label_map, person = read_labels(labels), rider if isinstance(rider, Rider) else read_rider(rider)
    deck = None if board is None else read_board(board)
    landing = read_recording(trial, up=up, forward=forward)
    swing = None if hip_movement is None else read_recording(hip_movement, up=up, forward=forward)
    if static is None:
        _check_own_labels(label_map, landing)
        return Session(landing, landing, label_map, person, swing, deck)
    standing = read_recording(static, up=up, forward=forward)
    check_labels(label_map, [landing, standing])
    return Session(landing, standing, label_map, person, swing, deck)


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
