"""The staircase of a study, from a folder of recordings to what riders bore over years: read this file second, after
analysis.py.

Each landing runs down its own staircase (analysis.py) in a worker; here is what surrounds it, and what many landings
tell together. Every step is one function of study/ (the science) or of study_run/ (the running).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import replace
from pathlib import Path

from jointload.errors import SettingError, expected_found
from jointload.foot.layer_choice import LayerChoice, Question, choose, together
from jointload.foot.thin_layers import HEIGHTS, LayerTrial, bearing_of, spare
from jointload.insole.shape.materials import Material
from jointload.landing.checks.split_measures import SHARED
from jointload.report.files.folder import RECORD
from jointload.report.files.joined import doubted
from jointload.report.papers.layer_folder import write_layers
from jointload.report.study_pages.dose_folder import write_dose
from jointload.report.study_pages.dose_words import dose_items
from jointload.report.study_pages.study_folder import write_comparison
from jointload.report.study_pages.study_words import checklist
from jointload.study.comparison import Comparison, cautions, chosen, compare_curves, compare_numbers
from jointload.study.exposures import read_exposures
from jointload.study.manifest import Trial, read_study
from jointload.study.observations import (
    FACTORS,
    hardest_landings,
    read_curves,
    read_observations,
    require_one_smoothing,
)
from jointload.study.reference import percentiles
from jointload.study.reliability import reliabilities
from jointload.study.strain_dose import Dose, strain_dose
from jointload.study.styles import find_styles
from jointload.study_run.batch import (
    TRIALS,
    StudyRun,
    Watch,
    checked_study,
    claimed,
    drafted,
    drop_others,
    every_outcome,
    join,
    require_parquet,
    settled,
    verdicts_of,
)
from jointload.study_run.trial import file_hash, inspect, job_of, landing_of, limit_threads, program, run
from jointload.study_run.workers import Workers, in_this_process

EXPOSURES, COUNTS = "exposures.csv", "counts.csv"
Step = Callable[[str], AbstractContextManager[object]]
"""Around a longer step, told in words."""


def run_study(
    folder: str | Path,
    out: str | Path | None = None,
    workers: Workers | None = None,
    full: bool = False,
    parquet: bool = False,
    watch: Watch | None = None,
) -> StudyRun:
    """Check the study, analyse what has changed, write the joined tables.

    out : folder of results, `results` in the study folder without it;  full : each trial with report.html, series.csv
    and derived.c3d;  parquet : the joined numbers also as a Parquet data set in parts
    StudyError lists every fault of the study before anything is written; a trial that cannot be analysed is refused
    and does not stop the others.
    """
    workers, watch = workers or in_this_process(), watch or (lambda outcomes, *_: outcomes)
    study = checked_study(folder)
    out = Path(folder) / "results" if out is None else Path(out)
    if parquet:
        require_parquet()
    with claimed(out):
        with drafted(out) as drafts:
            jobs = [job_of(study, trial, out / TRIALS, drafts, full) for trial in study.landings]
            found = every_outcome(watch(workers(inspect, jobs), "Checking", len(jobs)))
            todo = [job for job in jobs if found[job.name].status == "readable"]
            found |= every_outcome(watch(settled(workers(run, todo), todo), "Analysing", len(todo))) if todo else {}
        refused = {name: found[name].reason for name in sorted(found) if found[name].status == "refused"}
        drop_others(out / TRIALS, {job.name for job in jobs} - set(refused))
        join(study, out, refused, full, parquet)
    counts = Counter(outcome.status for outcome in found.values())
    strangers = doubted(out, "same_person")
    verdicts = verdicts_of(out, sorted(set(found) - set(refused)))
    return StudyRun(out, counts["analysed"], counts["unchanged"], refused, strangers, verdicts)


def compare_study(
    folder: str | Path,
    by: str,
    results: str | Path | None = None,
    out: str | Path | None = None,
    task: str = "",
    condition: str = "",
    within_riders: bool = False,
    baseline: str = "",
    watch: Callable[[Sequence[str]], Iterable[str]] | None = None,
    step: Step = nullcontext,
    figures: str = "",
) -> tuple[Comparison, Path]:
    """Compare the conditions, styles, groups, boards or shoes of a study that has been run; write the folder and return
    it.

    results : what `run_study` wrote;  out : new folder, compare_BY in the results without it
    task, condition : only landings of this task, under this condition
    within_riders : curves by exchange of labels within riders in place of sign-flips
    baseline : what the others are set against; study.toml's where it is one of them, else the first by name, without it
    watch, step : told which numbers are compared, and which longer step is under way
    figures : 'svg', 'png' or 'pdf' for figures as files, too
    """
    if by not in FACTORS:
        raise SettingError(expected_found("--by", " or ".join(FACTORS), repr(by), "the command", "choose one"))
    limit_threads()
    results = Path(folder) / "results" if results is None else Path(results)
    out = results / f"compare_{by}" if out is None else Path(out)
    with step("Reading"):
        study = read_study(folder)
        seen = read_observations(study, results)
    data, levels, unnamed = chosen(seen, study.plan, by, task, condition, baseline)
    kept = list(dict.fromkeys(data["trial"]))
    require_one_smoothing(seen, kept)
    rows = compare_numbers(data, levels, study.plan, watch)
    with step("Curves"):
        curves = compare_curves(read_curves(seen, study.plan.curves, kept), data, levels, within_riders)
    riders = int(data["rider"].nunique())
    together = [] if by == "condition" else sorted(set(data["condition"]))
    shared = data.loc[data["note"].str.contains(SHARED, regex=False), "trial"].nunique()
    found = Comparison(
        by=by,
        levels=tuple(levels),
        task=str(data["task"].iloc[0]),
        rows=rows,
        curves=curves,
        cautions=cautions(rows, curves, riders, together, shared, _left_out(unnamed, by)),
        data=data,
        riders=riders,
        trials=len(kept),
        attempted=len(seen.trials),
        by_stance=seen.by_stance,
        repeats=reliabilities(data[data["level"] == levels[0]]),
    )
    with step("Styles"):
        styles = find_styles(data, found.task)
    others = percentiles(data[data["level"] == levels[0]])
    refused = dict(seen.trials.loc[seen.trials["status"] == "refused", ["trial", "reason"]].to_numpy().tolist())
    items = checklist(found, styles, refused, [results / "trials" / name for name in kept])
    record = {
        "program": program(),
        "by": by,
        "task": found.task,
        "condition": condition,
        "levels": levels,
        "primary": list(study.plan.primary),
        "within_riders": within_riders,
        "inputs": {name: file_hash(results / name) for name in ("metrics.csv", "trials.csv")},
    }
    with step("Page and tables"):
        written = write_comparison(out, study.plan.name, found, styles, others, items, record, figures)
    return found, written


def _left_out(landings: int, by: str) -> str:
    if not landings:
        return ""
    one = landings == 1
    return f"{landings} landing{'s' * (not one)} whose {by} is not named {'is' if one else 'are'} left out."


def dose_study(
    folder: str | Path,
    exposures: str | Path | None = None,
    results: str | Path | None = None,
    out: str | Path | None = None,
    condition: str = "",
    scaled: bool = False,
    step: Step = nullcontext,
    counts: str | Path | None = None,
    figures: str = "",
) -> tuple[Dose, Path]:
    """What the landings of a study's riders add up to over their years; write the folder and return it.

    exposures : CSV; exposures.csv in the study without it;  results : what `run_study` wrote
    out : new folder, dose in the results without it;  condition : that of the usual landings, the baseline of
    study.toml without it;  scaled : heights without a measured landing take the nearest one's load, by the square root
    counts : CSV of counted landings; counts.csv in the study without it, where there is one
    figures : 'svg', 'png' or 'pdf' for figures as files, too
    """
    import pandas as pd

    study = read_study(folder)
    results = Path(folder) / "results" if results is None else Path(results)
    table = Path(folder) / EXPOSURES if exposures is None else Path(exposures)
    beside = Path(folder) / COUNTS
    counted = Path(counts) if counts is not None else beside if beside.is_file() else None
    rows = read_exposures(table, study.riders, counted)
    seen = read_observations(study, results)
    require_one_smoothing(seen, seen.trials["trial"])
    metrics = pd.read_csv(results / "metrics.csv", dtype=str, keep_default_na=False)
    conditions = sorted(set(metrics["condition"]))
    usual = condition or study.plan.baseline or conditions[0]
    if usual not in conditions:
        advice = "choose one with --condition"
        raise SettingError(
            expected_found("condition", " or ".join(conditions), repr(usual), str(results / "metrics.csv"), advice)
        )
    with step("Adding up"):
        found = replace(strain_dose(metrics, rows, usual, scaled), draws=study.plan.draws)
    record = {
        "program": program(),
        "condition": usual,
        "scaled_heights": scaled,
        "inputs": {path.name: file_hash(path) for path in (table, counted, results / "metrics.csv") if path},
    }
    trials = (results / TRIALS / name for name in dict.fromkeys(metrics["trial"]))
    items = dose_items(found, [trial for trial in trials if (trial / RECORD).is_file()])
    with step("Page and tables"):
        out = results / "dose" if out is None else Path(out)
        written = write_dose(out, study.plan.name, found, items, record, figures)
    return found, written


def layers_study(
    folder: str | Path,
    question: Question,
    materials: Sequence[Material],
    results: str | Path | None = None,
    out: str | Path | None = None,
    condition: str = "",
    rider: str = "",
    every: bool = False,
    watch: Callable[[Sequence[Trial]], Iterable[Trial]] | None = None,
    step: Step = nullcontext,
) -> tuple[LayerTrial, LayerChoice, Path]:
    """Which thin layer serves the riders of a study that has been run; write the folder and return it with what was
    found for all of them together.

    results : what `run_study` wrote, by which each rider's hardest landing is chosen: that of the largest force under a
    heel;  out : new folder, layers in the results without it;  condition : only landings under it;  rider : only this
    one's;  every : all landings in place of the hardest
    """
    study = read_study(folder)
    results = Path(folder) / "results" if results is None else Path(results)
    seen = read_observations(study, results)
    chosen = hardest_landings(seen, condition, rider, every)
    of_name = {trial.name: trial for trial in study.landings}
    found: list[tuple[str, LayerTrial]] = []
    for trial in (watch or (lambda trials: trials))([of_name[name] for name in chosen]):
        landing, shoe = landing_of(job_of(study, trial, results / TRIALS, results, False))
        bearing = bearing_of(landing, chosen[trial.name], shoe, question.draws, question.seed)
        found.append((trial.name, spare(bearing, materials, HEIGHTS, question.circumstances)))
    found.sort(key=lambda one: -float(one[1].bearing.heel_force.mean()))
    riders = len({of_name[name].rider for name, _ in found})
    whole = together([trial for _, trial in found], riders) if len(found) > 1 else found[0][1]
    choices = [choose(whole, place, question.height, question.limit) for place in question.places]
    name = f"{study.plan.name}: {'every landing' if every else 'hardest landing of each rider'}"
    record = question.as_record() | {"program": program(), "condition": condition, "rider": rider, "every": every}
    record |= {"landings": [name for name, _ in found], "materials": [m.name for m in materials]}
    record |= {"inputs": {file: file_hash(results / file) for file in ("metrics.csv", "trials.csv")}}
    with step("Page and table"):
        written = write_layers(
            found, choices, results / "layers" if out is None else Path(out), record,
            (name, whole) if len(found) > 1 else None,
        )  # fmt: skip
    return whole, choices[0], written
