"""An analysis with its intervals, and the change between two analyses of one rider."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

import numpy as np

from jointload.analysis import Analysis
from jointload.errors import SettingError, expected_found
from jointload.intake.recording import Array
from jointload.landing.certainty import Certainty, Change, Key, UncertainInput, change_between, variance_of
from jointload.landing.checks.split_measures import FOLLOWS_LOADS
from jointload.landing.landed import Measure
from jointload.landing.measures.tissue_measures import TISSUE_MEASURES
from jointload.uncertainty.draws import FEW, Streams
from jointload.uncertainty.pour import Poured, Told, pour, quiet
from jointload.uncertainty.shares import regressed_variances
from jointload.uncertainty.spreads import SOURCES, Source, load_sources

DRAWS = 500
ALONE, FEWEST_ALONE = 0.08, 30
"""Share of the draws, and least number, that an input gets alone for its share of the variance, where regression on
what was drawn cannot tell it."""
FEWEST_REGRESSED = 400
"""Draws from which on the shares of the inputs that are FEW numbers are told by regression."""
TIMES = ("flight_time", "time_to_stabilisation", "time_to_peak", "time_to_braking_peak")
"""Quantities no better known than the time from one force sample to the next."""
Ends = tuple[float, float]
"""Low and high of a number."""


def with_intervals(
    analysis: Analysis,
    draws: int = DRAWS,
    seed: int = 0,
    inputs: Iterable[str] = SOURCES,
    told: Told = quiet,
    shares: bool = True,
    threads: int = 1,
) -> Analysis:
    """The analysis with low and high of every number, from draws of the named uncertain inputs.

    draws : 0 leaves the analysis as it is. Recordings of one rider analysed with the same draws and seed can be
    compared by `changes`. told(n) is called after every n of `total_draws(draws, inputs, shares)`.
    shares : False leaves out the share of each input in the variance of each number
    threads : on which draws are poured; the numbers are the same whatever there are
    """
    if draws == 0:
        return analysis
    if draws < 2:
        raise SettingError(expected_found("draws", "0, or 2 and more", draws, "the settings", "choose 500"))
    sources = load_sources(inputs)
    certainty = _certainty(analysis, sources, draws, seed, told, shares, threads)
    by_chance = TISSUE_MEASURES if analysis.landing.split is None else ()
    measures = tuple(_bounded(m, certainty, m.quantity in by_chance) for m in analysis.measures)
    return replace(analysis, measures=measures, certainty=certainty)


def total_draws(draws: int, inputs: Iterable[str] = SOURCES, shares: bool = True) -> int:
    """How many draws `with_intervals` makes in all, for a progress bar."""
    alone = _drawn_alone(draws, inputs) if shares else ()
    return draws + _alone(draws) * len(alone) if draws else 0


def changes(before: Analysis, after: Analysis) -> tuple[Change, ...]:
    """The change of every number from one analysis of a rider to another, with its interval.

    What both recordings share (markers where they sat, joint centres, inertia, plates) is the same in both, draw by
    draw, and drops out. SettingError when the two are not drawn alike or not of one rider.
    """
    first, second = _drawn(before), _drawn(after)
    riders = before.session.rider.id, after.session.rider.id
    if riders[0] != riders[1]:
        found = " and ".join(riders)
        raise SettingError(expected_found("change", "two landings of one rider", found, "the analyses", "pair others"))
    ways = [analysis.settings.smoothing for analysis in (before, after)]
    if ways[0] != ways[1]:
        found = " and ".join(ways)
        raise SettingError(expected_found("change", "one --smoothing for both", found, "the analyses", "choose one"))
    alike = [(c.draws, c.seed, tuple(each.name for each in c.inputs)) for c in (first, second)]
    if alike[0] != alike[1]:
        found = " and ".join(f"{n} draws of seed {seed}, {len(names)} inputs" for n, seed, names in alike)
        advice = "analyse both with the same draws, seed and inputs"
        raise SettingError(expected_found("change", "two landings drawn alike", found, "the analyses", advice))
    keys = [(m.quantity, m.side) for m in before.measures if not m.word and (m.quantity, m.side) in second.samples]
    told = tuple(change_between(key, first, second) for key in keys if key in first.samples)
    if before.landing.split is None and after.landing.split is None:
        return told
    ends = [{(m.quantity, m.side): (m.low, m.high) for m in one.measures} for one in (before, after)]
    return tuple(_of_shared_plates(change, *ends) for change in told)


def _of_shared_plates(change: Change, before: Mapping[Key, Ends], after: Mapping[Key, Ends]) -> Change:
    """The feet may have shared their plate differently in either landing: nothing of that drops out."""
    key = (change.quantity, change.side)
    if change.quantity not in FOLLOWS_LOADS or not np.isfinite([*before[key], *after[key]]).all():
        return change
    (first_low, first_high), (second_low, second_high) = before[key], after[key]
    return replace(change, low=second_low - first_high, high=second_high - first_low)


def detectable_changes(analysis: Analysis) -> dict[Key, float]:
    """(quantity, side) -> smallest change [SI] that a second recording of this rider could show, NaN where unknown."""
    certainty = _drawn(analysis)
    return {key: certainty.detectable_change(key) for key in certainty.samples}


def _drawn(analysis: Analysis) -> Certainty:
    if analysis.certainty is None:
        where, advice = analysis.session.trial.name, "analyse it with draws"
        raise SettingError(expected_found("change", "an analysis with intervals", "one without", where, advice))
    return analysis.certainty


def _alone(draws: int) -> int:
    return max(FEWEST_ALONE, round(ALONE * draws))


def _drawn_alone(draws: int, inputs: Iterable[str]) -> tuple[str, ...]:
    """Inputs whose share of the variance needs draws of their own."""
    return tuple(name for name in inputs if draws < FEWEST_REGRESSED or name not in FEW)


def _variances(
    analysis: Analysis,
    sources: Mapping[str, Source],
    streams: Streams,
    poured: Poured,
    draws: int,
    told: Told,
    threads: int,
) -> dict[str, dict[Key, float]]:
    """Input -> (quantity, side) -> variance it makes alone."""
    out, alone = {}, _drawn_alone(draws, sources)
    for name in alone:
        one = pour(analysis.session, analysis.landing, {name: sources[name]}, streams, _alone(draws), told, threads)
        out[name] = {key: variance_of(samples) for key, samples in one.samples.items()}
    few = {name: rows for name, rows in poured.numbers.items() if name not in alone}
    return out | (regressed_variances(poured.samples, few) if few else {})


def _certainty(
    analysis: Analysis, sources: Mapping[str, Source], draws: int, seed: int, told: Told, shares: bool, threads: int
) -> Certainty:
    session, landing = analysis.session, analysis.landing
    streams = Streams.of(session, seed)
    poured = pour(session, landing, sources, streams, draws, told, threads)
    samples = _timed(poured.samples, streams, landing.contact.fast_rate)
    variances = _variances(analysis, sources, streams, poured, draws, told, threads) if shares else {}
    inputs = tuple(
        UncertainInput(name, source.title, variances.get(name, {}), 1.0 - source.repeatable)
        for name, source in sources.items()
    )
    values = {(measure.quantity, measure.side): measure.value for measure in analysis.measures}
    sampling = {key: 1.0 / (12.0 * landing.contact.fast_rate**2) for key in samples if key[0] in TIMES}
    return Certainty(draws, seed, inputs, values, samples, poured.angle, poured.moment, sampling)


def _timed(samples: Mapping[Key, Array], streams: Streams, rate: float) -> dict[Key, Array]:
    """The samples with those of times spread over the one force sample that a time is read from."""
    out = dict(samples)
    for key in samples:
        if key[0] in TIMES:
            chance = streams.generator(Source("sampling", "", "", "recording", 0.0, {}), "recording", " ".join(key))
            out[key] = samples[key] + (chance.random(samples[key].size) - 0.5) / rate
    return out


def _bounded(measure: Measure, certainty: Certainty, by_chance: bool) -> Measure:
    """by_chance : whether the interval that a measure has already is one of chance, not of choices or bounds"""
    key = (measure.quantity, measure.side)
    if measure.word or key not in certainty.samples or not np.isfinite(measure.value):
        return measure
    low, high = certainty.interval(key)
    if np.isfinite(low):
        return measure.doubted(low, high) if by_chance else measure.widened(low, high)
    lost = int(np.count_nonzero(~np.isfinite(certainty.samples[key])))
    which = "interval of other causes alone" if np.isfinite(measure.low) else "no interval"
    reason = f"{which}: {lost} of {certainty.draws} draws do not give this number"
    return replace(measure, note="; ".join(filter(None, (measure.note, reason))))
