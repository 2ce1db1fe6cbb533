"""How often the interval of a board landing holds the true knee adduction moment.

Run it as python tests/benchmarks/board_landings.py

Every landing has both feet on one board on one plate, its own rider, style and noise; a third of them are shared
equally, a third lean on the back foot, in a third the front foot comes late. With --insoles the riders wear pressure
insoles. Prints a Markdown table and, with --out, writes one row a knee.
"""

from __future__ import annotations

import argparse
import csv
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from jointload.analysis import analyse
from jointload.errors import SettingError
from jointload.intake.pressure import PressureRecording
from jointload.intake.recording import SIDES
from jointload.intake.rider import Rider
from jointload.intake.session import Session
from jointload.settings import Settings
from jointload.synthetic.board import BoardLanding
from jointload.synthetic.landing import SyntheticLanding, simulate_landing
from jointload.synthetic.pressure import BOARD_PATTERNS, InsoleMake, insole_tables, made_layout
from jointload.synthetic.specification import LandingSpec
from jointload.synthetic.standing import TYPICAL, label_map, static_recording
from jointload.synthetic.truth import truth_table

KINDS = ("equal", "back foot heavy", "one foot late")
ENDLESS = (49,)
"""Seeds whose motion takes the integration many minutes; they are left out, as are motions that legs cannot make."""
QUANTITY = "knee_adduction_moment_peak"
FOOT_LENGTH = 0.268
"""Of the insoles [m]."""


@dataclass(frozen=True)
class Row:
    seed: int
    kind: str
    side: str
    true: float
    value: float
    low: float
    high: float
    mass: float

    @property
    def held(self) -> bool:
        return self.low <= self.true <= self.high


def drawn_landing(seed: int, kind: str) -> LandingSpec:
    """A landing of this kind, everything else drawn."""
    rng = np.random.default_rng([seed, 77])
    sex = "f" if rng.random() < 0.5 else "m"
    rider = Rider(
        f"rider_{seed}", rng.uniform(52, 90), rng.uniform(1.58, 1.90), sex, stance=("right", "left")[rng.integers(2)]
    )
    shares = {"equal": 0.5, "back foot heavy": rng.uniform(0.56, 0.64), "one foot late": rng.uniform(0.48, 0.58)}
    late = {"equal": 0.0, "back foot heavy": rng.uniform(0.0, 0.006), "one foot late": rng.uniform(0.010, 0.020)}
    return LandingSpec(
        rider,
        drop=rng.uniform(0.3, 0.6),
        peak=rng.uniform(4.0, 6.0),
        back_share=shares[kind],
        approach=rng.uniform(0.0, 0.5),
        stance=rng.uniform(0.40, 0.52),
        knee_dip=rng.uniform(-0.05, 0.25),
        style="soft" if rng.random() < 0.7 else "stiff",
        delay=late[kind],
        settling=0.45,
        seed=seed,
        name=f"landing_{seed}",
    )


def worn_insoles(landing: SyntheticLanding) -> tuple[PressureRecording, ...]:
    """What insoles under both feet record of a landing."""
    layout, make = made_layout(FOOT_LENGTH), InsoleMake(patterns=BOARD_PATTERNS[landing.spec.rider.stance or "right"])
    tables = insole_tables(landing, layout, make)
    return tuple(
        PressureRecording(f"{side}.csv", "", side, layout, time, 1e3 * said, "kPa", (), ())
        for side, (time, said) in ((s, tables[s]) for s in SIDES)
    )


def rows_of(seed: int, kind: str, insoles: bool = False) -> list[Row]:
    """Both knees of one landing; none when the model cannot make it."""
    spec = drawn_landing(seed, kind)
    try:
        landing = simulate_landing(spec)
    except SettingError:
        return []
    made = BoardLanding(landing)
    static = static_recording(spec.rider, TYPICAL, seed)
    session = Session(made.recorded(), static, label_map(), spec.rider, board=made.board)
    if insoles:
        session = replace(session, insoles=worn_insoles(landing))
    measures = analyse(session, Settings(), variants=False).measures
    true = {row.side: row.value for row in truth_table(landing) if row.quantity == QUANTITY}
    found = {m.side: m for m in measures if m.quantity == QUANTITY}
    return [
        Row(seed, kind, side, true[side], found[side].value, found[side].low, found[side].high, spec.rider.mass)
        for side in SIDES
    ]


def landings(count: int, insoles: bool = False, first: int = 0) -> Iterator[list[Row]]:
    """`count` landings that the model can make, in the order of their seeds."""
    made, seed = 0, first
    while made < count:
        rows = [] if seed in ENDLESS else rows_of(seed, KINDS[seed % len(KINDS)], insoles)
        seed += 1
        made += bool(rows)
        if rows:
            yield rows


def table(rows: list[Row]) -> str:
    lines = ["| landings | knees | held | median interval | median error of the value |", "|---|---:|---:|---:|---:|"]
    for kind in (*KINDS, "all"):
        chosen = [row for row in rows if kind in (row.kind, "all")]
        held = np.mean([row.held for row in chosen])
        width = np.median([(row.high - row.low) / row.mass for row in chosen])
        error = np.median([abs(row.value - row.true) / row.mass for row in chosen])
        lines.append(f"| {kind} | {len(chosen)} | {100 * held:.1f} % | {width:.2f} Nm/kg | {error:.2f} Nm/kg |")
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--landings", type=int, default=200)
    parser.add_argument("--insoles", action="store_true")
    parser.add_argument("--out", type=Path)
    chosen = parser.parse_args()
    rows = []
    for k, pair in enumerate(landings(chosen.landings, chosen.insoles)):
        rows += pair
        if k % 10 == 9:
            print(f"{k + 1} landings, {np.mean([row.held for row in rows]):.3f} held", flush=True)
    if chosen.out:
        with chosen.out.open("w", encoding="utf-8", newline="") as file:
            writer = csv.writer(file, lineterminator="\n")
            writer.writerow(("seed", "kind", "side", "true", "value", "low", "high", "mass"))
            writer.writerows(
                (r.seed, r.kind, r.side, *(f"{v:.6g}" for v in (r.true, r.value, r.low, r.high, r.mass))) for r in rows
            )
    print(table(rows))


if __name__ == "__main__":
    main()
