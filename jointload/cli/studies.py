"""Commands on a study: many riders and many landings."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterable, Iterator
from contextlib import AbstractContextManager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from jointload.cli.app import app
from jointload.cli.command import Command, StudyGroup
from jointload.cli.options import Figures, Replace, check_figures
from jointload.cli.terminal import WARNINGS, check_new, console, step, watched

if TYPE_CHECKING:
    from jointload.study_run.trial import Outcome
    from jointload.study_run.workers import Workers

SOME_REFUSED = 3
"""Exit code of a study that finished without some of its trials."""
STOPPED = 130

study = typer.Typer(
    name="study",
    cls=StudyGroup,
    help="Many riders and many landings: run them, compare them, repeat one.",
    invoke_without_command=True,
)
app.add_typer(study)

Folder = Annotated[
    Path, typer.Argument(help="study.toml, riders.csv, trials.csv, labels.toml and recordings", show_default=False)
]
Results = Annotated[Path | None, typer.Option("--out", help="folder of results; DIR/results without it")]


@study.callback()
def about(context: typer.Context) -> None:
    if context.invoked_subcommand is None:
        typer.echo(context.get_help())


@study.command("run", cls=Command)
def run(
    folder: Folder,
    out: Results = None,
    workers: Annotated[int, typer.Option(min=0, help="worker processes; 0 for one a processor")] = 0,
    cluster: Annotated[str, typer.Option(help="Dask scheduler, such as tcp://10.0.0.5:8786, in place of them")] = "",
    full: Annotated[
        bool, typer.Option("--full", help="report.html, series.csv and derived.c3d of every trial")
    ] = False,
    parquet: Annotated[
        bool, typer.Option("--parquet", help="the joined numbers also as metrics.parquet, in parts")
    ] = False,
) -> None:
    """Check a study, analyse what is new or changed, join the numbers. Exit 3: some trials were refused."""
    from jointload.report.words.whole_folder import check_writable
    from jointload.whole_study import TRIALS, run_study

    check_writable(((out or folder / "results") / TRIALS).absolute())
    try:
        with _workers(workers, cluster) as crew:
            done = run_study(folder, out, crew, full, parquet, _progress)
    except KeyboardInterrupt:
        typer.echo("jointload: stopped; what is done stays, run the same command again", err=True)
        raise typer.Exit(STOPPED) from None
    for name, doubt in done.strangers.items():
        typer.echo(f"{name}: {doubt}", err=True)
    for name, reason in done.refused.items():
        typer.echo(f"{name}: refused: {reason}", err=True)
    typer.echo(
        f"Wrote {done.out / 'metrics.csv'}: {done.analysed} trials analysed, {done.unchanged} unchanged, "
        f"{len(done.refused)} refused."
    )
    for verdict, count in Counter(done.verdicts.values()).most_common():
        typer.echo(f"Verdict of {count} of {len(done.verdicts)}: {verdict}")
    raise typer.Exit(SOME_REFUSED if done.refused else 0)


@study.command("compare", cls=Command)
def compare(
    folder: Folder,
    by: Annotated[str, typer.Option(help="condition, style, group, board or shoe", show_default=False)],
    results: Annotated[Path | None, typer.Option(help="what `study run` wrote; DIR/results without it")] = None,
    out: Annotated[Path | None, typer.Option(help="new folder; compare_BY in the results without it")] = None,
    task: Annotated[str, typer.Option(help="only landings of this task; needed where there are several")] = "",
    condition: Annotated[str, typer.Option(help="only landings under this condition")] = "",
    baseline: Annotated[
        str, typer.Option(help="what the others are set against; study.toml's, or the first by name, without it")
    ] = "",
    scheme: Annotated[str, typer.Option(help="curves by 'sign_flip' or 'labels_within_riders'")] = "sign_flip",
    figures: Figures = "",
    replace: Replace = False,
) -> None:
    """Say what differs, what does not, and how much may be said: tables and one page."""
    from jointload.errors import SettingError, expected_found
    from jointload.report.study_pages.study_folder import COMPARISON_RECORD
    from jointload.report.study_pages.study_words import answer_sentence, decided_words
    from jointload.whole_study import compare_study

    schemes = ("sign_flip", "labels_within_riders")
    if scheme not in schemes:
        raise SettingError(expected_found("--scheme", " or ".join(schemes), repr(scheme), "the command", "choose one"))
    check_figures(figures)
    results = results or folder / "results"
    out = out or results / f"compare_{by}"
    check_new(out, replace, COMPARISON_RECORD)
    found, written = compare_study(
        folder, by, results, out, task, condition, scheme == schemes[1], baseline,
        lambda names: watched(names, "Comparing"), step, figures,
    )  # fmt: skip
    typer.echo(f"Wrote {written / 'comparison.html'} with tables and methods beside it.")
    for caution in found.cautions:
        typer.echo(f"Note: {caution}")
    for row in found.rows:
        if row.primary:
            typer.echo(answer_sentence(row))
    count = len(found.cautions)
    typer.echo(f"Verdict: {decided_words(found)}; {count} caution{'s' * (count != 1)}")


@study.command("dose", cls=Command)
def dose(
    folder: Folder,
    exposures: Annotated[Path | None, typer.Option(help="exposure table; DIR/exposures.csv without it")] = None,
    counts: Annotated[
        Path | None, typer.Option(help="counted landings; DIR/counts.csv without it, where there is one")
    ] = None,
    results: Annotated[Path | None, typer.Option(help="what `study run` wrote; DIR/results without it")] = None,
    out: Annotated[Path | None, typer.Option(help="new folder; dose in the results without it")] = None,
    condition: Annotated[str, typer.Option(help="that of the usual landings; study.toml's baseline without it")] = "",
    scale_heights: Annotated[
        bool, typer.Option("--scale-heights", help="heights without a landing: the nearest, by the height's root")
    ] = False,
    figures: Figures = "",
    replace: Replace = False,
) -> None:
    """Add up what riders' landings do to knee, tendon and lower back over years, under several exponents."""
    from jointload.report.study_pages.dose_answers import best_change, known_words, largest_rider, what_decides
    from jointload.report.study_pages.dose_folder import DOSE_RECORD
    from jointload.study.strain_dose import of_worse_feet
    from jointload.whole_study import dose_study

    check_figures(figures)
    results = results or folder / "results"
    out = out or results / "dose"
    check_new(out, replace, DOSE_RECORD)
    found, written = dose_study(folder, exposures, results, out, condition, scale_heights, step, counts, figures)
    typer.echo(f"Wrote {written / 'dose.html'} with dose.csv, shares.csv and savings.csv beside it.")
    typer.echo("Note: for research; no number here says that a landing, a rider or an insole is safe or unsafe.")
    worse = of_worse_feet(found)
    for row in worse.doses:
        if (row["basis"], row["kind"]) == ("impulse", "linear") and not row["dose"] > 0:
            typer.echo(f"{row['rider']}, {row['tissue'].replace('_', ' ')}: not known: {row['note']}")
    for sentence in (*largest_rider(worse), *best_change(worse), *what_decides(worse)):
        typer.echo(sentence)
    typer.echo(f"Verdict: {known_words(worse)}")


@study.command("rerun", cls=Command)
def rerun(
    record: Annotated[Path, typer.Argument(help="run.json of a trial of a study", show_default=False)],
    out: Annotated[Path, typer.Option(help="folder for the repeated result", show_default=False)],
    folder: Annotated[
        Path | None, typer.Option("--study", help="study folder; the one around run.json without it")
    ] = None,
    replace: Replace = False,
) -> None:
    """Repeat one trial's result from its inputs and compare every byte. Exit 1: something differs."""
    from jointload.report.files.folder import RECORD
    from jointload.study_run.rerun import rerun as repeat

    check_new(out, replace, RECORD)
    with step("Analysing again"):
        again = repeat(record, out, folder)
    if not again.differing:
        typer.echo(f"Wrote {again.out}: the same, byte for byte.")
        return
    typer.echo(f"Wrote {again.out}; not the same: {', '.join(again.differing)}.")
    if again.program_then != again.program_now:
        typer.echo(f"Then: {again.program_then}\nNow:  {again.program_now}")
    raise typer.Exit(WARNINGS)


def _workers(count: int, cluster: str) -> AbstractContextManager[Workers]:
    from jointload.study_run.workers import in_processes, on_cluster, usual_workers

    return on_cluster(cluster) if cluster else in_processes(count or usual_workers())


def _progress(outcomes: Iterator[Outcome], words: str, total: int) -> Iterable[Outcome]:
    """A bar on a terminal, a plain line elsewhere."""
    if not sys.stderr.isatty():
        typer.echo(f"{words} {total} trials", err=True)
        return outcomes
    from rich.progress import track

    return track(outcomes, words, total, transient=True, console=console(stderr=True))
