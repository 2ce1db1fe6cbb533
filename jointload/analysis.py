"""The staircase of one landing, from checked recordings to numbers: read this file first.

Nothing here knows a path or prints; every step is one function of one room, and every result is frozen.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from jointload.body.angles import JointAngles, gimbal_findings, joint_angles
from jointload.body.bent import left_out_as_in, typical_residuals, without_slipped
from jointload.body.calibration import BodyErrors, FittedBody, calibrate, other_quiet_stretches, quiet_frames
from jointload.body.joined import apart, joined
from jointload.body.mass_centre import MassCentre, mass_centre
from jointload.body.pose import SegmentPoses, moving_hip_centres, smooth_markers, track_segments
from jointload.errors import InputError, SettingError, expected_found
from jointload.foot.felt import FootBore
from jointload.intake.labels import LabelMap
from jointload.intake.quality import inspect_recording
from jointload.intake.recording import Array, Finding, Recording, Severity
from jointload.intake.rider import G, Rider
from jointload.intake.session import Session
from jointload.intake.standing import OF_BOTH_FEET, stands_on_plates, weight_findings
from jointload.landing.alignment import alignment
from jointload.landing.certainty import Certainty
from jointload.landing.checks.known_people import strength_findings
from jointload.landing.checks.person import signs_of_another
from jointload.landing.checks.split_measures import split_findings, with_split_interval
from jointload.landing.checks.verdict import judge, stop_moments, with_void_notes
from jointload.landing.events import find_events, may_follow_flights, may_have_fallen, touchdown_samples
from jointload.landing.filtered import FilteredForces, filtered_forces
from jointload.landing.landed import Landing, Measure
from jointload.landing.measures.every_measure import measure_landing
from jointload.landing.measures.tissue_measures import with_tissue_spreads
from jointload.loads.balance import balance_findings, balanced_motion
from jointload.loads.contact import Contact, Lost, foot_contact, standing_weight
from jointload.loads.deck import under_feet
from jointload.loads.from_above import loads_from_above
from jointload.loads.moments import joint_loads, smooth_loads
from jointload.loads.pressed_soles import match_insoles
from jointload.loads.shared_plate import share_plates
from jointload.loads.split_interval import split_interval
from jointload.motion.following import Smoother, follow
from jointload.one_clock import on_one_clock
from jointload.other_choices import MAIN_QUANTITIES, Variant, other_settings, over_stretches
from jointload.settings import Settings
from jointload.together import compare_trials, fit_findings

WEIGHT_TOLERANCE = 0.02
"""Body weight on the plates and from rider.toml are both shown when they differ by more than this share."""
WEIGHT_TRUST = 0.10
"""A weight on the plates further than this share from rider.toml's is not used (choice: a foot beside the plate, a
wrong scale)."""


@dataclass(frozen=True, eq=False)
class Analysis:
    """One landing, analysed: the staircase's arrays, its numbers, what else the settings could have given, and what
    to doubt."""

    session: Session
    landing: Landing
    measures: tuple[Measure, ...]
    variants: tuple[Variant, ...]
    findings: tuple[Finding, ...]
    certainty: Certainty | None = None
    """Draws of every number, where intervals were asked for."""
    feet: tuple[FootBore, ...] = ()
    """What the landing did to heel, ball and toes of each foot, where that was asked for."""

    @property
    def settings(self) -> Settings:
        return self.landing.settings


def analyse(session: Session, settings: Settings | None = None, variants: bool = True) -> Analysis:
    """Analyse one landing. Any InputError says in one line what stands in the way."""
    settings = settings or Settings()
    _require_sampled(session, settings)
    rider, plate_weight, of_weight = weigh(session)
    body = fit_body(session, rider, settings)
    session, of_clock = on_one_clock(session, body, settings, plates_struck(session.trial, settings))
    paths, landing, landing_findings = _smoothed_as_can_be(session, body, plate_weight, settings)
    settings = landing.settings
    verdict = judge(landing)
    whole, landing = landing, stop_moments(landing, verdict.stopped)
    measures = with_split_interval(with_tissue_spreads(measure_landing(landing), landing), landing)
    measures = with_void_notes(measures, verdict.findings)
    measures, of_choice = _over_quiet_stretches(session, rider, plate_weight, settings, measures)
    findings = of_choice + _recording_findings(session) + of_weight + body.findings + of_clock + landing_findings
    of_numbers = split_findings(measures, landing) + strength_findings(measures, landing)
    return Analysis(
        session=session,
        landing=landing,
        measures=measures,
        variants=tuple(_vary(session, body, plate_weight, paths, whole, verdict.stopped)) if variants else (),
        findings=_gravest_first(findings + verdict.findings + of_numbers),
    )


def _smoothed_as_can_be(
    session: Session, body: FittedBody, plate_weight: float, settings: Settings
) -> tuple[Paths, Landing, tuple[Finding, ...]]:
    """The landing with its settings; with a fixed cut-off where its motion cannot be balanced with the plates, or is a
    step: without the impact of a landing, splines alone let through what skin and noise do at the heel's strike."""
    fixed = replace(settings, smoothing="fixed")
    too_slow = fixed.cutoff is not None and fixed.cutoff >= 0.5 * session.trial.point_rate
    as_asked = settings.smoothing != "balanced" or too_slow
    if as_asked or _may_land(session, settings):
        paths = follow_body(session, body, plate_weight, settings)
        landing, findings = descend(session, body, plate_weight, settings, paths)
        if as_asked or (_lands(landing) and landing.balance is not None):
            return paths, landing, findings
    paths = follow_body(session, body, plate_weight, fixed)
    landing, findings = descend(session, body, plate_weight, fixed, paths)
    why = "no landing that the plates bear as a whole" if _lands(landing) else "a step, not a landing from a flight"
    cutoff = "no filter" if fixed.cutoff is None else f"a fixed cut-off of {fixed.cutoff:g} Hz"
    told = Finding("smoothing", "pass", session.trial.name, f"{why}: not balanced with the plates", f"{cutoff} is used")
    return paths, landing, (told, *findings)


def _lands(landing: Landing) -> bool:
    return landing.events.kind == "landing"


def _may_land(session: Session, settings: Settings) -> bool:
    """Whether the plates may have felt a landing, and the body fallen before it; a board that lies on them hides a
    flight."""
    trial = session.trial
    if not trial.plates or session.board is not None:
        return bool(trial.plates)
    force = np.sum([plate.force[1] for plate in trial.plates], axis=0)
    times = may_follow_flights(force, trial.force_rate, settings.contact_threshold)
    return any(may_have_fallen(trial.markers, trial.point_rate, time) for time in times)


def _require_sampled(session: Session, settings: Settings) -> None:
    """SettingError when the cut-off is not below half the rate at which markers were seen."""
    for recording in (session.trial, session.hip_movement):
        if recording is None or settings.cutoff is None or settings.cutoff < 0.5 * recording.point_rate:
            continue
        if recording is session.trial and settings.smoothing == "balanced":
            continue
        expected = f"less than half the marker rate, {recording.point_rate:g} Hz"
        found = f"{settings.cutoff:g} Hz"
        raise SettingError(expected_found("cut-off", expected, found, recording.name, "choose a lower --cutoff"))


@dataclass(frozen=True, eq=False)
class Paths:
    """What markers alone give: the body as it was followed, its poses, their angles before any smoothing of their own,
    and what follows from them."""

    moved: _Moved
    body: FittedBody
    poses: SegmentPoses
    angles: JointAngles
    centre: MassCentre
    misfits: dict[str, float]
    apart: dict[str, Array]
    findings: tuple[Finding, ...]


def follow_body(
    session: Session, body: FittedBody, plate_weight: float, settings: Settings, before: Paths | None = None
) -> Paths:
    """Markers to poses to angles. before : followed with other settings, which told what markers have slipped and how
    well clusters fit and joints meet; that is then not asked again"""
    if before is not None:
        body = left_out_as_in(body, before.body)
    moved = _moved(session, body, settings)
    poses, pose_findings = _tracked(moved, body)
    misfits = typical_residuals(poses, body) if before is None else {}
    if before is None and not signs_of_another(misfits, plate_weight, session.rider.weight):
        whole = without_slipped(moved.recording, body, misfits)
        if whole is not body:
            body = whole
            moved = _moved(session, body, settings)
            poses, pose_findings = _tracked(moved, body)
    separate = apart(poses, body) if before is None else {}
    if settings.smoothing == "balanced":
        poses, body = joined(poses, body, separate or None)
    angles = joint_angles(poses, body, settings.angle_zero)
    findings = moved.findings + pose_findings
    return Paths(moved, body, poses, angles, mass_centre(poses, moved.markers, body), misfits, separate, findings)


def descend(
    session: Session,
    body: FittedBody,
    plate_weight: float,
    settings: Settings,
    paths: Paths | None = None,
    before: Landing | None = None,
) -> tuple[Landing, tuple[Finding, ...]]:
    """Markers to poses to angles; plates to foot wrenches; both to joint loads; all to events and alignment.

    paths : where the markers were followed with these settings already
    before : with other settings, whose filtered forces, and with the same paths its loads, are these where its feet
    bear the same
    """
    paths = paths or follow_body(session, body, plate_weight, settings)
    moved, body, poses, angles = paths.moved, paths.body, paths.poses, paths.angles
    trial, markers = moved.recording, moved.markers
    plates = under_feet(trial, session.board, poses, body, settings)
    cutoff = settings.plate_cutoff(trial.force_rate)
    contact = foot_contact(plates.recording, poses, body, cutoff, settings.contact_threshold, plates.lost)
    pressed = match_insoles(session.insoles, contact, trial.time, cutoff)
    contact, split = share_plates(contact, plates.recording, poses, body, cutoff, pressed)
    motion, balance, interval = None, None, None
    if before is not None and before.poses is poses and split is None and _bear_alike(before, contact):
        motion, balance, loads, upper, angles = before.motion, before.balance, before.loads, before.upper, before.angles
    else:
        if settings.smoothing == "balanced":
            motion, balance = balanced_motion(poses, markers, body, contact.force, moved.strikes)
        loads = joint_loads(poses, body, angles, contact.force, contact.moment, motion)
        after = settings.cutoff if settings.smoothing == "after" else None
        upper = loads_from_above(poses, markers, body, angles, after, None if balance is None else balance.above)
        interval = split_interval(split, contact, poses, body, angles, loads, settings)
        if settings.smoothing == "after":
            loads, angles = smooth_loads(loads, angles, settings.cutoff, trial.point_rate)
    weight, filtered = body.rider.weight, _filtered(contact, settings, before)
    events = find_events(contact, poses, body, angles, weight, settings, trial.name, filtered)
    landing = Landing(
        recording=trial if moved.smoother and moved.smoother.finer > 1 else session.trial,
        body=body,
        poses=poses,
        angles=angles,
        alignment=alignment(poses, body, round(events.first_touchdown * trial.point_rate)),
        contact=contact,
        loads=loads,
        events=events,
        centre=paths.centre,
        weight=weight,
        weight_of_rider=session.rider.weight,
        weight_on_plates=plate_weight,
        settings=settings,
        split=interval,
        upper=upper,
        pressed=pressed,
        misfits=paths.misfits,
        apart=paths.apart,
        same_person=session.same_person,
        has_static=session.has_static,
        moved_board=plates.moved,
        smoother=moved.smoother,
        motion=motion,
        balance=balance,
        _filtered=[filtered],
    )
    motion_findings = paths.findings + gimbal_findings(angles, trial.numbers)
    if settings.smoothing == "balanced":
        motion_findings += balance_findings(balance, trial.name, weight, moved.strikes, trial.point_rate)
    force_findings = plates.findings + contact.findings + (pressed.findings if pressed else ())
    return landing, motion_findings + force_findings + events.findings


def _bear_alike(landing: Landing, contact: Contact) -> bool:
    """Whether the feet of a landing bear a contact's wrenches, and none of them is split."""
    pairs = ((landing.contact.force, contact.force), (landing.contact.moment, contact.moment))
    return landing.split is None and _all_equal(pairs)


def _filtered(contact: Contact, settings: Settings, before: Landing | None) -> FilteredForces:
    """The forces with their low-passes: those of a landing before where its feet and plates bear the same."""
    if before is None or before.settings.impact_cutoff != settings.impact_cutoff:
        return filtered_forces(contact, settings)
    pairs = ((before.contact.fast_force, contact.fast_force), (before.contact.total, contact.total))
    return before.filtered if _all_equal(pairs) else filtered_forces(contact, settings)


def _all_equal(pairs: Iterable[tuple[Array, Array]]) -> bool:
    return all(np.array_equal(one, other, equal_nan=True) for one, other in pairs)


@dataclass(frozen=True, eq=False)
class _Moved:
    """Markers after smoothing: those of `recording` where a board or a finer rate needs them, label -> (3, F) [m]."""

    recording: Recording
    markers: dict[str, Array]
    findings: tuple[Finding, ...]
    smoother: Smoother | None = None
    strikes: tuple[int, ...] = ()


def _moved(session: Session, body: FittedBody, settings: Settings) -> _Moved:
    trial = session.trial
    if settings.smoothing == "balanced":
        followed = follow(trial, body, session.board, settings.longest_gap, plates_struck(trial, settings))
        return _Moved(followed.recording, followed.markers, followed.findings, followed.smoother, followed.strikes)
    protected = never_bridged(trial, settings)
    return _Moved(trial, *smooth_markers(trial, body, settings.fixed_cutoff, settings.longest_gap, protected))


def _tracked(moved: _Moved, body: FittedBody) -> tuple[SegmentPoses, tuple[Finding, ...]]:
    trial = moved.recording
    return track_segments(moved.markers, body, trial.point_rate, trial.numbers)


def never_bridged(trial: Recording, settings: Settings) -> tuple[int, ...]:
    """Frames in which a plate begins to bear load: no gap across one is filled by a spline."""
    return tuple(sample // trial.samples_per_frame for sample in plates_struck(trial, settings))


def plates_struck(trial: Recording, settings: Settings) -> tuple[int, ...]:
    """Force samples in which a plate begins to bear load."""
    rate, threshold = trial.force_rate, settings.contact_threshold
    return tuple(sample for plate in trial.plates for sample in touchdown_samples(plate.force[1], rate, threshold))


def fit_body(session: Session, rider: Rider, settings: Settings, errors: BodyErrors | None = None) -> FittedBody:
    """The rider's body from the static trial, or from the landing's own quiet frames; hips from a movement trial if
    any. errors : many such bodies at once, each wrong in its own way."""
    choice = (settings.body, settings.hip_centre, settings.inertia)
    if session.hip_movement is None:
        return calibrate(session.static, session.labels, rider, *choice, errors=errors)
    body = calibrate(session.static, session.labels, rider, *choice)
    centres = moving_hip_centres(session.hip_movement, body, settings.cutoff, settings.longest_gap)
    return calibrate(session.static, session.labels, rider, *choice, hip_centres=centres, errors=errors)


def weigh(session: Session) -> tuple[Rider, float, tuple[Finding, ...]]:
    """The rider with the mass that the plates show in quiet standing, where they show it; that weight [N]; what to
    say of it."""
    rider, static = session.rider, session.static
    quiet = quiet_frames(static, session.labels)
    alone = stands_on_plates(static, session.labels, quiet)
    weight = standing_weight(static, quiet, rider.weight, alone)
    if not np.isfinite(weight):
        return rider, weight, ()
    difference = weight / rider.weight - 1.0
    where, evidence = (
        static.name,
        f"{weight:.1f} N on the plates, {rider.weight:.1f} N from rider.toml ({100 * difference:+.1f} %)",
    )
    if abs(difference) > WEIGHT_TRUST:
        doubt = "check whether both feet stood on plates, and the mass"
        advice = f"rider.toml is used; {f'both feet stand on plates: {OF_BOTH_FEET}' if alone else doubt}"
        return rider, weight, (Finding("body_weight", "warn", where, evidence, advice),)
    measured = replace(rider, mass=weight / G)
    severity: Severity = "warn" if abs(difference) > WEIGHT_TOLERANCE else "pass"
    return measured, weight, (Finding("body_weight", severity, where, evidence, "the weight on the plates is used"),)


def _over_quiet_stretches(
    session: Session, rider: Rider, plate_weight: float, settings: Settings, measures: tuple[Measure, ...]
) -> tuple[tuple[Measure, ...], tuple[Finding, ...]]:
    """Without a static trial: the angles widened to what the other quiet stretches of the trial would have given, and
    which stretch the body was fitted to."""
    if session.has_static:
        return measures, ()
    trial, labels = session.trial, session.labels
    choice = (settings.body, settings.hip_centre, settings.inertia)
    others = []
    for window in other_quiet_stretches(trial, labels):
        body = calibrate(trial, labels, rider, *choice, window=window)
        landing, _ = descend(session, body, plate_weight, settings)
        others.append({(m.quantity, m.side): m.value for m in measure_landing(landing)})
    return over_stretches(measures, trial, quiet_frames(trial, labels), others)


def _vary(
    session: Session,
    body: FittedBody,
    plate_weight: float,
    paths: Paths,
    landing: Landing,
    stopped: tuple[Lost, ...],
) -> list[Variant]:
    """What other contact thresholds, and smoothing on the other side of the dynamics, would have given; markers that
    slipped are left out, and moments that the verdict stops are stopped here, too. Markers are followed again only
    where that would differ."""
    landings, settings = {}, landing.settings
    for name, choice in other_settings(settings).items():
        alike = _followed_alike(session.trial, settings, choice)
        known = paths if alike else follow_body(session, body, plate_weight, choice, paths)
        landings[name], _ = descend(session, body, plate_weight, choice, known, landing)
    stopping = {name: stop_moments(landing, stopped) for name, landing in landings.items()}
    return [Variant(name, measure_landing(landing, MAIN_QUANTITIES)) for name, landing in stopping.items()]


def _followed_alike(trial: Recording, settings: Settings, other: Settings) -> bool:
    """Whether settings that differ in threshold or smoothing give the same poses."""
    return settings.smoothing == other.smoothing and never_bridged(trial, settings) == never_bridged(trial, other)


def _recording_findings(session: Session) -> tuple[Finding, ...]:
    """Of each recording alone, and of both together. The static trial must hold all labels; the landing is judged by
    those of them that it has."""
    static = _named(session.static.name, inspect_recording(session.static, session.labels))
    if not session.has_static:
        return static
    trial = inspect_recording(session.trial, session.labels, complete=False)
    beneath = 0.0 if session.board is None else session.board.mass * G
    weight = tuple(weight_findings(session.trial, session.rider.weight + beneath, session.labels))
    return (
        _named(session.trial.name, trial + weight)
        + static
        + fit_findings(session.static, session.trial, session.labels)
    )


def findings_of_both(static: Recording, trial: Recording, labels: LabelMap, rider: Rider | None) -> tuple[Finding, ...]:
    """What a standing trial and a landing show together and neither alone: all that the analysis doubts; where there is
    no rider, or nothing to analyse, what their markers tell."""
    if rider is None:
        return compare_trials(static, trial, labels)
    try:
        found = analyse(Session(trial, static, labels, rider), variants=False).findings
    except InputError as problem:
        advice = "the standing trial and this recording were held against each other all the same"
        told = Finding("analysis", "warn", trial.name, f"cannot be analysed: {problem}", advice)
        return (*compare_trials(static, trial, labels), told)
    alone = tuple(f"{recording.name}: " for recording in (trial, static))
    return tuple(finding for finding in found if not finding.where.startswith(alone))


def _gravest_first(findings: tuple[Finding, ...]) -> tuple[Finding, ...]:
    """A standing trial of somebody else is said before all that follows from it."""
    return tuple(sorted(findings, key=lambda finding: finding.check != "same_person" or finding.severity == "pass"))


def _named(recording: str, findings: tuple[Finding, ...]) -> tuple[Finding, ...]:
    return tuple(replace(finding, where=f"{recording}: {finding.where}") for finding in findings)
