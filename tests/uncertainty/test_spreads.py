"""The uncertain inputs: each is shipped with its source, and what is computed from other tables is so."""

from __future__ import annotations

import numpy as np
import pytest

from jointload import modeldata
from jointload.body.inertia import INERTIA_TABLES, segment_inertias
from jointload.errors import ModelDataError, SettingError
from jointload.intake.rider import Rider
from jointload.modeldata import load_model, model_names
from jointload.synthetic.standing import fitted_body
from jointload.uncertainty.draws import SEGMENT_ENDS
from jointload.uncertainty.spreads import SOURCES, load_source, load_sources

ROUNDING = 0.006
"""Half the last digit of models/uncertainty/inertia.toml, and a little of the mean over two sexes."""


def test_every_file_is_an_input_and_every_input_a_file() -> None:
    assert sorted(SOURCES) == model_names("uncertainty")


@pytest.mark.parametrize("name", SOURCES)
def test_every_input_says_what_is_published_and_what_is_not(name: str) -> None:
    """A value that nobody published says so: from memory, choice, or computed; the rest names a paper's year."""
    provenance = load_model("uncertainty", name).provenance
    text = " ".join(provenance.values())
    assert load_source(name).cited and load_source(name).title
    assert any(word in text for word in ("from memory", "choice", "computed")) or "(19" in text or "(20" in text
    assert 0.0 <= load_source(name).repeatable <= 1.0


def test_an_unknown_input_lists_the_known_ones() -> None:
    with pytest.raises(SettingError, match="'markers' is unknown; the known ones are camera, cutoff"):
        load_source("markers")


def test_inputs_are_switched_off_by_leaving_them_out() -> None:
    assert list(load_sources(("skin", "camera"))) == ["camera", "skin"]


def test_a_file_without_its_stream_is_refused(tmp_path, monkeypatch) -> None:
    (tmp_path / "uncertainty").mkdir()
    head = "".join(f'{key} = "something"\n' for key in modeldata.PROVENANCE_KEYS)
    (tmp_path / "uncertainty" / "camera.toml").write_text(f'title = "noise"\n[provenance]\n{head}')
    monkeypatch.setattr(modeldata, "shipped_folder", lambda name: tmp_path)
    load_model.cache_clear()
    try:
        with pytest.raises(
            ModelDataError, match=r"expected a title, what is cited, and same_for one of recording, static trial"
        ):
            load_source("camera")
    finally:
        load_model.cache_clear()


@pytest.mark.parametrize("part", SEGMENT_ENDS)
def test_the_spread_of_inertia_is_that_between_the_shipped_tables(part: str) -> None:
    """Standard deviation over the three tables, the mean of both sexes; the centre's along each of two axes."""
    found = []
    for sex in ("f", "m"):
        rider = Rider("x", 70.0, 1.75, sex)
        body, name = fitted_body(rider), part if part == "pelvis" else f"right_{part}"
        rows = [segment_inertias(t, rider, body.standing_points, body.standing)[name] for t in INERTIA_TABLES]
        mass, com = np.array([row.mass for row in rows]), np.array([row.com for row in rows])
        radius = np.array([np.sqrt(np.trace(row.tensor) / row.mass) for row in rows])
        start, end = (body.standing_points[point.replace("*", "right")] for point in SEGMENT_ENDS[part])
        away = np.sqrt(np.sum(np.var(com, axis=0, ddof=1)) / 2.0) / np.linalg.norm(end - start)
        found.append([np.std(mass, ddof=1) / mass.mean(), away, np.std(radius, ddof=1) / radius.mean()])
    spread = load_source("inertia").content["segments"][part]
    np.testing.assert_allclose(np.mean(found, axis=0), [spread[k] for k in ("mass", "centre", "radius")], atol=ROUNDING)
