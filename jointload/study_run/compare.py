"""From a study's joined numbers to the folder of a comparison."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

from jointload.errors import SettingError, expected_found
from jointload.landing.checks.split_measures import SHARED
from jointload.report.study_pages.study_folder import write_comparison
from jointload.report.study_pages.study_words import checklist
from jointload.study.comparison import Comparison, cautions, chosen, compare_curves, compare_numbers
from jointload.study.manifest import read_study
from jointload.study.observations import FACTORS, read_curves, read_observations
from jointload.study.reference import percentiles
from jointload.study.styles import find_styles
from jointload.study_run.trial import file_hash, limit_threads, program


def compare_study(
    folder: str | Path,
    by: str,
    results: str | Path | None = None,
    out: str | Path | None = None,
    task: str = "",
    condition: str = "",
    within_riders: bool = False,
    watch: Callable[[Sequence[str]], Iterable[str]] | None = None,
) -> tuple[Comparison, Path]:
    """Compare the conditions, styles or groups of a study that has been run; write the folder and return it.

    results : what `run_study` wrote;  out : new folder, compare_BY in the results without it
    task, condition : only landings of this task, under this condition
    within_riders : curves by exchange of labels within riders in place of sign-flips
    """
    if by not in FACTORS:
        raise SettingError(expected_found("--by", " or ".join(FACTORS), repr(by), "the command", "choose one"))
    limit_threads()
    study = read_study(folder)
    results = Path(folder) / "results" if results is None else Path(results)
    out = results / f"compare_{by}" if out is None else Path(out)
    seen = read_observations(study, results)
    data, levels = chosen(seen, study.plan, by, task, condition)
    rows = compare_numbers(data, levels, study.plan, watch)
    kept = list(dict.fromkeys(data["trial"]))
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
        cautions=cautions(rows, curves, riders, together, shared),
        data=data,
        riders=riders,
        trials=len(kept),
        attempted=len(seen.trials),
        by_stance=seen.by_stance,
    )
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
    return found, write_comparison(out, study.plan.name, found, styles, others, items, record)
