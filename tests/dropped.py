"""A mass dropped upon a living heel, step by step in time: the published test run through a law of the pad."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from jointload.foot.heel_pad import Heel, press_heel

GRAVITY = 9.81
STEP = 2e-5


@dataclass(frozen=True)
class Dropped:
    """deceleration : largest, of the mass [m/s2];  travel : of the mass from touch to its lowest place [m]
    compression : largest, of the pad [m];  loading_time : from touch to it [s]"""

    deceleration: float
    travel: float
    compression: float
    loading_time: float


def drop(heel: Heel, mass: float, speed: float, leg_mass: float) -> Dropped:
    """A mass with its speed onto a heel whose leg is a free mass; the pad gives back what it does not keep.

    While it is let go the pad's force is that of its loading times (c / c_max)^k, with k so that energy_loss is met for
    the power of c that its force follows at c_max.
    """
    forces = np.linspace(0.0, 6000.0, 3000)[1:]
    pressed = press_heel(forces, heel)
    depth, force = np.append(0.0, pressed.compression), np.append(0.0, forces)
    work = np.append(0.0, pressed.pad_energy)
    mass_place = leg_place = leg_speed = 0.0
    mass_speed, largest, deepest, loaded, lowest = speed, 0.0, 0.0, 0.0, 0.0
    for step in range(10_000):
        squeeze = mass_place - leg_place
        if step and squeeze <= 0.0:
            break
        pushed = float(np.interp(squeeze, depth, force))
        if mass_speed >= leg_speed:
            deepest, loaded = squeeze, step * STEP
        else:
            power = np.interp(deepest, depth, force) * deepest / np.interp(deepest, depth, work)
            kept = float(np.mean(heel.energy_loss))
            pushed *= (squeeze / deepest) ** (power * kept / (1.0 - kept))
        slowing = pushed / mass - GRAVITY
        largest = max(largest, slowing)
        mass_speed -= slowing * STEP
        leg_speed += pushed / leg_mass * STEP
        mass_place += mass_speed * STEP
        leg_place += leg_speed * STEP
        lowest = max(lowest, mass_place)
    return Dropped(largest, lowest, deepest, loaded)
