"""From a study's joined numbers and an exposure table to the folder of a dose."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from jointload.errors import SettingError, expected_found
from jointload.report.study_pages.dose_folder import write_dose
from jointload.study.manifest import read_study
from jointload.study.observations import read_observations
from jointload.study.strain_dose import Dose, read_exposures, strain_dose
from jointload.study_run.trial import file_hash, program

EXPOSURES = "exposures.csv"


def dose_study(
    folder: str | Path,
    exposures: str | Path | None = None,
    results: str | Path | None = None,
    out: str | Path | None = None,
    condition: str = "",
    scaled: bool = False,
) -> tuple[Dose, Path]:
    """What the landings of a study's riders add up to over their years; write the folder and return it.

    exposures : CSV; exposures.csv in the study without it;  results : what `run_study` wrote
    out : new folder, dose in the results without it;  condition : that of the usual landings, the baseline of
    study.toml without it;  scaled : heights without a measured landing take the nearest one's load, by the square root
    """
    import pandas as pd

    study = read_study(folder)
    results = Path(folder) / "results" if results is None else Path(results)
    table = Path(folder) / EXPOSURES if exposures is None else Path(exposures)
    rows = read_exposures(table, study.riders)
    read_observations(study, results)
    metrics = pd.read_csv(results / "metrics.csv", dtype=str, keep_default_na=False)
    conditions = sorted(set(metrics["condition"]))
    usual = condition or study.plan.baseline or conditions[0]
    if usual not in conditions:
        advice = "choose one with --condition"
        raise SettingError(
            expected_found("condition", " or ".join(conditions), repr(usual), str(results / "metrics.csv"), advice)
        )
    found = replace(strain_dose(metrics, rows, usual, scaled), draws=study.plan.draws)
    record = {
        "program": program(),
        "condition": usual,
        "scaled_heights": scaled,
        "inputs": {path.name: file_hash(path) for path in (table, results / "metrics.csv")},
    }
    written = write_dose(results / "dose" if out is None else Path(out), study.plan.name, found, record)
    return found, written
