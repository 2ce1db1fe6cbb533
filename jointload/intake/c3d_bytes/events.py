"""Events of a C3D file: those of the EVENT group and those of the header, on one clock.

Format: C3D User Guide, c3d.org, pages theeventgroup and headerevents.
"""

from __future__ import annotations

import math

import numpy as np

from jointload.intake.c3d_bytes.guard import Structure
from jointload.intake.c3d_bytes.layout import Layout
from jointload.intake.recording import SIDES, Array, Event, Finding

LEAST_TIME = 1e-6
"""[s] a smaller time that is not zero is no clock's."""
AROUND = 0.5
"""[s] an event this long before the first or after the last frame may still be meant."""


def read_events(structure: Structure, layout: Layout) -> tuple[tuple[Event, ...], list[Finding]]:
    """Events of the group and of the header in order of time, each once, and what to doubt about them.

    Times [s] count from the first stored frame.
    """
    findings: list[Finding] = []
    events = _group_events(structure, layout, findings)
    for label, time in structure.header.events:
        if not any(event.label == label and abs(event.time - time) < 0.5 / layout.rate for event in events):
            events.append(Event(label, "", time))
    if any(0.0 < abs(time) < LEAST_TIME for _, time in structure.header.events):
        findings.append(_doubt("header", "a time is no clock's, smaller than a microsecond", "compare the events"))
    if structure.header.lost_events:
        text = f"{structure.header.lost_events} event names without the key, the count or the time that they need"
        findings.append(_doubt("header", text, "they were left out"))
    strays = [
        name for name, held in structure.groups.items() if name != "EVENT" and {"TIMES", "CONTEXTS"} & held.keys()
    ]
    if strays and "EVENT" not in structure.groups:
        text = f"no group EVENT, but {', '.join(strays)} with times or contexts"
        findings.append(_doubt("EVENT", text, "no events were read from it"))
    length = layout.frames / layout.rate
    outside = [event for event in events if not -AROUND <= event.time <= length + AROUND]
    if outside:
        text = f"{len(outside)} events lie outside the trial's {length:.2f} s, such as one at {outside[0].time:.2f} s"
        findings.append(_doubt("events", text, "compare them with the trial"))
    return tuple(sorted(events, key=lambda event: event.time)), findings


def _doubt(where: str, text: str, advice: str) -> Finding:
    return Finding("events", "warn", where, text, advice)


def _group_events(structure: Structure, layout: Layout, findings: list[Finding]) -> list[Event]:
    """Events of the EVENT group; its minutes and seconds count from file frame 1, so a trimmed start is taken off."""
    times = structure.numbers("EVENT", "TIMES")
    used = structure.numbers("EVENT", "USED")
    told = round(used[0]) if used.size and math.isfinite(used[0]) else 0
    count = max(0, min(told, times.size // 2))
    stored = {name: structure.texts("EVENT", name) for name in ("LABELS", "CONTEXTS")}
    if 2 * told != times.size or any(len(texts) != told for texts in stored.values()):
        text = f"EVENT:USED is {told}, there are {times.size / 2:g} times, {len(stored['LABELS'])} labels and "
        findings.append(_doubt("EVENT", text + f"{len(stored['CONTEXTS'])} contexts", f"{count} events were read"))
    if count == 0:
        return []
    labels, contexts = ([*texts, *[""] * count][:count] for texts in stored.values())
    if not any(labels):
        text = "the names are empty"
        findings.append(Finding("events", "pass", "EVENT:LABELS", text, "they were taken from EVENT:CONTEXTS"))
    seconds = times[: 2 * count].reshape(count, 2) @ np.array([60.0, 1.0])
    if not np.isfinite(seconds).all():
        findings.append(_doubt("EVENT:TIMES", "a time is no number", "that event was left out"))
    if ((times != 0) & (np.abs(times) < LEAST_TIME)).any():
        findings.append(_doubt("EVENT:TIMES", "a time is no clock's, smaller than a microsecond", "compare the events"))
    if (seconds == 0).any():
        text = f"{(seconds == 0).sum()} of {count} times are zero, as if none had been stored"
        findings.append(_doubt("EVENT:TIMES", text, "compare the events"))
    start = _start(seconds, layout, findings)
    return [
        Event(_label(label, context), context.lower() if _names_a_side(context) else "", float(time - start))
        for label, context, time in zip(labels, contexts, seconds, strict=True)
        if math.isfinite(time)
    ]


def _label(label: str, context: str) -> str:
    return label or ("" if _names_a_side(context) else context)


def _names_a_side(context: str) -> bool:
    return context.lower() in SIDES


def _start(seconds: Array, layout: Layout, findings: list[Finding]) -> float:
    """The time of the first stored frame on the clock of the events."""
    start, length = max(0, layout.first_frame - 1) / layout.rate, layout.frames / layout.rate
    if start and _within(seconds, 0.0, length) and not _within(seconds, start, start + length):
        text = "the times only fit the trial when counted from its first stored frame"
        findings.append(_doubt("EVENT:TIMES", text, "they were read so"))
        return 0.0
    return start


def _within(times: Array, start: float, end: float) -> bool:
    return bool(((times >= start) & (times <= end)).all())
