"""The push against the toe box along the foot's own axis, and the bending of the first toe joint."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from jointload.foot.spreads import foot_spreads
from jointload.foot.toes import along_foot, bearing_axes, toe_bend, toe_push

ROUNDING = 1e-12
TIME = np.arange(101) / 1000.0
NONE = np.zeros((1, 1))
FEET = {"right_foot": None, "left_foot": None}


def pushed(push: float, load: float, friction: float, lacing: float) -> Any:
    series = [np.full((1, TIME.size), value) for value in (push, load)]
    return toe_push(*series, np.array([[friction]]), np.array([[lacing]]), TIME, 100.0)


def test_the_toes_bear_what_friction_and_lacing_do_not() -> None:
    toes = pushed(300.0, 400.0, 0.5, 40.0)
    assert toes.peak == pytest.approx(60.0) and toes.impulse == pytest.approx(6.0)
    assert toes.lasts == pytest.approx(0.101) and toes.slides == 1.0
    assert toes.friction_needed == pytest.approx(260.0 / 400.0)


def test_the_friction_needed_is_just_enough() -> None:
    needed = float(pushed(300.0, 400.0, 0.2, 40.0).friction_needed[0])
    assert pushed(300.0, 400.0, needed, 40.0).peak == pytest.approx(0.0, abs=1e-9)
    assert pushed(300.0, 400.0, 0.99 * needed, 40.0).peak > 2.0


def test_a_walker_does_not_slide_whatever_the_sock() -> None:
    """25 % of body weight along with 110 % down at heel strike; Naemi 2016, doi 10.5772/64170. Socked foot on insole
    0.310 at least; Sensors 2022 22:5525. No lacing."""
    weight = 700.0
    slipperiest = foot_spreads("shoe")["friction"].low
    assert slipperiest == 0.31
    assert pushed(0.25 * weight, 1.10 * weight, slipperiest, 0.0).slides == 0.0


def test_nothing_pushes_without_load_or_backwards() -> None:
    assert pushed(200.0, -5.0, 0.4, 0.0).peak == 0.0
    assert pushed(-200.0, 500.0, 0.4, 0.0).peak == 0.0


# the foot's own axis


def turned(angle: float) -> np.ndarray:
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]])


def standing_on(foot_turn: float, force: np.ndarray, stopped: np.ndarray | None = None) -> Any:
    """A landing of 10 frames whose foot is turned about the vertical, under a constant force [N]; stopped : how it is
    accelerated [m/s2]."""
    stopped = np.zeros(3) if stopped is None else stopped
    frames = 10
    rotation = np.repeat(turned(foot_turn)[..., None], frames, axis=2)
    return SimpleNamespace(
        fast_window=lambda side: slice(0, frames),
        impact_force=lambda side: np.repeat(force[:, None], frames, axis=1),
        poses=SimpleNamespace(of=lambda name: (rotation, np.zeros((3, frames))), rate=100.0),
        contact=SimpleNamespace(fast_rate=100.0),
        motion=SimpleNamespace(acceleration=np.tile(stopped[:, None, None], (1, len(FEET), frames))),
        body=SimpleNamespace(segments=FEET, inertia=FEET),
    )


@pytest.mark.parametrize("angle", [0.0, 0.7, np.pi / 2, -2.0])
def test_the_push_is_read_along_the_foot_not_the_laboratory(angle: float) -> None:
    """Riders stand sideways: foot and force turned together, the push stays."""
    force = np.array([-180.0, 900.0, 60.0])
    push, load = along_foot(standing_on(angle, turned(angle) @ force), "right", NONE, NONE, 0.0)
    assert push == pytest.approx(180.0) and load == pytest.approx(900.0)


def test_a_foot_across_the_travel_pushes_its_toes_into_nothing() -> None:
    force = np.array([-180.0, 900.0, 0.0])
    push, _ = along_foot(standing_on(np.pi / 2, force), "left", NONE, NONE, 0.0)
    assert push == pytest.approx(0.0, abs=1e-9)


def test_a_tilted_sole_turns_load_into_push() -> None:
    tilt = np.array([[np.deg2rad(1.0)]])
    push, load = along_foot(standing_on(0.0, np.array([0.0, 1000.0, 0.0])), "right", NONE, tilt, 0.0)
    assert np.hypot(push, load) == pytest.approx(1000.0) and push == pytest.approx(-17.45, abs=0.01)


def test_what_stops_the_shoe_itself_is_not_pushed_by_the_foot() -> None:
    """0.4 kg stopped by 30 m/s2 along and 50 m/s2 down: 12 N less push, 0.4 (50 + 9.8) N less load."""
    stopped = np.array([-30.0, 50.0, 0.0])
    push, load = along_foot(standing_on(0.0, np.array([-180.0, 900.0, 0.0]), stopped), "right", NONE, NONE, 0.4)
    assert push == pytest.approx(168.0) and load == pytest.approx(900.0 - 0.4 * (50.0 + 9.80665))


def pitched(angle: float) -> np.ndarray:
    """The foot's axis (3, 1) with its toes up by an angle [rad]."""
    return np.array([[np.cos(angle)], [np.sin(angle)], [0.0]])


def test_a_heel_that_is_up_leaves_the_forefoot_flat_on_the_ground() -> None:
    """In walking the foot pushes off with its heel up by 40 deg or more and does not slide into the toe box."""
    for angle in (-0.7, -0.2, 0.0, 0.04):
        assert bearing_axes(pitched(angle))[..., 0] == pytest.approx(np.eye(3))
    axes = bearing_axes(pitched(0.3))[..., 0]
    assert axes.T @ axes == pytest.approx(np.eye(3)) and np.linalg.det(axes) == pytest.approx(1.0)
    assert axes[:, 0] == pytest.approx(pitched(0.3)[:, 0], abs=0.06), (
        "toes up, the foot stands on its heel as one piece"
    )


# bending


def bending_foot(bend: np.ndarray, yaw: float) -> tuple[Any, dict[str, str]]:
    """Markers of a foot on the floor, turned by `yaw`, whose toe is bent up by (F,) [rad] about its joint."""
    frames = bend.size
    turn, zero = turned(yaw), np.zeros(frames)
    heel, ball = (
        np.repeat(np.array(place)[:, None], frames, axis=1) for place in ([0.0, 0.02, 0.0], [0.18, 0.03, 0.0])
    )
    toe = ball + 0.06 * np.stack([np.cos(bend), np.sin(bend), zero])
    names = {"right_calcaneus": "heel", "right_metatarsal1": "ball", "right_toe": "toe"}
    rotation = np.repeat(turn[..., None], frames, axis=2)
    landing = SimpleNamespace(
        recording=SimpleNamespace(
            labels=("heel", "ball", "toe"), markers=np.stack([turn @ path for path in (heel, ball, toe)], axis=1)
        ),
        body=SimpleNamespace(
            standing_points={
                "right_calcaneus": np.array([0.0, 0.02, 0.0]),
                "right_metatarsal1": np.array([0.18, 0.03, 0.0]),
                "right_toe": np.array([0.24, 0.03, 0.0]),
            },
            standing={"right_foot": (np.eye(3), np.zeros(3))},
        ),
        poses=SimpleNamespace(of=lambda name: (rotation, np.zeros((3, frames))), rate=200.0),
        window=lambda side: slice(20, frames - 20),
    )
    return landing, names


def test_a_toe_that_is_bent_up_is_seen_whatever_way_the_foot_points() -> None:
    bend = np.deg2rad(40.0) * np.sin(np.pi * np.linspace(0, 1, 200)) ** 2
    for yaw in (0.0, 1.2):
        landing, names = bending_foot(bend, yaw)
        found, reason = toe_bend(landing, "right", names)
        assert reason == "" and np.rad2deg(found) == pytest.approx(40.0, abs=0.3)


def test_a_toe_without_markers_has_a_reason() -> None:
    landing, names = bending_foot(np.zeros(200), 0.0)
    del names["right_toe"]
    found, reason = toe_bend(landing, "right", names)
    assert np.isnan(found) and "markers" in reason
