"""A study of 10,000 landings with draws on a Dask cluster of this machine; a worker is killed, one slowed, one added.

python tests/benchmarks/many_landings.py [--landings 10000] [--draws 50] [--place FOLDER]

The landings are further names of six recordings, each read and analysed once in a process (same_recordings.py), so that
it is the study that is measured; the same study is then run by processes of this machine, and every byte compared.
"""

from __future__ import annotations

import argparse
import csv
import hashlib
import os
import signal
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Iterable, Iterator
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import same_recordings
from made_study import with_draws
from study import make_study
from troubled import cluster

from jointload.study_run import trial
from jointload.study_run.trial import Outcome
from jointload.study_run.workers import Workers, in_processes, on_cluster
from jointload.whole_study import run_study

HERE = Path(__file__).resolve().parent
WORKERS = 4
KILLED, SLOWED, ADDED = 0.25, 0.35, 0.5
"""Shares of the landings after which it happens."""
STOPPED, GOES_ON = 0.9, 0.1
"""Of every second the slowed worker is stopped for so long and works for the rest."""
KINDS = 2
"""Recordings of each of three riders."""
MEGABYTE = 1024.0
OURS = {trial.inspect: same_recordings.inspect, trial.run: same_recordings.run}


def renamed(folder: Path) -> None:
    """The trials of study.make_study under names that tell their recording."""
    head, *rows = read(folder / "trials.csv")
    names = {path.stat().st_ino: path.stem for path in folder.glob("rider_?_[0-9].c3d")}
    for number, row in enumerate(rows):
        if row[0].startswith("trial_"):
            new = f"{names[(folder / row[0]).stat().st_ino]}-{number:05d}.c3d"
            (folder / row[0]).rename(folder / new)
            row[0] = new
    with (folder / "trials.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([head, *rows])


def read(path: Path) -> list[list[str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.reader(file))


def once_a_recording(workers: Workers) -> Workers:
    return lambda work, jobs: workers(OURS[work], jobs)


def memory() -> float:
    """Resident memory of this process [MB]."""
    lines = Path("/proc/self/status").read_text(encoding="ascii").splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmRSS")) / MEGABYTE


class Watch:
    """Counts outcomes, notes the parent's memory, and calls what is to happen at its share of the landings."""

    def __init__(self, landings: int, happenings: dict[float, object]) -> None:
        self.landings, self.happenings = landings, dict(happenings)
        self.counts: Counter[str] = Counter()
        self.memory: list[float] = []

    def __call__(self, outcomes: Iterator[Outcome], words: str, _: int) -> Iterable[Outcome]:
        for outcome in outcomes:
            yield outcome
            if words != "Analysing":
                continue
            self.counts[outcome.name] += 1
            done = sum(self.counts.values())
            for share in [share for share in self.happenings if done >= share * self.landings]:
                self.happenings.pop(share)()  # type: ignore[operator]
            if done % max(1, self.landings // 10) == 0:
                self.memory.append(memory())
                print(f"  {done} landings, parent {self.memory[-1]:.0f} MB", flush=True)


def slowed(pid: int, over: threading.Event) -> None:
    """Stop and let go on, until it is over."""
    while not over.is_set():
        os.kill(pid, signal.SIGSTOP)
        over.wait(STOPPED)
        os.kill(pid, signal.SIGCONT)
        time.sleep(GOES_ON)


def over_cluster(place: Path, study: Path, out: Path, landings: int) -> tuple[Watch, float, list[str]]:
    """The troubled run: what was watched, its time [s], what was told."""
    lines: list[str] = []
    over = threading.Event()
    with cluster(place / "cluster", WORKERS) as running:
        slow = threading.Thread(target=slowed, args=(running.workers[1].pid, over))
        watch = Watch(landings, {KILLED: running.workers[0].kill, SLOWED: slow.start, ADDED: running.add})
        with on_cluster(running.address, tell=lines.append) as workers:
            began = time.perf_counter()
            try:
                done = run_study(study, out, once_a_recording(workers), parquet=True, watch=watch)
            finally:
                over.set()
                slow.join()
            seconds = time.perf_counter() - began
    assert not done.refused, done.refused
    return watch, seconds, lines


def fingerprint(folder: Path) -> tuple[str, int]:
    """SHA-256 over every file's path and bytes, and how many there are."""
    total, count = hashlib.sha256(), 0
    for path in sorted(folder.rglob("*")):
        if path.is_file():
            total.update(path.relative_to(folder).as_posix().encode() + hashlib.sha256(path.read_bytes()).digest())
            count += 1
    return total.hexdigest(), count


def ended(place: Path) -> Counter[str]:
    """How often the analysis of each trial came to its end, in whichever worker; kept or not."""
    return Counter(line.split()[0] for path in place.iterdir() for line in path.read_text("utf-8").splitlines())


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--landings", type=int, default=10_000)
    parser.add_argument("--draws", type=int, default=50)
    parser.add_argument("--place", type=Path, help="where the study is made; a temporary folder without it")
    chosen = parser.parse_args()
    os.environ["PYTHONPATH"] = os.pathsep.join([*map(str, (HERE, HERE.parent, HERE.parents[1])), *sys.path])
    with tempfile.TemporaryDirectory(dir=chosen.place) as scratch:
        return measured(Path(scratch), chosen.landings, chosen.draws)


def measured(place: Path, landings: int, draws: int) -> int:
    study = place / "study"
    make_study(study, landings, KINDS)
    renamed(study)
    with_draws(study, draws)
    began, before = time.perf_counter(), memory()
    print(f"{landings} landings with {draws} draws, parent {before:.0f} MB", flush=True)
    watch, seconds, lines = over_cluster(place, study, place / "cluster_out", landings)
    print(f"cluster of {WORKERS}, one killed, one slowed, one added: {seconds:.0f} s; told: {lines}", flush=True)
    once_each = set(watch.counts.values()) == {1} and len(watch.counts) == landings
    again = sum(ended(place / same_recordings.ENDED).values()) - landings
    print(f"every trial's outcome counted once: {once_each}; analyses ended and not kept: {again}")
    first, last = watch.memory[0], max(watch.memory)
    print(f"parent after a tenth {first:.0f} MB, at most {last:.0f} MB, at the end {memory():.0f} MB", flush=True)
    parts = sorted(path.name for path in (place / "cluster_out" / "metrics.parquet").iterdir())
    print(f"parquet: {len(parts)} parts, {parts[0]} to {parts[-1]}")
    with in_processes(2) as workers:
        run_study(study, place / "here", once_a_recording(workers), parquet=True)
    there, here = fingerprint(place / "cluster_out"), fingerprint(place / "here")
    print(f"the same bytes as on one machine: {there == here}, {here[1]} files")
    print(f"{time.perf_counter() - began:.0f} s in all")
    return 0 if once_each and there == here else 1


if __name__ == "__main__":
    sys.exit(main())
