"""The drawn staircase is the staircase: the same numbers without errors, the known answer with a known error."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from jointload.analysis import Analysis, analyse, descend
from jointload.body.calibration import BodyErrors, calibrate
from jointload.body.inertia import INERTIA_TABLES
from jointload.body.joint_centres import HIP_CENTRES
from jointload.intake.labels import LabelMap
from jointload.intake.recording import Recording
from jointload.landing.measures.every_measure import measure_landing
from jointload.numerics.signals import delayed
from jointload.settings import Settings, Smoothing
from jointload.uncertainty.draws import Streams
from jointload.uncertainty.pour import pour
from jointload.uncertainty.spreads import load_sources

EXACT = 1e-9
"""Share of a value: rounding in another order of the sums."""
CHOICES = (
    Settings(),
    Settings(smoothing="after", angle_zero="standing"),
    Settings(smoothing="fixed", cutoff=None, inertia="dumas_wojtusch_2018", landing_end="peak_force"),
    Settings(smoothing="fixed", cutoff=12.0, inertia="dempster_winter", hip_centre="davis_1991"),
)


@pytest.mark.parametrize("settings", CHOICES, ids=str)
def test_nothing_drawn_is_the_analysis_itself(flat: Analysis, settings: Settings) -> None:
    analysis = analyse(flat.session, settings, variants=False)
    poured = pour(flat.session, analysis.landing, {}, Streams.of(flat.session, 0), 3)
    for measure in analysis.measures:
        found = poured.samples[measure.quantity, measure.side]
        np.testing.assert_allclose(found, measure.value, rtol=EXACT, atol=1e-9, err_msg=measure.quantity)
    assert np.nanmax(poured.angle) < 1e-9


def _errors(labels: LabelMap, count: int) -> BodyErrors:
    rng = np.random.default_rng(3)
    names = [
        *labels.landmarks,
        *(f"{s}_{j}_centre" for j in ("hip", "knee", "ankle") for s in ("right", "left")),
        "l5s1",
    ]
    segments = [f"{s}_{part}" for part in ("foot", "shank", "thigh") for s in ("right", "left")] + ["pelvis"]
    return BodyErrors(
        draws=count,
        places={name: 0.005 * rng.standard_normal((3, count)) for name in names},
        inertia={
            name: (
                1.0 + 0.1 * rng.standard_normal(count),
                0.01 * rng.standard_normal((3, count)),
                1.0 + 0.1 * rng.standard_normal(count),
            )
            for name in segments
        },
    )


def _only(errors: BodyErrors, d: int) -> BodyErrors:
    return BodyErrors(
        draws=1,
        places={name: place[:, d : d + 1] for name, place in errors.places.items()},
        inertia={name: (m[d : d + 1], s[:, d : d + 1], r[d : d + 1]) for name, (m, s, r) in errors.inertia.items()},
    )


@pytest.mark.parametrize("table", INERTIA_TABLES)
def test_many_bodies_at_once_are_those_made_one_by_one(flat: Analysis, table: str) -> None:
    static, errors = flat.session.static, _errors(flat.session.labels, 4)
    together = calibrate(static, flat.session.labels, flat.landing.body.rider, inertia=table, errors=errors)
    for d in range(errors.draws):
        alone = calibrate(
            static, flat.session.labels, flat.landing.body.rider, inertia=table, errors=_only(errors, d)
        ).drawn(0)
        one = together.drawn(d)
        for name in alone.inertia:
            np.testing.assert_allclose(one.inertia[name].tensor, alone.inertia[name].tensor, rtol=1e-10)
            np.testing.assert_allclose(one.inertia[name].com, alone.inertia[name].com, atol=1e-12)
        for name, (segment, place) in alone.points.items():
            np.testing.assert_allclose(one.points[name][1], place, atol=1e-12, err_msg=f"{name} in {segment}")


@pytest.mark.parametrize("method", HIP_CENTRES)
def test_a_body_without_errors_is_the_fitted_body(flat: Analysis, method: str) -> None:
    static = flat.session.static
    plain = calibrate(static, flat.session.labels, flat.landing.body.rider, hip_centre=method)
    drawn = calibrate(
        static, flat.session.labels, flat.landing.body.rider, hip_centre=method, errors=BodyErrors(2, {}, {})
    ).drawn(1)
    for name, (_, place) in plain.points.items():
        np.testing.assert_allclose(drawn.points[name][1], place, atol=1e-12)
    for name, cluster in plain.clusters.items():
        np.testing.assert_allclose(drawn.clusters[name].local, cluster.local, atol=1e-12)


CUT = 1.5e-2
"""Share of a number by which it may move that the flesh hangs still where the poured part begins, and that gaps of the
joints are shared out as in the analysed landing: half a newton metre of the smallest moment, 42 Nm at the hip."""


@pytest.mark.parametrize(("smoothing", "rtol"), [("fixed", 1e-8), ("balanced", CUT)])
def test_a_drawn_body_gives_what_the_analysis_gives_with_that_body(
    flat: Analysis, smoothing: Smoothing, rtol: float
) -> None:
    """Placement and joint centres alone, each draw against the whole analysis with a body fitted with that error."""
    from jointload.uncertainty.draws import draw_inputs

    flat = analyse(flat.session, Settings(smoothing=smoothing), variants=False)
    sources, streams = load_sources(("placement", "joint_centre", "inertia")), Streams.of(flat.session, 0)
    landing, centre = flat.landing, sources["joint_centre"]
    together = dict.fromkeys(centre.content["meeting_mm"], 0.0)
    sources["joint_centre"] = replace(centre, content=centre.content | {"meeting_mm": together})
    poured = pour(flat.session, landing, sources, streams, 6)
    errors = draw_inputs(flat.session, landing, sources, streams, 6, 1).body
    for d in (0, 5):
        body = calibrate(flat.session.static, flat.session.labels, landing.body.rider, errors=_only(errors, d)).drawn(0)
        again, _ = descend(flat.session, body, landing.weight_on_plates, landing.settings)
        for measure in measure_landing(again):
            found = poured.samples[measure.quantity, measure.side][d]
            np.testing.assert_allclose(found, measure.value, rtol=rtol, atol=rtol, err_msg=measure.quantity)


def test_a_marker_moved_with_its_landmark_changes_no_pose(flat: Analysis) -> None:
    """The cluster keeps its shape whatever the landmark is: only the frame in it turns."""
    errors = BodyErrors(1, {"right_femur_epicondyle_lateral": np.array([[0.01], [0.0], [0.0]])}, {})
    body = calibrate(flat.session.static, flat.session.labels, flat.landing.body.rider, errors=errors).drawn(0)
    plain = flat.landing.body
    for name, cluster in plain.clusters.items():
        apart = np.linalg.norm(cluster.local[:, :1] - cluster.local, axis=0)
        moved = body.clusters[name].local
        np.testing.assert_allclose(np.linalg.norm(moved[:, :1] - moved, axis=0), apart, atol=1e-12)
    turned = body.offsets["right_thigh"][1] - plain.offsets["right_thigh"][1]
    assert np.abs(turned).max() < 1e-9
    assert np.abs(body.clusters["right_thigh"].local - plain.clusters["right_thigh"].local).max() > 1e-3


def test_a_plate_gain_scales_forces_and_leaves_body_weights(flat: Analysis) -> None:
    """Both plates wrong by one factor: the weight on them grows, a peak in body weights stays."""
    sources, streams = load_sources(("plate_force",)), Streams.of(flat.session, 0)
    samples = pour(flat.session, flat.landing, sources, streams, 30).samples
    weight = samples["body_weight_plate", ""]
    spread = sources["plate_force"].content["spread"]["gain"] / np.sqrt(2)
    assert abs(np.std(weight) / weight.mean() / spread - 1.0) < 0.25
    total = samples["vertical_force_total_peak", ""]
    assert np.std(total) / total.mean() < 0.1 * spread


def test_a_shifted_plate_moves_the_ankle_moment_by_force_times_distance(flat: Analysis) -> None:
    """External dorsiflexion moment: about 1 N m for each 1 mm and 1000 N, whatever the body."""
    sources, streams = load_sources(("pressure_centre",)), Streams.of(flat.session, 0)
    samples = pour(flat.session, flat.landing, sources, streams, 60).samples
    force = next(m.value for m in flat.measures if m.quantity == "vertical_force_peak" and m.side == "right")
    expected = force * 1e-3 * sources["pressure_centre"].content["spread_mm"]["place"][0]
    assert 0.6 * expected < np.std(samples["ankle_dorsiflexion_moment_peak", "right"]) < 1.1 * expected


def test_markers_that_are_not_seen_stay_unseen(flat: Analysis) -> None:
    trial: Recording = flat.session.trial
    markers = trial.markers.copy()
    rows = [trial.labels.index(label) for label in flat.landing.body.clusters["left_foot"].labels]
    start = round(flat.landing.events.first_touchdown * trial.point_rate) + 10
    markers[:, rows, start : start + 60] = np.nan
    hidden = replace(flat.session, trial=replace(trial, markers=markers))
    analysis = analyse(hidden, variants=False)
    samples = pour(hidden, analysis.landing, load_sources(), Streams.of(hidden, 0), 20).samples
    hidden_ankle = [m for m in analysis.measures if m.quantity.startswith("ankle_") and m.side == "left"]
    assert sum(np.isnan(m.value) for m in hidden_ankle) > 2
    for measure in analysis.measures:
        if not measure.word:
            found = np.isfinite(samples[measure.quantity, measure.side])
            assert found.any() or np.isnan(measure.value), (measure.quantity, measure.side)
            assert not found.any() or np.isfinite(measure.value) or measure not in hidden_ankle, measure.quantity


def test_delay_of_a_smooth_series_is_exact_to_the_cubic() -> None:
    """A cubic polynomial is delayed without error; whole delays are shifts."""
    n = np.arange(30.0)
    series = np.stack([0.1 * n**3 - n**2 + 3 * n, 2 * n])[:, None] * np.ones((1, 3, 1))
    delay = np.array([0.3, -1.7, 2.0])
    late = delayed(series, delay)
    inner = slice(5, 25)
    for d, by in enumerate(delay):
        m = n[inner] - by
        np.testing.assert_allclose(late[0, d, inner], 0.1 * m**3 - m**2 + 3 * m, atol=1e-9)
        np.testing.assert_allclose(late[1, d, inner], 2 * m, atol=1e-9)
