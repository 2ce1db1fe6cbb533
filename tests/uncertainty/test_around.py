"""Draws around the landing are draws of the whole recording: the same numbers from a part of its frames."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from recorded import published_session

from jointload.analysis import Analysis, analyse
from jointload.intake.recording import Array, Recording
from jointload.landing.certainty import Key
from jointload.settings import Settings
from jointload.uncertainty import pour as pouring
from jointload.uncertainty.around import NearLanding, around_landing
from jointload.uncertainty.draws import Streams
from jointload.uncertainty.pour import pour
from jointload.uncertainty.spreads import load_sources

DISTURBED_NOWHERE = ("placement", "joint_centre", "inertia", "plate_force", "pressure_centre", "cutoff", "time_offset")
"""Inputs whose draws do not depend on how many frames there are."""
FITTED_IN_FLIGHT, ONE_FRAME = ("fall_acceleration", "touchdown_speed", "drop_height"), 2e-3
"""A fit over a stretch of time takes one frame more or less where its end falls upon a frame, by rounding."""


def prolonged(trial: Recording, before: float, after: float, times: int = 1) -> Recording:
    """The trial `times` times over, with so many seconds of its first and last sample around it."""
    step = trial.samples_per_frame
    frames = [round(seconds * trial.point_rate) for seconds in (before, after)]

    def longer(series: Array, lengths: list[int]) -> Array:
        series = np.concatenate([series] * times, axis=-1)
        return np.pad(series, [(0, 0)] * (series.ndim - 1) + [tuple(lengths)], mode="edge")

    whole = slice(0, trial.frames * step)
    plates = tuple(
        replace(
            plate, **{n: longer(getattr(plate, n)[:, whole], [step * f for f in frames]) for n in ("force", "moment")}
        )
        for plate in trial.plates
    )
    return replace(trial, markers=longer(trial.markers, frames), plates=plates)


def in_longer(
    flat: Analysis, before: float, after: float, times: int = 1, settings: Settings | None = None
) -> Analysis:
    session = replace(flat.session, trial=prolonged(flat.session.trial, before, after, times))
    return analyse(session, settings, variants=False)


def undrawn(analysis: Analysis) -> dict[Key, float]:
    poured = pour(analysis.session, analysis.landing, {}, Streams.of(analysis.session, 0), 1)
    return {key: float(samples[0]) for key, samples in poured.samples.items()}


def assert_nominal(analysis: Analysis) -> None:
    found = undrawn(analysis)
    for measure in analysis.measures:
        key = (measure.quantity, measure.side)
        if not measure.word and key in found:
            rtol = ONE_FRAME if measure.quantity in FITTED_IN_FLIGHT else 1e-8
            np.testing.assert_allclose(found[key], measure.value, rtol=rtol, atol=1e-8, err_msg=str(key))


@pytest.mark.parametrize(
    ("before", "after", "times", "settings"),
    [
        (0.0, 20.0, 1, Settings()),
        (15.0, 5.0, 1, Settings(smoothing="fixed", cutoff=8.0)),
        (5.0, 5.0, 2, Settings(landing=2)),
        (5.0, 5.0, 1, Settings(smoothing="after")),
        (6.0, 6.0, 1, Settings(smoothing="fixed", cutoff=None)),
    ],
    ids=["stands long after", "hangs long before", "second landing", "smoothed after", "not smoothed"],
)
def test_a_part_of_a_long_recording_gives_its_numbers(
    flat: Analysis, before: float, after: float, times: int, settings: Settings
) -> None:
    long = in_longer(flat, before, after, times, settings)
    near = around_landing(long.landing, settings.cutoff)
    kept, whole = near.frames.stop - near.frames.start, long.session.trial.frames
    assert kept < 0.4 * whole and kept == near.landing.recording.frames
    assert_nominal(long)


def test_draws_of_a_part_are_draws_of_the_whole(flat: Analysis, monkeypatch: pytest.MonkeyPatch) -> None:
    long = in_longer(flat, 4.0, 4.0)
    sources, streams = load_sources(DISTURBED_NOWHERE), Streams.of(long.session, 0)
    part = pour(long.session, long.landing, sources, streams, 20)

    def whole(landing, lowest_cutoff):
        return NearLanding(slice(0, landing.recording.frames), landing)

    monkeypatch.setattr(pouring, "around_landing", whole)
    everything = pour(long.session, long.landing, sources, streams, 20)
    for key, samples in everything.samples.items():
        rtol = ONE_FRAME if key[0] in FITTED_IN_FLIGHT else 1e-7
        np.testing.assert_allclose(part.samples[key], samples, rtol=rtol, atol=1e-7, err_msg=str(key))
    window = long.landing.window("right")
    for name in ("angle", "moment"):
        np.testing.assert_allclose(
            getattr(part, name)[..., window], getattr(everything, name)[..., window], rtol=1e-5, atol=1e-9
        )
    assert np.isnan(part.moment[..., 0]).all() and part.moment.shape == everything.moment.shape


def test_a_filter_that_sees_too_little_would_be_noticed(flat: Analysis, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without the frames that the filters need, and cut at the touch-down, numbers differ."""
    from jointload.uncertainty import around

    long = in_longer(flat, 4.0, 4.0)
    monkeypatch.setattr(around, "PADDING_SECONDS", 0.0)
    monkeypatch.setattr(around, "FALL_SECONDS", 0.02)
    with pytest.raises(AssertionError):
        assert_nominal(long)


def test_a_step_of_a_long_run_gives_its_numbers(shared_c3d: Path) -> None:
    """Treadmill at 3.5 m/s, 4,500 frames, one plate under both feet in turn: Fukuchi et al (2017) PeerJ 5:e3298."""
    analysis = analyse(published_session(shared_c3d, "run"), variants=False)
    near = around_landing(analysis.landing, 14.0)
    assert near.landing.recording.frames < 0.1 * analysis.landing.recording.frames
    assert_nominal(analysis)
