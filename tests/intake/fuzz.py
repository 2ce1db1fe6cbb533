"""Mutates header, parameters and length of small valid files and reads them, by hand:

    python tests/intake/fuzz.py --mutations 5000 --seed 1

Every read must end within 5 s, by a Recording or a RecordingError of one line; the process must stay under 500 MB. An
accepted file is compared with its original: labels, rates, markers (to a micrometre), plates (corners; force and moment
to a millionth of a newton and newton metre) and events. A difference must come with a finding of severity warn or
refuse whose check and place the original did not have. What differs without one is `slight` where no laboratory could
measure the difference (RESOLVED), else `silent`, counted by the parameter.

Not mutated: the data section (but for truncation), and texts that name things (the payload of LABELS, DESCRIPTIONS and
CONTEXTS, the event names of the header): a changed sample or name is as good as the one before.
"""

from __future__ import annotations

import argparse
import json
import resource
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from jointload.errors import RecordingError
from jointload.intake.c3d import read_recording
from jointload.intake.c3d_bytes.guard import Structure, read_structure
from jointload.intake.c3d_bytes.layout import Layout, read_layout
from jointload.intake.c3d_bytes.parameters import Record
from jointload.intake.quality import inspect_recording
from jointload.intake.recording import Recording

SECONDS = 5.0
MEGABYTES = 500.0
FRAMES, PER_FRAME = 40, 5
NAMING = ("LABELS", "DESCRIPTIONS", "CONTEXTS")
NUMBERS = (
    "ANALOG:SCALE",
    "ANALOG:GEN_SCALE",
    "ANALOG:OFFSET",
    "FORCE_PLATFORM:CAL_MATRIX",
    "FORCE_PLATFORM:CORNERS",
    "FORCE_PLATFORM:ORIGIN",
    "EVENT:TIMES",
    "header event time",
)
"""What nothing else in a file contradicts: any sensible number there is as good as the one before."""
RESOLVED = {"force": 0.1, "moment": 0.05, "corners": 1e-4}
"""[N], [N m], [m] below which a change is none that a plate or a tape measure could show (choice)."""
RESOLVED_TIME = 1e-4
"""[s] likewise for events: a tenth of a sample at 1000 Hz (choice)."""
EDGES = (0, 1, 2, 3, 4, 5, 7, 8, 64, 127, 128, 129, 200, 254, 255)
LABELS = ["HEAD", "R_ACROMION", "R_ASIS", "L_ASIS", "SACRUM", "R_KNEE", "L_KNEE", "R_HEEL", "L_HEEL", "R_TOE"]
WITHOUT_PELVIS = [name if name[2:] in ("ACROMION", "KNEE", "HEEL", "TOE") else f"M{k}" for k, name in enumerate(LABELS)]
"""Right and left alone tell where forward is."""
BODY = np.array(
    [[0, 0, 1700], [0, -180, 1450], [100, -120, 1000], [100, 120, 1000], [-100, 0, 1000], [0, -100, 500],
     [0, 100, 500], [-60, -100, 40], [-60, 100, 40], [140, -100, 30]],
    dtype=float,
) + [150, 90, 0]  # fmt: skip
"""(10, 3) [mm] a standing body, file axes: x forward, y left, z up; it stands off the middle of the plate."""
CORNERS = np.array([[300.0, 200, 0], [-300, 200, 0], [-300, -200, 0], [300, -200, 0]])[[0, 3, 2, 1]].T
"""(3, 4) [mm] plate z down."""

Write = Callable[..., bytes]


@dataclass(frozen=True)
class Base:
    """A valid file, what it holds, and where."""

    name: str
    content: bytes
    structure: Structure
    layout: Layout
    recording: Recording


@dataclass
class Tally:
    """How the mutated files ended."""

    refused: int = 0
    equal: int = 0
    told: int = 0
    slight: int = 0
    silent: Counter[str] = field(default_factory=Counter)
    slowest: float = 0.0
    megabytes: float = 0.0

    def as_dict(self) -> dict[str, Any]:
        silent = dict(self.silent.most_common())
        return {**vars(self), "silent": sum(silent.values()), "silent by parameter": silent}


def plate_channels(kind: int) -> np.ndarray:
    """(N, C) channels of a load that passes the body's middle, free for the first quarter; N and N mm, plate axes."""
    load = np.zeros(FRAMES * PER_FRAME)
    load[len(load) // 4 :] = 800.0 + 60.0 * np.sin(np.arange(3 * len(load) // 4) / 20)
    x, y = np.full(load.shape, 90.0), np.full(load.shape, 150.0)
    fx, fy, fz = -0.02 * load, -0.03 * load, -load
    if kind == 1:
        return np.stack([fx, fy, fz, x, y, 0 * load]).T
    if kind == 3:
        corner = [fz * (0.25 + sx * x / 480 + sy * y / 800) for sx, sy in ((1, 1), (-1, 1), (-1, -1), (1, -1))]
        return np.stack([fx / 2, fx / 2, fy / 2, fy / 2, *corner]).T
    surface = np.stack([y * fz, -x * fz, x * fy - y * fx])
    force = np.stack([fx, fy, fz])
    return np.concatenate([force, surface - np.cross(force, np.array([0, 0, -45.0]), axis=0)]).T


def bases(write: Write, folder: Path) -> list[Base]:
    """Small files of every processor, integer and real, with plates of types 1 to 4 and events of both kinds."""
    return [
        _base(write, folder, "Intel real, type 2", "Intel", -1.0, 2),
        _base(write, folder, "Intel integer, type 4", "Intel", 0.1, 4, WITHOUT_PELVIS),
        _base(write, folder, "DEC real, type 3", "DEC", -0.1, 3),
        _base(write, folder, "DEC integer, type 2", "DEC", 0.1, 2),
        _base(write, folder, "SGI integer, type 1", "MIPS", 0.1, 1),
        _base(write, folder, "SGI real, type 4", "MIPS", -1.0, 4),
    ]


def _base(
    write: Write, folder: Path, name: str, processor: str, scale: float, kind: int, labels: list[str] = LABELS
) -> Base:
    channels = plate_channels(kind)
    factor = np.maximum(np.abs(channels).max(axis=0) / 30000.0, 1e-3)
    points = BODY + np.random.default_rng(5).normal(0, 1, (FRAMES, 1, 3)) * [3, 3, 1]
    units = {1: ["N", "N", "N", "mm", "mm", "Nmm"], 3: ["N"] * 8}.get(kind, ["N"] * 3 + ["Nmm"] * 3)
    plate = {
        "USED": 1,
        "TYPE": np.array([kind]),
        "ZERO": np.array([1, 8]),
        "CORNERS": CORNERS[:, :, None],
        "ORIGIN": np.array([[120.0], [200.0], [0.0]]) if kind == 3 else np.array([[0.0], [0.0], [-45.0]]),
        "CHANNEL": np.arange(1, channels.shape[1] + 1)[:, None],
    }
    if kind == 4:
        plate["CAL_MATRIX"] = np.eye(6)[:, :, None]
    content = write(
        points if scale < 0 else np.round(points / scale),
        analog=np.round(channels / factor) + 0.0,
        rate=200.0,
        samples_per_frame=PER_FRAME,
        scale=scale,
        processor=processor,
        header_events=[("ON", 0.05)],
        parameters={
            "POINT": {"LABELS": labels, "DESCRIPTIONS": labels, "X_SCREEN": "+X", "Y_SCREEN": "+Z"},
            "ANALOG": {
                "SCALE": factor,
                "UNITS": units,
                "LABELS": [f"C{k}" for k in range(channels.shape[1])],
                "FORMAT": "SIGNED",
            },
            "FORCE_PLATFORM": plate,
            "TRIAL": {"ACTUAL_START_FIELD": np.array([1, 0]), "ACTUAL_END_FIELD": np.array([FRAMES, 0])},
            "EVENT": {"USED": 1, "LABELS": ["Landing"], "CONTEXTS": ["Left"], "TIMES": np.array([[0.0], [0.06]])},
            "MANUFACTURER": {"COMPANY": ["nobody"], "SOFTWARE": ["none"]},
        },
    )
    path = folder / "base.c3d"
    path.write_bytes(content)
    structure = read_structure(path)
    return Base(name, content, structure, read_layout(structure), read_recording(path))


# --- mutations ---


def mutated(base: Base, random: np.random.Generator) -> bytes:
    """One mutation of a base: bytes, words, structure, values, runs, or the length."""
    content = bytearray(base.content)
    start, stop = base.structure.parameter_start, base.structure.parameter_end
    kind = random.choice(["length", "header bytes", "header word", "bytes", "structure", "values", "run"])
    if kind == "length":
        return bytes(content[: random.integers(len(content))])
    if kind == "header bytes":
        _scatter(content, random, 0, 512 if random.integers(2) else 24)
    elif kind == "header word":
        at = 2 * int(random.integers(0, 12))
        content[at : at + 2] = random.choice([0, 1, 2, 255, 256, 0x7FFF, 0x8000, 0xFFFF]).astype("<u2").tobytes()
    elif kind == "bytes":
        _scatter(content, random, start, stop)
    elif kind == "structure":
        record = base.structure.records[random.integers(len(base.structure.records))]
        places = [record.start, record.start + 1, record.title[1], record.title[1] + 1, record.description[0] - 1]
        places += list(range(record.title[1] + 2, record.values[0]))
        content[random.choice(places)] = int(random.choice(EDGES))
    elif kind == "values":
        _new_value(content, base, random)
    else:
        at = int(random.integers(0 if random.integers(4) == 0 else start, stop - 8))
        length = int(random.choice([2, 4, 8, 32, 128]))
        content[at : at + length] = bytes([int(random.choice([0, 0x20, 0x7F, 0x80, 0xFF]))]) * length
    return _kept(base, content)


def _scatter(content: bytearray, random: np.random.Generator, start: int, stop: int) -> None:
    for at in random.integers(start, stop, size=random.integers(1, 5)):
        content[at] = int(random.integers(256))


def _new_value(content: bytearray, base: Base, random: np.random.Generator) -> None:
    """Four bytes of one numeric parameter set to an edge of its range, or two bits of it flipped."""
    numeric = [r for r in base.structure.records if r.kind in ("integer", "real", "byte") and r.values[1] > r.values[0]]
    record = numeric[random.integers(len(numeric))]
    width = {"byte": 1, "integer": 2, "real": 4}[str(record.kind)]
    at = record.values[0] + width * int(random.integers((record.values[1] - record.values[0]) // width))
    if random.integers(2):
        content[at + int(random.integers(width))] ^= 1 << int(random.integers(8))
    else:
        edge = [
            b"\0\0\0\0",
            b"\xff\xff\xff\xff",
            b"\x80\0\0\0",
            b"\0\0\x80\x7f",
            b"\x7f\x80\0\0",
            b"\0\0\xc0\x7f",
            b"\1\0\0\0",
        ]
        content[at : at + width] = edge[random.integers(len(edge))][:width]


def _kept(base: Base, content: bytearray) -> bytes:
    """The mutation without its changes to the data and to texts that name things."""
    spared = [(base.layout.start, base.layout.stop)]
    spared.append((396, 468))
    spared += [r.values for r in base.structure.records if r.name.rstrip("0123456789") in NAMING]
    for start, stop in spared:
        content[start:stop] = base.content[start:stop]
    return bytes(content[: len(base.content)])


# --- judgement ---


@contextmanager
def time_limit(seconds: float) -> Iterator[None]:
    """TimeoutError after so many seconds."""

    def ring(*_: object) -> None:
        raise TimeoutError(f"a read took more than {seconds:g} s")

    before = signal.signal(signal.SIGALRM, ring)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


def fresh_memory_account() -> float:
    """Forget the peak of what ran before in this process, where the system lets us; the present peak [MB]."""
    with suppress(OSError):
        Path("/proc/self/clear_refs").write_text("5", encoding="ascii")
    return peak_memory()


def peak_memory() -> float:
    """The most memory [MB] that this process has held since its account began."""
    with suppress(OSError, StopIteration):
        lines = Path("/proc/self/status").read_text(encoding="ascii").splitlines()
        return int(next(line for line in lines if line.startswith("VmHWM")).split()[1]) * 1024 / 1e6
    unit = 1 if sys.platform == "darwin" else 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit / 1e6


def run(write: Write, mutations: int, seed: int) -> Tally:
    """Read so many mutated files; AssertionError, TimeoutError or the reader's own crash ends the run."""
    tally = Tally()
    begun = fresh_memory_account()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        files = bases(write, folder)
        random = np.random.default_rng(seed)
        for number in range(mutations):
            base = files[number % len(files)]
            content = mutated(base, random)
            try:
                _judge(base, content, folder / "mutant.c3d", tally)
            except Exception as problem:
                kept = Path(tempfile.gettempdir()) / f"mutant_{seed}_{number}.c3d"
                kept.write_bytes(content)
                problem.add_note(f"mutation {number} of {base.name}, kept in {kept}")
                raise
    tally.megabytes = peak_memory() - begun
    assert tally.megabytes < MEGABYTES, f"{tally.megabytes:.0f} MB"
    return tally


def _judge(base: Base, content: bytes, path: Path, tally: Tally) -> None:
    path.write_bytes(content)
    start = time.perf_counter()
    try:
        with time_limit(SECONDS):
            recording = read_recording(path)
    except RecordingError as problem:
        assert "\n" not in str(problem)
        tally.refused += 1
        return
    finally:
        tally.slowest = max(tally.slowest, time.perf_counter() - start)
    changed = differences(base.recording, recording)
    if not changed:
        tally.equal += 1
    elif doubts(recording) - doubts(base.recording):
        tally.told += 1
    elif is_slight(base.recording, recording):
        tally.slight += 1
    else:
        found = places(base, content)
        numbers = [name for name in NUMBERS if name in found] if "markers" not in changed else []
        tally.silent[" and ".join(numbers) or f"other: {', '.join(found)} -> {', '.join(changed)}"] += 1


def doubts(recording: Recording) -> set[tuple[str, str]]:
    """Check and place of every finding that a user sees and that is no pass."""
    found = inspect_recording(recording)
    return {(finding.check, finding.where) for finding in found if finding.severity != "pass"}


def differences(one: Recording, other: Recording) -> list[str]:
    """Which parts of two recordings are not equal."""

    changed = [name for name in ("labels", "events") if getattr(one, name) != getattr(other, name)]
    rates = [(recording.point_rate, recording.force_rate) for recording in (one, other)]
    changed += [] if np.allclose(*rates, rtol=1e-6) else ["rates"]
    changed += [] if _alike(one.markers, other.markers) else ["markers"]
    if len(one.plates) != len(other.plates):
        return [*changed, "plates"]
    for part in ("corners", "force", "moment"):
        pairs = [(getattr(a, part), getattr(b, part)) for a, b in zip(one.plates, other.plates, strict=True)]
        changed += [] if all(_alike(ours, theirs) for ours, theirs in pairs) else [part]
    return changed


def is_slight(one: Recording, other: Recording) -> bool:
    """Whether two recordings differ by less than could be measured: labels, rates and markers not at all."""
    if {"labels", "rates", "markers", "plates"} & set(differences(one, other)):
        return False
    named = [[(event.label, event.side) for event in recording.events] for recording in (one, other)]
    times = [np.array([event.time for event in recording.events]) for recording in (one, other)]
    if named[0] != named[1] or not np.allclose(*times, rtol=0, atol=RESOLVED_TIME):
        return False
    return all(
        np.allclose(getattr(a, part), getattr(b, part), rtol=0, atol=least, equal_nan=True)
        for a, b in zip(one.plates, other.plates, strict=True)
        for part, least in RESOLVED.items()
    )


def _alike(ours: np.ndarray, theirs: np.ndarray) -> bool:
    return ours.shape == theirs.shape and np.allclose(ours, theirs, rtol=0, atol=1e-6, equal_nan=True)


def places(base: Base, content: bytes) -> list[str]:
    """The header words and parameters in which a mutated file differs."""
    names: list[str] = []
    length = min(len(content), len(base.content))
    ours, theirs = (np.frombuffer(raw[:length], np.uint8) for raw in (content, base.content))
    for at in np.flatnonzero(ours != theirs):
        names.append(_header_word(int(at) // 2 + 1) if at < 512 else _parameter(base, int(at)))
    return list(dict.fromkeys(names)) or ["length"]


def _header_word(word: int) -> str:
    return "header event time" if 153 <= word <= 188 else f"header word {word}"


def _parameter(base: Base, at: int) -> str:
    """GROUP:NAME where its value was changed, and what else of it was."""
    record: Record | None = next((r for r in base.structure.records if r.start <= at < r.stop), None)
    if record is None:
        return "between the parameters"
    name = f"{record.group}:{record.name}" if record.name else f"group {record.group}"
    return name if record.values[0] <= at < record.values[1] else f"record of {name}"


def main() -> None:
    from conftest import c3d_bytes

    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--mutations", type=int, default=5000)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    print(json.dumps(run(c3d_bytes, options.mutations, options.seed).as_dict(), indent=2))


if __name__ == "__main__":
    main()
