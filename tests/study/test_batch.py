"""Runs of a study: resumed after a kill, repeated to the byte, whole or not at all, one bad trial among good ones."""

from __future__ import annotations

import errno
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pandas
import pytest
from made_study import change, every_byte, of_rider_a, ran_sample, read_csv, sample_study, with_draws
from paper import check_references
from written_names import ends_in_a_side_letter

from jointload.analysis import analyse
from jointload.errors import OutputError, StudyError
from jointload.foot.bore import with_feet
from jointload.intake.session import read_session
from jointload.modeldata import shipped_folder
from jointload.report.words.csv_text import write_rows
from jointload.report.words.tables import metrics_table
from jointload.sources import cited
from jointload.study.manifest import read_study
from jointload.study_run import trial as one_trial
from jointload.study_run.dispatch import DIED
from jointload.study_run.rerun import rerun
from jointload.study_run.trial import Job, Outcome
from jointload.study_run.workers import in_processes
from jointload.whole_study import run_study

LANDINGS = 6
PATIENCE = 60.0
"""Seconds after which something hangs."""


@pytest.fixture(scope="module")
def ran(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A study of 12 landings and its results."""
    return ran_sample(tmp_path_factory.mktemp("ran"), times=2)


def test_a_result_is_that_of_the_single_analysis(ran: tuple[Path, Path]) -> None:
    sample = shipped_folder("sample_c3d")
    names = {"labels": sample / "labels.toml", "rider": sample / "rider_b.toml"}
    session = read_session(sample / "rider_b_landing_wedge.c3d", sample / "rider_b_static.c3d", **names)
    alone = metrics_table(with_feet(analyse(session))).set_index(["quantity", "side"])["value"]
    joined = pandas.read_csv(ran[1] / "metrics.csv", dtype={"value": str}, keep_default_na=False)
    rows = joined[joined.trial == "rider_b_landing_wedge_1"].set_index(["quantity", "side"])
    assert len(rows) == len(alone)
    for key, value in alone.items():
        text = rows.value[key]
        assert text == value if isinstance(value, str) else float(text or "nan") == pytest.approx(value, nan_ok=True)
    feet = set(zip(rows.index.get_level_values("side"), rows.foot, strict=True))
    assert feet == {("", ""), ("left", "back"), ("right", "front")}, "rider_b stands with the left foot at the back"


def test_no_name_of_a_study_ends_in_a_side_letter(ran: tuple[Path, Path]) -> None:
    assert not ends_in_a_side_letter(ran[1])


def test_joined_tables_hold_every_trial_once(ran: tuple[Path, Path]) -> None:
    head, *rows = read_csv(ran[1] / "trials.csv")
    assert len({row[0] for row in rows}) == len(rows) == 2 * LANDINGS
    assert {row[head.index("status")] for row in rows} == {"analysed"}
    metrics = pandas.read_csv(ran[1] / "metrics.csv")
    assert not metrics.duplicated(["trial", "quantity", "side"]).any()
    assert metrics.trial.nunique() == 2 * LANDINGS


def test_unchanged_trials_are_left_alone_and_changed_ones_are_not(ran: tuple[Path, Path], tmp_path: Path) -> None:
    out = Path(shutil.copytree(ran[1], tmp_path / "out"))
    study = Path(shutil.copytree(ran[0], tmp_path / "study"))
    before = every_byte(out)
    again = run_study(study, out)
    assert (again.analysed, again.unchanged) == (0, 2 * LANDINGS) and every_byte(out) == before

    (study / "rider_a_landing_flat_0.c3d").write_bytes((study / "rider_a_landing_wedge_0.c3d").read_bytes())
    assert run_study(study, out).analysed == 1, "another recording"
    table = out / "trials" / "rider_b_landing_flat_1" / "metrics.csv"
    table.write_text(table.read_text(encoding="utf-8") + "\n", encoding="utf-8")
    assert run_study(study, out).analysed == 1, "a result that was tampered with"
    assert run_study(of_rider_a(study), out).analysed == 0, "fewer landings"
    text = (study / "study.toml").read_text(encoding="utf-8")
    (study / "study.toml").write_text(text.replace("contact_threshold = 20", "contact_threshold = 30"), "utf-8")
    assert run_study(study, out).analysed == 2, "other settings"


def test_another_program_makes_new_results(ran: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch) -> None:
    def address(program: str) -> str:
        folder = str(ran[0])
        inputs = {"trial": "rider_a_landing_flat_0.c3d"}
        return one_trial.address_of(Job("x", folder, "", inputs, {}, {}, "", None, None, False, 0, program))

    assert address("jointload 1") == address("jointload 1") != address("jointload 2")


RUN = "import sys; from jointload.whole_study import run_study\n"
RUN += "from jointload.study_run.workers import in_processes\n"
RUN += "if __name__ == '__main__':\n    with in_processes(2) as workers: run_study(sys.argv[1], sys.argv[2], workers)"


def children(pid: int) -> list[int]:
    text = Path(f"/proc/{pid}/task/{pid}/children").read_text(encoding="ascii")
    return [int(word) for word in text.split()]


def alive(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


def killed_midway(study: Path, out: Path, script: Path) -> list[int]:
    """Workers of a run that was killed with a part of its trials done; none when it was done before the kill."""
    process = subprocess.Popen([sys.executable, str(script), str(study), str(out)])
    deadline = time.monotonic() + PATIENCE
    while len(list(out.glob("trials/[a-z]*"))) < 3 and process.poll() is None:
        assert time.monotonic() < deadline
        time.sleep(0.005)
    workers = children(process.pid) if process.poll() is None else []
    process.kill()
    process.wait()
    return [] if (out / "study.json").exists() else workers


@pytest.mark.skipif(not Path("/proc/self/task").is_dir(), reason="children are read from /proc")
def test_killed_and_started_again_it_ends_with_the_same_bytes(ran: tuple[Path, Path], tmp_path: Path) -> None:
    """kill -9 of the parent with half of the trials done; its workers end by themselves. On a busy machine a run may be
    done before the kill: then the next one is tried."""
    script = tmp_path / "run.py"
    script.write_text(RUN, encoding="utf-8")
    runs = ((out, killed_midway(ran[0], out, script)) for out in (tmp_path / f"out_{k}" for k in range(5)))
    out, workers = next((out, workers) for out, workers in runs if workers)
    assert len(workers) >= 2
    deadline = time.monotonic() + PATIENCE
    while any(alive(pid) for pid in workers):
        assert time.monotonic() < deadline, "a worker outlives its parent"
        time.sleep(0.01)
    done = len(list(out.glob("trials/[a-z]*/run.json")))
    assert done >= 3
    (out / "trials" / ".left-behind").mkdir()

    second = run_study(ran[0], out)
    assert second.unchanged >= done and second.analysed + second.unchanged == 2 * LANDINGS
    assert every_byte(out) == every_byte(ran[1])


def test_two_runs_do_not_share_a_result_folder(ran: tuple[Path, Path]) -> None:
    fcntl = pytest.importorskip("fcntl")
    with (ran[1] / ".lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        with pytest.raises(OutputError, match="expected no other run, found one at work"):
            run_study(*ran)


def test_a_folder_of_other_things_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "thesis.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match="found other files"):
        run_study(shipped_folder("sample_c3d"), tmp_path / "out")
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["thesis.txt"]


def test_a_full_disk_is_told_and_what_is_done_stays(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    study, written = of_rider_a(sample_study(tmp_path / "study")), []

    def fill_up(columns: Any, rows: Any, path: Path, digits: str | None = None) -> None:
        if len(written) == 5:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        written.append(path)
        write_rows(columns, rows, path, digits)

    with monkeypatch.context() as patch:
        patch.setattr("jointload.report.files.study_trial.write_rows", fill_up)
        with pytest.raises(OutputError, match=r"No space left on device.*what is done stays"):
            run_study(study, tmp_path / "out")
    assert len(list((tmp_path / "out" / "trials").iterdir())) == 1, "one whole folder, no draft"
    after = run_study(study, tmp_path / "out")
    assert (after.unchanged, after.analysed) == (1, 1)


def test_a_bad_trial_is_told_and_does_not_stop_the_rest(ran: tuple[Path, Path], tmp_path: Path) -> None:
    study = Path(shutil.copytree(ran[0], tmp_path / "study"))
    shutil.copytree(ran[1], tmp_path / "out")
    (study / "rider_a_landing_flat_0.c3d").write_bytes(b"no recording")
    (study / "rider_b_landing_flat_0.c3d").write_bytes((study / "rider_b_static.c3d").read_bytes())
    done = run_study(study, tmp_path / "out")
    assert sorted(done.refused) == ["rider_a_landing_flat_0", "rider_b_landing_flat_0"]
    assert (done.analysed, done.unchanged) == (0, 2 * LANDINGS - 2)
    head, *rows = read_csv(tmp_path / "out" / "trials.csv")
    reasons = {row[0]: row[head.index("reason")] for row in rows if row[head.index("status")] == "refused"}
    assert reasons == done.refused
    assert not (tmp_path / "out" / "trials" / "rider_a_landing_flat_0").exists(), "no old number beside a refusal"
    assert "rider_a_landing_flat_0" not in (tmp_path / "out" / "metrics.csv").read_text(encoding="utf-8")


def die_on_flat(job: Job) -> Outcome:
    if job.name == "rider_b_landing_flat":
        os.kill(os.getpid(), signal.SIGKILL)
    return Outcome(job.name, "analysed")


def test_a_trial_that_kills_its_worker_is_the_only_one_refused() -> None:
    names = [f"rider_{r}_landing_{c}" for r in "abc" for c in ("flat", "wedge")]
    jobs = [Job(name, "", "", {}, {}, {}, "", None, None, False, 0, "") for name in names]
    with in_processes(2) as workers:
        found = {outcome.name: outcome for outcome in workers(die_on_flat, jobs)}
    assert {name: found[name].status for name in names if name != "rider_b_landing_flat"} == {
        name: "analysed" for name in names if name != "rider_b_landing_flat"
    }
    assert found["rider_b_landing_flat"] == Outcome("rider_b_landing_flat", "refused", DIED)


def test_a_record_repeats_its_result_to_the_byte(ran: tuple[Path, Path], tmp_path: Path) -> None:
    record = ran[1] / "trials" / "rider_c_landing_wedge_1" / "run.json"
    again = rerun(record, tmp_path / "again", ran[0])
    assert again.differing == () and again.program_then == again.program_now
    assert every_byte(tmp_path / "again") == every_byte(record.parent)


def test_a_record_is_not_repeated_from_other_inputs(ran: tuple[Path, Path], tmp_path: Path) -> None:
    study = Path(shutil.copytree(ran[0], tmp_path / "study"))
    record = ran[1] / "trials" / "rider_c_landing_wedge_1" / "run.json"
    with pytest.raises(StudyError, match=r"expected the study folder above run\.json"):
        rerun(record, tmp_path / "again")
    (study / "labels.toml").write_text("[landmarks]\n", encoding="utf-8")
    with pytest.raises(StudyError, match=r"labels labels.toml: expected SHA-256"):
        rerun(record, tmp_path / "again", study)
    (tmp_path / "other.json").write_text(json.dumps({"package": {}}), encoding="utf-8")
    with pytest.raises(StudyError, match="expected a trial of a study"):
        rerun(tmp_path / "other.json", tmp_path / "again", study)
    assert not (tmp_path / "again").exists()


def test_full_results_hold_all_of_a_single_report(tmp_path: Path) -> None:
    study = sample_study(tmp_path / "study")
    change(study / "trials.csv", lambda rows: rows.__delitem__(slice(3, None)))
    (study / "riders.csv").write_text("id,mass_kg,height_m,sex\nrider_a,61,1.67,f\n", encoding="utf-8")
    run_study(study, tmp_path / "out", full=True)
    names = {path.name for path in (tmp_path / "out" / "trials" / "rider_a_landing_flat").iterdir()}
    assert {"report.html", "series.csv", "derived.c3d", "metrics.csv", "curves.csv", "run.json"} <= names
    of_trial = check_references(tmp_path / "out" / "trials" / "rider_a_landing_flat", "report.html")
    of_study = check_references(tmp_path / "out")
    assert of_trial == of_study, "of one landing"


def test_a_study_cites_what_its_landings_used(ran: tuple[Path, Path]) -> None:
    """Those of every landing's record, as methods.md and methods.tex name them."""
    records = (ran[1] / "trials").glob("*/run.json")
    used = {key for path in records for key in cited(*json.loads(path.read_text("utf-8"))["methods"].values())}
    assert check_references(ran[1]) == used


def test_parquet_holds_the_same_numbers(
    ran: tuple[Path, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Five landings a part of twelve make three; what an earlier run left in their place is gone."""
    pytest.importorskip("pyarrow", reason="the extra parquet is not installed")
    monkeypatch.setattr("jointload.report.files.parquet_parts.LANDINGS", 5)
    out = Path(shutil.copytree(ran[1], tmp_path / "out"))
    (out / "metrics.parquet").write_bytes(b"of an earlier version")
    run_study(ran[0], out, parquet=True)
    parts = sorted((out / "metrics.parquet").iterdir())
    assert [part.name for part in parts] == [f"part-0000{k}.parquet" for k in range(3)]
    assert [pandas.read_parquet(part).trial.nunique() for part in parts] == [5, 5, 2]
    parquet = pandas.read_parquet(out / "metrics.parquet")
    table = pandas.read_csv(out / "metrics.csv", low_memory=False)
    numbers = pandas.to_numeric(table.value, errors="coerce")
    assert len(parquet) == len(table)
    pandas.testing.assert_series_equal(parquet.value, numbers, check_names=False)
    words = parquet[parquet.word.notna()]
    assert set(words.quantity) == {"first_contact_zone"}


def test_draws_of_the_plan_give_every_number_its_interval(tmp_path: Path) -> None:
    study = sample_study(tmp_path / "study")
    with_draws(study)
    known = read_study(study)
    job = one_trial.job_of(known, known.landings[0], tmp_path / "out", tmp_path, full=False)
    one_trial.write(job, job.result)
    numbers = pandas.read_csv(job.result / "metrics.csv").set_index("quantity")
    peaks = numbers.loc["knee_flexion_moment_peak", ["low", "value", "high"]].astype(float)
    assert (peaks.low < peaks.value).all() and (peaks.value < peaks.high).all()
