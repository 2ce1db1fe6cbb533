"""Where the data of a C3D file stand and how many there are: header, parameters and the file's length held against each
other before a byte of them is read.

Format: C3D User Guide, c3d.org (counting of frames).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from jointload.intake.c3d_bytes.guard import BLOCK, Structure
from jointload.intake.c3d_bytes.parameters import LIMITS, Limits, refusal

UNREAD_MOST = 2 * BLOCK
"""[bytes] after the last frame that are no sign of missing frames: writers fill up blocks, some add one."""
LONG_COUNT = 65535
"""POINT:FRAMES of this value says that the true count stands elsewhere."""


@dataclass(frozen=True)
class Layout:
    """Where the data of a checked file stand: counts per frame, frames, rates [Hz], scale, first byte."""

    frames: int
    first_frame: int
    points: int
    channels: int
    samples_per_frame: int
    rate: float
    scale: float
    start: int

    @property
    def is_real(self) -> bool:
        """A negative POINT:SCALE says that the data are real numbers."""
        return self.scale < 0

    @property
    def words_per_frame(self) -> int:
        return 4 * self.points + self.channels * self.samples_per_frame

    @property
    def stop(self) -> int:
        return self.start + self.frames * self.words_per_frame * (4 if self.is_real else 2)


def read_layout(structure: Structure, limits: Limits = LIMITS) -> Layout:
    """Counts and places of the data section; RecordingError when they contradict one another or the file's length."""
    header = structure.header
    points = structure.unsigned("POINT", "USED")
    channels = structure.unsigned("ANALOG", "USED") if structure.numbers("ANALOG", "USED").size else 0
    if not header.samples_per_frame:
        channels = 0
    samples = header.samples_per_frame if channels else 0
    for what, told, other in (
        ("marker count", points, header.points),
        ("analog values a frame", channels * samples, header.analog_per_frame),
    ):
        if told != other:
            raise structure.error(what, "the same in parameters and header", f"{told} and {other}")
    if points > limits.points or channels > limits.channels:
        most = f"at most {limits.points} markers and {limits.channels} channels"
        raise structure.error("counts", most, f"{points} and {channels}")
    scale = structure.number("POINT", "SCALE")
    if scale == 0:
        raise structure.error("POINT:SCALE", "a scale that is not zero", "0")
    frames = _frame_count(structure)
    rate, first = _rate(structure, limits), _first_frame(structure, frames)
    layout = Layout(frames, first, points, channels, samples, rate, scale, 0)
    layout = replace(layout, start=(_data_block(structure, layout) - 1) * BLOCK)
    _check_length(structure, layout, limits)
    if channels:
        _check_channel_lists(structure, channels)
    _check_rotations(structure)
    return layout


def _data_block(structure: Structure, layout: Layout) -> int:
    """The block at which the data start: what header and POINT:DATA_START agree on, else the one of the two with which
    the data end where the file does, while with the other they cannot stand; layout : with any start."""
    blocks = (structure.unsigned("POINT", "DATA_START"), structure.header.data_block)
    if blocks[0] == blocks[1]:
        return blocks[0]
    left = [_left_over(structure, replace(layout, start=(block - 1) * BLOCK)) for block in blocks]
    for one, other in ((0, 1), (1, 0)):
        if 0 <= left[one] <= UNREAD_MOST and left[other] < 0:
            return blocks[one]
    raise structure.error("data start", "the same in parameters and header", f"{blocks[0]} and {blocks[1]}")


def _left_over(structure: Structure, layout: Layout) -> int:
    """Bytes of the file behind data at this place; -1 where they touch header or parameters or pass the file's end."""
    apart = layout.start >= structure.parameter_end or layout.stop <= structure.parameter_start
    return max(-1, unread_bytes(structure, layout)) if layout.start >= BLOCK and apart else -1


def unread_bytes(structure: Structure, layout: Layout) -> int:
    """Bytes between the end of the data section and the end of the file, or the parameters that follow it."""
    follow = structure.parameter_start >= layout.stop
    return (structure.parameter_start if follow else structure.size) - layout.stop


def _rate(structure: Structure, limits: Limits) -> float:
    """POINT:RATE [Hz], or the header's where that is missing, zero or not finite."""
    told = structure.numbers("POINT", "RATE")
    known = told.size > 0 and math.isfinite(told[0]) and told[0] != 0
    rate = float(told[0]) if known else structure.header.rate
    if not (0 < rate <= limits.rate if known else 1 <= rate <= limits.rate):
        found = f"{told[0]:g}" if told.size else "none"
        found += "" if known else f", and {rate:g} Hz in the header"
        raise structure.error("POINT:RATE", f"a rate from 0 to {limits.rate:g} Hz", found)
    return rate


def _frame_count(structure: Structure) -> int:
    count = structure.unsigned("POINT", "FRAMES")
    if count == LONG_COUNT:
        long = structure.numbers("POINT", "LONG_FRAMES")
        told = [round(long[0])] if long.size and math.isfinite(long[0]) else []
        captured = actual_range(structure)
        told += [captured[1] - captured[0] + 1] if captured else []
        if len(set(told)) > 1:
            same = "the same in POINT:LONG_FRAMES and TRIAL:ACTUAL_START/END_FIELD"
            raise structure.error("frame count", same, f"{told[0]} and {told[1]}")
        count = told[0] if told else count
    if count < 1:
        raise structure.error("frame count", "at least 1", count)
    return count


def actual_range(structure: Structure) -> tuple[int, int] | None:
    """First and last frame by TRIAL:ACTUAL_START/END_FIELD, each two 16-bit words: low + 65536 high."""
    words = [structure.numbers("TRIAL", f"ACTUAL_{name}_FIELD") for name in ("START", "END")]
    if any(pair.size < 2 or not np.isfinite(pair[:2]).all() for pair in words):
        return None
    first, last = (round(pair[0] % 65536 + 65536 * (pair[1] % 65536)) for pair in words)
    return first, last


def _first_frame(structure: Structure, frames: int) -> int:
    """Number of the first stored frame; TRIAL knows it where the header's 16 bits do not reach."""
    captured = actual_range(structure)
    if captured and captured[0] >= 1 and captured[1] - captured[0] + 1 == frames:
        return captured[0]
    return structure.header.first_frame


def _check_length(structure: Structure, layout: Layout, limits: Limits) -> None:
    if layout.start < BLOCK:
        raise structure.error("data start", "a block after the header", f"byte {layout.start}")
    if layout.words_per_frame == 0:
        raise structure.error("content", "markers or analog channels", "neither")
    if layout.stop > structure.size:
        present = max(0, (structure.size - layout.start) * layout.frames // (layout.stop - layout.start))
        expected = f"{layout.frames} frames ending at byte {layout.stop}"
        found = f"{structure.size} bytes, {present} whole frames"
        raise refusal(structure.where, "data section", expected, found, "it was cut short: copy or export it again")
    if layout.stop - layout.start > limits.data_bytes:
        most = f"at most {limits.data_bytes} bytes"
        advice = "cut the trial, or raise Limits.data_bytes"
        raise refusal(structure.where, "data section", most, layout.stop - layout.start, advice)
    if layout.start < structure.parameter_end and layout.stop > structure.parameter_start:
        apart = f"a place outside the parameters, bytes {structure.parameter_start} to {structure.parameter_end}"
        raise structure.error("data section", apart, f"bytes {layout.start} to {layout.stop}")


def _check_channel_lists(structure: Structure, channels: int) -> None:
    structure.number("ANALOG", "GEN_SCALE")
    for name in ("SCALE", "OFFSET"):
        count = structure.numbers("ANALOG", name).size
        if count < channels:
            raise structure.error(f"ANALOG:{name}", f"{channels} numbers, one a channel", count)


def _check_rotations(structure: Structure) -> None:
    """Rotations are not read, but a count that cannot be shows that the file is damaged."""
    for name in ("USED", "RATIO"):
        counts = structure.numbers("ROTATION", name)
        if counts.size and not counts[0] >= 0:
            raise structure.error(f"ROTATION:{name}", "a count", f"{counts[0]:g}")
