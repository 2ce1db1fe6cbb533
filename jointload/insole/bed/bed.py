"""What a foot stands on and with: the cells of its sole, their layers, the limb's springs, a load, a pose.

Axes: x forward from the back of the heel, y medial, z up. Unknowns, in this order wherever an axis has length 5: heave
[m], roll (inversion positive), pitch (heel up positive), twist of the forefoot (inversion positive) and arch pitch of
the forefoot (down positive) [rad]. Arrays of poses are (D, T): draws of a person, instants.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from jointload.errors import SettingError, expected_found

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

GRAVITY = 9.81
SCALE = np.array([1.0, 0.030, 0.100, 0.030, 0.100])
"""Lever arms [m] that turn the unknowns into displacements of the sole and their moments into forces."""

STABLE, UNSTABLE, TIPPED, UNSETTLED, OUTSIDE, UNLOADED, UNKNOWN = range(7)
REASONS = (
    "",
    "no stable pose: the foot would roll off",
    "no stable pose: the foot tips beyond small angles",
    "no stable pose: none was found",
    "centre of pressure outside the sole",
    "no downward force",
    "force or centre of pressure missing",
)
"""In words why a pose is NaN, by BedPose.reason."""


@dataclass(frozen=True, eq=False)
class FootBed:
    """The cells of a sole (n,) and the foot upon them.

    x, y : [m] cell centres;  area : [m2];  shape : [m] height of the unloaded plantar surface above its lowest plane
    tissue, midsole : [m] thickness of the layers above and below the insole
    length, ankle_forward, ankle_height, split, arch_hinge : [m] foot length, ankle from the heel and above the sole,
    start of the forefoot, and the line it bends about, from the heel
    """

    x: Array
    y: Array
    area: Array
    shape: Array
    tissue: Array
    midsole: Array
    length: float
    ankle_forward: float
    ankle_height: float
    split: float
    arch_hinge: float

    def __post_init__(self) -> None:
        for name in ("x", "y", "area", "shape", "tissue", "midsole"):
            values = getattr(self, name)
            if values.shape != self.x.shape or values.ndim != 1 or not np.isfinite(values).all():
                raise SettingError(
                    expected_found(name, f"{self.x.size} finite values", values.shape, "the foot bed", "correct it")
                )
        for name in ("area", "tissue", "midsole"):
            if not (getattr(self, name) > 0).all():
                raise SettingError(
                    expected_found(name, "positive values", getattr(self, name).min(), "the foot bed", "correct it")
                )

    @property
    def motion(self) -> Array:
        """(n, 5) rise of every cell's sole per unit of every unknown, its lever arms divided by SCALE."""
        fore = self.x >= self.split
        ones = np.ones_like(self.x)
        columns = (ones, self.y, self.ankle_forward - self.x, fore * self.y, fore * (self.arch_hinge - self.x))
        return np.stack(columns, axis=1) / SCALE


@dataclass(frozen=True, eq=False)
class BedMaterials:
    """Per draw (D,): tissue pressure [Pa] and exponent, moduli [Pa] and compaction strains of insole and midsole.

    The insole's two may be (D, n), a value per cell.
    """

    tissue_pressure: Array
    tissue_exponent: Array
    insole_modulus: Array
    insole_strain: Array
    midsole_modulus: Array
    midsole_strain: Array


@dataclass(frozen=True, eq=False)
class JointStiffness:
    """Per draw (D,) [Nm/rad]: what the limb sets against roll and pitch, the foot against twist and arch pitch.

    body_weight : [N];  floor_share : least share of the roll stiffness left after the load's own tipping
    swing : against a turn of thigh and shank about the line from hip to ankle; None for a leg that never turns
    """

    roll: Array
    pitch: Array
    twist: Array
    arch: Array
    body_weight: float
    floor_share: float
    swing: Array | None = None

    def net_roll(self, load: BedLoad, ankle_height: float) -> Array:
        """k_net = max(k - F h_a, floor k_phi sqrt(F / BW)), (D, T) [Nm/rad]: the rolling foot carries the ankle under
        the load F. k is the ankle k_phi in series with the bent leg k_s that its shank swings out by e per radian:
        1/k = 1/k_phi + e^2/k_s. Source: models/insole_response/foundation.toml."""
        whole = self.roll[:, None] * (1.0 - self.swing_per_roll(load) * load.shank_sine)
        floor = self.floor_share * self.roll[:, None] * np.sqrt(np.maximum(load.force, 0.0) / self.body_weight)
        return np.maximum(whole - load.force * ankle_height, floor)

    def swing_per_roll(self, load: BedLoad) -> Array:
        """(D, T) turn of the leg about the line from hip to ankle, outwards, per roll of the foot: k_phi e / (k_s +
        k_phi e^2), the least work of ankle and leg."""
        if self.swing is None:
            return np.zeros((self.roll.size, load.force.size))
        sine = load.shank_sine
        return np.asarray(self.roll[:, None] * sine / (self.swing[:, None] + self.roll[:, None] * sine**2))

    def loaded_arch(self, force: Array) -> Array:
        """k_eta max(1, F / BW), (D, T) [Nm/rad]; force (T,) [N]."""
        return self.arch[:, None] * np.maximum(1.0, force / self.body_weight)


@dataclass(frozen=True, eq=False)
class BedLoad:
    """Vertical force (T,) [N] and its centre of pressure (T,) [m] in the foot's axes, as measured on the baseline
    shape.

    bend : (T,) sine of the angle between the shank and the line from hip to ankle; None for a straight leg
    """

    force: Array
    x: Array
    y: Array
    bend: Array | None = None

    @property
    def shank_sine(self) -> Array:
        return np.zeros_like(self.force) if self.bend is None else self.bend


@dataclass(frozen=True, eq=False)
class Person:
    """Draws (D,) of everything unknown about one rider; one and the same for all shapes.

    values : every drawn row of models/insole_response/foundation.toml by name, the limb's among them
    """

    materials: BedMaterials
    joints: JointStiffness
    values: dict[str, Array]


@dataclass(frozen=True, eq=False)
class BedPose:
    """Where the foot settles (D, T): heave [m], roll, pitch, twist, arch [rad], centre of pressure x, y [m].

    pressure : (D, T, n) [Pa] under every cell
    residual : imbalance as a share of the force;  held_twist : [Nm] the foot holds against its forefoot's twist
    reason : 0 where stable; else all else is NaN and REASONS says why
    height : (n,) [m], the insole this pose stands on
    lowered : (D, T, n) [m] by which the sole lies lower than the bed's shape, so that it presses as was measured; None
    where the modelled shape stands
    """

    heave: Array
    roll: Array
    pitch: Array
    twist: Array
    arch: Array
    cop_x: Array
    cop_y: Array
    pressure: Array
    residual: Array
    held_twist: Array
    reason: NDArray[np.int8]
    height: Array
    materials: BedMaterials
    load: BedLoad
    lowered: Array | None = None

    @property
    def stable(self) -> Mask:
        return self.reason == STABLE

    @property
    def unknowns(self) -> Array:
        """(D, T, 5) scaled by SCALE [m]."""
        return np.stack([self.heave, self.roll, self.pitch, self.twist, self.arch], axis=-1) * SCALE
