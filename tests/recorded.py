"""Recordings that several tests read as a user does: landings of the shipped sample, and trials that were published."""

from __future__ import annotations

from pathlib import Path

from jointload.intake.session import Session, read_session
from jointload.modeldata import shipped_folder

REAL = Path(__file__).parent / "intake" / "real"
"""Labels and riders of the published trials."""
PUBLISHED = {
    "jump": ("landing/vertical_jump_two_plates", None, "jump"),
    "run": ("running/treadmill_3.5ms", "running/static", "running"),
    "walk_1": ("walking/walk_1", "walking/static", "walking"),
    "walk_2": ("walking/walk_2", "walking/static", "walking"),
    "walk_3": ("walking/walk_3", "walking/static", "walking"),
}
"""Trial, standing trial, person: c3d.org samples; Fukuchi, Fukuchi and Duarte (2017) PeerJ 5:e3298 (run)."""


def sample_session(rider: str = "rider_a", condition: str = "flat") -> Session:
    folder = shipped_folder("sample_c3d")
    files = {"labels": folder / "labels.toml", "rider": folder / f"{rider}.toml"}
    return read_session(folder / f"{rider}_landing_{condition}.c3d", folder / f"{rider}_static.c3d", **files)


def published_session(shared_c3d: Path, name: str) -> Session:
    trial, static, who = PUBLISHED[name]
    files = {"labels": REAL / f"{who}_labels.toml", "rider": REAL / f"{who}_rider.toml"}
    return read_session(shared_c3d / f"{trial}.c3d", static and shared_c3d / f"{static}.c3d", **files)
