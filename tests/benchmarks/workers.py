"""A study whose workers are killed, stopped for good, stopped for 10 s and added while it runs, at drawn moments.

python tests/benchmarks/workers.py [--rounds 20] [--silent 5] [--times 10] [--kind processes|cluster]

Every round must end with the bytes of the undisturbed study and no other file, also after the stopped workers have
gone on, within twice its time and the limit of silence.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from contextlib import contextmanager
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from made_study import every_byte, sample_study
from troubled import cluster, drawn, troubled, worker_processes

from jointload.study_run.workers import in_processes, on_cluster
from jointload.whole_study import run_study

WORKERS = 4
AFTERWARDS = 2.0
"""Time [s] for workers that go on to write what they may."""


@contextmanager
def crew(kind, place, silent, lines):
    """Workers, who of them lives, and how one is added; processes are replaced, not added."""
    if kind == "processes":
        with in_processes(WORKERS, silent, lines.append) as workers:
            yield workers, worker_processes, lambda: None
    else:
        with cluster(place, WORKERS) as running, on_cluster(running.address, silent, lines.append) as workers:
            yield workers, running.alive, running.add


def one_round(kind, place, study, silent, seed, seconds):
    """Time [s] of a run and what stands in its folder, before and after the stopped workers go on."""
    kinds = ("kill", "stop", "pause") if kind == "processes" else ("kill", "stop", "pause", "add")
    lines = []
    with crew(kind, place, silent, lines) as (workers, alive, add):
        began = time.perf_counter()
        with troubled(drawn(seed, kinds if seconds else (), seconds), alive, add, seed):
            done = run_study(study, place / "out", workers)
            ended = time.perf_counter() - began
            found = names_and_bytes(place / "out")
        if seconds:
            time.sleep(AFTERWARDS)
        assert not done.refused, done.refused
        return ended, found, names_and_bytes(place / "out"), lines


def names_and_bytes(out: Path):
    return every_byte(out), sorted(path.relative_to(out).as_posix() for path in out.rglob("*"))


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=20)
    parser.add_argument("--silent", type=float, default=5.0)
    parser.add_argument("--times", type=int, default=10)
    parser.add_argument("--kind", choices=("processes", "cluster"))
    chosen = parser.parse_args()
    good = True
    for kind in [chosen.kind] if chosen.kind else ["processes", "cluster"]:
        with tempfile.TemporaryDirectory() as scratch:
            place = Path(scratch)
            study = sample_study(place / "study", times=chosen.times)
            quiet = [one_round(kind, place / f"quiet{k}", study, chosen.silent, 0, 0.0) for k in range(3)]
            seconds = sorted(ended for ended, *_ in quiet)[1]
            wanted = quiet[0][1]
            limit = 2 * seconds + chosen.silent
            print(f"{kind}: undisturbed {seconds:.1f} s, {6 * chosen.times} landings, limit {limit:.1f} s", flush=True)
            assert all(found == wanted for _, found, *_ in quiet)
            same = quick = 0
            for seed in range(chosen.rounds):
                ended, found, afterwards, lines = one_round(
                    kind, place / f"round{seed}", study, chosen.silent, seed, seconds
                )
                same += found == wanted and afterwards == wanted
                quick += ended <= limit
                print(
                    f"  round {seed}: {ended:.1f} s, same {found == wanted}, {afterwards == wanted}; {lines}",
                    flush=True,
                )
            print(
                f"{kind}: {same} of {chosen.rounds} with the same bytes and no other file, {quick} in time", flush=True
            )
            good &= same == quick == chosen.rounds
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
