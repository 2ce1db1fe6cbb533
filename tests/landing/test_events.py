"""The instants of a landing, from made-up forces on a rider who stands still or falls."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from made import LABELS, RATE, RIDER, recording, standing_positions

from jointload.body.angles import JointAngles, joint_angles
from jointload.body.calibration import FittedBody, calibrate
from jointload.body.pose import SegmentPoses, smooth_markers, track_segments
from jointload.errors import RecordingError
from jointload.intake.rider import G
from jointload.landing.events import LandingEvents, find_events
from jointload.landing.measures.body_measures import fall_speed
from jointload.loads.contact import Contact
from jointload.settings import Settings

FRAMES, FAST = 200, 1000.0
SAMPLES = int(FRAMES / RATE * FAST)
TIME = np.arange(SAMPLES) / FAST
WEIGHT = RIDER.weight
ONE_SAMPLE = 1.0 / FAST
TOUCHDOWN = 0.8


@pytest.fixture(scope="module")
def body() -> FittedBody:
    return calibrate(recording(standing_positions()), LABELS, RIDER)


@pytest.fixture(scope="module")
def standing(body: FittedBody) -> tuple[SegmentPoses, JointAngles]:
    return moving(body, np.zeros(FRAMES))


def moving(body: FittedBody, height: np.ndarray) -> tuple[SegmentPoses, JointAngles]:
    """The standing rider carried up and down by `height` (F,) [m]."""
    lift = np.stack([0 * height, height, 0 * height])
    path = {label: place[:, None] + lift for label, place in standing_positions().items()}
    markers, _ = smooth_markers(recording(path, FRAMES, "trial"), body, None, 0.1)
    poses, _ = track_segments(markers, body, RATE)
    return poses, joint_angles(poses, body)


def contact_of(right: np.ndarray, left: np.ndarray) -> Contact:
    fast = np.zeros((3, 2, SAMPLES))
    fast[1] = right, left
    slow = fast[..., :: int(FAST / RATE)]
    return Contact(slow, 0 * slow, fast, 0 * fast, right + left, FAST, 0.0, ())


def two_peaks(start: float, first: float = 2.0, second: float = 3.0) -> np.ndarray:
    """A foot that lands at `start` [s]: a first peak after 20 ms, a valley, a second peak after 80 ms, then half of
    body weight."""
    t = TIME - start
    knots = [0.0, 0.02, 0.04, 0.08, 0.25, 0.4]
    heights = [0.0, first, 0.7 * first, second, 0.5, 0.5]
    from scipy.interpolate import PchipInterpolator

    return np.where(t < 0, 0.0, PchipInterpolator(knots, heights)(np.clip(t, 0, 0.4))) * WEIGHT


def before_flight(until: float) -> np.ndarray:
    return np.where(until > TIME, 0.5 * WEIGHT, 0.0)


def events_of(
    body: FittedBody, standing: tuple[SegmentPoses, JointAngles], contact: Contact, **settings: object
) -> LandingEvents:
    return find_events(contact, standing[0], body, standing[1], WEIGHT, replace(Settings(), **settings), "trial")


@pytest.fixture(scope="module")
def landed(body: FittedBody, standing: tuple[SegmentPoses, JointAngles]) -> LandingEvents:
    right = before_flight(0.4) + two_peaks(TOUCHDOWN)
    return events_of(body, standing, contact_of(right, before_flight(0.4) + two_peaks(TOUCHDOWN + 0.03)))


def test_a_landing_follows_the_longest_flight(landed: LandingEvents) -> None:
    assert landed.kind == "landing"
    assert landed.flight_start == pytest.approx(0.4, abs=2 * ONE_SAMPLE)
    assert landed.flight_end == pytest.approx(TOUCHDOWN, abs=2 * ONE_SAMPLE)


def test_each_foot_has_its_own_touchdown(landed: LandingEvents) -> None:
    assert landed.sides["right"].touchdown == pytest.approx(TOUCHDOWN, abs=2 * ONE_SAMPLE)
    assert landed.sides["left"].touchdown == pytest.approx(TOUCHDOWN + 0.03, abs=2 * ONE_SAMPLE)
    assert landed.first_touchdown == landed.sides["right"].touchdown


def test_first_and_second_force_peak_and_the_valley_between(landed: LandingEvents) -> None:
    right = landed.sides["right"]
    assert right.first_peak == pytest.approx(TOUCHDOWN + 0.02, abs=0.003)
    assert right.second_peak == pytest.approx(TOUCHDOWN + 0.08, abs=0.003)
    assert right.impact_end == pytest.approx(TOUCHDOWN + 0.04, abs=0.003)


def test_a_brief_flight_is_not_called_none(body, standing) -> None:
    """0.12 s without load are no landing's flight, and no absence of one."""
    force = before_flight(0.68) + two_peaks(TOUCHDOWN)
    brief = events_of(body, standing, contact_of(force, 0 * force))
    assert brief.kind == "step"
    assert brief.no_takeoff == "0.12 s without load before this contact: a flight is taken from 0.15 s on"
    never = events_of(body, standing, contact_of(two_peaks(0.1), before_flight(2.0)))
    assert never.no_takeoff == "no flight before this contact"


def test_a_takeoff_from_a_shared_plate_is_on_a_plate(body, standing) -> None:
    """The wrench on either foot is unknown until the end of the marker frame in which the plate is left."""
    right, left = before_flight(0.404) + two_peaks(TOUCHDOWN), before_flight(0.404) + two_peaks(TOUCHDOWN)
    contact = contact_of(right, left)
    unknown = contact.fast_force.copy()
    unknown[..., :410] = np.nan
    found = events_of(body, standing, replace(contact, fast_force=unknown))
    assert found.kind == "landing"
    assert found.flight_start == pytest.approx(0.404, abs=2 * ONE_SAMPLE)


@pytest.mark.parametrize(
    ("until", "begin", "words"),
    [
        (0.0, 0.0, "the recording begins in flight"),
        (0.1, -0.5, "1.3 s without load before the landing: the rider came from beside the plates"),
    ],
)
def test_why_a_takeoff_is_not_known_is_told(body, standing, until: float, begin: float, words: str) -> None:
    start = TOUCHDOWN - begin + until
    force = before_flight(until) + two_peaks(start)
    found = events_of(body, standing, contact_of(force, force))
    assert np.isnan(found.flight_start)
    assert found.no_takeoff == words


def test_stabilisation_is_the_start_of_steady_force(landed: LandingEvents) -> None:
    assert landed.stabilised == pytest.approx(TOUCHDOWN + 0.26, abs=0.04)


def test_a_higher_threshold_moves_touchdown_later(body, standing) -> None:
    contact = contact_of(two_peaks(TOUCHDOWN), two_peaks(TOUCHDOWN))
    times = [
        events_of(body, standing, contact, contact_threshold=t).sides["right"].touchdown for t in (10.0, 20.0, 200.0)
    ]
    assert times == sorted(times)
    assert times[-1] > times[0]


@pytest.mark.parametrize(("end", "expected"), [("fixed_100ms", TOUCHDOWN + 0.1), ("peak_force", TOUCHDOWN + 0.08)])
def test_the_landings_end_is_a_choice(body, standing, end: str, expected: float) -> None:
    contact = contact_of(two_peaks(TOUCHDOWN), two_peaks(TOUCHDOWN))
    found = events_of(body, standing, contact, landing_end=end)
    assert found.sides["right"].landing_end == pytest.approx(expected, abs=0.003)
    assert found.landing_end == end


def test_the_lowest_pelvis_ends_a_landing(body: FittedBody) -> None:
    time = np.arange(FRAMES) / RATE
    squat = -0.2 * np.exp(-(((time - 1.1) / 0.1) ** 2))
    contact = contact_of(two_peaks(TOUCHDOWN), two_peaks(TOUCHDOWN))
    found = events_of(body, moving(body, squat), contact)
    assert found.lowest_pelvis == pytest.approx(1.1, abs=1 / RATE)
    assert found.sides["left"].landing_end == pytest.approx(1.1, abs=1 / RATE)


def test_a_step_without_flight_is_followed_to_its_end(body, standing) -> None:
    step = np.where((TIME > 0.5) & (TIME < 1.2), 1.1 * WEIGHT * np.sin(np.pi * (TIME - 0.5) / 0.7), 0.0)
    other = np.where((TIME < 0.6) | (TIME > 1.1), WEIGHT, 0.0)
    found = events_of(body, standing, contact_of(step, other))
    assert found.kind == "step"
    assert found.landing_end == "end of the contact"
    assert found.sides["right"].landing_end == found.sides["right"].takeoff == pytest.approx(1.2, abs=0.01)


def test_standing_all_the_time_is_no_landing(body, standing) -> None:
    half = np.full(SAMPLES, 0.5 * WEIGHT)
    with pytest.raises(RecordingError, match="no such contact") as caught:
        events_of(body, standing, contact_of(half, half))
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("speed", [1.5, 3.0])
def test_touchdown_speed_of_a_known_fall(body: FittedBody, speed: float) -> None:
    """A body that falls freely and meets the plate at a known speed; half a millimetre of noise may stay."""
    time = np.arange(FRAMES) / RATE
    t = time - TOUCHDOWN
    height = np.where(t < 0, -speed * t - 0.5 * G * t**2, -0.05 * (1 - np.exp(-20 * np.maximum(t, 0))))
    poses, angles = moving(body, height)
    contact = contact_of(two_peaks(TOUCHDOWN), two_peaks(TOUCHDOWN))
    found = find_events(contact, poses, body, angles, WEIGHT, Settings(), "trial")
    pelvis, touchdown = poses.place(body, "hip_mid")[1], np.array(found.first_touchdown)
    value = fall_speed(pelvis, poses.rate, touchdown, np.array(found.flight_start))
    assert value == pytest.approx(speed, abs=0.02)


def test_an_unknown_foot_breaks_no_flight_into_being(body, standing) -> None:
    """While one foot's wrench is unknown nobody can say that the rider flies."""
    contact = contact_of(two_peaks(TOUCHDOWN), two_peaks(TOUCHDOWN))
    fast = contact.fast_force.copy()
    fast[:, 1, : int((TOUCHDOWN - 0.05) * FAST)] = np.nan
    assert events_of(body, standing, replace(contact, fast_force=fast)).kind == "step"
