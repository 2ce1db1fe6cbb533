"""board.toml: what is read, what is refused in one line."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from jointload.errors import BoardError
from jointload.intake.board import board_from, read_board

PLAIN: dict[str, Any] = {"mass_kg": 2.4, "length_mm": 800, "width_mm": 200, "deck_height_mm": 110}


def test_an_even_plate_where_nothing_else_is_said() -> None:
    """Moments of a thin even rectangle about its middle: m b^2 / 12, m (a^2 + b^2) / 12, m a^2 / 12."""
    board = board_from(PLAIN)
    np.testing.assert_allclose(board.inertia, [2.4 * 0.04 / 12, 2.4 * 0.68 / 12, 2.4 * 0.64 / 12])
    np.testing.assert_allclose(board.centre, [0.0, 0.055, 0.0])
    assert board.support == (0.8, 0.2)
    assert not board.markers


def test_markers_and_places_are_read_in_millimetres(tmp_path: Path) -> None:
    text = """
    name = "deck_b"
    mass_kg = 3
    length_mm = 900
    width_mm = 220
    deck_height_mm = 20
    support_mm = [500, 180]
    centre_of_mass_mm = [10, 12, 0]
    inertia_kgm2 = [0.01, 0.2, 0.19]
    [markers]
    nose = [430, 22, 0]
    """
    path = tmp_path / "board.toml"
    path.write_text(text, encoding="utf-8")
    board = read_board(path)
    assert board.name == "deck_b"
    np.testing.assert_allclose(board.markers["nose"], [0.43, 0.022, 0.0])
    np.testing.assert_allclose(board.inertia, [0.01, 0.2, 0.19])
    assert board.support == (0.5, 0.18)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"mass_kg": 2400}, "mass_kg: expected a number from 0.1 to 25"),
        ({"length_mm": 0.8}, "length_mm: expected a number from 300 to 2600"),
        ({"mass": 2}, "correct the key's name"),
        ({"markers": ["nose"]}, '"label" = [along, up, right] in mm'),
        ({"markers": {"nose": [400, 20]}}, "marker nose: expected 3 numbers in mm"),
        ({"inertia_kgm2": 0.2}, "three numbers"),
        ({"inertia_kgm2": [0.1, 0.2, 200.0]}, "inertia_kgm2: expected a number from 0.0001 to 30"),
        ({"support_mm": [0, 0]}, "support_mm: expected a number from 10"),
        ({"deck_height_mm": True}, "deck_height_mm: expected a number"),
    ],
)
def test_what_cannot_be_is_refused(change: dict[str, Any], words: str) -> None:
    with pytest.raises(BoardError, match="board") as problem:
        board_from({**PLAIN, **change}, "board.toml")
    assert words in str(problem.value)
    assert "\n" not in str(problem.value)


def test_a_missing_key_or_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(BoardError, match="deck_height_mm"):
        board_from({key: value for key, value in PLAIN.items() if key != "deck_height_mm"})
    with pytest.raises(BoardError, match="does not exist"):
        read_board(tmp_path / "none.toml")
    (tmp_path / "bad.toml").write_text("mass = = 2", encoding="utf-8")
    with pytest.raises(BoardError, match="expected TOML"):
        read_board(tmp_path / "bad.toml")
