"""A writer of small C3D files, byte by byte from the format's own definition."""

from __future__ import annotations

import struct
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

BLOCK = 512
PROCESSOR_CODE = {"Intel": 84, "DEC": 85, "MIPS": 86}


@pytest.fixture(scope="session")
def write_c3d() -> Callable[..., bytes]:
    return c3d_bytes


def c3d_bytes(
    points: np.ndarray,
    *,
    residuals: np.ndarray | None = None,
    analog: np.ndarray | None = None,
    rate: float = 100.0,
    samples_per_frame: int = 0,
    scale: float = -1.0,
    processor: str = "Intel",
    first_frame: int = 1,
    header_events: list[tuple[str, float]] | None = None,
    parameters: dict[str, dict[str, Any]] | None = None,
    without: tuple[str, ...] = (),
    header: dict[int, int | float] | None = None,
    gaps: tuple[int, int] = (0, 0),
    data_first: bool = False,
) -> bytes:
    """A C3D file.

    points : (F, M, 3) as stored: file units for a negative scale, counts for a positive one
    analog : (F * samples_per_frame, C) as stored
    parameters : group -> name -> text, list of texts, integer array or float array (Fortran order); replaces defaults
    without : "GROUP:NAME" of parameters left out
    header : word of the header, from 1, and what to write there: a 16-bit word for an int, a real for a float
    gaps : blocks left empty before the first and before the second of the two sections
    data_first : whether the data section stands before the parameters
    """
    frames, markers, _ = points.shape
    channels = 0 if analog is None else analog.shape[1]
    groups: dict[str, dict[str, Any]] = {
        "POINT": {
            "USED": markers,
            "FRAMES": frames if frames < 32768 else frames - 65536,
            "SCALE": float(scale),
            "RATE": float(rate),
            "DATA_START": 0,
            "UNITS": "mm",
            "LABELS": [f"M{k + 1}" for k in range(markers)],
        },
        "ANALOG": {
            "USED": channels,
            "GEN_SCALE": 1.0,
            "SCALE": np.ones(channels),
            "OFFSET": np.zeros(channels, dtype=int),
            "RATE": float(rate * samples_per_frame),
        },
    }
    for group, values in (parameters or {}).items():
        groups.setdefault(group, {}).update(values)
    for name in without:
        group, _, parameter = name.partition(":")
        groups[group].pop(parameter)
    pack = _Packer(processor)
    length = 4 + len(pack.section(groups))
    blocks = -(-length // BLOCK)
    frame_bytes = (4 * markers + channels * samples_per_frame) * (4 if scale < 0 else 2)
    data_blocks = -(-frames * frame_bytes // BLOCK)
    first_block = 2 + gaps[0]
    second_block = first_block + (data_blocks if data_first else blocks) + gaps[1]
    data_block, parameter_block = (first_block, second_block) if data_first else (second_block, first_block)
    if "DATA_START" in groups["POINT"]:
        groups["POINT"]["DATA_START"] = data_block
    section = bytes([1, 80, min(blocks, 255), PROCESSOR_CODE[processor]]) + pack.section(groups)
    words = np.zeros((frames, 4 * markers + channels * samples_per_frame))
    place = words[:, : 4 * markers].reshape(frames, markers, 4)
    place[..., :3] = points
    place[..., 3] = 0 if residuals is None else residuals
    words[:, : 4 * markers] = place.reshape(frames, -1)
    if analog is not None:
        words[:, 4 * markers :] = analog.reshape(frames, -1)
    data = pack.reals(words) if scale < 0 else pack.integers(words)
    head = bytearray(
        _header(pack, markers, channels, frames, first_frame, scale, data_block, samples_per_frame, rate, header_events)
    )
    head[0] = parameter_block
    for word, value in (header or {}).items():
        raw = pack.reals([value]) if isinstance(value, float) else pack.integers([value])
        head[2 * word - 2 : 2 * word - 2 + len(raw)] = raw
    body = bytes(head)
    for block, content in sorted([(data_block, data), (parameter_block, section)]):
        body = body.ljust((block - 1) * BLOCK, b"\0") + content
    return body + b"\0" * (-len(body) % BLOCK)


def _header(
    pack: _Packer,
    markers: int,
    channels: int,
    frames: int,
    first: int,
    scale: float,
    data_block: int,
    samples: int,
    rate: float,
    events: list[tuple[str, float]] | None,
) -> bytes:
    last = min(65535, first + frames - 1)
    head = bytearray(b"\x02\x50" + pack.integers([markers, channels * samples, first, last, 10]))
    head += pack.reals([scale]) + pack.integers([data_block, samples]) + pack.reals([rate])
    head = head.ljust(BLOCK, b"\0")
    if events:
        head[298:302] = pack.integers([12345, len(events)])
        head[304 : 304 + 4 * len(events)] = pack.reals([time for _, time in events])
        for k, (label, _) in enumerate(events):
            head[396 + 4 * k : 400 + 4 * k] = label.ljust(4).encode()
    return bytes(head)


class _Packer:
    def __init__(self, processor: str) -> None:
        self.processor = processor
        self.order = ">" if processor == "MIPS" else "<"

    def integers(self, values: Any) -> bytes:
        return (np.asarray(values).astype(np.int64) & 0xFFFF).astype(self.order + "u2").tobytes()

    def reals(self, values: Any) -> bytes:
        if self.processor != "DEC":
            return np.asarray(values, dtype=self.order + "f4").tobytes()
        words = (np.asarray(values, dtype="<f4") * np.float32(4)).astype("<f4").tobytes()
        return np.frombuffer(words, "<u2").reshape(-1, 2)[:, ::-1].tobytes()

    def section(self, groups: dict[str, dict[str, Any]]) -> bytes:
        records = []
        for number, (group, values) in enumerate(groups.items(), start=1):
            records.append((group, -number, b"\0"))
            records += [(name, number, self.value(value) + b"\0") for name, value in values.items()]
        raw = b""
        for place, (name, number, content) in enumerate(records):
            step = 0 if place == len(records) - 1 else 2 + len(content)
            raw += struct.pack("bb", len(name), number) + name.encode() + self.integers([step]) + content
        return raw

    def value(self, value: Any) -> bytes:
        if isinstance(value, str):
            return bytes([255, 1, len(value)]) + value.encode()
        if isinstance(value, list):
            width = max((len(text) for text in value), default=0)
            return bytes([255, 2, width, len(value)]) + "".join(text.ljust(width) for text in value).encode()
        array = np.asarray(value)
        real = array.dtype.kind == "f"
        flat = array.ravel(order="F")
        return bytes([4 if real else 2, array.ndim, *array.shape]) + (self.reals(flat) if real else self.integers(flat))
