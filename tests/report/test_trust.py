"""One verdict, the same in the terminal, on the page and in run.json."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from jointload.analysis import Analysis
from jointload.insole.fitting.whatif import WhatIf
from jointload.intake.recording import Finding
from jointload.report.files.folder import RECORD, write_report
from jointload.report.words.trust import trust_in


def with_findings(analysis: Analysis, *severities_and_checks: tuple[str, str]) -> Analysis:
    made = tuple(Finding(c, s, f"place {k}", "", "") for k, (s, c) in enumerate(severities_and_checks))  # type: ignore[arg-type]
    return replace(analysis, findings=made)


@pytest.mark.parametrize(
    ("found", "text", "severity"),
    [
        ([], "recording: fine", "pass"),
        ([("pass", "a")], "recording: fine", "pass"),
        ([("warn", "a"), ("warn", "a")], "recording: 1 caution", "warn"),
        ([("warn", "a"), ("warn", "b")], "recording: 2 cautions", "warn"),
        ([("refuse", "a"), ("warn", "a")], "recording: refused by 1 check", "refuse"),
        ([("refuse", "a"), ("refuse", "b"), ("warn", "c")], "recording: refused by 2 checks, 1 caution", "refuse"),
    ],
)  # fmt: skip
def test_each_check_is_counted_once(analysis: Analysis, found: list[tuple[str, str]], text: str, severity: str) -> None:
    verdict = trust_in(with_findings(analysis, *found))
    assert (verdict.text, verdict.recording.severity) == (text, severity)
    assert verdict.prediction is None


def test_a_prediction_has_its_own_part_and_its_shapes_share_a_caution(analysis: Analysis, prediction: WhatIf) -> None:
    alone = trust_in(with_findings(analysis), prediction)
    several = trust_in(with_findings(analysis), replace(prediction, others=(prediction,)))
    warned = {finding.check for finding in prediction.findings if finding.severity == "warn"}
    assert alone.text == f"recording: fine; prediction: {len(warned)} caution{'s' * (len(warned) > 1)}"
    assert several == alone


def test_the_record_names_the_checks(analysis: Analysis, prediction: WhatIf, tmp_path: Path) -> None:
    out = write_report(analysis, tmp_path / "out", whatif=prediction)
    told = json.loads((out / RECORD).read_text(encoding="utf-8"))["verdict"]
    verdict = trust_in(analysis, prediction)
    assert told == verdict.record and told["text"] == verdict.text
    assert told["prediction"]["cautions"] == list(verdict.prediction.cautions)  # type: ignore[union-attr]
