"""Other choices of settings, analysed together: each is what an analysis with that choice gives."""

from __future__ import annotations

import numpy as np

from jointload.analysis import analyse
from jointload.intake.session import Session, read_session
from jointload.modeldata import shipped_folder
from jointload.other_choices import MAIN_QUANTITIES, SMOOTHINGS, THRESHOLDS
from jointload.settings import Settings

OWN = Settings(smoothing="fixed", cutoff=12.0)


def _session() -> Session:
    folder = shipped_folder("sample_c3d")
    files = {"labels": folder / "labels.toml", "rider": folder / "rider_a.toml"}
    return read_session(folder / "rider_a_landing_flat.c3d", static=folder / "rider_a_static.c3d", **files)


def test_variants_are_the_analyses_they_stand_for() -> None:
    """Of a fixed cut-off of one's own: it goes with every choice but the balance, which has none."""
    session = _session()
    variants = {variant.name: variant.measures for variant in analyse(session, OWN).variants}
    choices = {
        f"contact threshold {t:g} N": Settings(smoothing="fixed", cutoff=12.0, contact_threshold=t) for t in THRESHOLDS
    }
    del choices["contact threshold 20 N"]
    choices |= {SMOOTHINGS["after"]: Settings(smoothing="after", cutoff=12.0), SMOOTHINGS["balanced"]: Settings()}
    assert set(choices) == set(variants)
    for name, settings in choices.items():
        alone = analyse(session, settings, variants=False).measures
        main = [measure for measure in alone if measure.quantity in MAIN_QUANTITIES]
        assert {measure.quantity for measure in main} == set(MAIN_QUANTITIES)
        for measure, other in zip(variants[name], main, strict=True):
            assert (measure.quantity, measure.side) == (other.quantity, other.side)
            np.testing.assert_allclose(measure.value, other.value, rtol=1e-12, err_msg=f"{name}: {measure.quantity}")
