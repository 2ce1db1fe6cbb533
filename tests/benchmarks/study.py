"""Memory, cost per trial and use of two workers for a study of many small trials.

python tests/benchmarks/study.py [--trials 2000]
"""

from __future__ import annotations

import argparse
import csv
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path

from jointload.study_run.trial import Outcome
from jointload.study_run.workers import in_processes
from jointload.synthetic.c3d_file import write_c3d
from jointload.synthetic.landing import simulate_landing
from jointload.synthetic.measurement import as_recording
from jointload.synthetic.sample import STUDY, write_sample
from jointload.synthetic.standing import TYPICAL, static_recording
from jointload.whole_study import run_study

FEW, FOR_WORKERS = 100, 200
MEGABYTE = 1024.0
KINDS = 4
"""Different landings of each rider; more trials are further names of the same files."""


def make_study(folder: Path, trials: int, kinds: int = KINDS) -> None:
    """A study of `trials` landings of 0.6 s by three riders."""
    write_sample(folder, [])
    rows = []
    for person in STUDY:
        static = f"{person.rider.id}_static.c3d"
        write_c3d(replace(static_recording(person.rider, TYPICAL, 1), name=static), folder / static)
        rows.append((static, person.rider.id, "static", ""))
        for kind in range(kinds):
            spec = replace(person.flat, seed=kind, settling=0.35, flight=0.25, name=f"{person.rider.id}_{kind}.c3d")
            write_c3d(as_recording(simulate_landing(spec)), folder / spec.name)
    for k in range(trials):
        rider, kind = STUDY[k % len(STUDY)].rider.id, k // len(STUDY) % kinds
        name = f"trial_{k:05d}.c3d"
        os.link(folder / f"{rider}_{kind}.c3d", folder / name)
        rows.append((name, rider, "landing", ("flat", "wedge")[k % 2]))
    with (folder / "trials.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([("file", "rider", "kind", "condition"), *rows])


def measure(folder: Path, out: Path, workers: int) -> dict[str, float]:
    """One run in this process: what the parent holds, what a trial costs once the workers have started."""
    times: list[float] = []
    processor: list[float] = []

    def watch(outcomes: Iterator[Outcome], words: str, _: int) -> Iterable[Outcome]:
        for outcome in outcomes:
            if words == "Analysing":
                times.append(time.perf_counter())
                processor.append(of_children())
            yield outcome

    started = time.perf_counter()
    with in_processes(workers) as crew:
        done = run_study(folder, out, crew, watch=watch)
        ended = time.perf_counter()
    assert not done.refused and done.analysed == len(times)
    children = resource.getrusage(resource.RUSAGE_CHILDREN)
    return {
        "parent_megabytes": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / MEGABYTE,
        "worker_megabytes": children.ru_maxrss / MEGABYTE,
        "seconds": ended - started,
        "milliseconds_a_trial": 1000 * (times[-1] - times[0]) / (len(times) - 1),
        "processor_milliseconds": 1000 * (processor[-1] - processor[0]) / (len(times) - 1),
    }


def of_children() -> float:
    """Processor time [s] of the worker processes that live."""
    ticks = os.sysconf("SC_CLK_TCK")
    total = 0
    for pid in Path(f"/proc/{os.getpid()}/task/{os.getpid()}/children").read_text(encoding="ascii").split():
        fields = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
        total += int(fields[11]) + int(fields[12])
    return total / ticks


def in_a_process_of_its_own(folder: Path, out: Path, workers: int) -> dict[str, float]:
    command = [sys.executable, __file__, "--one", str(folder), str(out), str(workers)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    return {key: float(value) for key, value in json.loads(done.stdout).items()}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trials", type=int, default=2000)
    parser.add_argument("--one", nargs=3, help=argparse.SUPPRESS)
    chosen = parser.parse_args()
    if chosen.one:
        print(json.dumps(measure(Path(chosen.one[0]), Path(chosen.one[1]), int(chosen.one[2]))))
        return
    with tempfile.TemporaryDirectory() as scratch:
        place = Path(scratch)
        found = {}
        runs = {"few": (FEW, 2), "many": (chosen.trials, 2)}
        runs |= {"one worker": (FOR_WORKERS, 1), "two workers": (FOR_WORKERS, 2)}
        for name, (trials, workers) in runs.items():
            make_study(place / name, trials)
            found[name] = in_a_process_of_its_own(place / name, place / f"{name}_out", workers)
            numbers = ", ".join(f"{key} {value:.1f}" for key, value in found[name].items())
            print(f"{name}: {trials} trials, {workers} workers: {numbers}", flush=True)
        cost = {name: found[name]["milliseconds_a_trial"] for name in found}
        busy = {name: found[name]["processor_milliseconds"] for name in found}
        print(f"cost of a trial, {chosen.trials} over {FEW} (wanted within 1.2): {cost['many'] / cost['few']:.2f}")
        print("the same in processor time, which other work does not touch:")
        print(", ".join(f"{name} {value:.0f} ms" for name, value in busy.items()))
        print(f"two workers over one (wanted 1.7): {cost['one worker'] / cost['two workers']:.2f}")
        print(f"parent at {chosen.trials} trials (wanted under 1024 MB): {found['many']['parent_megabytes']:.0f} MB")


if __name__ == "__main__":
    main()
