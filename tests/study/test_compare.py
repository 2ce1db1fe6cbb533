"""A comparison from the joined numbers to the folder: what differs, what does not, and what cannot be said."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pandas
import pytest
from made_study import MADE, change, every_byte, made_results, ran_sample
from paper import check_references, compiled
from written_names import ends_in_a_side_letter

from jointload.errors import SettingError, StudyError
from jointload.intake.rider import G
from jointload.report.study_pages.study_words import answer_sentence
from jointload.study.comparison import DIFFERS, OPEN, SAME, SMALL, Comparison, chosen, compare_curves
from jointload.study.manifest import read_study
from jointload.study.observations import read_curves, read_observations
from jointload.study.reliability import reliabilities
from jointload.whole_study import compare_study

TRUTH = Path(__file__).parents[2] / "sample_c3d" / "truth.csv"
FILES = {
    "comparison.html", "effects.csv", "curve_tests.csv", "styles.csv", "percentiles.csv", "repeats.csv", "table.md",
    "table.tex", "methods.md", "methods.tex", "references.bib", "comparison.json",
}  # fmt: skip
FIGURES = {"riders.svg", "effects.svg", "curves_1.svg", "styles.svg"}


@pytest.fixture(scope="module")
def compared(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Comparison, Path]:
    study = made_results(tmp_path_factory.mktemp("made") / "study", effect=1.2)
    return study, *compare_study(study, "condition", figures="svg")


def test_landings_smoothed_in_different_ways_are_not_compared(tmp_path: Path) -> None:
    study = made_results(tmp_path / "study", riders=3, times=1)
    records = sorted((study / "results" / "trials").glob("*/run.json"))
    for k, record in enumerate(records):
        way = "fixed" if k == 0 else "balanced"
        record.write_text(f'{{"methods": {{}}, "settings": {{"smoothing": "{way}"}}}}', encoding="utf-8")
    with pytest.raises(StudyError, match=r"balanced in 5 \(\w+\) and fixed in 1 \(r00_flat_0\).*smoothing = \"fixed\""):
        compare_study(study, "condition")


def test_no_written_name_ends_in_a_side_letter(compared: tuple[Path, Comparison, Path]) -> None:
    assert not ends_in_a_side_letter(compared[2])


def test_a_made_effect_is_found_and_its_absence_too(compared: tuple[Path, Comparison, Path]) -> None:
    """The wedge adds 1.2 x 6 = 7.2 deg of knee flexion and nothing else; 0.4 BW would matter."""
    found = compared[1]
    verdicts = {row.name: row.verdict for row in found.rows if row.primary}
    assert verdicts == {
        "back_knee_flexion_peak": SMALL,
        "back_vertical_force_peak": SAME,
        "back_knee_adduction_moment_peak": verdicts["back_knee_adduction_moment_peak"],
    }
    assert verdicts["back_knee_adduction_moment_peak"] in (OPEN, SAME)
    flexion = next(row for row in found.rows if row.name == "back_knee_flexion_peak")
    assert flexion.contrast.low < 7.2 < flexion.contrast.high and flexion.contrast.df == 13
    assert flexion.size.kind == "d_z within riders" and flexion.adjusted > flexion.contrast.p
    assert flexion.margin_from == "detectable in single landings"
    assert flexion.margin == pytest.approx(1.96 * 2**0.5 * 6.0, rel=0.2), "landings were made with 6 deg of spread"
    assert next(r for r in found.rows if r.name == "back_vertical_force_peak").margin == 0.4


def test_what_repeats_tell_is_that_of_the_made_landings(compared: tuple[Path, Comparison, Path]) -> None:
    """Riders were made 1 apart, their answers 0.4, landings 1, times 6 deg: ICC 1.16 / 2.16 and SEM 6 deg."""
    found = pandas.read_csv(compared[2] / "repeats.csv").set_index("name")
    assert set(found["riders"]) == {14} and set(found["landings_each"]) == {3}
    flexion = found.loc["back_knee_flexion_peak"]
    assert flexion["icc_3_1_low"] < 1.16 / 2.16 < flexion["icc_3_1_high"]
    assert flexion["sem"] == pytest.approx(6.0, rel=0.25)
    assert flexion["mdc95"] == pytest.approx(2.772 * flexion["sem"], rel=1e-4)
    assert flexion["icc_3_k"] > flexion["icc_3_1"]
    page = (compared[2] / "comparison.html").read_text(encoding="utf-8")
    assert "How well landings repeat" in page and page.count("14 × 3") == 3, "a row a primary quantity"


def test_riders_with_few_landings_leave_the_others_theirs() -> None:
    """Of eight riders with four landings and one each with one and with two: eight times four; landings in order."""
    rows = [(f"r{k}", float(10 * k + j)) for k in range(10) for j in range({0: 1, 1: 2}.get(k, 4))]
    numbers = pandas.DataFrame(rows, columns=["rider", "value"]).assign(name="a", quantity="a", foot="", unit="deg")
    (found,) = reliabilities(numbers).to_dict("records")
    assert (found["riders"], found["landings_each"], found["icc_3_1"]) == (8, 4, pytest.approx(1.0))
    assert reliabilities(numbers.drop_duplicates("rider")).empty


def test_the_curve_is_shaded_where_the_effect_was_made(compared: tuple[Path, Comparison, Path]) -> None:
    (curve,) = compared[1].curves
    assert curve.test is not None and curve.test.exact and len(curve.first) == 14
    assert curve.test.stretches and all(
        s.first >= 20 and 35 <= s.peak <= 65 and s.last <= 80 for s in curve.test.stretches
    )


def test_paragraph_table_and_references_compile(compared: tuple[Path, Comparison, Path], tmp_path: Path) -> None:
    assert "undefined" not in compiled(compared[2], tmp_path / "work", "table.tex").lower()


def test_the_folder_holds_what_a_paper_needs(compared: tuple[Path, Comparison, Path]) -> None:
    _, found, out = compared
    assert {path.name for path in out.iterdir()} == FILES | {"figures"}
    assert {path.name for path in (out / "figures").iterdir()} == FIGURES
    keys = check_references(out, "comparison.html")
    assert {"hedges_1981", "lakens_2013", "nichols_2002", "grood_1983", "mcgraw_1996"} <= keys
    effects = pandas.read_csv(out / "effects.csv")
    assert len(effects) == len(found.rows) and set(effects["family"]) == {"primary", "exploratory"}
    page = (out / "comparison.html").read_text(encoding="utf-8")
    for words in ("Scheme: sign-flip", "does not prove where", "exploratory", "not a medical device"):
        assert words in page.replace("\n", " ")
    assert "http://" not in page and "https://" not in page
    methods = (out / "methods.md").read_text(encoding="utf-8")
    for item in ("Filter", "Trials attempted, kept and why", "Model", "Multiplicity", "Equivalence", "Asymmetry"):
        assert f"- **{item}**" in methods
    assert "84 landings, 84 kept" in methods and "(back - front) / (back + front)" in methods
    table = (out / "table.tex").read_text(encoding="utf-8")
    assert table.count(r"\\") == 4 and "−" not in table and table.startswith(r"\begin{tabular}{llrrrrrrl}")


def test_labels_within_riders_is_named(compared: tuple[Path, Comparison, Path]) -> None:
    study = read_study(compared[0])
    seen = read_observations(study, compared[0] / "results")
    data, levels, _ = chosen(seen, study.plan, "condition", "", "")
    (curve,) = compare_curves(read_curves(seen, study.plan.curves, sorted(set(data["trial"]))), data, levels, True)
    assert curve.test is not None and "landings of each rider" in curve.test.scheme
    assert curve.test.stretches and not curve.test.exact


def test_groups_are_compared_between_riders_and_twice_to_the_byte(
    compared: tuple[Path, Comparison, Path], tmp_path: Path
) -> None:
    found, out = compare_study(compared[0], "group", out=tmp_path / "group", condition="flat")
    assert found.levels == ("guest", "home") and found.trials == 42
    flexion = next(row for row in found.rows if row.name == "back_knee_flexion_peak")
    assert flexion.contrast.df == 12 and flexion.size.kind == "Hedges g between riders"
    assert flexion.margin == pytest.approx(1.96 * 2**0.5 * 6.0, rel=0.2), "from the landings each rider repeated"
    assert not any("taken together" in text for text in found.cautions)
    assert found.curves[0].test is not None and "groups" in found.curves[0].test.scheme
    compare_study(compared[0], "group", out=tmp_path / "again", condition="flat")
    assert every_byte(tmp_path / "again") == every_byte(out)


def test_faults_are_told_together_and_nothing_is_written(tmp_path: Path) -> None:
    study = made_results(tmp_path / "study", riders=3, times=1)

    def flatten(rows: list[list[str]]) -> None:
        for cells in rows[1:]:
            if cells[8] == "vertical_force_peak":
                cells[9] = "2.5"

    change(study / "results" / "metrics.csv", flatten)
    with pytest.raises(StudyError) as caught:
        compare_study(study, "style", out=tmp_path / "out")
    assert "expected two or more to compare, found none" in caught.value.faults[0]
    with pytest.raises(StudyError, match=r"back_vertical_force_peak: expected values that vary, found 2\.5 in all 6"):
        compare_study(study, "condition", out=tmp_path / "out")
    with pytest.raises(SettingError, match="--by: expected condition or style or group or board or shoe"):
        compare_study(study, "socks", out=tmp_path / "out")
    with pytest.raises(StudyError, match=r"board: expected two or more to compare, found none in trials\.csv"):
        compare_study(study, "board", out=tmp_path / "out")
    with pytest.raises(StudyError, match="--baseline: expected flat or wedge, found 'curb'"):
        compare_study(study, "condition", out=tmp_path / "out", baseline="curb")
    plan = study / "study.toml"
    plan.write_text(plan.read_text().replace('baseline = "flat"', 'baseline = "flap"'))
    with pytest.raises(StudyError, match=r"baseline: expected flat or wedge, found 'flap' in study\.toml; correct it"):
        compare_study(study, "condition", out=tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_a_smallest_change_is_told_in_three_digits_at_most() -> None:
    contrast = SimpleNamespace(baseline="flat", level="wedge", estimate=0.01, low=-0.1, high=0.1, landings=2, note="")
    row = SimpleNamespace(
        quantity="knee_flexion_moment_peak", foot="back", unit="Nm/kg external", verdict=OPEN, margin=0.0311388,
        contrast=contrast, riders_to_decide=4.0, riders_with_more_landings={},
    )  # fmt: skip
    assert answer_sentence(row).endswith("about 4 riders would decide on a difference of 0.0311 Nm/kg.")  # type: ignore[arg-type]
    contrast.estimate = -0.001
    assert ": 0.00 Nm/kg between wedge and flat (−0.10 to 0.10): not decided" in answer_sentence(row)  # type: ignore[arg-type]


def rode(rows: list[list[str]]) -> None:
    """Flat landings on one board, those with a wedge on another, each rider's last landing without a board; one shoe in
    a rider's even landings, another in the odd ones."""
    condition, boards = rows[0].index("condition"), {"flat": "boards/short.toml", "wedge": "boards/long.toml"}
    for k, cells in enumerate(rows[1:]):
        last = cells[0].endswith("_2")
        cells += ["" if last else boards[cells[condition]], f"shoes/{'soft' if k % 2 else 'firm'}.toml"]
    rows[0] += ["board", "shoe"]


def test_boards_are_compared_as_conditions_are(tmp_path: Path) -> None:
    """Where each board was ridden under one condition, the numbers are those of the conditions, rider by rider."""
    study = made_results(tmp_path / "study", riders=6)
    without = Path(shutil.copytree(study, tmp_path / "without"))
    for table in ("trials.csv", "results/trials.csv", "results/metrics.csv"):
        change(without / table, lambda rows: rows.__setitem__(slice(None), [r for r in rows if "_2" not in r[0]]))
    change(study / "results" / "trials.csv", rode)
    found, out = compare_study(study, "board", baseline="boards/short.toml")
    alike, _ = compare_study(without, "condition")
    assert found.levels == ("boards/short.toml", "boards/long.toml") and (found.riders, found.trials) == (6, 24)
    assert found.cautions[0] == "12 landings whose board is not named are left out."
    assert "Landings of flat and wedge are taken together; --condition keeps one of them." in found.cautions
    assert "12 landings whose board is not named" in (out / "comparison.html").read_text(encoding="utf-8")
    assert [row.name for row in found.rows] == [row.name for row in alike.rows]
    for one, other in zip(found.rows, alike.rows, strict=True):
        mine = replace(one.contrast, level="wedge", baseline="flat")
        assert str(mine) == str(other.contrast), one.name
    assert found.rows[0].size.kind == "d_z within riders"
    assert compare_study(study, "board", out=tmp_path / "first")[0].levels[0] == "boards/long.toml", "by name"


def test_shoes_are_compared_within_the_riders_who_wore_both(tmp_path: Path) -> None:
    study = made_results(tmp_path / "study", riders=6, times=4)
    change(study / "results" / "trials.csv", rode)
    found, _ = compare_study(study, "shoe", condition="flat")
    assert found.levels == ("shoes/firm.toml", "shoes/soft.toml") and found.trials == 24
    assert {row.contrast.riders for row in found.rows} == {6} and found.curves[0].paired
    assert not any("left out" in text for text in found.cautions)


def test_one_rider_is_no_study(tmp_path: Path) -> None:
    study = made_results(tmp_path / "study", riders=1)
    with pytest.raises(StudyError, match="riders: expected two or more, found 1"):
        compare_study(study, "condition")


def test_results_of_other_trials_are_not_compared(tmp_path: Path) -> None:
    study = made_results(tmp_path / "study", riders=3, times=1)
    with pytest.raises(StudyError, match="run `jointload study run"):
        compare_study(study, "condition", results=tmp_path / "none")
    change(study / "trials.csv", lambda rows: rows.pop())
    with pytest.raises(StudyError, match=r"expected the landings of trials\.csv, found more or fewer: r02_wedge_0"):
        compare_study(study, "condition")


def test_landings_with_both_feet_on_one_plate_are_named(tmp_path: Path) -> None:
    study = made_results(tmp_path / "study", riders=4, times=1)

    def share(rows: list[list[str]]) -> None:
        for cells in rows[1:]:
            if cells[0] in ("r00_flat_0", "r01_wedge_0") and cells[rows[0].index("foot")] == "back":
                cells[rows[0].index("note")] = "shared plate"

    change(study / "results" / "metrics.csv", share)
    found, out = compare_study(study, "condition")
    assert found.cautions[0].startswith("In 2 of the landings both feet were on one plate")
    assert found.cautions[0] in (out / "comparison.html").read_text(encoding="utf-8").replace("\n", " ")


def test_several_tasks_are_not_thrown_together(tmp_path: Path) -> None:
    study = made_results(tmp_path / "study", riders=4, times=1)
    change(
        study / "results" / "metrics.csv", lambda rows: [r.__setitem__(3, "step") for r in rows[1:] if r[1] == "r00"]
    )
    with pytest.raises(StudyError, match="task: expected one task, found drop and step"):
        compare_study(study, "condition")
    found, _ = compare_study(study, "condition", task="drop")
    assert found.riders == 3 and found.task == "drop"


def true_change_of_back_force() -> float:
    """Mean of the three riders [body weights]: by truth.csv the wedge adds 0.014 to 0.017 under each back foot."""
    truth = pandas.read_csv(TRUTH).set_index(["recording", "quantity", "side"])["value"]
    back = {"rider_a": ("right", 61.0), "rider_b": ("left", 79.0), "rider_c": ("right", 70.0)}

    def force(rider: str, shape: str) -> float:
        side, mass = back[rider]
        return float(truth[f"{rider}_landing_{shape}.c3d", "vertical_force_peak", side]) / (mass * G)

    return sum(force(rider, "wedge") - force(rider, "flat") for rider in back) / len(back)


def test_the_sample_says_how_little_three_riders_can(tmp_path: Path) -> None:
    study, out = ran_sample(tmp_path)
    out.rename(study / "results")

    def few(rows: list[list[str]]) -> None:
        rows[1:] = [cells for cells in rows[1:] if cells[8] in MADE or cells[8] == "knee_flexion_moment_peak"]

    change(study / "results" / "metrics.csv", few)
    found, out = compare_study(study, "condition")
    assert any(text.startswith("3 riders") for text in found.cautions)
    assert any("can give no p below 0.25" in text for text in found.cautions)
    (sure,) = [row for row in found.rows if row.primary and row.verdict == DIFFERS]
    assert sure.name == "back_vertical_force_peak"
    assert sure.contrast.estimate == pytest.approx(true_change_of_back_force(), abs=0.005)
    assert all(curve.test and not curve.test.stretches for curve in found.curves)
    assert "How much this study can say" in (out / "comparison.html").read_text(encoding="utf-8")
