"""Speed of the intervals, run by hand on one core: python tests/benchmarks/intervals.py

500 draws of a sample landing cut to 300 frames, in time, against the analysis itself, and in memory; and of one step of
a treadmill run of 4,500 frames (Fukuchi et al (2017) PeerJ 5:e3298), where it is beside the checkout.
"""

from __future__ import annotations

import os

os.environ |= {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}

import resource
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from jointload.analysis import analyse
from jointload.intake.session import Session, read_session
from jointload.modeldata import shipped_folder
from jointload.uncertainty.draws import Streams
from jointload.uncertainty.intervals import DRAWS, with_intervals
from jointload.uncertainty.pour import pour
from jointload.uncertainty.spreads import load_sources

FRAMES = 300
RUNNING = Path(__file__).parents[3] / "shared" / "c3d" / "running"
RUNNING_FILES = Path(__file__).parents[1] / "intake" / "real"


def session_of_300_frames() -> Session:
    folder = shipped_folder("sample_c3d")
    files = {
        "labels": folder / "labels.toml",
        "rider": folder / "rider_a.toml",
        "static": folder / "rider_a_static.c3d",
    }
    session = read_session(folder / "rider_a_landing_flat.c3d", **files)
    trial, samples = session.trial, FRAMES * session.trial.samples_per_frame
    plates = tuple(
        replace(p, force=p.force[:, :samples].copy(), moment=p.moment[:, :samples].copy()) for p in trial.plates
    )
    markers = np.ascontiguousarray(trial.markers[:, :, :FRAMES])
    return replace(session, trial=replace(trial, markers=markers, plates=plates))


def running_session() -> Session:
    return read_session(
        RUNNING / "treadmill_3.5ms.c3d",
        static=RUNNING / "static.c3d",
        labels=RUNNING_FILES / "running_labels.toml",
        rider=RUNNING_FILES / "running_rider.toml",
    )


def main() -> None:
    session = session_of_300_frames()
    analysis = analyse(session, variants=False)
    reference = min(_seconds(lambda: analyse(session, variants=False)) for _ in range(5))
    streams, sources = Streams.of(session, 0), load_sources()
    taken = min(_seconds(lambda: pour(session, analysis.landing, sources, streams, DRAWS)) for _ in range(3))
    whole = _seconds(lambda: with_intervals(analysis))
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{DRAWS} draws of {FRAMES} frames: {taken:.2f} s of one core (wanted under 4)")
    print(
        f"  one analysis with its checks: {1e3 * reference:.0f} ms; a draw takes {taken / DRAWS / reference:.2f} of it"
    )
    print(f"with the share of each input: {whole:.2f} s")
    print(f"largest memory of the process: {memory:.0f} MB (wanted under 800)")
    if RUNNING.is_dir():
        run = analyse(running_session(), variants=False)
        reading = (run.session, run.landing, load_sources(), Streams.of(run.session, 0), DRAWS)
        step, whole = _seconds(lambda: pour(*reading)), _seconds(lambda: with_intervals(run))
        print(f"{DRAWS} draws of a step of {run.session.trial.frames} frames: {step:.2f} s (wanted under 10)")
        print(f"with the share of each input: {whole:.2f} s")


def _seconds(work: object) -> float:
    start = time.process_time()
    work()  # type: ignore[operator]
    return time.process_time() - start


if __name__ == "__main__":
    main()
