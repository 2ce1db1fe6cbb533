"""Where the soles are, seen from above: the outline within which the ground can press on a foot."""

from __future__ import annotations

import numpy as np

from jointload.body.calibration import FittedBody
from jointload.body.pose import SegmentPoses
from jointload.intake.recording import SIDES, Array
from jointload.numerics.rotations import rotate

OUTLINE = ("calcaneus", "metatarsal1", "metatarsal5", "toe_tip")
HEEL_WIDTH = 0.66
"""Width of the heel as a share of the width at the metatarsal heads (choice, a plain sole)."""
TOE_WIDTH = 0.7
"""Width of the sole at the toe marker, likewise (choice)."""
BREADTH_SHARE = 0.36
"""Width of a sole over its length where no metatarsal heads are marked (95 mm over 265 mm, the median British man)."""
TOE_BEYOND = 0.01
"""The sole reaches this far [m] beyond the toe marker, which sits on the nail (choice)."""


def sole_outlines(poses: SegmentPoses, body: FittedBody) -> Array:
    """(2 along lab X and Z, 2 feet, 6 corners, F) [m] of both soles, each corner after the other round a convex
    hexagon; NaN where a foot is not seen or its heel or toe is not known."""
    frames = poses.origin.shape[2]
    out = np.full((2, len(SIDES), 6, frames), np.nan)
    for k, side in enumerate(SIDES):
        corners = _sole_corners(body, side)
        if corners is not None:
            rotation, origin = poses.of(f"{side}_foot")
            out[:, k] = (origin[:, None] + rotate(rotation[:, :, None], corners[..., None]))[[0, 2]]
    return out


def _sole_corners(body: FittedBody, side: str) -> Array | None:
    """(3, 6) [m] corners of a sole in the foot's axes, or None."""
    known = {name: body.points[f"{side}_{name}"][1] for name in OUTLINE if f"{side}_{name}" in body.points}
    if "calcaneus" not in known or "toe_tip" not in known or f"{side}_foot" not in body.standing:
        return None
    heel, toe = known["calcaneus"], known["toe_tip"]
    floor = -body.standing[f"{side}_foot"][1][1]
    if {"metatarsal1", "metatarsal5"} <= set(known):
        ball = [known["metatarsal1"], known["metatarsal5"]]
    else:
        half = 0.5 * BREADTH_SHARE * (toe[0] - heel[0])
        along = heel[0] + 0.7 * (toe[0] - heel[0])
        inner = -1.0 if side == "right" else 1.0
        ball = [np.array([along, 0.0, heel[2] + inner * half]), np.array([along, 0.0, heel[2] - inner * half])]
    half = 0.5 * (ball[0][2] - ball[1][2])
    tip = max(toe[0], ball[0][0], ball[1][0]) + TOE_BEYOND
    return np.array(
        [
            [heel[0], heel[0], ball[1][0], tip, tip, ball[0][0]],
            [floor] * 6,
            [
                heel[2] + HEEL_WIDTH * half,
                heel[2] - HEEL_WIDTH * half,
                ball[1][2],
                toe[2] - TOE_WIDTH * half,
                toe[2] + TOE_WIDTH * half,
                ball[0][2],
            ],
        ]
    )


def sole_edges(outline: Array) -> tuple[Array, Array]:
    """Outward unit normals (2, ..., V, F) and limits (..., V, F) [m] of convex outlines (2, ..., V, F): a place p lies
    inside where normal . p <= limit for every edge."""
    edge = np.roll(outline, -1, axis=-2) - outline
    normal = np.stack((edge[1], -edge[0]))
    normal = normal / np.sqrt(np.sum(normal**2, axis=0))
    middle = outline.mean(axis=-2, keepdims=True)
    outward = np.sign(np.sum(normal * (outline - middle), axis=0))
    normal = normal * outward
    return normal, np.sum(normal * outline, axis=0)


def off_sole(outline: Array, place: Array) -> Array:
    """(..., F) [m] by which places (2, ..., F) lie outside convex outlines (2, ..., V, F); negative inside."""
    normal, limit = sole_edges(outline)
    return np.asarray(np.max(np.sum(normal * place[..., None, :], axis=0) - limit, axis=-2))
