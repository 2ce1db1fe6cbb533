"""Makes the invented sample study: python -m jointload.synthetic.sample sample_c3d"""

from __future__ import annotations

import argparse
import csv
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from jointload.intake.recording import Recording
from jointload.intake.rider import Rider
from jointload.synthetic.c3d_file import write_c3d
from jointload.synthetic.landing import simulate_landing
from jointload.synthetic.measurement import as_recording
from jointload.synthetic.specification import LandingSpec, Posture
from jointload.synthetic.standing import SILENT, TYPICAL, label_map, static_recording
from jointload.synthetic.truth import Trial, error_table, truth_table

WEDGE = np.deg2rad(4.0)
"""Medial heel wedge of the second condition."""
SETTLING = 1.4
"""Recorded time [s] after touch-down: the riders stand still at its end."""


@dataclass(frozen=True)
class SampleRider:
    """A rider of the study and how that rider lands."""

    rider: Rider
    flat: LandingSpec
    hidden: tuple[tuple[str, float, float], ...] = ()
    """Marker, start [s] and end [s] of a stretch in which no camera saw it."""


def _rider(mark: str, mass: float, height: float, sex: str, shoe: str, stance: str) -> Rider:
    return Rider(f"rider_{mark}", mass, height, "f" if sex == "f" else "m", shoe, stance)


RIDER_A = _rider("a", 61.0, 1.67, "f", "low canvas shoe, flat sole", "right")
RIDER_B = _rider("b", 79.0, 1.82, "m", "mid-cut shoe, flat sole", "left")
RIDER_C = _rider("c", 70.0, 1.74, "m", "low leather shoe, flat sole", "right")
SOFT = Posture(
    leg=0.988,
    lean=0.38,
    lean_change=0.10,
    tilt=0.15,
    tilt_change=0.25,
    rise=0.10,
    first_share=0.9,
    first_length=0.12,
    ball_stop=0.038,
    ankle_stop=0.070,
    toward_toes=0.085,
)
"""Held so that joint moments lie where those of people who land from such heights do: the legs nearly straight at the
touch, first on the forefoot, the force highest before the knees are deep, the trunk a little forward."""
STIFF = replace(SOFT, leg=0.985, lean=0.22, tilt=0.08, tilt_change=0.10, rise=0.04)
STUDY = (
    SampleRider(
        RIDER_A,
        LandingSpec(RIDER_A, 0.42, 4.6, 0.52, posture=SOFT, knee_dip=0.12, approach=0.75, seed=11),
    ),
    SampleRider(
        RIDER_B,
        LandingSpec(RIDER_B, 0.40, 5.4, 0.52, posture=STIFF, style="stiff", approach=0.7, stance=0.48, seed=21),
    ),
    SampleRider(
        RIDER_C,
        LandingSpec(RIDER_C, 0.42, 4.3, 0.54, posture=SOFT, knee_dip=0.25, approach=0.8, stance=0.46, seed=31),
        hidden=(("L_spine_front", 0.49, 0.55),),
    ),
)


STUDY_TEXT = """\
# Invented: see README.md
name = "the Loft"
task = "drop landing"
baseline = "flat"     # the condition that the others are compared with

# Named before the data were seen: over these the chance of any false alarm is held at 5 %. The rest is exploratory.
primary = ["back_vertical_force_peak", "back_knee_flexion_peak", "back_knee_adduction_moment_peak",
           "back_knee_flexion_moment_peak"]

# Series compared as whole curves
curves = ["vertical_force", "knee_flexion_angle", "knee_flexion_moment", "knee_adduction_moment"]

[settings]            # those of `jointload analyse`
smoothing = "balanced"
contact_threshold = 20

[smallest_change]     # in shown units: a difference below it does not matter (invented)
knee_adduction_moment_peak = 0.1
knee_flexion_peak = 5
"""


def sample_trials() -> Iterator[Trial]:
    """Flat and wedge landing of every rider, simulated and recorded."""
    for person in STUDY:
        static = replace(
            static_recording(person.rider, TYPICAL, person.flat.seed), name=f"{person.rider.id}_static.c3d"
        )
        for condition, wedge in (("flat", 0.0), ("wedge", WEDGE)):
            name = f"{person.rider.id}_landing_{condition}.c3d"
            seed = person.flat.seed + (wedge > 0)
            spec = replace(person.flat, wedge=wedge, seed=seed, name=name, settling=SETTLING)
            landing = simulate_landing(spec)
            exact = as_recording(replace(landing, spec=replace(spec, noise=SILENT)))
            recorded = _hide(as_recording(landing), person.hidden)
            yield Trial(landing, static, recorded, static_recording(person.rider), exact)


def _hide(recording: Recording, hidden: Iterable[tuple[str, float, float]]) -> Recording:
    markers = recording.markers.copy()
    for label, start, end in hidden:
        frames = slice(round(start * recording.point_rate), round(end * recording.point_rate))
        markers[:, recording.labels.index(label), frames] = np.nan
    return replace(recording, markers=markers)


def write_sample(folder: Path, trials: Iterable[Trial]) -> None:
    """Recordings, riders, labels and truth of the study."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "labels.toml").write_text(_labels_text(), encoding="utf-8")
    write_study_tables(folder)
    rows = []
    for trial in trials:
        rider = trial.landing.spec.rider
        write_c3d(trial.static, folder / trial.static.name)
        write_c3d(trial.recorded, folder / trial.recorded.name)
        (folder / f"{rider.id}.toml").write_text(_rider_text(rider), encoding="utf-8")
        rows += [
            (trial.recorded.name, r.quantity, r.side, f"{r.value:.6g}", r.unit) for r in truth_table(trial.landing)
        ]
    with (folder / "truth.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(("recording", "quantity", "side", "value", "unit"))
        writer.writerows(rows)


def write_study_tables(folder: Path) -> None:
    """study.toml, riders.csv and trials.csv of the study."""
    (folder / "study.toml").write_text(STUDY_TEXT, encoding="utf-8")
    riders = [(r.id, r.mass, r.height, r.sex, r.stance, r.shoe) for r in (person.rider for person in STUDY)]
    trials: list[tuple[str, ...]] = []
    for person in STUDY:
        rider, style = person.rider.id, person.flat.style
        trials.append((f"{rider}_static.c3d", rider, "static", "", ""))
        trials += [(f"{rider}_landing_{c}.c3d", rider, "landing", c, style) for c in ("flat", "wedge")]
    for name, head, rows in (
        ("riders.csv", ("id", "mass_kg", "height_m", "sex", "stance", "shoe"), riders),
        ("trials.csv", ("file", "rider", "kind", "condition", "style"), trials),
    ):
        with (folder / name).open("w", encoding="utf-8", newline="") as file:
            writer = csv.writer(file, lineterminator="\n")
            writer.writerow(head)
            writer.writerows(rows)


def _rider_text(rider: Rider) -> str:
    return (
        f'# Invented: see README.md\nid = "{rider.id}"\nmass_kg = {rider.mass}\nheight_m = {rider.height}\n'
        f'sex = "{rider.sex}"\nshoe = "{rider.shoe}"\nstance = "{rider.stance}"\n'
    )


def _labels_text() -> str:
    labels = label_map()
    lines = ["# The invented laboratory's marker labels: anatomical landmark = label in the files", "[landmarks]"]
    lines += [f'{name} = "{label}"' for name, label in labels.landmarks.items()]
    lines += ["", "# Markers that track a segment, at least three each", "[clusters]"]
    for segment, cluster in labels.clusters.items():
        lines.append(f"{segment} = [" + ", ".join(f'"{label}"' for label in cluster) + "]")
    return "\n".join(lines) + "\n"


def main() -> None:
    parser = argparse.ArgumentParser(description="Make the invented sample study.")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--errors", action="store_true", help="print the table of errors against the truth as well")
    chosen = parser.parse_args()
    trials = list(sample_trials())
    write_sample(chosen.folder, trials)
    if chosen.errors:
        print(error_table(trials))


if __name__ == "__main__":
    main()
