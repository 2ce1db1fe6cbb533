"""Strain over years: closed forms of a constant load, published sensitivities, shares, savings, what is not known."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from made_dose import HEAD, exposures, knee, metrics, row
from paper import check_references
from written_names import ends_in_a_side_letter

from jointload.errors import SettingError, StudyError
from jointload.modeldata import load_model, shipped_folder
from jointload.report.study_pages.dose_page import render_dose
from jointload.report.study_pages.dose_words import dose_items
from jointload.sources import cited
from jointload.study.exposures import read_exposures
from jointload.study.strain_dose import (
    FEWER,
    landing_loads,
    of_worse_feet,
    saving_of_ratio,
    strain_dose,
    tissues,
)
from jointload.whole_study import dose_study

# closed forms


@pytest.mark.parametrize(
    ("kind", "exponent"), [("linear", 1), ("squared", 2), ("fourth", 4), ("published", 8), ("highest", 13)]
)
def test_a_constant_load_adds_up_to_its_power_times_the_landings(kind: str, exponent: int) -> None:
    """30 x 2 x 10 x 5 = 3000 landings of 1.5 and as many of another rider of 0.5: the mean load is 1, the doses are
    3000 x 1.5^m and 3000 x 0.5^m."""
    table = metrics([("x", "a", "flat", 0.4, 95, 1.5), ("y", "b", "flat", 0.4, 95, 0.5)])
    found = strain_dose(table, exposures("a") + exposures("b"), "flat")
    for rider, load in (("a", 1.5), ("b", 0.5)):
        got = knee(found, "doses", kind, rider=rider, basis="impulse")
        assert got["landings"] == got["known_landings"] == 3000
        assert got["dose"] == pytest.approx(3000 * load**exponent, rel=1e-12)
        assert got["low"] == pytest.approx(3000 * (0.8 * load) ** exponent, rel=1e-12)
        assert got["high"] == pytest.approx(3000 * (1.2 * load) ** exponent, rel=1e-12)


def test_the_same_change_saves_4_to_44_per_cent_by_the_exponent_alone() -> None:
    """A 4 % lower load gives 4, 15, 31, 41 and 44 % less dose at exponents 1, 4, 9, 13 and 14: 1 - 0.96^m by hand."""
    for exponent, percent in ((1, 4), (4, 15), (9, 31), (13, 41), (14, 44)):
        assert round(100 * float(saving_of_ratio(0.96, exponent))) == percent
    found = strain_dose(metrics([("x", "a", "flat", 0.4, 95, 1.0)]), exposures(), "flat")
    savings = [r["saving"] for r in found.savings if r["change"] == "each landing 4 % lighter"]
    assert (round(100 * min(savings)), round(100 * max(savings))) == (4, 44)


def test_the_published_exponents_are_those_of_the_evidence() -> None:
    """Spine 2.0 with cycles to 0.2, thus 10 where cycles count in full (Coenen 2012 Clin Biomech 27:1083, abstract).
    Tendon S = 101.3 - 14.8 log10 N (Schechtman and Bader 1997 J Biomech 30:829, abstract): 4 at 25 % and 9 at 60 % of
    strength. Meniscus: 40,000 cycles at 50 % and 3,000,000 at 30 % of strength (Henderson 2022, abstract), a slope of
    8.5, between the range's ends as cartilage has none of its own. Bone: from memory."""
    known = tissues()
    assert known["lumbar_disc"].exponent == 2.0 and known["lumbar_disc"].exponent_high == 2.0 / 0.2
    tendon = known["achilles_tendon"]
    at = [stress * np.log(10) / 14.8 for stress in (25.0, 60.0)]
    assert tendon.exponent_low <= at[0] + 0.2 and at[0] < tendon.exponent < at[1] < tendon.exponent_high
    meniscus = np.log(3_000_000 / 40_000) / np.log(50 / 30)
    for name in ("knee_cartilage", "kneecap_cartilage"):
        assert known[name].exponent_low < known[name].exponent < meniscus < known[name].exponent_high
    assert [t.basis for t in known.values()].count("memory") == 1


def test_hard_landings_count_for_more_the_higher_the_exponent() -> None:
    """One landing of 2 among nine of 1: its share is 2^m / (9 + 2^m)."""
    works = (("easy", 0.2, 0.5, 9.0), ("hard", 0.5, 0.8, 1.0))
    table = metrics([("x", "a", "flat", 0.3, 95, 1.0), ("y", "a", "flat", 0.6, 95, 2.0)])
    found = strain_dose(table, exposures("a", works), "flat")
    for kind, m in (("linear", 1), ("squared", 2), ("fourth", 4), ("published", 8), ("highest", 13)):
        share = knee(found, "shares", kind, by="activity", name="hard")
        assert share["share"] == pytest.approx(2**m / (9 + 2**m), rel=1e-12)
        assert share["low"] == pytest.approx(share["high"], rel=1e-9), "loads that err alike leave the shares"
        fewer = [
            r
            for r in found.savings
            if "left out" in r["change"] and (r["tissue"], r["kind"], r["side"]) == ("knee_cartilage", kind, "left")
        ]
        assert fewer[0]["saving"] == pytest.approx(FEWER * 2**m / (9 + 2**m), rel=1e-12)


def test_shares_by_style_follow_the_deepest_knee() -> None:
    """Cut at 90 degrees (DeVita and Skelly 1992): a soft and a stiff landing of one rider share the landings evenly."""
    table = metrics([("x", "a", "flat", 0.4, 89.9, 3.0), ("y", "a", "flat", 0.4, 90.0, 1.0)])
    assert dict(landing_loads(table)[["trial", "style"]].drop_duplicates().to_numpy()) == {"x": "stiff", "y": "soft"}
    found = strain_dose(table, exposures(), "flat")
    assert knee(found, "shares", "linear", by="style", name="stiff")["share"] == pytest.approx(0.75)
    change = [
        r
        for r in found.savings
        if r["change"].startswith("stiff") and (r["tissue"], r["side"]) == ("knee_cartilage", "right")
    ]
    assert [r["saving"] for r in change] == pytest.approx([1 - (1 / 3) ** m for m in (1, 2, 4, 8, 13)])


# scaling laws


def test_twice_the_years_twice_the_dose_and_the_same_shares() -> None:
    table = metrics([("x", "a", "flat", 0.4, 95, 1.3)])
    one = strain_dose(table, exposures("a", (("work", 0.2, 0.6, 30.0),)), "flat")
    two = strain_dose(table, exposures("a", (("work", 0.2, 0.6, 60.0),)), "flat")
    for before, after in zip(one.doses, two.doses, strict=True):
        assert after["dose"] == pytest.approx(2 * before["dose"])
    assert [r["share"] for r in one.shares] == [r["share"] for r in two.shares]


def test_another_unit_of_load_changes_no_dose() -> None:
    trials = [("x", "a", "flat", 0.4, 95, 1.3), ("y", "b", "flat", 0.4, 95, 0.8)]
    once = strain_dose(metrics(trials), exposures("a") + exposures("b"), "flat")
    heavy = metrics([(*trial[:5], 9.81 * trial[5]) for trial in trials])
    again = strain_dose(heavy, exposures("a") + exposures("b"), "flat")
    assert [r["dose"] for r in again.doses] == pytest.approx([r["dose"] for r in once.doses], rel=1e-9)


# a change that was measured


def test_a_condition_is_compared_by_its_ratio_with_an_interval_from_repeated_landings() -> None:
    """Two landings each, 1 and 1.21 against 0.9 and 1.089: means of the logarithms differ by ln 0.9. Welch by hand:
    variances (ln 1.1)^2 x 2 each, two degrees of freedom."""
    loads = {"flat": (1.0, 1.21), "wedge": (0.9, 1.089)}
    table = metrics([(f"{c}{k}", "a", c, 0.4, 95, v) for c, vs in loads.items() for k, v in enumerate(vs)])
    found = strain_dose(table, exposures(), "flat")
    for kind, m in (("linear", 1), ("published", 8)):
        got = knee(found, "savings", kind, change="wedge in place of flat")
        assert got["saving"] == pytest.approx(1 - 0.9**m)
        half = 4.302652729911275 * np.sqrt(2 * 2 * np.log(1.1) ** 2 / 2)
        assert got["low"] == pytest.approx(1 - np.exp(m * (np.log(0.9) + half)))
        assert got["high"] == pytest.approx(1 - np.exp(m * (np.log(0.9) - half)))
        assert got["low"] < 0 < got["high"]


def test_single_landings_give_a_change_and_no_interval() -> None:
    table = metrics([("x", "a", "flat", 0.4, 95, 1.0), ("y", "a", "wedge", 0.4, 95, 0.96)])
    got = knee(strain_dose(table, exposures(), "flat"), "savings", "linear", change="wedge in place of flat")
    assert got["saving"] == pytest.approx(0.04)
    assert np.isnan(got["low"]) and "cannot tell a change from chance" in str(got["note"])


# what is not known


def test_heights_without_a_landing_have_no_number_and_say_so() -> None:
    works = (("low", 0.2, 0.5, 30.0), ("high", 1.0, 1.4, 10.0))
    table = metrics([("x", "a", "flat", 0.3, 95, 1.0)])
    found = strain_dose(table, exposures("a", works), "flat")
    got = knee(found, "doses", "linear", basis="impulse")
    assert (got["landings"], got["known_landings"]) == (4000, 3000)
    assert got["dose"] == pytest.approx(3000) and "25 % of the landings (1 to 1.4 m)" in str(got["note"])
    fewer = [r for r in found.savings if "left out" in r["change"]]
    assert all(np.isnan(r["saving"]) and "1 m" in r["note"] for r in fewer)


def test_scaled_heights_follow_the_square_root() -> None:
    """Niu et al. (2014): force with the root of the height. 0.3 m measured, 1.2 m asked: twice the load."""
    works = (("high", 1.0, 1.4, 10.0),)
    found = strain_dose(metrics([("x", "a", "flat", 0.3, 95, 1.0)]), exposures("a", works), "flat", scaled=True)
    assert knee(found, "doses", "fourth", basis="impulse")["dose"] == pytest.approx(1000 * 2**4)


def test_each_foot_counts_for_itself_and_the_worse_one_is_told() -> None:
    """Feet that bear 1 and 3: the mean load is 2, the doses are 3000 x 0.5^m and 3000 x 1.5^m."""
    table = metrics([("x", "a", "flat", 0.4, 95, 1.0)])
    heavy = (table["side"] == "left") & (table["unit"] == "BW s")
    for name in ("value", "low", "high"):
        table.loc[heavy, name] = (3.0 * table.loc[heavy, name].astype(float)).astype(str)
    found = strain_dose(table, exposures(), "flat")
    for side, load in (("right", 0.5), ("left", 1.5)):
        got = knee(found, "doses", "fourth", basis="impulse", side=side)
        assert got["dose"] == pytest.approx(3000 * load**4)
    worse = of_worse_feet(found)
    assert {r["side"] for r in worse.doses if r["tissue"] == "knee_cartilage"} == {"left"}
    assert {r["side"] for r in worse.doses if r["tissue"] == "lumbar_disc"} == {""}
    assert len(worse.doses) == len(tissues()) * 5 * 2


def test_a_foot_that_is_not_known_leaves_the_other_one_alone() -> None:
    table = metrics([("x", "a", "flat", 0.4, 95, 1.0)])
    lost = (table["quantity"] == "patellofemoral_force_impulse") & (table["side"] == "right")
    table.loc[lost, ["value", "low", "high"]] = ""
    table.loc[lost, "note"] = "the loaded knee bends to 95 deg"
    found = strain_dose(table, exposures(), "flat")
    got = row(found, "doses", tissue="kneecap_cartilage", kind="linear", basis="impulse")
    assert np.isnan(got["dose"]) and "bends to 95 deg" in str(got["note"])
    (told,) = [
        r
        for r in of_worse_feet(found).doses
        if (r["tissue"], r["kind"], r["basis"]) == ("kneecap_cartilage", "linear", "impulse")
    ]
    assert told["side"] == "left" and told["dose"] == 3000
    assert "the right foot, which may be the worse one, is not known" in told["note"]


def test_numbers_without_intervals_say_why_the_dose_has_none() -> None:
    found = strain_dose(metrics([("x", "a", "flat", 0.4, 95, 1.0)], spread=0.0), exposures(), "flat")
    got = knee(found, "doses", "linear", basis="impulse")
    assert got["dose"] == 3000 and np.isnan(got["low"]) and "no interval" in str(got["note"])


# the exposure table


def test_a_tissue_that_no_landing_loads_says_why_its_dose_is_not_known() -> None:
    """As toes that never push: the load is known, and none."""
    got = knee(
        strain_dose(metrics([("t", "a", "flat", 0.4, 95.0, 0.0)]), exposures(), "flat"),
        "doses",
        "linear",
        basis="impulse",
    )
    assert np.isnan(got["dose"]) and got["known_landings"] == got["landings"]
    assert got["note"] == "no recorded landing loads it: there is no mean load to count by"


def test_the_shipped_exposures_are_those_of_the_sample(root: Path) -> None:
    rows = read_exposures(root / "sample_c3d" / "exposures.csv", ["rider_a", "rider_b", "rider_c"])
    assert {e.rider for e in rows} == {"rider_a", "rider_b", "rider_c"}
    assert rows[0].landings == 40 * 3 * 40 * 6


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("rider,activity\na,b\n", "no from_m"),
        (HEAD, "one row or more"),
        (HEAD + "z,work,0.2,0.5,1,1,1,1\n", "a rider of the study"),
        (HEAD + "a,work,0.5,0.2,1,1,1,1\n", "from_m below to_m"),
        (HEAD + "a,work,0.2,0.5,many,1,1,1\n", "a number above 0 or a range .*, found 'many'"),
        (HEAD + "a,work,0.2,0.5,0,1,1,1\n", "a number above 0"),
        (HEAD + "a,work,0.2,0.5,1,1,60,1\n", "at most 53"),
        (HEAD + "a,work,0.2\n", "a number above 0 or a range .*, found None"),
    ],
)
def test_a_faulty_exposure_table_is_refused_with_its_row(tmp_path: Path, text: str, told: str) -> None:
    path = tmp_path / "exposures.csv"
    path.write_text(text)
    with pytest.raises(StudyError, match=told) as refused:
        read_exposures(path, ["a"])
    assert "exposures.csv" in str(refused.value)


def test_a_missing_exposure_table_names_its_columns(tmp_path: Path) -> None:
    with pytest.raises(StudyError, match="landings_per_session"):
        read_exposures(tmp_path / "none.csv", ["a"])


# the page


def test_the_page_tells_every_assumption_with_source_and_effect_and_no_verdict() -> None:
    table = metrics([("x", "a", "flat", 0.4, 95, 1.0), ("y", "a", "wedge", 0.4, 85, 0.96)])
    found = strain_dose(table, exposures(), "flat")
    page, figures = render_dose("made up", found, dose_items(found, ()))
    again = strain_dose(table, exposures(), "flat")
    assert page == render_dose("made up", again, dose_items(again, ()))[0]
    assert set(figures) == {"what_matters", "doses", "shares", "savings"}
    text = page.split('<section id="assumptions">')[1]
    content = load_model("tissue", "dose").content
    for tissue in tissues().values():
        assert tissue.title in text and f">{tissue.exponent:g} (" in text
    for key in cited(content["cycles"]["source"], content["repair"]["source"], content["style"]["source"]):
        assert f'<a href="#source-{key}">' in text and f'<li id="source-{key}">' in text
    assert "41 %" in text and "36 %" in text and "1.6 times" in text
    assert page.index("clinician") < page.index('<section id="dose">')
    assert "safe or unsafe" in page and not any(
        word in text for word in ("is safe", "is unsafe", "too much", "harmless")
    )


def test_an_unknown_rider_name_cannot_break_the_page() -> None:
    nasty = "<script>x</script>"
    table = metrics([("x", nasty, "flat", 0.4, 95, 1.0)])
    found = strain_dose(table, exposures(nasty, ((nasty, 0.2, 0.6, 3.0),)), "flat")
    page, _ = render_dose(nasty, found, dose_items(found, ()))
    assert "<script>x" not in page


# the command's work


@pytest.fixture
def joined(tmp_path: Path) -> Path:
    """Results as `study run` joins them for the shipped sample, with made-up loads."""
    trials = [
        (f"{rider}_landing_{condition}", rider, condition, 0.42, 95.0, load)
        for rider, load in (("rider_a", 1.0), ("rider_b", 1.2), ("rider_c", 0.9))
        for condition in ("flat", "wedge")
    ]
    metrics(trials).to_csv(tmp_path / "metrics.csv", index=False)
    rows = [(name, rider, "", "drop landing", word, "", "right", "analysed", "") for name, rider, word, *_ in trials]
    head = ["trial", "rider", "group", "task", "condition", "style", "back_foot", "status", "reason"]
    pd.DataFrame(rows, columns=head).to_csv(tmp_path / "trials.csv", index=False)
    return tmp_path


def test_a_study_gives_its_dose_in_a_folder_that_comes_again_to_the_byte(
    joined: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """How a sheet is drawn is tested with the figures; here its numbers and words."""
    monkeypatch.setattr("jointload.report.figures.paper.sheet_file", lambda sheet, form: repr(sheet).encode())
    sample = shipped_folder("sample_c3d")
    found, first = dose_study(sample, results=joined, out=tmp_path / "first", figures="svg")
    _, second = dose_study(sample, results=joined, out=tmp_path / "second", figures="svg")
    figures = {path.name for path in (first / "figures").iterdir()}
    assert figures == {"what_matters.svg", "doses.svg", "shares.svg", "savings.svg"}
    for name in figures:
        assert (first / "figures" / name).read_bytes() == (second / "figures" / name).read_bytes(), name
    names = {path.name for path in first.iterdir()} - {"figures"}
    csvs = {"dose.csv", "shares.csv", "savings.csv"}
    papers = {"methods.md", "methods.tex", "references.bib"}
    assert names == {"dose.html", "dose.json"} | csvs | papers
    keys = check_references(first, "dose.html")
    assert {"schechtman_1997", "bellucci_2001", "coenen_2012", "miller_2020"} <= keys
    assert not keys & {"niu_2014", "hedges_1981"}, "no height was scaled, nothing compared"
    for name in names:
        assert (first / name).read_bytes() == (second / name).read_bytes(), name
    assert not ends_in_a_side_letter(first)
    assert found.baseline == "flat", "study.toml's baseline"
    doses = pd.read_csv(first / "dose.csv")
    sides = sum(1 if tissue.foot or tissue.name == "lumbar_disc" else 2 for tissue in tissues().values())
    assert len(doses) == 3 * sides * 5 * 2
    assert (doses["dose"].notna() & doses["low"].notna() | doses["note"].notna()).all(), "an interval, or why not"
    savings = pd.read_csv(first / "savings.csv")
    assert (savings["low"].notna() | savings["note"].notna()).all()


def test_an_unknown_condition_lists_the_known_ones(joined: Path) -> None:
    with pytest.raises(SettingError, match="flat or wedge, found 'barefoot'"):
        dose_study(shipped_folder("sample_c3d"), results=joined, condition="barefoot")
