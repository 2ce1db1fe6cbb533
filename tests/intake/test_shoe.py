"""What shoe.toml may say."""

from __future__ import annotations

from pathlib import Path

import pytest

from jointload.errors import ShoeError
from jointload.intake.shoe import Given, Shoe, read_shoe, shoe_from


def test_numbers_come_in_three_forms_and_in_si() -> None:
    shoe = shoe_from({"friction": [0.3, 0.5], "lacing_n": 20, "toe_room_mm": [4, 8, 15], "sole_mpa": 3}, name="low")
    assert shoe.name == "low" and not shoe.barefoot and shoe.sole is None
    assert shoe.friction == Given(0.3, 0.4, 0.5)
    assert shoe.lacing == Given(pytest.approx(17.0), 20.0, pytest.approx(23.0))
    assert shoe.toe_room is not None and shoe.toe_room.value == pytest.approx(0.008)
    assert shoe.sole_modulus is not None and shoe.sole_modulus.value == 3e6


def test_nothing_said_is_nothing_known() -> None:
    assert shoe_from({}) == Shoe() and shoe_from({"barefoot": True}).barefoot


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ({"grip": 0.4}, "found grip"),
        ({"friction": 3.0}, "a number from 0.05 to 2"),
        ({"friction": "high"}, "a number from"),
        ({"lacing_n": [40, 10]}, "numbers that grow"),
        ({"toe_room_mm": [1, 2, 3, 4]}, "or \\[low, value, high\\]"),
        ({"barefoot": "yes"}, "true or false"),
        ({"barefoot": True, "friction": 0.4}, "no numbers of a shoe, found friction"),
    ],
)
def test_a_wrong_shoe_is_refused_in_one_line(content: dict, words: str) -> None:
    with pytest.raises(ShoeError, match=words) as told:
        shoe_from(content, "shoe.toml")
    assert "\n" not in str(told.value) and "shoe.toml" in str(told.value)


def test_a_file_is_read_and_named(tmp_path: Path) -> None:
    path = tmp_path / "canvas.toml"
    path.write_text("friction = 0.5\n")
    assert read_shoe(path).name == "canvas"
    with pytest.raises(ShoeError, match="correct --shoe"):
        read_shoe(tmp_path / "none.toml")
