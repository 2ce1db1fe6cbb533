"""Tissue loads over the landing with the range of the tissue's own numbers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from jointload.analysis import Analysis
from jointload.intake.recording import Array
from jointload.landing.landed import Landing, whole_window
from jointload.landing.measures.tissue_measures import DRAWS, SEED, body_series, side_series, tissue_ends
from jointload.loads.tissue.spreads import Factors, likeliest
from jointload.loads.tissue.spreads import drawn as drawn_factors
from jointload.modeldata import load_model
from jointload.report.figures.axis import around
from jointload.report.figures.landing_curves import BAND_COLOUR, shown_span, time_axis, zero_of
from jointload.report.figures.panel import (
    NARROW,
    SIDE_COLOURS,
    Band,
    Key,
    Panel,
    Rule,
    Shape,
    Sheet,
    Words,
    side_key,
    side_line,
)
from jointload.report.words.quantities import SIDE_WORDS, number_text

LEG_PANELS = {
    "tibiofemoral_force": ("Knee, thigh on shank", "pressing +"),
    "tibiofemoral_medial_force": ("Knee, medial side alone", "pressing +"),
    "patellofemoral_force": ("Back of the kneecap", "pressing +"),
    "achilles_force": ("Achilles tendon", "pulling +"),
}
BACK_PANELS = {
    "l5s1_disc_force": ("Disc L5/S1, pressed", "pressing +"),
    "l5s1_disc_shear": ("Disc L5/S1, sheared", "trunk driven forward +"),
}
LIMIT_DASHES = (3.0, 3.0)


@dataclass(frozen=True, eq=False)
class _Curve:
    """time [ms], the likeliest load and the ends of its range [BW], (W,) each."""

    time: Array
    likely: Array
    low: Array
    high: Array


def tissue_loads(analysis: Analysis) -> Sheet:
    """Every tissue load of both legs and of the lower back [BW]."""
    landing = analysis.landing
    curves = _leg_curves(landing) | _back_curves(landing)
    titles = LEG_PANELS | BACK_PANELS
    panels = [_panel(landing, name, *titles[name], curves[name]) for name in titles]
    keys = [side_key(side, SIDE_WORDS[side]) for side in landing.events.sides]
    keys += [side_key("", "whole body"), Key("95 % of arms, areas and slopes", BAND_COLOUR, width=8)]
    keys.append(Key("limits of lifting at work", "soft", LIMIT_DASHES, width=1.2))
    return Sheet(tuple(panels), tuple(keys), narrow=NARROW)


def lifting_limits() -> list[float]:
    """The published limits of lifting [N]."""
    limits = load_model("tissue", "lumbar").content["limits"]
    return [limits["action_limit"], limits["upper_limit"]]


def _both(
    landing: Landing, side: str, window: slice, likely: dict[str, Array], draws: dict[str, Array]
) -> dict[str, _Curve]:
    """Name -> curve of the likeliest loads (W,) in the range of drawn ones (D, W) [N]."""
    time = 1000 * (np.arange(window.start, window.stop) / landing.poses.rate - zero_of(landing, side))
    out = {}
    for name, series in likely.items():
        low, high = tissue_ends(series, draws[name]) if time.size else (series, series)
        out[name] = _Curve(time, *(each / landing.weight for each in (series, low, high)))
    return out


def _leg_curves(landing: Landing) -> dict[str, dict[str, _Curve]]:
    out: dict[str, dict[str, _Curve]] = {name: {} for name in LEG_PANELS}
    for side in landing.events.sides:
        window = landing.window(side)

        def series(factors: Factors, side: str = side, window: slice = window) -> dict[str, Array]:
            return side_series(landing, side, window, factors)

        found = _both(landing, side, window, series(likeliest()), series(drawn_factors(DRAWS, SEED)))
        for name in LEG_PANELS:
            out[name][side] = found[name]
    return out


def _back_curves(landing: Landing) -> dict[str, dict[str, _Curve]]:
    likely, draws = (body_series(landing, factors) for factors in (likeliest(), drawn_factors(DRAWS, SEED)))
    return {name: {"": curve} for name, curve in _both(landing, "", whole_window(landing), likely, draws).items()}


def _panel(landing: Landing, name: str, title: str, positive: str, curves: dict[str, _Curve]) -> Panel:
    left, right = shown_span(landing)
    shapes: list[Shape] = [Rule(0.0)]
    reached: list[Array | float] = [0.0]
    for side, curve in curves.items():
        seen = (curve.time >= left) & (curve.time <= right)
        time, likely, low, high = (each[seen] for each in (curve.time, curve.likely, curve.low, curve.high))
        shapes += [Band(time, low, high, SIDE_COLOURS[side]), side_line(side, time, likely)]
        reached += [likely, low, high]
    if not any(np.isfinite(curve.likely).any() for curve in curves.values()):
        shapes.append(Words("not known", 0.5, 0.5, anchor="middle", shared=(True, True)))
    if name == "l5s1_disc_force":
        for force in (force / landing.weight for force in lifting_limits()):
            shapes.append(Rule(force, dashes=LIMIT_DASHES))
            shapes.append(
                Words(f"{force * landing.weight:.0f} N, of lifting", 1.0, force, "soft", "end", (-3, 8), (True, False))
            )
            reached.append(force)
    told = f"{title}, in body weights. {_told(curves)}"
    return Panel(title, f"BW, {positive}", told, time_axis(landing), around(reached), tuple(shapes), timed=True)


def _told(curves: dict[str, _Curve]) -> str:
    texts = []
    for side, curve in curves.items():
        name = SIDE_WORDS[side].capitalize()
        if not np.isfinite(curve.likely).any():
            texts.append(f"{name}: not known")
            continue
        k = int(np.nanargmax(curve.likely))
        peak, low, high = (number_text(float(each[k]), "BW") for each in (curve.likely, curve.low, curve.high))
        texts.append(f"{name}: highest {peak} at {curve.time[k]:.0f} ms, in the range {low} to {high}")
    return ". ".join(texts) + "."
