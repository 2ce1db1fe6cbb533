"""Thin layers under many landings at once: whose is hardest, and one trial of all of them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from made_study import sample_study

from jointload.errors import SettingError, StudyError
from jointload.foot.heel_pad import StiffeningColumn
from jointload.foot.layer_choice import Question, choose, together
from jointload.foot.layer_law import Circumstances
from jointload.foot.thin_layers import TILTS, Bearing, LayerTrial, spare
from jointload.insole.shape.materials import cushions
from jointload.report.papers.layer_words import cost, sentence
from jointload.study.observations import Observations, hardest_landings
from jointload.whole_study import layers_study

MM = 0.001
FOAM = replace(cushions()["insole_foam"], law_misfit=0.02)
ASKED = Question("heel", 3 * MM, 6 * MM, Circumstances(), draws=60)
FORCES = {"rider_a_landing_flat": (1.5, 1.2), "rider_a_landing_wedge": (1.4, 1.7), "rider_b_landing_flat": (1.1, None)}


def trial(force: float, toes: bool = True) -> LayerTrial:
    one = np.ones((40, 1))
    push = np.repeat(800.0 * TILTS[:, None] + 90.0, 40, axis=1) if toes else None
    bearing = Bearing(
        "right", "modelled", force * one, 800.0 * one, 250e3 * one, 0.03 * one,
        (StiffeningColumn(0.012 * one, 2.5e6, 0.72),), 0.14, 700.0, 5, push, "" if toes else "barefoot: no toe box",
    )  # fmt: skip
    return spare(bearing, (FOAM, cushions()["gel"]))


def results(folder: Path) -> Path:
    """What a run of the sample writes of its forces under the heels."""
    rows = [
        (name, name[:7], name.rpartition("_")[2], side, "heel_force_peak", "" if force is None else force)
        for name, forces in FORCES.items()
        for side, force in zip(("right", "left"), forces, strict=True)
    ]
    columns = ["trial", "rider", "condition", "side", "quantity", "value"]
    folder.mkdir()
    pd.DataFrame(rows, columns=columns).to_csv(folder / "metrics.csv", index=False)
    return folder


def test_the_hardest_landing_of_each_rider_and_its_foot(tmp_path: Path) -> None:
    seen = Observations(pd.DataFrame(), pd.DataFrame(), False, results(tmp_path / "results"))
    assert hardest_landings(seen) == {"rider_a_landing_wedge": "left", "rider_b_landing_flat": "right"}
    assert hardest_landings(seen, condition="flat")["rider_a_landing_flat"] == "right"
    assert list(hardest_landings(seen, rider="rider_b")) == ["rider_b_landing_flat"]
    assert len(hardest_landings(seen, every=True)) == len(FORCES)
    with pytest.raises(StudyError, match="rider_x"):
        hardest_landings(seen, rider="rider_x")


def test_landings_together_lie_side_by_side() -> None:
    soft, hard = trial(700.0), trial(2000.0)
    both = together([hard, soft], 2)
    for name in ("heel_change", "toe_push", "bottomed"):
        whole = getattr(both.spared["heel"], name)
        np.testing.assert_array_equal(whole[..., :40], getattr(hard.spared["heel"], name))
        np.testing.assert_array_equal(whole[..., 40:], getattr(soft.spared["heel"], name))
    change = choose(both, "heel", 3 * MM, 8 * MM).change
    ends = [choose(one, "heel", 3 * MM, 8 * MM).change for one in (hard, soft)]
    assert min(e.low for e in ends) <= change.low <= change.middle <= change.high <= max(e.high for e in ends)
    said = sentence(both, choose(both, "heel", 3 * MM, 8 * MM))
    assert said.startswith("At 3 mm under the heel of 2 riders: ")


def test_nothing_is_said_of_heights_that_were_not_tried() -> None:
    """Where each millimetre gains up to the highest, whatever room the shoe has."""
    whole = trial(2000.0)
    choices = (replace(choose(whole, "heel", 3 * MM, limit * MM), gained_to=8 * MM) for limit in (8, 60))
    within, beyond = (sentence(whole, choice) for choice in choices)
    assert within.endswith("up to the limit of 8 mm each millimetre gains.")
    assert beyond.endswith("up to 8 mm, the highest that was tried, each millimetre gains.")


def test_toes_are_known_where_all_are() -> None:
    both = together([trial(2000.0), trial(700.0, toes=False)], 2)
    said = cost(both, choose(both, "heel", 3 * MM, 8 * MM))
    assert "barefoot" in said and both.bearing.toe_push is None


@pytest.mark.parametrize(
    ("under", "height", "told"), [("arch", 3 * MM, "heel, ball, whole"), ("heel", 7 * MM, "1 to 6")]
)
def test_a_wrong_question_is_told(under: str, height: float, told: str) -> None:
    with pytest.raises(SettingError, match=told):
        Question(under, height, 6 * MM, Circumstances())


def test_a_study_has_one_picture_and_one_sentence(tmp_path: Path) -> None:
    folder = sample_study(tmp_path / "study")
    found = results(tmp_path / "results")
    names = [path.stem for path in sorted(folder.glob("*landing*.c3d"))]
    pd.DataFrame({"trial": names}).to_csv(found / "trials.csv", index=False)
    frame = pd.read_csv(found / "metrics.csv", dtype=str, keep_default_na=False)
    frame.assign(foot="").to_csv(found / "metrics.csv", index=False)
    whole, choice, out = layers_study(folder, ASKED, [FOAM], found)
    assert whole.riders == 2 and whole.bare_pressure.size == 2 * ASKED.draws
    page = (out / "layers.html").read_text(encoding="utf-8")
    assert sentence(whole, choice) in page and page.count("<figure") == 1
    assert "Each landing by itself" in page and all(name in page for name in ("rider_a_landing_wedge", "rider_b"))
    rows = pd.read_csv(out / "layers.csv")
    assert rows["landing"].nunique() == 3 and (rows["heel_pressure_change_percent"] < 0).any()
