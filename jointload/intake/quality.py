"""What a reader must know of a recording before trusting a number that comes from it."""

from __future__ import annotations

from collections.abc import Callable

from jointload.errors import some
from jointload.intake.labels import LabelMap, with_closest
from jointload.intake.paths import check_below_floor, check_computed, check_gaps, check_jumps
from jointload.intake.plates.behaviour import check_drift, check_noise, check_overlap, check_saturation
from jointload.intake.recording import Finding, Recording
from jointload.intake.standing import check_tilt, of_a_standing_trial, stands_still

FORCE_RATE_ADVISED = 1000.0
MARKER_RATE_ADVISED = 200.0
"""[Hz] rates for landings. FROM MEMORY, without a page to cite: a hard landing has content up to about 100 Hz, and its
first peak rises within 10 to 30 ms, to which 1000 Hz gives at least ten samples."""

Check = Callable[[Recording, LabelMap | None], list[Finding]]


def inspect_recording(
    recording: Recording, label_map: LabelMap | None = None, *, complete: bool = True
) -> tuple[Finding, ...]:
    """All findings on a recording: those made while it was read, then those of CHECKS in their order.

    With a label map only the markers it names are judged, without one all of them. complete : whether the recording
    must hold every mapped marker, as a static trial must.
    """
    checks = (check for name, check in CHECKS.items() if complete or name != "labels")
    found = (*recording.findings, *(finding for check in checks for finding in check(recording, label_map)))
    if not stands_still(recording):
        return found
    text = "the body stands still throughout: judged as a standing trial"
    judged = (of_a_standing_trial(finding, recording) for finding in found)
    return (*judged, Finding("standing trial", "pass", "markers", text, ""))


def check_axes(recording: Recording, _: LabelMap | None) -> list[Finding]:
    """Which file axes became forward and up, and why."""
    return [Finding("axes", "pass", "lab", recording.axes_evidence, "")]


def check_rates(recording: Recording, _: LabelMap | None) -> list[Finding]:
    """Whether markers and forces were sampled fast enough for an impact."""
    rates = [("markers", recording.point_rate, MARKER_RATE_ADVISED)]
    if recording.plates:
        rates.append(("plates", recording.force_rate, FORCE_RATE_ADVISED))
    return [
        Finding("rates", "pass", where, f"{rate:g} Hz", "")
        if rate >= advised
        else Finding("rates", "warn", where, f"{rate:g} Hz, advised for impacts {advised:g} Hz", "peaks may be cut")
        for where, rate, advised in rates
    ]


def check_plates(recording: Recording, _: LabelMap | None) -> list[Finding]:
    """Whether there is any force to work with."""
    if recording.plates:
        numbers = ", ".join(str(plate.number) for plate in recording.plates)
        return [Finding("plates", "pass", "file", f"force from plate {numbers}", "")]
    return [Finding("plates", "warn", "file", "no plate gives a force", "angles can be computed, moments cannot")]


def check_labels_present(recording: Recording, label_map: LabelMap | None) -> list[Finding]:
    """Mapped markers that this recording lacks; another trial may have them."""
    if label_map is None:
        return []
    absent = sorted(label_map.labels.difference(recording.labels))
    if not absent:
        return [Finding("labels", "pass", "labels.toml", "all mapped markers are in the recording", "")]
    text = f"not in the recording: {some(with_closest(absent, recording, label_map.labels), '; ')}"
    return [Finding("labels", "warn", "labels.toml", text, "they must be in the static trial")]


CHECKS: dict[str, Check] = {
    "axes": check_axes,
    "rates": check_rates,
    "plates": check_plates,
    "plate saturation": lambda recording, _: check_saturation(recording),
    "baseline drift": lambda recording, _: check_drift(recording),
    "plate overlap": lambda recording, _: check_overlap(recording),
    "plate noise": lambda recording, _: check_noise(recording),
    "force tilt": lambda recording, _: check_tilt(recording),
    "labels": check_labels_present,
    "gaps": check_gaps,
    "marker jumps": check_jumps,
    "computed markers": check_computed,
    "markers below the floor": check_below_floor,
}
