"""How certain the numbers are: the smallest change this recording could show, and what makes the intervals wide."""

from __future__ import annotations

from html import escape

import numpy as np

from jointload.analysis import Analysis
from jointload.landing.certainty import Certainty, Key
from jointload.other_choices import MAIN_QUANTITIES
from jointload.report.words import html
from jointload.report.words.cells import linked, unit_text
from jointload.report.words.quantities import SIDE_WORDS, number_text, quantity, shown
from jointload.report.words.section import Reported
from jointload.uncertainty.spreads import load_sources

SHOWN = (*MAIN_QUANTITIES, "knee_adduction_impulse", "rearfoot_eversion_peak", "ankle_inversion_moment_peak")
LEAST_SHOWN = 0.10
"""Inputs that make less than this share of a variance are not named beside a number."""


def certainty_section(reported: Reported) -> str:
    certainty = reported.analysis.certainty
    if certainty is None:
        return html.paragraph("No intervals were asked for: a number without one says less than it seems to.")
    return (
        html.paragraph(_what_an_interval_is(certainty))
        + html.paragraph(
            "It does not hold what the low-pass filter takes off a short peak, what a person does differently in the "
            "next landing, or what no input here can tell (a wrong label, a slipped marker). Record a condition three "
            "times or more to see the person's own variation."
        )
        + "<h3>The smallest change this recording could show</h3>"
        + html.paragraph(
            "A second recording of this rider, with the same markers in place, differs by less than this from the "
            "errors of recording alone in 95 of 100 pairs. A smaller change is not distinguishable from none. It is "
            "smaller than the interval of the number itself, because markers, joint centres and inertia err alike in "
            "both recordings."
        )
        + _changes_table(reported.analysis, certainty)
        + "<h3>What makes the intervals wide</h3>"
        + html.paragraph(_inputs_text(certainty))
        + _inputs_table(reported.analysis, certainty)
    )


def _what_an_interval_is(certainty: Certainty) -> str:
    return (
        f"The small print below a number is its 95 % interval. Uncertain inputs were drawn {certainty.draws} times "
        f"(seed {certainty.seed}) from their spreads and the whole analysis was made again; intervals are 1.96 root "
        "mean squares of how far the draws lie from the number, bands in the figures 1.96 standard deviations of the "
        "draws, to either side. From "
        f"{certainty.draws_needed()} draws on, 95 of 100 widths stay within a tenth of what they are now."
        f"{_taken_as_exact(certainty)}"
    )


def _taken_as_exact(certainty: Certainty) -> str:
    """A warning that names the inputs that were not drawn, empty where all were."""
    drawn = {each.name for each in certainty.inputs}
    exact = [source.title for name, source in load_sources().items() if name not in drawn]
    if not exact:
        return ""
    return f" Taken as exact, so that the intervals are too narrow: {', '.join(exact)}."


def _changes_table(analysis: Analysis, certainty: Certainty) -> str:
    rows = []
    for name in SHOWN:
        what = quantity(name)
        for side in SIDE_WORDS:
            key = (name, side)
            if not np.isfinite(certainty.values.get(key, np.nan)):
                continue
            value, low, high = (
                number_text(shown(v, what, analysis.landing.weight), what.unit)
                for v in (certainty.values[key], *certainty.interval(key))
            )
            change = _digit_more(shown(certainty.detectable_change(key), what, analysis.landing.weight), what.unit)
            rows.append(
                (linked(what), SIDE_WORDS[side], value, f"{low} to {high}", change, unit_text(what))
                + (escape(_largest_shares(certainty, key)),)
            )
    head = ("Quantity", "Side", "Value", "95 % interval", "Smallest change", "Unit", "Mostly from")
    return html.table(head, rows, numeric=(2, 3, 4))


def _digit_more(value: float, unit: str) -> str:
    """A number that is not nothing never reads as 0."""
    text = number_text(value, unit)
    return number_text(value, unit, extra=1) if value > 0.0 and not text.strip("0.") else text


def _largest_shares(certainty: Certainty, key: Key) -> str:
    titles = {each.name: each.title for each in certainty.inputs}
    total = certainty.variance(key)
    sampling = min(certainty.sampling.get(key, 0.0) / total, 1.0) if total else 0.0
    shares = {titles[name]: (1.0 - sampling) * share for name, share in certainty.shares(key).items()}
    shares["the time from one force sample to the next"] = sampling
    largest_first = sorted(shares.items(), key=lambda item: -item[1])
    return ", ".join(f"{title} {100 * share:.0f}\u00a0%" for title, share in largest_first if share >= LEAST_SHOWN)


def _inputs_text(certainty: Certainty) -> str:
    sums = [certainty.summed(key) for key in certainty.samples]
    low, middle, high = np.quantile([s for s in sums if np.isfinite(s)] or [np.nan], (0.1, 0.5, 0.9))
    return (
        "An input's share is that of the variance it makes alone; where joint angles or peaks answer "
        f"unevenly the shares need not add up: over all numbers their sum is {middle:.2f} of the variance of all "
        f"inputs together ({low:.2f} to {high:.2f} for eight of ten numbers). A laboratory gains most "
        "by the first row for its moments, and by the largest number of another column for the numbers of that kind."
    )


def _inputs_table(analysis: Analysis, certainty: Certainty) -> str:
    groups = {"Angles": "deg", "Moments and impulses": "Nm", "Forces": "BW"}
    keys = {
        heading: [key for key in certainty.samples if quantity(key[0]).unit.startswith(unit) and certainty.shares(key)]
        for heading, unit in groups.items()
    }
    rows = []
    for each in certainty.inputs:
        shares = [_mean_share(certainty, chosen, each.name) for chosen in keys.values()]
        again = f"{100 * (1 - each.new_share):.0f} %"
        rows.append((escape(each.title), *(f"{100 * s:.0f} %" if np.isfinite(s) else "–" for s in shares), again))
    order = [_mean_share(certainty, keys["Moments and impulses"], each.name) for each in certainty.inputs]
    rows = [rows[k] for k in np.argsort(-np.nan_to_num(order), kind="stable")]
    return html.table(("Input", *groups, "Same in the next recording"), rows, numeric=range(1, 5))


def _mean_share(certainty: Certainty, keys: list[Key], name: str) -> float:
    return float(np.mean([certainty.shares(key)[name] for key in keys])) if keys else float("nan")
