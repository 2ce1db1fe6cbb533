"""A rider's landing analysed, and what further landings of the same rider tell."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from jointload.cli.options import USUAL_DRAWS, LandingWords
from jointload.cli.terminal import counted, step, watched

if TYPE_CHECKING:
    from jointload.analysis import Analysis
    from jointload.insole.calibration.personal import Known

Conditions = Annotated[
    Path | None,
    typer.Option(help="conditions.csv with the columns file and shape: landings of this rider on known shapes"),
]


def analysed(landing: LandingWords) -> Analysis:
    """The landing of a command, analysed."""
    from jointload.analysis import analyse as run
    from jointload.foot.bore import with_feet
    from jointload.intake.session import read_session

    with step("Reading"):
        session = read_session(**{**landing.files, **landing.reading})
    with step("Angles and moments"):
        analysis = run(session, landing.settings)
    with step("Heel, ball and toes"):
        return with_feet(analysis)


def with_intervals(
    analysis: Analysis, draws: int = USUAL_DRAWS, seed: int = 0, inputs: tuple[str, ...] | None = None
) -> Analysis:
    """The analysis with intervals; 0 draws leave it as it is."""
    from jointload.uncertainty.in_order import usual_threads
    from jointload.uncertainty.intervals import total_draws
    from jointload.uncertainty.intervals import with_intervals as drawn
    from jointload.uncertainty.spreads import SOURCES

    if draws == 0:
        return analysis
    chosen = SOURCES if inputs is None else inputs
    with _report_made_ready(), counted("How certain", total_draws(draws, chosen)) as told:
        return drawn(analysis, draws, seed, chosen, told, threads=usual_threads())


@contextmanager
def _report_made_ready() -> Iterator[None]:
    """While draws are poured, a thread of its own imports what the report needs."""

    def import_it() -> None:
        from jointload.report.files.folder import make_ready

        make_ready()

    with ThreadPoolExecutor(1) as beside:
        beside.submit(import_it)
        yield


def known_rider(landing: LandingWords, analysis: Analysis, table: Path | None, side: str, seed: int) -> Known:
    """What the recording can show, and what the landings of a table of conditions tell of this rider; of each file its
    first landing."""
    from jointload.analysis import analyse as run
    from jointload.insole.calibration.knowledge import known_of
    from jointload.insole.shape.conditions import read_conditions
    from jointload.intake.session import read_session

    if table is None:
        return known_of(analysis)
    rows = read_conditions(table, side)
    others = []
    for row in watched(rows, "Landings on known shapes"):
        files = landing.files | {"trial": row.file}
        session = read_session(**{**files, **landing.reading})
        others.append((row.shape, run(session, replace(landing.settings, landing=1), variants=False)))
    with step("Calibration to this rider"):
        return known_of(analysis, side, others, seed)


def with_conditions(landing: LandingWords, table: Path | None, side: str) -> dict[str, Path]:
    """The files of a command by their role, with a table of conditions and the recordings it names."""
    from jointload.insole.shape.conditions import read_conditions

    if table is None:
        return landing.files
    named = {f"condition_{k}": row.file for k, row in enumerate(read_conditions(table, side), start=1)}
    return {**landing.files, "conditions": table, **named}
