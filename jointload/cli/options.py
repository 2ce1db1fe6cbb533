"""The files and choices that every command on a landing takes, listed once."""

from __future__ import annotations

import inspect
from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from jointload.cli.beside import with_those_beside
from jointload.cli.terminal import check_new
from jointload.errors import SettingError, expected_found
from jointload.settings import Settings

if TYPE_CHECKING:
    from jointload.foot.layer_choice import Question
    from jointload.insole.shape.materials import Material
    from jointload.insole.shape.parts import ThinLayer

Out = Annotated[Path, typer.Option(help="folder for the result; it appears whole or not at all", show_default=False)]
Replace = Annotated[bool, typer.Option("--replace", help="replace an earlier result in that folder")]
USUAL = Settings()
Draws = Annotated[
    int, typer.Option(min=0, max=20000, help="draws of the uncertain inputs, for the 95 % intervals; 0 for none")
]
DrawSeed = Annotated[int, typer.Option(min=0, help="seed of these draws")]
Without = Annotated[
    str, typer.Option(help="inputs taken as exact, with commas, such as skin,placement; see `jointload models`")
]
Figures = Annotated[str, typer.Option("--figures", help="also write every figure as svg, png or pdf, for papers")]
HeelCupWords = Annotated[
    str, typer.Option("--heel-cup", help="height of a close cup's rim around the heel, such as 12mm")
]
OwnMaterials = Annotated[
    list[Path] | None, typer.Option(help="material.csv of your own, as `jointload material` writes it")
]
Under = Annotated[str, typer.Option(help="heel, ball or whole: where the layer lies")]
LayerHeight = Annotated[str, typer.Option(help="height that is judged, such as 3mm")]
Temperature = Annotated[
    float | None, typer.Option(help="of the layer in the shoe [deg C]; room temperature without it")
]
Worn = Annotated[float, typer.Option(help="how far the layer was worn [km]")]
Cup = Annotated[bool, typer.Option("--cup", help="a close cup or counter holds the heel's pad together")]
FootDraws = Annotated[int, typer.Option(min=50, max=5000, help="drawn persons")]
LayerStack = Annotated[str, typer.Option(help="greatest height of a layer that the shoe has room for")]
USUAL_DRAWS = 500


@dataclass(frozen=True)
class LandingWords:
    """What the words of a command say of one landing: its files by their role, its settings, its axes."""

    files: dict[str, Path]
    settings: Settings
    up: str | None = None
    forward: str | None = None
    same_person: bool = False
    hide_names: bool = False

    @property
    def reading(self) -> dict[str, Any]:
        """How a session of these words is read, beside its files."""
        told = ("up", "forward", "same_person", "hide_names")
        return {name: getattr(self, name) for name in told}


@dataclass(frozen=True)
class Laid:
    """What the words of a command lay upon an insole: thin layers, one tuple a shape that is compared, and a heel cup
    [m]."""

    layers: tuple[tuple[ThinLayer, ...], ...] = ()
    cup: float = 0.0


def laid_from(layer: str, cup: str, own: list[Path]) -> Laid:
    """layer : such as 'heel:gel:3mm+ball:pu_foam_soft:2mm,whole:gel:3mm';  own : material.csv of the user's"""
    from jointload.insole.shape.compression import LENGTH_UNITS, parse_quantity
    from jointload.insole.shape.materials import material
    from jointload.insole.shape.parts import HeelCup, ThinLayer

    known = {m.name: m for m in cushions(own)}

    def one(words: str) -> ThinLayer:
        parts = words.strip().split(":")
        if len(parts) != 3:
            expected, advice = "PLACE:MATERIAL:HEIGHT", "write it as heel:gel:3mm"
            raise SettingError(expected_found("--layer", expected, repr(words), "the command", advice))
        place, name, height = parts
        return ThinLayer(material(name, known), parse_quantity(height, LENGTH_UNITS, "--layer"), place)

    compared = [words for words in layer.split(",") if words.strip()]
    height = parse_quantity(cup, LENGTH_UNITS, "--heel-cup") if cup else 0.0
    HeelCup(height)
    return Laid(tuple(tuple(one(each) for each in words.split("+")) for words in compared), height)


def layer_question(
    under: str, height: str, stack: str, temperature: float | None, worn: float, cup: bool, draws: int, seed: int
) -> Question:
    """What a command asks of thin layers."""
    from jointload.foot.layer_choice import Question
    from jointload.foot.layer_law import Circumstances
    from jointload.insole.shape.compression import LENGTH_UNITS, parse_quantity

    limit, asked = (parse_quantity(word, LENGTH_UNITS, what) for word, what in ((stack, "stack"), (height, "height")))
    circumstances = Circumstances(float("nan") if temperature is None else temperature, worn, cup)
    return Question(under, asked, limit, circumstances, draws, seed)


def cushions(own: list[Path]) -> tuple[Material, ...]:
    """The shipped cushions, and all rows of the user's files; a name of the user's own stands for the shipped one."""
    from jointload.insole.shape import materials

    found = materials.cushions()
    for path in own:
        found |= materials.read_materials(path)
    return tuple(found.values())


def of_a_landing(command: Callable[..., None]) -> Callable[..., None]:
    """Let a command take a landing's files, settings and axes as options; it gets them as LandingWords, then its own
    options by name."""
    own = list(inspect.signature(command, eval_str=True).parameters.values())[1:]
    files, settings, axes = (_parameters(group) for group in (_files, _settings, _axes))

    @wraps(command)
    def run(**words: Any) -> None:
        landing = LandingWords(
            files=with_those_beside(_files(**{name: words.pop(name) for name in files})),
            settings=_settings(**{name: words.pop(name) for name in settings}),
            **_axes(**{name: words.pop(name) for name in axes}),
        )
        command(landing, **words)

    options = [*files.values(), *own, *settings.values(), *axes.values()]
    options = [option.replace(kind=inspect.Parameter.KEYWORD_ONLY) for option in options]
    run.__signature__ = inspect.Signature(options)  # type: ignore[attr-defined]
    run.__annotations__ = {option.name: option.annotation for option in options}
    return run


def _parameters(group: Callable[..., Any]) -> dict[str, inspect.Parameter]:
    return dict(inspect.signature(group, eval_str=True).parameters)


def _files(
    trial: Annotated[Path, typer.Argument(help="C3D file of the landing", show_default=False)],
    labels: Annotated[
        Path | None,
        typer.Option(help="labels.toml: which marker is which landmark; that beside the landing without it"),
    ] = None,
    rider: Annotated[
        Path | None, typer.Option(help="rider.toml: id, mass_kg, height_m, sex; that beside the landing without it")
    ] = None,
    static: Annotated[
        Path | None,
        typer.Option(
            help="C3D file of the standing trial; the only one beside the landing without it; 'none' for the landing's "
            "own quiet frames"
        ),
    ] = None,
    hip_movement: Annotated[
        Path | None, typer.Option(help="C3D file in which both thighs swing: hip centres by movement")
    ] = None,
    board: Annotated[
        Path | None, typer.Option(help="board.toml: the board under the feet, its mass and markers")
    ] = None,
    pressure_right: Annotated[Path | None, typer.Option(help="CSV of the right pressure insole")] = None,
    pressure_left: Annotated[Path | None, typer.Option(help="CSV of the left pressure insole")] = None,
    pressure_layout: Annotated[Path | None, typer.Option(help="CSV of where the insoles' sensors lie")] = None,
    shoe: Annotated[
        Path | None, typer.Option(help="shoe.toml: friction, lacing_n, toe_room_mm, sole_mm, sole_mpa, or barefoot")
    ] = None,
) -> dict[str, Path]:
    files = {"trial": trial, "static": static, "labels": labels, "rider": rider, "hip_movement": hip_movement}
    files |= {"board": board, "pressure_right": pressure_right, "pressure_left": pressure_left}
    files |= {"pressure_layout": pressure_layout, "shoe": shoe}
    return {role: path for role, path in files.items() if path is not None}


def _settings(
    cutoff: Annotated[
        float | None,
        typer.Option(help="low-pass of 'fixed' and 'after' smoothing [Hz], 20 where not given; 0 for none"),
    ] = None,
    impact_cutoff: Annotated[
        float, typer.Option(help="low-pass of forces for peaks and loading rates [Hz]; 0 for none")
    ] = USUAL.impact_cutoff or 0.0,
    threshold: Annotated[
        float, typer.Option(help="vertical force that counts as contact [N]")
    ] = USUAL.contact_threshold,
    smoothing: Annotated[
        str,
        typer.Option(
            help="'balanced': markers as quick as the plates say; 'fixed': --cutoff on markers and forces; "
            "'after': --cutoff on the loads"
        ),
    ] = USUAL.smoothing,
    landing: Annotated[int, typer.Option(help="which of the landings that follow a flight")] = USUAL.landing,
    landing_end: Annotated[
        str, typer.Option(help="lowest_pelvis, peak_knee_flexion, peak_force or fixed_100ms")
    ] = USUAL.landing_end,
    angle_zero: Annotated[
        str, typer.Option(help="'anatomical', or 'standing' for angles from the static trial")
    ] = USUAL.angle_zero,
    hip_centre: Annotated[
        str, typer.Option(help="hip joint centre regression; see `jointload models`")
    ] = USUAL.hip_centre,
    inertia: Annotated[str, typer.Option(help="segment inertia table; see `jointload models`")] = USUAL.inertia,
    moment_frame: Annotated[
        str, typer.Option(help="'joint'; with 'proximal', 'distal' or 'lab' series.csv has moments in those axes, too")
    ] = USUAL.moment_frame,
) -> Settings:
    words: dict[str, Any] = {
        "smoothing": smoothing,
        "landing_end": landing_end,
        "angle_zero": angle_zero,
        "moment_frame": moment_frame,
    }
    if cutoff is not None and smoothing == "balanced":
        advice = "add --smoothing fixed, or leave --cutoff out"
        raise SettingError(
            expected_found("--cutoff", "none with balanced smoothing", f"{cutoff:g}", "the command", advice)
        )
    return Settings(
        cutoff=USUAL.cutoff if cutoff is None else cutoff or None,
        impact_cutoff=impact_cutoff or None,
        contact_threshold=threshold,
        landing=landing,
        hip_centre=hip_centre,
        inertia=inertia,
        **words,
    )


def _axes(
    up: Annotated[str | None, typer.Option(help="the file's upward axis, such as +z, where the file misleads")] = None,
    forward: Annotated[
        str | None, typer.Option(help="the file's forward axis, such as +y, where the file misleads")
    ] = None,
    same_person: Annotated[
        bool, typer.Option("--same-person", help="insist that the standing trial is this rider's")
    ] = False,
    hide_names: Annotated[
        bool, typer.Option("--hide-names", help="a pseudonym in place of every file's name in the results")
    ] = False,
) -> dict[str, Any]:
    return {"up": up, "forward": forward, "same_person": same_person, "hide_names": hide_names}


def side_asked(word: str) -> str:
    """The foot that a command's --side names."""
    from jointload.intake.recording import side_from

    side = side_from(word)
    if side is None:
        advice = "add --side right or --side left"
        raise SettingError(expected_found("side", "right or left", repr(word), "the command", advice))
    return side


def check_out(out: Path, replace: bool) -> None:
    """`check_new` of a landing's result."""
    from jointload.report.files.folder import RECORD

    check_new(out, replace, RECORD)


def check_figures(form: str) -> None:
    """Refuse a form of figures before anything is read; an empty one asks for none."""
    if form:
        from jointload.report.figures.paper import check_form

        check_form(form)
