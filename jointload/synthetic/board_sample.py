"""Makes the sample's landing on a board with pressure insoles: python -m jointload.synthetic.board_sample sample_c3d"""

from __future__ import annotations

import argparse
import csv
from pathlib import Path

from jointload.intake.board import Board
from jointload.intake.recording import SIDES
from jointload.synthetic.board import BoardLanding
from jointload.synthetic.c3d_file import write_c3d
from jointload.synthetic.landing import simulate_landing
from jointload.synthetic.pressure import (
    BOARD_PATTERNS,
    InsoleMake,
    insole_tables,
    made_layout,
    write_layout,
    write_pressure,
)
from jointload.synthetic.sample import RIDER_A, SOFT
from jointload.synthetic.specification import LandingSpec
from jointload.synthetic.truth import truth_table

NAME = "rider_a_board.c3d"
SPEC = LandingSpec(RIDER_A, 0.40, 4.7, 0.53, posture=SOFT, delay=0.010, approach=0.5, settling=0.75, seed=41, name=NAME)
INSOLES = InsoleMake(patterns=BOARD_PATTERNS[RIDER_A.stance])
FOOT_LENGTH = 0.262


def write_board_sample(folder: Path) -> None:
    """One landing with both feet on a board on one plate: recording, board, sensors, pressure, truth."""
    folder.mkdir(parents=True, exist_ok=True)
    made = BoardLanding(simulate_landing(SPEC))
    write_c3d(made.recorded(), folder / NAME)
    (folder / "board.toml").write_text(board_text(made.board), encoding="utf-8")
    layout = made_layout(FOOT_LENGTH)
    write_layout(layout, folder / "pressure_layout.csv")
    tables = insole_tables(made.landing, layout, INSOLES, SPEC.seed)
    for side, word in zip(SIDES, ("right", "left"), strict=True):
        write_pressure(layout, *tables[side], folder / f"rider_a_board_{word}.csv")
    with (folder / "board_truth.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(("recording", "quantity", "side", "value", "unit"))
        writer.writerows((NAME, r.quantity, r.side, f"{r.value:.6g}", r.unit) for r in truth_table(made.landing))


def board_text(board: Board) -> str:
    lines = [
        "# Invented: see README.md",
        f'name = "{board.name}"',
        f"mass_kg = {board.mass:g}",
        f"length_mm = {1e3 * board.length:g}",
        f"width_mm = {1e3 * board.width:g}",
        f"deck_height_mm = {1e3 * board.deck_height:g}     # from the ground to where the feet stand",
        "",
        "[markers]                # label = mm to the nose from the middle, up from the ground, to the nose's right",
    ]
    lines += [f"{label} = [{', '.join(f'{1e3 * x:g}' for x in place)}]" for label, place in board.markers.items()]
    return "\n".join(lines) + "\n"


def main() -> None:
    parser = argparse.ArgumentParser(description="Make the sample's landing on a board.")
    parser.add_argument("folder", type=Path)
    write_board_sample(parser.parse_args().folder)


if __name__ == "__main__":
    main()
