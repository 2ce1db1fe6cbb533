"""What the tissues bore: loads of knee, calf tendon and lower back over the landing, their impulses and peaks.

Impulses stand first: peaks of a landing's impact are not to explain chronic overuse (Bisseling RW, Hof AL (2006)
J Biomech 39:2438). Every load is a lower bound, because muscles that work against each other are not seen.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from jointload.body.angles import joint_angles
from jointload.intake.recording import Array
from jointload.landing.landed import Landing, Measure, Result, Sided, Unsided, whole_window
from jointload.landing.measures.load_measures import along
from jointload.landing.measures.lower_back import lower_back
from jointload.landing.span import Span
from jointload.loads.tissue.achilles import achilles_force
from jointload.loads.tissue.knee import knee_tissue, known_flexion, measured_flexion
from jointload.loads.tissue.lumbar import disc_loads
from jointload.loads.tissue.spreads import Factors, drawn, likeliest
from jointload.modeldata import load_model
from jointload.numerics.rotations import rotate_back
from jointload.numerics.signals import zero_lag_lowpass

DRAWS, SEED = 400, 7
"""Of the tissue's own numbers (choice: the ends of 95 % settle within 2 % of the load)."""
ONE_SIDE = 0.95
"""Of the draws on one side of the value that its end holds: sources give a likeliest number and ends, not how many
persons lie on either side, so that each side is judged for itself."""

Reduction = Callable[[Span, Array, float], Array]


def side_series(landing: Landing, side: str, window: slice, factors: Factors) -> dict[str, Array]:
    """Tissue loads of one leg over a window of frames, (W,) or with drawn factors or a landing's draws (D, W), SI
    units."""
    loads, angle = landing.loads, _anatomical_angles(landing, side)
    knee = knee_tissue(
        loads.of(f"{side}_knee", "flexion")[..., window],
        loads.of(f"{side}_knee", "adduction")[..., window],
        angle["knee"][..., window],
        -along(landing, f"{side}_knee", f"{side}_shank")[..., window],
        factors,
    )
    moment = loads.of(f"{side}_ankle", "dorsiflexion")[..., window]
    return {
        "patellofemoral_force": knee.patellofemoral,
        "patellofemoral_stress": knee.patellofemoral_stress,
        "tibiofemoral_force": knee.compression,
        "tibiofemoral_medial_force": knee.medial,
        "tibiofemoral_lateral_force": knee.lateral,
        "achilles_force": achilles_force(moment, angle["ankle"][..., window], factors),
    }


def body_series(landing: Landing, factors: Factors) -> dict[str, Array]:
    """Loads of the disc L5/S1 over the landing, (W,) or with drawn factors (D, W) [N]."""
    back = lower_back(landing)
    force_pelvis = rotate_back(landing.poses.of("pelvis")[0][..., whole_window(landing)], back.force)
    compression, shear = disc_loads(-back.components[0], force_pelvis, factors)
    return {"l5s1_disc_force": compression, "l5s1_disc_shear": shear}


def _anatomical_angles(landing: Landing, side: str) -> dict[str, Array]:
    """(F,) [rad] of knee flexion and ankle dorsiflexion from the straight, square joint, whatever zero is shown."""
    angles = landing.angles
    if angles.zero != "anatomical":
        cutoff = landing.settings.cutoff if landing.settings.smoothing == "after" else None
        angles = joint_angles(landing.poses, landing.body, "anatomical")
        angles = replace(angles, angle=zero_lag_lowpass(angles.angle, cutoff, landing.poses.rate))
    return {"knee": angles.of(f"{side}_knee", "flexion"), "ankle": angles.of(f"{side}_ankle", "dorsiflexion")}


def _integral(span: Span, series: Array, dt: float) -> Array:
    return span.integral(series, dt)


def _peak(span: Span, series: Array, dt: float) -> Array:
    return span.peak(series)


SIDE_LOADS: dict[str, tuple[str, Reduction]] = {
    "tibiofemoral_force_impulse": ("tibiofemoral_force", _integral),
    "tibiofemoral_medial_force_impulse": ("tibiofemoral_medial_force", _integral),
    "patellofemoral_force_impulse": ("patellofemoral_force", _integral),
    "achilles_force_impulse": ("achilles_force", _integral),
    "tibiofemoral_force_peak": ("tibiofemoral_force", _peak),
    "tibiofemoral_medial_force_peak": ("tibiofemoral_medial_force", _peak),
    "tibiofemoral_lateral_force_peak": ("tibiofemoral_lateral_force", _peak),
    "patellofemoral_force_peak": ("patellofemoral_force", _peak),
    "patellofemoral_stress_peak": ("patellofemoral_stress", _peak),
    "achilles_force_peak": ("achilles_force", _peak),
}
BODY_LOADS: dict[str, tuple[str, Reduction]] = {
    "l5s1_disc_force_impulse": ("l5s1_disc_force", _integral),
    "l5s1_disc_force_peak": ("l5s1_disc_force", _peak),
    "l5s1_disc_shear_peak": ("l5s1_disc_shear", _peak),
}
"""Quantity -> the series it is read from, and how."""


MEDIAL_SHARE = "tibiofemoral_medial_share"
TISSUE_MEASURES = (*SIDE_LOADS, MEDIAL_SHARE, *BODY_LOADS)


def tissue_value(landing: Landing, name: str, side: str, factors: Factors) -> Array:
    """A quantity of TISSUE_MEASURES [SI], () or with drawn factors (D,); those of the body whatever the side."""
    side = "" if name in BODY_LOADS else side
    return _read(_series(landing, side, factors), name, landing.span(side), 1.0 / landing.poses.rate)


def _series(landing: Landing, side: str, factors: Factors) -> dict[str, Array]:
    """Loads over the landing of one leg, or of the body for ''."""
    return side_series(landing, side, landing.window(side), factors) if side else body_series(landing, factors)


@lru_cache(maxsize=4)
def _likely_series(landing: Landing, side: str) -> dict[str, Array]:
    return _series(landing, side, likeliest())


def _read(series: dict[str, Array], name: str, span: Span, dt: float) -> Array:
    if name == MEDIAL_SHARE:
        medial, whole = (span.integral(series[f"tibiofemoral_{part}force"], dt) for part in ("medial_", ""))
        return np.where(whole > 0, medial / np.where(whole > 0, whole, 1.0), np.nan)
    of, reduction = (BODY_LOADS if name in BODY_LOADS else SIDE_LOADS)[name]
    return reduction(span, series[of], dt)


def _likely(landing: Landing, name: str, side: str) -> Array:
    return _read(_likely_series(landing, side), name, landing.span(side), 1.0 / landing.poses.rate)


def side_load(name: str) -> Sided:
    def value(landing: Landing, side: str) -> Result:
        found = _likely(landing, name, side)
        return found, _lifted(landing, side, found) if name == MEDIAL_SHARE else _deep(name, landing, side)

    return value


def body_load(name: str) -> Unsided:
    return lambda landing: (_likely(landing, name, ""), lower_back(landing).note)


def _lifted(landing: Landing, side: str, share: Array) -> str:
    """Why the medial side bears more than the whole knee."""
    if landing.drawn is not None or not share > 1.0:
        return ""
    series = _likely_series(landing, side)
    up = float(np.mean((series["tibiofemoral_lateral_force"] == 0.0) & (series["tibiofemoral_force"] > 0.0)))
    return (
        f"above 1: the lateral side lifts off for {100 * up:.0f} % of the landing; what holds it, ligament or muscle, "
        "presses the medial side beyond the knee's whole force; without such a hold it would be 1 at most"
    )


def _deep(name: str, landing: Landing, side: str) -> str:
    """Why a load behind the kneecap is unknown, or bounded alone: how far the loaded knee bends."""
    if landing.drawn is not None or not name.startswith("patellofemoral"):
        return ""
    flexion = np.rad2deg(_anatomical_angles(landing, side)["knee"][landing.window(side)])
    low, high = known_flexion()
    moment = landing.loads.of(f"{side}_knee", "flexion")[landing.window(side)]
    with np.errstate(invalid="ignore"):
        outside = ((flexion < low) | (flexion > high)) & (moment > 0)
        bounded = (flexion > measured_flexion()) & (moment > 0)
    if not np.isfinite(moment).all() or not (outside | bounded).any():
        return ""
    if not outside.any():
        beyond = load_model("tissue", "knee").content["beyond"]
        return (
            f"a bound from both sides, as the loaded knee bends to {flexion[bounded].max():.0f} deg: beyond "
            f"{measured_flexion():.0f} deg {beyond['text']}"
        )
    worst = flexion[outside][np.argmax(np.abs(flexion[outside] - 0.5 * (low + high)))]
    return f"the loaded knee bends to {worst:.0f} deg and its arm is known from {low:.0f} to {high:.0f} deg alone"


def with_tissue_spreads(measures: tuple[Measure, ...], landing: Landing) -> tuple[Measure, ...]:
    """The measures with low and high of every tissue load: 95 % of the draws of the tissue's own numbers (arms, areas,
    slopes) to either side of it, everything measured held as it is."""
    known = [m for m in measures if m.quantity in TISSUE_MEASURES and np.isfinite(m.value)]
    if not known:
        return measures
    factors, dt = drawn(DRAWS, SEED), 1.0 / landing.poses.rate
    series = {side: _series(landing, side, factors) for side in {m.side for m in known}}
    values = np.stack(
        [np.broadcast_to(_read(series[m.side], m.quantity, landing.span(m.side), dt), DRAWS) for m in known], axis=1
    )
    low, high = tissue_ends(np.array([m.value for m in known]), values)
    ends = dict(zip(((m.quantity, m.side) for m in known), zip(low.tolist(), high.tolist(), strict=True), strict=True))
    return tuple(m.widened(*ends[m.quantity, m.side]) if (m.quantity, m.side) in ends else m for m in measures)


def tissue_ends(value: Array | float, draws: Array) -> tuple[Array, Array]:
    """Ends that hold ONE_SIDE of the draws (D, ...) below a value (...) and of those above it; NaN where it is."""
    every = np.concatenate([np.asarray(value, dtype=float)[None], draws])
    return _quantile(every, every <= value, 1.0 - ONE_SIDE), _quantile(every, every >= value, ONE_SIDE)


def _quantile(every: Array, counted: NDArray[np.bool_], share: float) -> Array:
    """(...) quantile of those of (D, ...) numbers that are counted, linear between two of them; NaN where none is."""
    ordered = np.sort(np.where(counted, every, np.inf), axis=0)
    place = share * np.maximum(counted.sum(axis=0) - 1, 0)
    below = np.floor(place).astype(int)
    low, high = (np.take_along_axis(ordered, at[None], axis=0)[0] for at in (below, np.ceil(place).astype(int)))
    with np.errstate(invalid="ignore"):
        between = low + (high - low) * (place - below)
    return np.where(counted.any(axis=0), between, np.nan)
