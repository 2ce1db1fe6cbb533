"""Which way is forward: the body, right and left, the feet and the way that is walked are asked before the screen."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from jointload.intake.c3d import read_recording
from jointload.intake.labels import LabelMap
from jointload.intake.recording import Recording

FRAMES = 60
BODY = {
    "R_KNEE": (0, -100, 500), "L_KNEE": (0, 100, 500), "R_HEEL": (-60, -100, 40), "L_HEEL": (-60, 100, 40),
    "R_TOE": (140, -100, 30), "L_TOE": (140, 100, 30), "HEAD": (0, 0, 1700),
}  # fmt: skip
"""[mm] file axes: x forward, y left, z up."""


@pytest.fixture
def read(tmp_path: Path, write_c3d: Callable[..., bytes]) -> Callable[..., Recording]:
    def read(points: dict[str, Any], walk: float = 0.0, screen: str = "+X", **told: Any) -> Recording:
        """points : label -> (3,) [mm];  walk : [mm] in all, along file y"""
        place = np.array(list(points.values()), dtype=float)[None] + np.zeros((FRAMES, 1, 1))
        place[..., 1] += np.linspace(0.0, walk, FRAMES)[:, None]
        screens = {"X_SCREEN": screen, "Y_SCREEN": "+Z"} if screen else {}
        path = tmp_path / "trial.c3d"
        path.write_bytes(write_c3d(place, parameters={"POINT": {"LABELS": list(points), **screens}}))
        return read_recording(path, **told)

    return read


def forward(recording: Recording) -> str:
    return "xyz"[int(np.abs(recording.lab_from_file[0]).argmax())]


def said(recording: Recording) -> list[str]:
    return [f.evidence for f in recording.findings if f.check == "axes" and f.severity == "warn"]


@pytest.mark.parametrize("screen", ["+Y", "-Y"])
def test_a_screen_axis_against_the_body_loses_loudly(read: Callable[..., Recording], screen: str) -> None:
    """One byte of +X changed: no pelvis is labelled, right and left tell."""
    recording = read(BODY, screen=screen)
    assert forward(recording) == "x" and recording.lab_from_file[0, 0] > 0
    assert said(recording) == [f"forward +x by right and left, 0 degrees off, but POINT:X_SCREEN says {screen.lower()}"]
    assert said(read(BODY)) == []


def test_feet_of_one_side_tell_where_forward_is(read: Callable[..., Recording]) -> None:
    recording = read({name: place for name, place in BODY.items() if not name.startswith("L_")}, screen="+Y")
    assert forward(recording) == "x"
    assert "where the feet point" in said(recording)[0]


def test_the_way_that_is_walked_tells_where_forward_is(read: Callable[..., Recording]) -> None:
    nameless = {f"M{k}": place for k, place in enumerate(BODY.values())}
    recording = read(nameless, walk=2500.0)
    assert forward(recording) == "y"
    assert said(recording) == ["forward +y where the body walks, 0 degrees off, but POINT:X_SCREEN says +x"]


def test_a_screen_axis_that_nothing_bears_out_is_told(read: Callable[..., Recording]) -> None:
    nameless = {f"M{k}": place for k, place in enumerate(BODY.values())}
    assert "POINT:X_SCREEN alone says +x" in said(read(nameless))[0]
    assert said(read(nameless, forward="+x")) == []


def test_landmarks_that_labels_toml_names_tell_where_forward_is(read: Callable[..., Recording]) -> None:
    """A laboratory's own labels: only the file that maps them knows that two of them are the front of the pelvis."""
    own = {"P1": (100, -120, 1000), "P2": (100, 120, 1000), "P3": (-100, 0, 1000), "P4": (0, 0, 30)}
    named = LabelMap({"right_asis": "P1", "left_asis": "P2", "sacrum": "P3"})
    recording = read(own, screen="", named=named)
    assert "forward +x where the pelvis faces" in recording.axes_evidence
    assert "assumed" in read(own, screen="").axes_evidence
