"""The one verdict of a result, the same in the terminal, on the page and in run.json."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from jointload.analysis import Analysis
from jointload.insole.fitting.fit import Fit
from jointload.insole.fitting.whatif import WhatIf
from jointload.intake.recording import Finding
from jointload.report.words.section import Reported


@dataclass(frozen=True)
class Doubts:
    """The checks, each once however many places it names, that refuse numbers and that call for caution."""

    refused: tuple[str, ...]
    cautions: tuple[str, ...]

    @property
    def severity(self) -> str:
        """The worst of them: refuse, warn or pass."""
        return "refuse" if self.refused else "warn" if self.cautions else "pass"

    @property
    def text(self) -> str:
        """Such as 'fine', '3 cautions', 'refused by 1 check, 2 cautions'."""
        parts = [f"refused by {_counted(self.refused, 'check')}"] if self.refused else []
        parts += [_counted(self.cautions, "caution")] if self.cautions else []
        return ", ".join(parts) or "fine"


@dataclass(frozen=True)
class Trust:
    """Whether a result can be relied on. prediction : None where none was made"""

    recording: Doubts
    prediction: Doubts | None = None

    @property
    def text(self) -> str:
        """Such as 'recording: fine; prediction: 3 cautions'."""
        parts = [f"recording: {self.recording.text}"]
        parts += [f"prediction: {self.prediction.text}"] if self.prediction is not None else []
        return "; ".join(parts)

    @property
    def record(self) -> dict[str, Any]:
        """For run.json: the words, and the names of the checks behind them."""
        told = {"recording": self.recording, "prediction": self.prediction}
        checks = {
            name: {"refused": list(doubts.refused), "cautions": list(doubts.cautions)}
            for name, doubts in told.items()
            if doubts is not None
        }
        return {"text": self.text, **checks}


def trust_in(analysis: Analysis, whatif: WhatIf | None = None, fit: Fit | None = None) -> Trust:
    """The verdict on a recording, and on what was predicted from it.

    whatif, fit : made for the same analysis, or None
    """
    answers = Reported(analysis, whatif, fit).answers
    predicted = [finding for answer in answers for finding in answer.findings]
    return Trust(doubts_of(analysis.findings), doubts_of(predicted) if answers else None)


def doubts_of(findings: Iterable[Finding]) -> Doubts:
    """What findings refuse, and what they call for caution about."""
    found = [(finding.severity, finding.check) for finding in findings]
    refused, warned = (
        tuple(dict.fromkeys(check for severity, check in found if severity == kind)) for kind in ("refuse", "warn")
    )
    return Doubts(refused, tuple(check for check in warned if check not in refused))


def _counted(checks: tuple[str, ...], word: str) -> str:
    return f"{len(checks)} {word}" + "s" * (len(checks) != 1)
