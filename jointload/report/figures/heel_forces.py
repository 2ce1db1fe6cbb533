"""The force under each heel from its touch-down on."""

from __future__ import annotations

import numpy as np

from jointload.analysis import Analysis
from jointload.report.figures.axis import around
from jointload.report.figures.landing_curves import BAND_COLOUR
from jointload.report.figures.panel import SIDE_COLOURS, Band, Key, Panel, Rule, Shape, Sheet, side_key, side_line
from jointload.report.figures.soles import foot_name


def heel_forces(analysis: Analysis) -> Sheet | None:
    """Both heels in body weights with their 95 % interval; None where neither is known."""
    feet = [foot for foot in analysis.feet if foot.time.size]
    if not feet:
        return None
    weight, stance = analysis.landing.weight, analysis.session.rider.stance
    shapes: list[Shape] = [Rule(0.0)]
    told = []
    for foot in feet:
        low, middle, high = foot.heel_force / weight
        time = 1e3 * foot.time
        shapes += [Band(time, low, high, SIDE_COLOURS[foot.side]), side_line(foot.side, time, middle)]
        most = int(np.argmax(middle))
        name = foot_name(foot.side, stance)
        told.append(
            f"{name} at most {middle[most]:.2f} body weights {time[most]:.0f} ms after it touched, {foot.basis}"
        )
    panel = Panel(
        "Force under the heel", "body weights", f"Force under the heel: {'; '.join(told)}.",
        around([1e3 * foot.time for foot in feet], "ms after the foot touched", room=0.0),
        around([foot.heel_force / weight for foot in feet]), tuple(shapes),
    )  # fmt: skip
    keys = [side_key(foot.side, foot_name(foot.side, stance)) for foot in feet]
    return Sheet((panel,), (*keys, Key("95 % interval", BAND_COLOUR, width=8)))
