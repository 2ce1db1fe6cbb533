"""How long the report of a 300-frame landing takes after its analysis, against bare axes drawn by matplotlib.

python tests/benchmarks/report.py
"""

from __future__ import annotations

import io
import time
from collections.abc import Callable

from jointload.report.figures.sheet import PANEL_HEIGHT, PANEL_WIDTH
from matplotlib.figure import Figure

from jointload.analysis import analyse
from jointload.insole.fitting.whatif import what_if
from jointload.insole.shape.geometry import parse_wedge
from jointload.intake.rider import Rider
from jointload.intake.session import Session
from jointload.report.page.page import render_page
from jointload.synthetic.landing import LandingSpec, simulate_landing
from jointload.synthetic.measurement import as_recording
from jointload.synthetic.standing import label_map, static_recording
from jointload.uncertainty.intervals import with_intervals

RIDER = Rider("S1", 70.0, 1.76, "m")
SETTLING = 0.92
"""Seconds after touch-down that make a recording of 300 frames."""
REPEATS = 3
DRAWS = 100
"""Of the intervals; they are analysis, not report."""


def seconds(work: Callable[[], object]) -> float:
    """Least time of the processor over REPEATS, after one that warms up."""
    work()
    out = []
    for _ in range(REPEATS):
        start = time.process_time()
        work()
        out.append(time.process_time() - start)
    return min(out)


def bare_axes(number: int) -> None:
    """So many empty axes, each an SVG of its own, of the size of a panel of the page."""
    for _ in range(number):
        figure = Figure(figsize=(PANEL_WIDTH, PANEL_HEIGHT))
        figure.add_axes((0.15, 0.2, 0.8, 0.65))
        figure.savefig(io.BytesIO(), format="svg")


def main() -> None:
    trial = as_recording(simulate_landing(LandingSpec(RIDER, settling=SETTLING)))
    analysis = with_intervals(analyse(Session(trial, static_recording(RIDER), label_map(), RIDER)), DRAWS)
    whatif = what_if(analysis, parse_wedge("medial:4", "right"), draws=50)
    start = time.process_time()
    page = render_page(analysis, whatif)
    first = time.process_time() - start
    again = seconds(lambda: render_page(analysis, whatif))
    number = page.count("<img ")
    reference = seconds(lambda: bare_axes(number))
    print(f"frames {trial.frames}, pictures {number}, page {len(page) / 1e6:.1f} MB")
    print(f"page {first:.2f} s the first time, {again:.2f} s again; {number} bare axes {reference:.2f} s")
    print(f"ratio {again / reference:.2f}")


if __name__ == "__main__":
    main()
