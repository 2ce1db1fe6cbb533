"""Could a body do this: published maxima beside the limits, and what errors of mass, plate and markers raise."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from recorded import sample_session

from jointload.analysis import Analysis, analyse
from jointload.intake.session import Session
from jointload.landing.checks.known_people import CHECK, SPREADS, limits, strength_findings
from jointload.modeldata import load_model
from jointload.report.words.quantities import glossary
from jointload.report.words.trust import trust_in
from jointload.settings import Settings

FIXED = Settings(smoothing="fixed", cutoff=20.0)


@pytest.fixture(scope="module")
def session() -> Session:
    return sample_session()


@pytest.fixture(scope="module")
def analysis(session: Session) -> Analysis:
    return analyse(session, FIXED, variants=False)


def doubted(analysis: Analysis) -> set[str]:
    return {f.where for f in analysis.findings if f.check == CHECK and f.severity == "warn"}


def larger(session: Session, markers: float = 1.0, plate: int | None = None) -> Session:
    """The same recordings with all markers, or the force of one plate, this wrong."""

    def wrong(recording: object) -> object:
        plates = tuple(
            replace(p, force=2.0 * p.force, moment=2.0 * p.moment) if p.number == plate else p
            for p in recording.plates  # type: ignore[attr-defined]
        )
        return replace(recording, markers=markers * recording.markers, plates=plates)  # type: ignore[type-var, attr-defined]

    static = wrong(session.static) if markers != 1.0 else session.static
    return replace(session, trial=wrong(session.trial), static=static)


# limits


def test_limits_lie_above_every_published_person_and_near_the_strongest():
    """Single highest persons of the papers: knee extension 4.08 and 3.74 Nm/kg; 988 Nm at the back of lifters (a man of
    100 kg), 12.5 BW in the calf's tendon; running 3.68 Nm/kg at the ankle. A limit is twice them at most."""
    strongest = {
        "m": {"knee_flexion_moment_peak": 4.08, "hip_adduction_moment_peak": 1.62, "l5s1_extension_moment_peak": 9.88},
        "f": {"knee_flexion_moment_peak": 3.74, "hip_adduction_moment_peak": 1.41},
    }
    for sex, rows in strongest.items():
        both = {"ankle_dorsiflexion_moment_peak": 3.68, "achilles_force_peak": 12.5, "l5s1_disc_force_peak": 17192.0}
        for quantity, most in (rows | both).items():
            assert most <= limits(sex)[quantity].most <= 2.1 * most, (sex, quantity)


def test_a_limit_is_mean_and_spread_times_what_stretching_adds():
    knee = limits("f")["knee_flexion_moment_peak"]
    assert knee.most == pytest.approx(1.3 * (2.20 + SPREADS * 0.51))


def test_rows_name_quantities_people_and_sources():
    words = glossary()
    for row in load_model("strength", "people").content:
        assert row["quantity"] in words and row["people"] and row["source"].startswith("[@"), row
        assert words[row["quantity"]].si_unit in ("N m", "N"), row
        assert row["read"] in ("abstract", "restated", "derived") and 1.0 <= float(row["factor"]) <= 1.3, row
    assert limits("f").keys() == limits("m").keys()


# landings


def test_a_sound_landing_raises_nothing_and_says_how_near_it_came(analysis: Analysis):
    (found,) = [f for f in analysis.findings if f.check == CHECK]
    assert found.severity == "pass" and "nearest" in found.evidence


@pytest.mark.parametrize("part", ["right", "left"])
def test_a_plate_doubled_is_seen(session: Session, part: str):
    wrong = analyse(larger(session, plate={"right": 1, "left": 2}[part]), FIXED, variants=False)
    assert any(where.startswith(part) for where in doubted(wrong)), doubted(wrong)
    assert CHECK in trust_in(wrong).recording.cautions


def test_a_mass_halved_is_seen(session: Session):
    half = replace(session, rider=replace(session.rider, mass=0.5 * session.rider.mass))
    assert doubted(analyse(half, FIXED, variants=False))


def test_markers_scaled_leave_no_moment_to_judge(session: Session):
    """A wrong scale of all markers is seen by the fall and by the pressure beside the feet, which stop every moment."""
    wrong = analyse(larger(session, markers=1.5), FIXED, variants=False)
    assert {"free_fall", "pressure_off_foot"} <= set(trust_in(wrong).recording.refused)
    assert not [m for m in wrong.measures if m.quantity in limits("f") and np.isfinite(m.value)]


def test_a_number_is_judged_by_the_lower_end_of_its_interval(analysis: Analysis):
    (knee,) = [m for m in analysis.measures if m.quantity == "knee_flexion_moment_peak" and m.side == "right"]
    far = replace(knee, value=3.0 * knee.value)
    wide = replace(far, low=knee.value, high=9.0 * knee.value)
    severities = [strength_findings([each], analysis.landing)[0].severity for each in (far, wide)]
    assert severities == ["warn", "pass"]
    assert strength_findings([replace(knee, value=np.nan)], analysis.landing)[0].evidence == "no moment to judge"
