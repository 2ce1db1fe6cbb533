"""Compression and shear of the disc L5/S1, where a single muscle behind it answers the whole extension moment."""

from __future__ import annotations

import numpy as np

from jointload.intake.recording import Array
from jointload.loads.tissue.muscle import pulling
from jointload.loads.tissue.spreads import Factors


def disc_loads(extension_moment: Array, force_pelvis: Array, factors: Factors) -> tuple[Array, Array]:
    """Compression and forward shear [N] of the disc, each (..., F).

    C = M / r + F . n,   S = -F . a

    extension_moment : internal, of the pelvis on the trunk (F,) [N m];  force_pelvis : of the pelvis on the trunk
    (3, F) [N], in the axes of the pelvis;  factors : lumbar_arm r [m], disc_slope [deg] of models/tissue/lumbar.toml
    n is normal to the disc, pelvis Y leaned forward by disc_slope; a lies in it, forward and downward. The muscle pulls
    along n, so that it adds no shear. Shear is positive where the trunk is driven forward on the sacrum. A moment
    towards flexion is answered by no muscle here; neither are bending to the side and twisting: lower bounds.
    Reference: single equivalent muscle with a fixed arm of 5 cm, usual in models of lifting
    (models/tissue/lumbar.toml).
    """
    slope = np.deg2rad(factors["disc_slope"])
    forward, up = force_pelvis[0], force_pelvis[1]
    compression = pulling(extension_moment, factors["lumbar_arm"]) + np.sin(slope) * forward + np.cos(slope) * up
    shear = np.sin(slope) * up - np.cos(slope) * forward
    return compression, shear
