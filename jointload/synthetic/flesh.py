"""Wobbling flesh on the bones of a synthetic landing, so that the truth is that of the joints, whatever the skin shows.

Every segment but the foot may carry a part of its mass as flesh that hangs on the bone by a spring and a damper, alike
in all directions, from the segment's centre of mass in standing: there x'' = -w2 e - 2 z w e' in the lab, e the flesh
beside the place where it hangs. In free fall it floats above that place.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from jointload.body.calibration import FittedBody
from jointload.intake.recording import Array, split_side
from jointload.intake.rider import G
from jointload.loads.moments import SegmentMotion
from jointload.numerics.rotations import cross, rotate, rotate_back

LIKELY = {
    "shank": ((0.45, 0.70), (12.0, 22.0)),
    "thigh": ((0.55, 0.80), (9.0, 16.0)),
    "pelvis": ((0.30, 0.60), (9.0, 16.0)),
    "trunk": ((0.30, 0.55), (6.0, 11.0)),
}
"""Share of a segment's mass that swings, and frequency [Hz] of its free swing, low and high. Soft share of the thigh
0.8 to 0.9, of the shank 0.6 to 0.75, of which the deep part hardly moves; 10 to 20 Hz on the thigh, 10 to 50 Hz on the
calf, 10 to 30 mm at impact (all from memory of Gruber 1998, Wakeling and Nigg 2001, Pain and Challis 2006); pelvis and
trunk: choice."""
DAMPING = (0.2, 0.4)
"""Share of critical damping, low and high (choice: the swing is gone after two or three turns)."""
ON_FLESH, ON_BONE = (0.20, 0.50), (0.05, 0.20)
"""How far a marker follows the flesh: one of a cluster on thigh or shank, and one over a bony landmark (choice: with
10 to 30 mm of flesh this makes 2 to 15 mm; markers of hopping legs stray by 14.7 to 16.2 mm from bone pins at most,
Andersen MS et al (2012) Gait Posture 35:606)."""


@dataclass(frozen=True)
class Flesh:
    """share [1] of the segment's mass;  frequency [Hz];  damping [1] of critical."""

    share: float
    frequency: float
    damping: float


@dataclass(frozen=True, eq=False)
class Hanging:
    """The flesh of K of a model's S segments.

    where : (K,) their indices;  mass : (K,) [kg];  stiffness : (K,) [1/s2] and drag : (K,) [1/s], per mass
    """

    where: tuple[int, ...]
    mass: Array
    stiffness: Array
    drag: Array

    @classmethod
    def on(cls, flesh: Mapping[str, Flesh], segments: tuple[str, ...], mass: Array) -> Hanging:
        where = tuple(s for s, name in enumerate(segments) if name in flesh)
        parts = [flesh[segments[s]] for s in where]
        turning = 2.0 * np.pi * np.array([part.frequency for part in parts])
        return cls(
            where,
            np.array([part.share * mass[s] for part, s in zip(parts, where, strict=True)]),
            turning**2,
            2.0 * turning * np.array([part.damping for part in parts]),
        )

    def pulled(self, beside: Array, rate: Array) -> Array:
        """Acceleration (3, K, N) of the flesh from its place and speed beside where it hangs, (3, K, N)."""
        return -self.stiffness[:, None] * beside - self.drag[:, None] * rate

    def momentum(self, place: Array, velocity: Array) -> Array:
        """(6, N) linear and angular momentum about the lab origin."""
        linear = self.mass[:, None] * velocity
        return np.concatenate((linear.sum(axis=1), cross(place, linear).sum(axis=1)))

    def floating(self) -> Array:
        """(3, K) [m] where the flesh floats in free fall beside where it hangs in standing."""
        out = np.zeros((3, len(self.where)))
        out[1] = G / self.stiffness
        return out


def drawn_flesh(body: FittedBody, rng: np.random.Generator) -> dict[str, Flesh]:
    """Flesh of every segment of a body, both sides of it alike."""
    kinds = {
        part: Flesh(rng.uniform(*share), rng.uniform(*frequency), rng.uniform(*DAMPING))
        for part, (share, frequency) in LIKELY.items()
    }
    return {name: kinds[part] for name in body.segments if (part := split_side(name)[1]) in kinds}


def of_whole_segments(
    bones: SegmentMotion, mass: Array, tensor: Array, share: Array, beside: Array, pulled: Array
) -> SegmentMotion:
    """Motion of segments whose flesh is part of them, from that of their bones: same forces, same moments.

    share : (S,) of the mass that is flesh;  beside, pulled : (3, S, N) its place beside where it hangs, its
    acceleration in the lab. Bone and flesh have the same forces and moments as one body of the whole mass at their
    common centre whose own angular momentum also holds m s (1 - s) e x e''.
    """
    part = share[:, None]
    apart = pulled - bones.acceleration
    own = mass[:, None] * part * (1.0 - part) * cross(beside, apart)
    free = np.linalg.inv(tensor.transpose(2, 0, 1)).transpose(1, 2, 0)
    turned = rotate(bones.rotation, np.einsum("ijs,jsn->isn", free, rotate_back(bones.rotation, own)))
    return SegmentMotion(
        bones.rotation,
        bones.centre + part * beside,
        bones.acceleration + part * apart,
        bones.angular_velocity,
        bones.angular_acceleration + turned,
    )


def followed(on_cluster: bool, rng: np.random.Generator) -> float:
    """Share of its segment's flesh motion that a marker makes."""
    return float(rng.uniform(*(ON_FLESH if on_cluster else ON_BONE)))
