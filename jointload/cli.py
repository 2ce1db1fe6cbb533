"""The command line: words to one call, errors to one line and an exit code."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from jointload.errors import InputError, OutputError, SettingError, expected_found

if TYPE_CHECKING:
    from jointload.analysis import Analysis
    from jointload.insole.shape import Surface
    from jointload.insole.whatif import Given, WhatIf
    from jointload.intake.recording import Finding
    from jointload.settings import Settings

DONE, WARNINGS, BAD_INPUT = 0, 1, 2
USUAL_LENGTH = 0.265
"""Foot length [m] at which the parts of an insole are checked before the foot is known."""

app = typer.Typer(
    name="jointload",
    help="Joint angles, joint moments and insole what-ifs from C3D recordings of hard landings. "
    "A research tool, not a medical device.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)

Trial = Annotated[Path, typer.Argument(help="C3D file of the landing", show_default=False)]
Static = Annotated[
    Path | None,
    typer.Option(help="C3D file of the standing trial; without it the landing's own quiet frames are used"),
]
Labels = Annotated[Path, typer.Option(help="labels.toml: which marker is which landmark", show_default=False)]
RiderFile = Annotated[Path, typer.Option("--rider", help="rider.toml: id, mass_kg, height_m, sex", show_default=False)]
Out = Annotated[Path, typer.Option(help="folder for the result; it appears whole or not at all", show_default=False)]
Cutoff = Annotated[float, typer.Option(help="low-pass of markers and forces for the dynamics [Hz]; 0 for none")]
ImpactCutoff = Annotated[float, typer.Option(help="low-pass of forces for peaks and loading rates [Hz]; 0 for none")]
Threshold = Annotated[float, typer.Option(help="vertical force that counts as contact [N]")]
Smoothing = Annotated[str, typer.Option(help="smooth 'before' the dynamics, or the loads 'after' it")]
WhichLanding = Annotated[int, typer.Option("--landing", help="which of the landings that follow a flight")]
LandingEnd = Annotated[str, typer.Option(help="lowest_pelvis, peak_knee_flexion, peak_force or fixed_100ms")]
AngleZero = Annotated[str, typer.Option(help="'anatomical', or 'standing' for angles from the static trial")]
MomentFrame = Annotated[str, typer.Option(help="moments of series.csv also in 'proximal', 'distal' or 'lab' axes")]
HipMovement = Annotated[Path | None, typer.Option(help="C3D file in which both thighs swing: hip centres by movement")]
HipCentre = Annotated[str, typer.Option(help="hip joint centre regression; see `jointload models`")]
Inertia = Annotated[str, typer.Option(help="segment inertia table; see `jointload models`")]
Up = Annotated[str | None, typer.Option(help="the file's upward axis, such as +z, where the file misleads")]
Forward = Annotated[str | None, typer.Option(help="the file's forward axis, such as +y, where the file misleads")]


@app.command()
def demo(out: Out = Path("demo_report")) -> None:
    """Analyse the invented sample study that ships with jointload, with a what-if, and write its report."""
    from jointload.modeldata import shipped_folder

    sample = shipped_folder("sample_c3d")
    files = {
        "trial": sample / "rider_a_landing_flat.c3d",
        "static": sample / "rider_a_static.c3d",
        "labels": sample / "labels.toml",
        "rider": sample / "rider_a.toml",
    }
    analysis, answer = _analysed(files, _settings(), _asked("medial:4", "r", "heel", "", "", []))
    _written(analysis, answer, files, out)
    typer.echo(f"All recordings of the sample study are in {sample}")


@app.command()
def check(
    files: Annotated[list[Path], typer.Argument(help="C3D files", show_default=False)],
    strip_names: Annotated[bool, typer.Option("--strip-names", help="write a copy without names of people")] = False,
    out: Annotated[Path | None, typer.Option(help="the new file for --strip-names", show_default=False)] = None,
) -> None:
    """Say what is wrong with recordings before anyone trusts them. Exit 0 all well, 1 warnings, 2 refused."""
    if strip_names or out is not None:
        _strip_names(files, strip_names, out)
        return

    from jointload.intake.c3d import read_recording
    from jointload.intake.quality import inspect_recording

    worst = DONE
    for path in _watched(files, "Checking"):
        try:
            findings = inspect_recording(read_recording(path), None)
        except InputError as problem:
            typer.echo(f"{path}: refused: {problem}", err=True)
            worst = BAD_INPUT
            continue
        worst = max(worst, *({"pass": DONE, "warn": WARNINGS}.get(f.severity, BAD_INPUT) for f in findings))
        _print_findings(str(path), findings)
    raise typer.Exit(worst)


def _strip_names(files: list[Path], strip_names: bool, out: Path | None) -> None:
    if len(files) != 1 or out is None or not strip_names:
        found = (
            f"{len(files)} files, {'no' if out is None else 'one'} --out, {'' if strip_names else 'no '}--strip-names"
        )
        advice = "write: jointload check --strip-names FILE --out NEW.c3d"
        raise SettingError(expected_found("check", "one file, --strip-names and --out", found, "the command", advice))
    from jointload.report.nameless import MOTION_REMAINS, write_nameless

    removed = write_nameless(files[0], out)
    typer.echo(f"Wrote {out}; removed:" if removed else f"Wrote {out}; there was nothing to remove.")
    for line in removed:
        typer.echo(f"  {line}")
    typer.echo("Marker labels, their descriptions and event labels stay: read them once more.")
    typer.echo(f"{MOTION_REMAINS[0].upper()}{MOTION_REMAINS[1:]}.")


@app.command()
def labels(
    file: Annotated[Path, typer.Argument(help="C3D file whose markers are to be named", show_default=False)],
    out: Annotated[Path | None, typer.Option(help="write the proposal here instead of printing it")] = None,
) -> None:
    """Propose a labels.toml from the words in a recording's marker labels."""
    from jointload.intake.c3d import read_recording
    from jointload.intake.labels import propose_labels

    proposal = propose_labels(read_recording(file))
    if out is None:
        typer.echo(proposal)
        return
    _write_new(out, proposal)
    typer.echo(f"Wrote {out}. Check every line before you use it.")


@app.command()
def analyse(
    trial: Trial,
    labels: Labels,
    rider: RiderFile,
    out: Out,
    static: Static = None,
    cutoff: Cutoff = 20.0,
    impact_cutoff: ImpactCutoff = 100.0,
    threshold: Threshold = 20.0,
    smoothing: Smoothing = "before",
    landing: WhichLanding = 1,
    landing_end: LandingEnd = "lowest_pelvis",
    angle_zero: AngleZero = "anatomical",
    hip_centre: HipCentre = "harrington_2007",
    inertia: Inertia = "de_leva_1996",
    moment_frame: MomentFrame = "joint",
    hip_movement: HipMovement = None,
    up: Up = None,
    forward: Forward = None,
) -> None:
    """Analyse one landing: angles, moments, forces, alignment, and what to doubt."""
    files = _files(trial, static, labels, rider, hip_movement)
    chosen = _settings(
        cutoff, impact_cutoff, threshold, smoothing, landing, landing_end, angle_zero, hip_centre, inertia, moment_frame
    )
    analysis, _ = _analysed(files, chosen, up=up, forward=forward)
    _written(analysis, None, files, out)


@app.command()
def whatif(
    trial: Trial,
    labels: Labels,
    rider: RiderFile,
    out: Out,
    heel_wedge: Annotated[
        str, typer.Option(help="medial:DEGREES or lateral:DEGREES, the raised side; several with commas are compared")
    ] = "",
    side: Annotated[str, typer.Option(help="r or l, the foot the shape is under")] = "",
    static: Static = None,
    length: Annotated[str, typer.Option(help="'heel', or 'full' for a wedge of the whole foot's length")] = "heel",
    heel_lift: Annotated[str, typer.Option(help="height under the heel, such as 3mm")] = "",
    thickness: Annotated[str, typer.Option(help="thickness of the whole insole in place of 4 mm, such as 6mm")] = "",
    insole: Annotated[
        list[Path] | None, typer.Option(help="insole.toml in place of the parts above; give several to compare them")
    ] = None,
    draws: Annotated[int, typer.Option(min=50, max=20000, help="drawn persons")] = 200,
    seed: Annotated[int, typer.Option(help="seed of the draws")] = 1,
    cutoff: Cutoff = 20.0,
    impact_cutoff: ImpactCutoff = 100.0,
    threshold: Threshold = 20.0,
    smoothing: Smoothing = "before",
    landing: WhichLanding = 1,
    landing_end: LandingEnd = "lowest_pelvis",
    angle_zero: AngleZero = "anatomical",
    hip_centre: HipCentre = "harrington_2007",
    inertia: Inertia = "de_leva_1996",
    moment_frame: MomentFrame = "joint",
    hip_movement: HipMovement = None,
    up: Up = None,
    forward: Forward = None,
) -> None:
    """Analyse one landing and predict what a wedge, a lift or an insole would shift, with an interval."""
    asked = _asked(heel_wedge, side, length, heel_lift, thickness, insole or [])
    files = _files(trial, static, labels, rider, hip_movement)
    chosen = _settings(
        cutoff, impact_cutoff, threshold, smoothing, landing, landing_end, angle_zero, hip_centre, inertia, moment_frame
    )
    analysis, answer = _analysed(files, chosen, asked, draws, seed, up, forward)
    _written(analysis, answer, files, out)


@app.command()
def shape(
    file: Annotated[Path, typer.Argument(help="insole.toml, or an STL or OBJ of an insole", show_default=False)],
    out: Out,
    side: Annotated[str, typer.Option(help="r or l: the foot a mesh is for")] = "",
    unit: Annotated[str, typer.Option(help="a mesh's unit (mm, cm, m, in) where it is not mm")] = "",
    up: Annotated[str, typer.Option(help="a mesh's upward axis, such as +z")] = "+z",
    forward: Annotated[str, typer.Option(help="a mesh's axis from heel to toes, such as +x")] = "+x",
    layer: Annotated[str, typer.Option(help="a mesh's material, for its mass")] = "",
) -> None:
    """Make an insole's solid (STL), its drawing and its sheet from insole.toml, or from a mesh of an existing one."""
    from jointload.report.insole_words import remarks
    from jointload.report.shape_folder import write_shape

    if file.suffix.lower() in (".stl", ".obj"):
        with _step("Reading"):
            surfaces, name, fields = _scanned(file, side, unit, up, forward, layer), file.stem, {}
    else:
        from jointload.insole.shape_file import read_design

        design = read_design(file)
        surfaces, name, fields = design.shapes, design.name, design.sheet
    with _step("Solid, drawing and sheet"):
        write_shape(surfaces, out, name, fields)
    for note in dict.fromkeys(note for surface in surfaces for note in remarks(surface)):
        typer.echo(f"Note: {note}")
    typer.echo(f"Wrote {out / 'sheet.html'}, the drawing and {len(surfaces)} STL in millimetres.")


@app.command()
def material(
    file: Annotated[Path | None, typer.Argument(help="CSV of a compression or drop test", show_default=False)] = None,
    thickness: Annotated[str, typer.Option(help="the sample's thickness, such as 5mm")] = "",
    area: Annotated[str, typer.Option(help="the pressed area, such as 500mm2")] = "",
    kind: Annotated[str, typer.Option(help="foam, gel, elastomer or shell")] = "foam",
    name: Annotated[str, typer.Option(help="the material's name; the file's without it")] = "",
    density: Annotated[float, typer.Option(min=0, help="density [kg/m3]; 0 where unknown")] = 0.0,
    load: Annotated[str, typer.Option(help="load under a heel for the figure, such as 1500N")] = "1500N",
    hardness: Annotated[float, typer.Option(help="Shore A of a solid elastomer, in place of a test")] = 0.0,
    out: Annotated[
        Path | None, typer.Option(help="folder for row, figure and numbers; without it they are shown")
    ] = None,
) -> None:
    """Fit a layer's law to a compression test (columns such as compression_mm,force_N), or turn hardness to modulus."""
    if (file is None) == (hardness == 0):
        advice = "give the test's CSV, or --hardness with --kind elastomer"
        raise SettingError(expected_found("material", "a test or a hardness", "neither or both", "the command", advice))
    if file is None:
        _hardness(hardness, kind)
        return
    _fitted(file, {"thickness": thickness, "area": area, "load": load}, kind, name, density, out)


@app.command()
def models(name: Annotated[str, typer.Argument(help="one file's name for its full provenance")] = "") -> None:
    """List the bodies, inertia tables, regressions and other data that ship, with their sources."""
    from jointload.modeldata import load_model, model_kinds, model_names

    known = {(kind, file) for kind in model_kinds() for file in model_names(kind)}
    if name and name not in {file for _, file in known}:
        message = expected_found(
            "model", "one of " + ", ".join(sorted(f for _, f in known)), repr(name), "models/", "choose one"
        )
        raise SettingError(message)
    for kind in model_kinds():
        chosen = [file for file in model_names(kind) if name in ("", file)]
        for file in chosen:
            provenance = load_model(kind, file).provenance
            typer.echo(f"{kind}/{file}")
            for key in provenance if name else ("source",):
                typer.echo(f"    {key}: {provenance[key]}")


def main() -> None:
    """Run the command line; every InputError and every wrong word is one line on stderr and exit code 2."""
    if len(sys.argv) == 1:
        sys.argv.append("--help")
    try:
        sys.exit(app(standalone_mode=False) or DONE)
    except InputError as problem:
        _complain(str(problem))
    except KeyboardInterrupt:
        _complain("stopped; nothing was written", 130)
    except Exception as problem:
        message = getattr(problem, "format_message", None)
        if message is None:
            raise
        _complain(f"{message().rstrip('.')}; see jointload --help")


def _complain(message: str, code: int = BAD_INPUT) -> None:
    typer.echo(f"jointload: {' '.join(message.split())}", err=True)
    sys.exit(code)


def _write_new(path: Path, text: str) -> None:
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except OSError as problem:
        advice = "choose a new name in a folder you may write to"
        raise OutputError(expected_found("output", "a new file", problem.strerror, str(path), advice)) from None


def _files(trial: Path, static: Path | None, labels: Path, rider: Path, hip_movement: Path | None) -> dict[str, Path]:
    files = {"trial": trial, "static": static, "labels": labels, "rider": rider, "hip_movement": hip_movement}
    return {role: path for role, path in files.items() if path is not None}


def _scanned(file: Path, side: str, unit: str, up: str, forward: str, layer: str) -> tuple[Surface, ...]:
    from jointload.insole.materials import material as known
    from jointload.insole.scan import read_scan
    from jointload.insole.shape import Layer

    layers = (Layer(known(layer)),) if layer else ()
    return (read_scan(file, side, unit, up, forward, layers),)


def _hardness(shore_a: float, kind: str) -> None:
    from jointload.insole.materials import HARDNESS_LAWS, modulus_from_hardness

    fitting = [law for law, (_, (low, high)) in HARDNESS_LAWS.items() if low <= shore_a <= high]
    for law in fitting or HARDNESS_LAWS:
        modulus = modulus_from_hardness(shore_a, kind, law) / 1e6
        typer.echo(f"{law}: {modulus:.2f} MPa at {shore_a:g} Shore A, for solid elastomers only")


def _fitted(file: Path, words: dict[str, str], kind: str, name: str, density: float, out: Path | None) -> None:
    from jointload.insole import compression as tests
    from jointload.insole.materials import shipped_materials
    from jointload.report.material_folder import fit_text, material_row, write_material

    units = {"thickness": tests.LENGTH_UNITS, "area": tests.AREA_UNITS, "load": tests.FORCE_UNITS}
    sizes = {key: tests.parse_quantity(word, units[key], key) if word else None for key, word in words.items()}
    test = tests.read_compression(file, sizes["thickness"], sizes["area"])
    fit = tests.fit_layer(test, name or file.stem, kind, density or float("nan"))
    typer.echo(fit_text(fit))
    if out is None:
        typer.echo(material_row(fit.material), nl=False)
        return
    others = [m for m in shipped_materials().values() if m.kind in ("foam", "gel")]
    with _step("Figure"):
        write_material(fit, out, sizes["load"] or 1500.0, others)
    typer.echo(f"Wrote {out / 'material.csv'}, the figure and the numbers beside it.")


def _settings(
    cutoff: float = 20.0,
    impact_cutoff: float = 100.0,
    threshold: float = 20.0,
    smoothing: str = "before",
    landing: int = 1,
    landing_end: str = "lowest_pelvis",
    angle_zero: str = "anatomical",
    hip_centre: str = "harrington_2007",
    inertia: str = "de_leva_1996",
    moment_frame: str = "joint",
) -> Settings:
    from jointload.settings import Settings

    words: dict[str, Any] = {
        "smoothing": smoothing,
        "landing_end": landing_end,
        "angle_zero": angle_zero,
        "moment_frame": moment_frame,
    }
    return Settings(
        cutoff=cutoff or None,
        impact_cutoff=impact_cutoff or None,
        contact_threshold=threshold,
        landing=landing,
        hip_centre=hip_centre,
        inertia=inertia,
        **words,
    )


def _analysed(
    files: dict[str, Path],
    settings: Settings,
    asked: tuple[Given, ...] = (),
    draws: int = 200,
    seed: int = 1,
    up: str | None = None,
    forward: str | None = None,
) -> tuple[Analysis, WhatIf | None]:
    from jointload.analysis import analyse as run
    from jointload.insole.whatif import compare
    from jointload.intake.session import read_session

    with _step("Reading"):
        session = read_session(**files, up=up, forward=forward)
    with _step("Angles and moments"):
        analysis = run(session, settings)
    if not asked:
        return analysis, None
    with _step("What the shape would shift"):
        return analysis, compare(analysis, asked, draws, seed)


def _asked(wedge: str, side: str, length: str, lift: str, thickness: str, insoles: list[Path]) -> tuple[Given, ...]:
    """The shapes of the words, checked before anything is read; an insole file stands without parts."""
    from jointload.insole.compression import LENGTH_UNITS, parse_quantity
    from jointload.insole.geometry import parse_wedge
    from jointload.insole.shape_file import read_shape
    from jointload.insole.whatif import USUAL_BASE, Parts

    parts = {"--heel-wedge": wedge, "--heel-lift": lift, "--thickness": thickness}
    given = [name for name, words in parts.items() if words]
    if bool(given) == bool(insoles):
        expected, found = "--insole alone, or some of " + ", ".join(parts), ", ".join(given) or "none of them"
        raise SettingError(expected_found("what-if", expected, found, "the command", "name what lies under the foot"))
    if insoles:
        return tuple(read_shape(path, side) for path in insoles)
    if side not in ("r", "l"):
        raise SettingError(expected_found("side", "r or l", repr(side), "the command", "add --side r or --side l"))
    wedges = [parse_wedge(words.strip(), side, length) for words in wedge.split(",")] if wedge else []
    if wedges and len(given) == 1:
        return tuple(wedges)
    height = parse_quantity(lift, LENGTH_UNITS, "heel lift") if lift else 0.0
    base = parse_quantity(thickness, LENGTH_UNITS, "thickness") if thickness else USUAL_BASE
    asked = tuple(Parts(side, tilted, height, base) for tilted in (wedges or (None,)))
    for parts_of_one in asked:
        parts_of_one.shape(USUAL_LENGTH)
    return asked


def _written(analysis: Analysis, answer: WhatIf | None, files: dict[str, Path], out: Path) -> None:
    from jointload.report.folder import write_report
    from jointload.report.tables import all_findings

    with _step("Report"):
        write_report(analysis, out, whatif=answer, inputs=files)
    warned = sum(f.severity != "pass" for f in all_findings(analysis, answer))
    typer.echo(f"Wrote {out / 'report.html'} and the tables beside it; {warned} findings need a look.")


@contextmanager
def _step(words: str) -> Iterator[None]:
    """A moving line on a terminal, a plain one elsewhere."""
    if sys.stderr.isatty():
        with _console(stderr=True).status(words):
            yield
    else:
        typer.echo(words, err=True)
        yield


def _watched(files: list[Path], words: str) -> Iterable[Path]:
    """The files, with a progress bar on a terminal and nothing elsewhere."""
    if not sys.stderr.isatty():
        return files
    from rich.progress import track

    return track(files, words, transient=True, console=_console(stderr=True))


def _console(stderr: bool = False) -> Any:
    from rich.console import Console

    return Console(stderr=stderr, soft_wrap=True)


def _print_findings(where: str, findings: tuple[Finding, ...]) -> None:
    from rich.table import Table

    table = Table(title=where, title_justify="left")
    for column in ("severity", "check", "where", "evidence", "advice"):
        table.add_column(column, overflow="fold")
    for finding in sorted(findings, key=lambda f: ("refuse", "warn", "pass").index(f.severity)):
        table.add_row(finding.severity, finding.check, finding.where, finding.evidence, finding.advice)
    _console().print(table)


if __name__ == "__main__":
    main()
