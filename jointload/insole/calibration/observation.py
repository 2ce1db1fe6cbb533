"""What a measured landing tells of a foot on its insole, and what the mechanics predicts of the same numbers.

Every number is the mean over the landing weighted by the vertical force, so that no single frame decides.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from jointload.insole.bed.bed import BedLoad, FootBed
from jointload.insole.bed.pressed_bed import measured_bed
from jointload.insole.limb.pouring import Leg, pour_again
from jointload.insole.limb.response import FootResponse, respond
from jointload.insole.limb.standing import FootPlace, Settled, Standing, bed_load, bed_of, instants, pressure_centre
from jointload.intake.recording import SIDES, Array
from jointload.intake.rider import G
from jointload.landing.landed import Landing
from jointload.modeldata import load_model

OBSERVED = (
    "rearfoot_roll", "pressure_centre_medial", "tibial_rotation", "knee_adduction_moment", "hip_adduction_moment",
    "knee_adduction", "hip_adduction", "heel_medial_share", "forefoot_medial_share",
)  # fmt: skip
"""In the order of every array with an axis Q [rad, m, rad, N m, N m, rad, rad, 1, 1]."""
PRESSED = OBSERVED[7:]
"""What pressure insoles tell: the medial part of what presses heel and forefoot. NaN without them."""
ANSWERED = OBSERVED[:7]
"""What one person answers in its own way."""


SMALL_ARM = 1e-3
"""Shift [m] of the force line by which its effect on moments is found; it is linear."""


def force_weights(landing: Landing, side: str) -> Array:
    """(W,) weights that add up to one: the vertical force above the contact threshold."""
    vertical = landing.contact.force[1, SIDES.index(side), landing.window(side)]
    vertical = np.where(vertical > landing.settings.contact_threshold, vertical, 0.0)
    return np.asarray(vertical / vertical.sum())


def observe(landing: Landing, side: str, place: FootPlace) -> Array:
    """(Q,) OBSERVED of one measured landing: roll of the foot over the floor, centre of pressure in the foot's axes,
    shank against foot, external moments."""
    window, weights = landing.window(side), force_weights(landing, side)
    frames = np.arange(window.start, window.stop)
    medial_sign = -1.0 if side == "right" else 1.0
    right = landing.poses.of(f"{side}_foot")[0][:, 2]
    series = (
        medial_sign * np.arcsin(np.clip(right[1, window], -1.0, 1.0)),
        pressure_centre(landing, side, place, frames)[1],
        -landing.angles.of(f"{side}_ankle", "internal_rotation")[window],
        landing.loads.of(f"{side}_knee", "adduction")[window],
        landing.loads.of(f"{side}_hip", "adduction")[window],
        landing.angles.of(f"{side}_knee", "adduction")[window],
        landing.angles.of(f"{side}_hip", "adduction")[window],
    )
    told = np.array([np.where(weights > 0, one, 0.0) @ weights for one in series])
    return np.concatenate((told, _felt_shares(landing, side, place)))


def _felt_shares(landing: Landing, side: str, place: FootPlace) -> Array:
    """(2,) PRESSED as pressure insoles felt them."""
    bed, frames = bed_of(place), instants(landing, side)
    load, _ = bed_load(landing, side, place, bed, frames)
    felt = measured_bed(landing, side, bed, frames, load)
    return np.full(2, np.nan) if felt is None else _medial_shares(bed, load, felt.pressure[None])[0]


def _medial_shares(bed: FootBed, load: BedLoad, pressure: Array) -> Array:
    """(D, 2) medial part of what presses heel and forefoot, of pressures (D, T, n), over instants weighted by what they
    press there; NaN where nothing is known."""
    known = np.isfinite(pressure).all(axis=(0, 2))
    pressed = pressure[:, known] * bed.area
    out = []
    for part in (bed.x < bed.split, bed.x >= bed.split):
        whole, medial = (pressed[..., cells].sum(axis=(1, 2)) for cells in (part, part & (bed.y > 0)))
        out.append(np.where(whole > 0, medial / np.where(whole > 0, whole, 1.0), np.nan))
    return np.stack(out, axis=1)


def predicted(landing: Landing, standing: Standing, settled: Settled) -> tuple[Array, Array]:
    """(D, Q) change of OBSERVED that is expected of the drawn persons: by the mechanics alone, and with their own
    answers."""
    side, weights = standing.side, force_weights(landing, standing.side)
    response = respond(standing, settled, landing.window(side))
    poured = pour_again(landing, side, response.with_none_first())

    def read(leg: Leg, own: float) -> Array:
        roll, medial = (
            series + own * response.own_answer(name)[:, None]
            for name, series in (("rearfoot_roll", response.roll), ("pressure_centre_medial", response.medial))
        )
        shank = -leg.angles.of(f"{side}_ankle", "internal_rotation")
        moments = (leg.loads.of(f"{side}_{joint}", "adduction") for joint in ("knee", "hip"))
        angles = (leg.angles.of(f"{side}_{joint}", "adduction") for joint in ("knee", "hip"))
        rows = [roll, medial, *(series[1:] - series[:1] for series in (shank, *moments, *angles))]
        return np.concatenate((np.stack([one @ weights for one in rows], axis=1), shares), axis=1)

    after, before = (
        _medial_shares(standing.bed, standing.load, np.nan_to_num(pose.pressure[settled.usable]))
        for pose in (settled.changed, settled.flat)
    )
    shares = after - before
    return read(poured.mechanics, 0.0), read(poured.own, 1.0)


def own_effects(landing: Landing, standing: Standing) -> dict[str, dict[str, float]]:
    """OBSERVED -> own answers that move it, with its change per unit of each [SI]: of angles and places 1, of moments
    what a force line further across does to the force-weighted mean."""
    side, weights = standing.side, force_weights(landing, standing.side)
    window = landing.window(side)
    line = replace(FootResponse.none(1, window.stop - window.start), own={"force_line": np.array([SMALL_ARM])})
    poured = pour_again(landing, side, line)
    out = {name: {name: 1.0} for name in ANSWERED}
    for joint in ("knee", "hip"):
        with_line, without = (leg.loads.of(f"{side}_{joint}", "adduction")[0] for leg in (poured.own, poured.mechanics))
        effect = float((with_line - without) @ weights) / SMALL_ARM
        out[f"{joint}_adduction_moment"] = {"force_line": effect, f"{joint}_line": effect}
    return out


def scatter(repeats: Sequence[Array], mass: float) -> Array:
    """(Q,) standard deviation between landings of one condition: the rider's own, pooled over conditions (n, Q) each,
    and the printed one for as many degrees of freedom as models/insole_response/trials.toml gives it."""
    model = load_model("insole_response", "trials").content
    units = {"deg": np.deg2rad(1.0), "mm": 1e-3, "Nm/kg": mass, "1": 1.0}
    usual = np.array([model["scatter"][name] * units[model["scatter"][f"{name}_unit"]] for name in OBSERVED])
    squares, freedom = model["prior"]["landings"] * usual**2, float(model["prior"]["landings"])
    for rows in repeats:
        squares = squares + np.nan_to_num(np.sum((rows - rows.mean(axis=0)) ** 2, axis=0))
        freedom += len(rows) - 1
    return np.asarray(np.sqrt(squares / freedom))


def mass_of(landing: Landing) -> float:
    """Mass of the rider [kg]."""
    return landing.weight / G
