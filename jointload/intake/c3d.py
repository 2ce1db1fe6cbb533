"""Reads a C3D file into a Recording: SI units, ISB lab axes, every oddity of the file told as a finding.

Format: C3D User Guide, c3d.org. The data section is decoded as one strided view; there is no loop over frames.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from jointload.intake.axes import find_axes
from jointload.intake.c3d_bytes.events import read_events
from jointload.intake.c3d_bytes.guard import BLOCK, OpenedRecording, Structure
from jointload.intake.c3d_bytes.layout import LONG_COUNT, UNREAD_MOST, Layout, read_layout, unread_bytes
from jointload.intake.c3d_bytes.parameters import LIMITS, Limits, integers, reals
from jointload.intake.label_words import is_anatomical
from jointload.intake.labels import LabelMap
from jointload.intake.plates.plates import Timing, plate_settings, read_plates
from jointload.intake.recording import Array, Finding, Recording

METRES = {
    "mm": 1e-3, "millimeter": 1e-3, "millimeters": 1e-3, "millimetre": 1e-3, "millimetres": 1e-3,
    "cm": 1e-2, "centimeter": 1e-2, "centimeters": 1e-2, "centimetre": 1e-2, "centimetres": 1e-2,
    "m": 1.0, "meter": 1.0, "meters": 1.0, "metre": 1.0, "metres": 1.0,
    "in": 0.0254, "inch": 0.0254, "inches": 0.0254,
}  # fmt: skip
SAME_REAL = 2e-7
"""Relative: two single-precision numbers this near to each other are one number."""
LEAST_NAME = 3
"""Letters of a person's name; a shorter one may be a side or a number in a label."""
DERIVED = ("ANGLES", "FORCES", "MOMENTS", "POWERS", "SCALARS")


def read_recording(
    path: str | Path,
    up: str | None = None,
    forward: str | None = None,
    limits: Limits = LIMITS,
    named: LabelMap | None = None,
) -> Recording:
    """Read a C3D file.

    path : a regular file
    up, forward : a signed axis of the file such as "+z" or "-y", overruling what the file's own evidence says
    named : which label is which landmark; the axes are looked for by them, too
    limits : sizes beyond which the file is refused rather than read
    returns a Recording in metres, newtons and seconds, lab axes X forward, Y up, Z right
    raises RecordingError in one line when the file is damaged or cannot be read, SettingError for an unknown axis
    """
    with OpenedRecording(path, limits) as opened:
        structure = opened.structure()
        layout = read_layout(structure, limits)
        section, sha256 = opened.section(layout.start, layout.stop)
    findings = [*_structure_findings(structure, layout), *_name_findings(structure, Path(path))]
    metres = _point_unit(structure, findings)
    data = decode(section, layout, structure)
    labels, descriptions, kept = _labels(structure, layout.points, findings)
    settings, found = plate_settings(structure, layout.channels, metres)
    findings += found
    file_markers = _file_markers(data, layout, kept, labels, metres, findings)
    axes = find_axes(structure, labels, file_markers, settings, up, forward, named)
    timing = Timing(layout.frames, layout.first_frame, layout.rate, max(1, layout.samples_per_frame))
    channels = [analog_channels(data, layout, structure, setting.channels) for setting in settings]
    markers = _turned(axes.lab_from_file, file_markers)
    plates, plate_findings = read_plates(structure, settings, channels, markers, axes.lab_from_file, timing)
    events, of_events = read_events(structure, layout)
    findings += of_events
    return Recording(
        name=Path(path).name,
        sha256=sha256,
        labels=labels,
        markers=markers,
        point_rate=layout.rate,
        plates=plates,
        force_rate=timing.force_rate,
        events=events,
        lab_from_file=axes.lab_from_file,
        axes_evidence=axes.evidence,
        first_frame=layout.first_frame,
        findings=(*findings, *axes.findings, *plate_findings),
        descriptions=descriptions,
    )


def _structure_findings(structure: Structure, layout: Layout) -> list[Finding]:
    findings = [*_contradictions(structure, layout), *_rate_findings(structure, layout)]
    if "ROTATION" in structure.groups:
        text = "a ROTATION group is present"
        findings.append(Finding("rotations", "pass", "file", text, "it is not read: poses come from the markers"))
    if not (structure.text("POINT", "X_SCREEN") or structure.text("POINT", "Y_SCREEN")):
        findings.append(Finding("screen axes", "pass", "POINT", "no X_SCREEN and no Y_SCREEN", "see the axes finding"))
    if not layout.channels:
        text = "no analog channels, so no forces"
        findings.append(Finding("analog", "pass", "file", text, "usual for a static trial"))
    return findings


def _contradictions(structure: Structure, layout: Layout) -> list[Finding]:
    """What header, parameters and file length say differently; each is a sign of damage or of a careless writer."""
    header, told = structure.header, []
    if (header.scale < 0) != layout.is_real:
        text = f"the header's scale is {header.scale:g}, POINT:SCALE is {layout.scale:g}"
        told.append(("number format", "header", text, "POINT:SCALE was followed"))
    elif not layout.is_real and not math.isclose(header.scale, layout.scale, rel_tol=SAME_REAL):
        text = f"the header's scale is {header.scale:g}, POINT:SCALE is {layout.scale:g}"
        told.append(("scale", "header", text, "POINT:SCALE was followed: compare a known length"))
    first, last = header.first_frame, header.last_frame
    if layout.frames < LONG_COUNT and (last - first + 1) % 65536 != layout.frames:
        text = f"the header's frames {first} to {last} are not POINT:FRAMES, {layout.frames}"
        told.append(("frame count", "header", text, "POINT:FRAMES was followed"))
    if layout.first_frame % 65536 != first:
        text = f"the header's first frame is {first}, TRIAL:ACTUAL_START_FIELD is {layout.first_frame}"
        told.append(("frame count", "TRIAL", text, "TRIAL was followed"))
    elif layout.first_frame < 1:
        told.append(("frame count", "header", f"the first frame is {first}", "1 was expected for an untrimmed file"))
    starts = (structure.unsigned("POINT", "DATA_START"), header.data_block)
    if starts[0] != starts[1]:
        text = f"POINT:DATA_START is block {starts[0]}, the header's data start is block {starts[1]}"
        followed = f"block {layout.start // BLOCK + 1} was followed: with it the data end where the file does"
        told.append(("data start", "file", text, followed))
    unread = unread_bytes(structure, layout)
    if unread > UNREAD_MOST:
        text = f"{unread} bytes follow the last frame"
        told.append(("unread bytes", "file", text, "frames may be missing: compare the length of the trial"))
    told += [("parameters", where, text, "export the trial again") for where, text in structure.doubts]
    return [Finding(check, "warn", where, text, advice) for check, where, text, advice in told]


def _rate_findings(structure: Structure, layout: Layout) -> list[Finding]:
    findings = []
    stored, header = structure.numbers("POINT", "RATE"), structure.header.rate
    if not stored.size or stored[0] != layout.rate:
        found = f"{stored[0]:g}" if stored.size else "missing"
        text, advice = f"POINT:RATE is {found}", f"the header's {header:g} Hz was taken"
        findings.append(Finding("rates", "warn", "markers", text, advice))
    elif not math.isclose(header, layout.rate, rel_tol=SAME_REAL):
        text = f"POINT:RATE is {layout.rate:g} Hz, the header says {header:g} Hz"
        findings.append(Finding("rates", "warn", "markers", text, "POINT:RATE was followed"))
    analog, rate = structure.numbers("ANALOG", "RATE"), layout.rate * layout.samples_per_frame
    if layout.channels and analog.size and not math.isclose(analog[0], rate, rel_tol=1e-3):
        text = f"ANALOG:RATE is {analog[0]:g} Hz, the samples a frame make {rate:g} Hz"
        findings.append(Finding("rates", "warn", "analog", text, "the samples a frame were followed"))
    sample_format = structure.text("ANALOG", "FORMAT").upper()
    if layout.channels and sample_format not in ("", "SIGNED", "UNSIGNED"):
        text = f"ANALOG:FORMAT is {sample_format!r}, neither SIGNED nor UNSIGNED"
        findings.append(Finding("number format", "warn", "analog", text, "signed samples were assumed"))
    return findings


def _point_unit(structure: Structure, findings: list[Finding]) -> float:
    text = structure.text("POINT", "UNITS").lower().rstrip(".")
    if text in METRES:
        return METRES[text]
    if text:
        raise structure.error("POINT:UNITS", "mm, cm, m or in", repr(text))
    findings.append(Finding("units", "warn", "markers", "POINT:UNITS is missing", "millimetres were assumed"))
    return METRES["mm"]


def decode(section: bytes, layout: Layout, structure: Structure) -> np.ndarray:
    """(F, W) numbers of the data section as stored, W words a frame: 4 a marker, then the analog samples."""
    values = reals(section, structure.processor) if layout.is_real else integers(section, structure.processor)
    return values.reshape(layout.frames, layout.words_per_frame)


def analog_channels(data: np.ndarray, layout: Layout, structure: Structure, numbers: Sequence[int]) -> Array:
    """(C, N) samples of some channels, counted from 0: (sample - OFFSET) * SCALE * GEN_SCALE, NaN where not finite."""
    chosen = list(numbers)
    shape = (layout.frames * layout.samples_per_frame, layout.channels)
    samples = data[:, 4 * layout.points :].reshape(shape)[:, chosen]
    offset = structure.numbers("ANALOG", "OFFSET")[chosen]
    if structure.text("ANALOG", "FORMAT").upper() == "UNSIGNED":
        offset = np.where(offset < 0, offset + 65536, offset)
        if not layout.is_real:
            samples = samples.view(np.dtype("u2").newbyteorder(samples.dtype.byteorder))
    factor = structure.numbers("ANALOG", "SCALE")[chosen] * structure.number("ANALOG", "GEN_SCALE")
    with np.errstate(invalid="ignore", over="ignore"):
        scaled = np.multiply((samples - offset).T, factor[:, None], order="C")
    scaled[~np.isfinite(scaled)] = np.nan
    return scaled


def _file_markers(
    data: np.ndarray, layout: Layout, kept: list[int], labels: tuple[str, ...], metres: float, findings: list[Finding]
) -> Array:
    """(3, M, F) [m], file axes, NaN where a marker was not seen."""
    stored = data[:, : 4 * layout.points].reshape(layout.frames, layout.points, 4)
    if len(kept) < layout.points:
        stored = stored[:, kept]
    factor = metres * (1.0 if layout.is_real else layout.scale)
    markers = np.empty((3, len(kept), layout.frames))
    with np.errstate(invalid="ignore"):
        np.multiply(stored[:, :, :3].transpose(2, 1, 0), factor, out=markers, dtype=np.float64)
    seen = _seen(stored[:, :, 3]).T
    finite = np.isfinite(markers).all(axis=0) if layout.is_real else np.ones_like(seen)
    nonzero = markers.any(axis=0)
    _tell_gaps("not finite", seen & ~finite, labels, findings)
    _tell_gaps("exactly (0, 0, 0)", seen & finite & ~nonzero, labels, findings)
    markers[:, ~(seen & finite & nonzero)] = np.nan
    return markers


def _seen(residuals: np.ndarray) -> NDArray[np.bool_]:
    """Where the fourth word of a point is not negative. As a real number it is a 16-bit word, so 65535 is -1."""
    return (residuals >= 0) & (residuals < 32768)


def _tell_gaps(what: str, gaps: NDArray[np.bool_], labels: tuple[str, ...], findings: list[Finding]) -> None:
    if gaps.any():
        affected: list[bool] = gaps.max(axis=1).tolist()
        names = ", ".join(label for label, any_gap in zip(labels, affected, strict=True) if any_gap)
        text = f"{gaps.sum()} positions {what} but marked as seen"
        findings.append(Finding("marker values", "warn", names, text, "they were taken for gaps"))


def _labels(
    structure: Structure, points: int, findings: list[Finding]
) -> tuple[tuple[str, ...], tuple[str, ...], list[int]]:
    """Unique labels and descriptions of the markers, and their places among the stored points.

    Derived trajectories are left out.
    """
    prefixes = _subject_prefixes(structure)
    labels, descriptions = (
        [without_subject(text, prefixes) for text in [*structure.texts("POINT", name), *[""] * points][:points]]
        for name in ("LABELS", "DESCRIPTIONS")
    )
    derived = {without_subject(text, prefixes) for name in DERIVED for text in structure.texts("POINT", name)} - {""}
    kept = [k for k, label in enumerate(labels) if label not in derived]
    if len(kept) < points:
        text = f"{points - len(kept)} angles, forces, moments or powers"
        findings.append(Finding("derived trajectories", "pass", "POINT", text, "kept out of the markers"))
    chosen = tuple(descriptions[k] for k in kept)
    return _unique([labels[k] for k in kept], list(chosen), findings), chosen, kept


def _name_findings(structure: Structure, path: Path) -> list[Finding]:
    """Whether the file's own name holds a name that SUBJECTS gives; no other word of it is taken for a person's."""
    spoken = "".join(c for c in path.stem.casefold() if c.isalnum())
    names = {"".join(c for c in name.casefold() if c.isalnum()) for name in _subjects(structure)}
    if not any(len(name) >= LEAST_NAME and name in spoken for name in names):
        return []
    text = "the file's name holds a name of SUBJECTS, and stands in every result"
    return [Finding("names", "warn", "file name", text, "rename the file, or analyse it with --hide-names")]


def _subjects(structure: Structure) -> set[str]:
    """Names of people in the file, without words of anatomy."""
    told = [structure.texts(group, name) for group in ("SUBJECTS", "SUBJECT") for name in ("NAMES", "NAME")]
    return {name for texts in told for name in texts if len(name) >= LEAST_NAME and not is_anatomical(name)}


def _subject_prefixes(structure: Structure) -> tuple[str, ...]:
    """What may stand before a label: the file's own prefixes, and the names of its people before a separator."""
    names = _subjects(structure)
    spelled = sorted({text for name in names for text in (name, name.replace(" ", "_"), name.replace(" ", ""))})
    return (*structure.texts("SUBJECTS", "LABEL_PREFIXES"), *(name + mark for name in spelled for mark in "_-. "))


def without_subject(label: str, prefixes: Sequence[str]) -> str:
    """A label without what stands before it to say whose marker it is."""
    for prefix in prefixes:
        if prefix and label.startswith(prefix) and len(label) > len(prefix):
            label = label[len(prefix) :]
    return label.rpartition(":")[2].strip() or label.strip()


def _unique(labels: list[str], descriptions: list[str], findings: list[Finding]) -> tuple[str, ...]:
    doubles = len(labels) - len(set(labels))
    if doubles and all(descriptions) and len(set(descriptions)) == len(descriptions):
        cut = " and cut to 4 characters" if max(map(len, labels)) <= 4 else ""
        text = f"{doubles} labels are duplicates{cut}"
        findings.append(Finding("labels", "warn", "POINT:LABELS", text, "the unique POINT:DESCRIPTIONS were used"))
        return tuple(descriptions)
    used: set[str] = set()
    result = []
    for place, label in enumerate(labels, start=1):
        base = name = label or f"unnamed{place}"
        number = 1
        while name in used:
            number += 1
            name = f"{base}_{number}"
        used.add(name)
        result.append(name)
    if result != labels:
        changed = sum(new != old for new, old in zip(result, labels, strict=True))
        text = f"{changed} labels are duplicates or empty"
        findings.append(Finding("labels", "warn", "POINT:LABELS", text, "a number was added to each"))
    return tuple(result)


def _turned(lab_from_file: Array, file_markers: Array) -> Array:
    """Markers in lab axes; the rotation only swaps and mirrors axes, so whole rows are moved."""
    source = np.abs(lab_from_file).argmax(axis=1)
    turned = file_markers[source]
    turned *= lab_from_file[np.arange(3), source][:, None, None]
    return turned
