"""What a recording is once it has been read: checked, in SI units, in ISB lab axes (X forward, Y up, Z right)."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from jointload.errors import LabelError, some

Array = NDArray[np.float64]
Which = int | slice | NDArray[np.intp]
"""One draw, or several."""
Severity = Literal["pass", "warn", "refuse"]
Side = Literal["right", "left"]
SIDES: tuple[Side, Side] = ("right", "left")


def split_side(name: str) -> tuple[str, str]:
    """The side, '' where there is none, and the rest of a name: right_knee -> right, knee; l5s1 -> '', l5s1."""
    side, _, rest = name.partition("_")
    return (side, rest) if side in SIDES and rest else ("", name)


def side_from(word: str) -> Side | None:
    """A side as people write it: right, r, Left, L; None for any other word."""
    text = word.strip().lower()
    return next((side for side in SIDES if text in (side, side[0])), None)


@dataclass(frozen=True)
class Finding:
    """One observation about the data that a reader must know before trusting a number."""

    check: str
    severity: Severity
    where: str
    evidence: str
    advice: str


@dataclass(frozen=True)
class Event:
    """A named instant stored in the file; time [s] from the recording's first frame; side 'right', 'left' or ''."""

    label: str
    side: str
    time: float


@dataclass(frozen=True)
class FrameNumbers:
    """Which numbers a file gives its frames: first, that of its first one; parts, into how many equal parts a frame of
    the file was cut where its motion is followed at a finer rate."""

    first: int = 1
    parts: int = 1

    def of(self, frame: int) -> int:
        """The number of a frame counted from 0."""
        return self.first + frame // self.parts

    def span(self, start: int, stop: int, joined: str = "-") -> str:
        """First and last number of the file's frames among [start, stop); of the one before them where none is."""
        last = self.of(stop - 1)
        return f"{min(self.first + -(-start // self.parts), last)}{joined}{last}"


FROM_ONE = FrameNumbers()


@dataclass(frozen=True, eq=False)
class Plate:
    """One force plate, as the wrench of the ground ON the body about the lab origin, at the force rate.

    corners : (3, 4) [m], lab axes, in the order of the file
    force : (3, N) [N], lab axes, upward positive
    moment : (3, N) [N m], lab axes, about the lab origin
    """

    number: int
    kind: int
    corners: Array
    force: Array
    moment: Array
    baseline: str
    """How the unloaded level was found and removed, in words."""


@dataclass(frozen=True, eq=False)
class Recording:
    """A trial: marker trajectories, plate wrenches and events.

    markers : (3, M, F) [m], lab axes; NaN where a marker was not seen
    lab_from_file : (3, 3) rotation that was applied to the file's coordinates
    """

    name: str
    sha256: str
    labels: tuple[str, ...]
    markers: Array
    point_rate: float
    plates: tuple[Plate, ...]
    force_rate: float
    events: tuple[Event, ...]
    lab_from_file: Array
    axes_evidence: str
    first_frame: int = 1
    findings: tuple[Finding, ...] = field(default=())
    descriptions: tuple[str, ...] = ()
    """One a marker as the file describes it, "" where it does not; empty for a recording that was not read."""
    parts: int = 1
    """Of which each frame is one where the motion is followed at a finer rate than the file's."""
    cameras_late: float = float("nan")
    """Time [s] by which the plates were moved later, onto the cameras' clock; NaN where nothing tells it."""

    @property
    def frames(self) -> int:
        return int(self.markers.shape[2])

    @property
    def numbers(self) -> FrameNumbers:
        """How its frames are told to people: as the file numbers them."""
        return FrameNumbers((self.first_frame - 1) // self.parts + 1, self.parts)

    @property
    def samples_per_frame(self) -> int:
        """Force samples per marker frame; sample i * samples_per_frame belongs to frame i."""
        return round(self.force_rate / self.point_rate) if self.plates else 1

    @property
    def time(self) -> Array:
        """(F,) [s] from the first frame."""
        return np.arange(self.frames) / self.point_rate

    @property
    def force_time(self) -> Array:
        """(N,) [s] from the first frame."""
        samples = self.plates[0].force.shape[1] if self.plates else 0
        return np.arange(samples) / self.force_rate if samples else np.empty(0)

    def marker(self, label: str) -> Array:
        """(3, F) [m] trajectory of one marker; LabelError when it is unknown."""
        if label not in self.labels:
            raise LabelError(f"marker {label!r} is not in {self.name}; its labels are {some(self.labels)}")
        return self.markers[:, self.labels.index(label)]
