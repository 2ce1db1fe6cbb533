"""Draws of the uncertain inputs of one landing, as errors of its body, markers, plates, cut-off and clock.

Every input has a stream of its own, named by what two recordings must share to bear the same error: the same static
trial, rider or laboratory. So the draws of two recordings of one rider belong together, draw by draw.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np

from jointload.body.calibration import BodyErrors, FittedBody
from jointload.body.joint_centres import centre_spreads
from jointload.intake.recording import SIDES, Array, split_side
from jointload.intake.session import Session
from jointload.landing.landed import Landing
from jointload.loads.balance import swings_drawn
from jointload.numerics.rotations import from_axes, rotate
from jointload.uncertainty.spreads import Source

MM = 1e-3
SEGMENT_ENDS = {
    "foot": ("*_ankle_centre", "*_forefoot"),
    "shank": ("*_knee_centre", "*_ankle_centre"),
    "thigh": ("*_hip_centre", "*_knee_centre"),
    "pelvis": ("l5s1", "hip_mid"),
}
"""The points whose distance the spread of a centre of mass is a share of."""


@dataclass(frozen=True)
class Streams:
    """Names of the streams of a landing: equal names, equal draws."""

    seed: int
    keys: Mapping[str, str]

    @classmethod
    def of(cls, session: Session, seed: int) -> Streams:
        static, trial, rider = session.static, session.trial, session.rider.id
        keys = {
            "recording": f"{trial.name} {trial.sha256}",
            "static trial": f"{rider} {static.name} {static.sha256}",
            "rider": rider,
            "laboratory": "",
        }
        return cls(seed, keys)

    def generator(self, source: Source, same_for: str, part: str = "") -> np.random.Generator:
        text = f"{self.seed}|{source.name}|{same_for}|{self.keys[same_for]}|{part}"
        return np.random.default_rng(int.from_bytes(hashlib.sha256(text.encode()).digest()[:8], "little"))

    def normal(self, source: Source, draws: int, size: int) -> Array:
        """(size, draws) standard normal numbers, of which the repeatable share is the same for `source.same_for`."""
        shared, own = np.sqrt(source.repeatable), np.sqrt(1.0 - source.repeatable)
        out = np.zeros((size, draws))
        if shared:
            out += shared * _even_normal(self.generator(source, source.same_for), draws, size)
        if own:
            out += own * _even_normal(self.generator(source, "recording", "own"), draws, size)
        return out


def _even_normal(generator: np.random.Generator, draws: int, size: int) -> Array:
    """(size, draws) standard normal numbers, each in equal slices of probability (Latin hypercube).

    A Sobol sequence of 500 draws in a hundred dimensions correlates some pairs of them by more than 0.2.
    """
    from scipy.special import ndtri

    own = np.random.default_rng(int(generator.integers(2**31)))
    within = own.uniform(size=(draws, size))
    slices = np.tile(np.arange(1, draws + 1), (size, 1))
    for row in slices:
        own.shuffle(row)
    return np.asarray(ndtri((slices - within.T) / draws))


@dataclass(frozen=True, eq=False)
class PlateErrors:
    """gain : (2, D) factor of the wrench on right and left foot;  place : (3, 2, D) [m] by which it is seen shifted."""

    gain: Array
    place: Array

    def drawn(self, which: slice) -> PlateErrors:
        return PlateErrors(self.gain[:, which], self.place[..., which])

    def disturbed(self, force: Array, moment: Array) -> tuple[Array, Array]:
        """Wrenches (3, 2, D, N) about the lab origin from exact ones (3, 2, N)."""
        force = force[:, :, None] * self.gain[..., None]
        place = self.place[..., None]
        moment = moment[:, :, None] * self.gain[..., None]
        moment[0] += -place[2] * force[1]
        moment[1] += place[2] * force[0] - place[0] * force[2]
        moment[2] += place[0] * force[1]
        return force, moment


@dataclass(frozen=True, eq=False)
class Draws:
    """D draws of everything uncertain that is one number a draw; what varies in time is drawn in skin.py.

    body : errors of places and inertia;  plates : of the wrenches;  weight : (D,) factor of the body weight on the
    plates;  cutoff : (D,) factor;  offset : (D,) [s] by which the markers are late
    numbers : input -> (k, D) what was drawn of it and squares of that, for the inputs that are `FEW`
    """

    count: int
    body: BodyErrors
    plates: PlateErrors
    weight: Array
    cutoff: Array
    offset: Array
    numbers: Mapping[str, Array]
    swings: Array | None = None
    """(K, D) standard normal numbers for what the balance leaves open of the flesh."""
    partings: Mapping[str, Array] = field(default_factory=dict)
    """Joint centre -> (3, D) [m] by which its bones truly part, where they are brought together."""

    def swings_of(self, which: slice) -> Array | None:
        return None if self.swings is None else self.swings[:, which]

    def partings_of(self, which: slice) -> dict[str, Array]:
        return {name: each[:, which] for name, each in self.partings.items()}


FEW = ("flesh", "placement", "joint_centre", "inertia", "plate_force", "pressure_centre", "cutoff", "time_offset")
"""Inputs that are few numbers a draw, about 150 in all; camera and skin are thousands."""


def draw_inputs(
    session: Session, landing: Landing, sources: Mapping[str, Source], streams: Streams, draws: int, chunk: int
) -> Draws:
    """All errors of one landing; inputs that are not in `sources` are without error.

    chunk : draws that are filtered together, and so share a cut-off
    """
    plates = _plate_errors(sources, streams, draws)
    on_plates = np.isfinite(landing.weight_on_plates)
    weight = plates.gain.mean(axis=0) if on_plates else np.ones(draws)
    standing, body = facing_frame_standing(landing.body), landing.body
    placement, centres = (drawn(body, sources, streams, draws) for drawn in (_placement, _joint_centres))
    partings = _partings(landing, sources, streams, draws)
    segments = _segment_errors(sources, streams, draws)
    told = np.isfinite(landing.recording.cameras_late)
    cutoff, offset = _cutoff_factors(sources, streams, draws, chunk), _offsets(sources, streams, draws, bool(told))
    swings = streams.normal(sources["flesh"], draws, swings_drawn()) if "flesh" in sources else None
    numbers = {
        "flesh": np.zeros((0, draws)) if swings is None else swings,
        "placement": _rows(placement.values(), draws),
        "joint_centre": _rows((*centres.values(), *partings.values()), draws),
        "inertia": _with_squares(_rows(segments.values(), draws)),
        "plate_force": _with_squares(plates.gain),
        "pressure_centre": _with_squares(_rows(plates.place[[0, 2]], draws)),
        "cutoff": _with_squares(np.log(cutoff)[None]),
        "time_offset": _with_squares(offset[None]),
    }
    return Draws(
        count=draws,
        body=BodyErrors(
            draws=draws,
            places={name: rotate(standing[..., None], error) for name, error in (placement | centres).items()},
            inertia=_inertia(body, segments, weight),
        ),
        plates=plates,
        weight=weight,
        cutoff=cutoff,
        offset=offset,
        numbers={name: rows for name, rows in numbers.items() if name in sources},
        swings=swings,
        partings=partings,
    )


def _rows(errors: Iterable[Array], draws: int) -> Array:
    """Errors (..., D) one under another, (k, D)."""
    return np.concatenate([np.zeros((0, draws)), *(error.reshape(-1, draws) for error in errors)])


def facing_frame_standing(body: FittedBody) -> Array:
    """lab_from_facing (3, 3) of the static trial: Y up, X along the pelvis' forward direction."""
    return from_axes(np.array([0.0, 1.0, 0.0]), body.standing["pelvis"][0][:, 0], "y", "x")


def _plate_errors(sources: Mapping[str, Source], streams: Streams, draws: int) -> PlateErrors:
    gain, place = np.ones((len(SIDES), draws)), np.zeros((3, len(SIDES), draws))
    if "plate_force" in sources:
        source = sources["plate_force"]
        gain = gain + source.content["spread"]["gain"] * streams.normal(source, draws, len(SIDES))
    if "pressure_centre" in sources:
        source = sources["pressure_centre"]
        spread = MM * np.array(source.content["spread_mm"]["place"])
        place[[0, 2]] = spread[:, None, None] * streams.normal(source, draws, 4).reshape(2, 2, draws)
    return PlateErrors(gain, place)


def _with_squares(rows: Array) -> Array:
    """(k, D) drawn numbers and, below, the squares of their way from the mean: a root mean square answers evenly."""
    return np.concatenate((rows, (rows - rows.mean(axis=1, keepdims=True)) ** 2))


def _placement(body: FittedBody, sources: Mapping[str, Source], streams: Streams, draws: int) -> dict[str, Array]:
    """Landmark -> (3, D) [m] from its marker to the landmark, in the standing rider's axes."""
    if "placement" not in sources:
        return {}
    source = sources["placement"]
    spread = source.content["spread_mm"]
    names = sorted(name for name in body.landmark_labels if name in body.standing_points)
    return _scattered(source, streams, draws, {n: spread.get(_unsided(n), spread["other"]) for n in names})


def _joint_centres(body: FittedBody, sources: Mapping[str, Source], streams: Streams, draws: int) -> dict[str, Array]:
    """Joint centre -> (3, D) [m] from where the method puts it, in the standing rider's axes."""
    if "joint_centre" not in sources:
        return {}
    source = sources["joint_centre"]
    spread = centre_spreads(body.hip_centre_method)
    names = ("l5s1", *(f"{side}_{joint}_centre" for side in SIDES for joint in ("hip", "knee", "ankle")))
    return _scattered(source, streams, draws, {n: spread[_unsided(n)] for n in names if n in body.standing_points})


def _partings(landing: Landing, sources: Mapping[str, Source], streams: Streams, draws: int) -> dict[str, Array]:
    """Joint centre -> (3, D) [m] by which its bones part, along the axes of the laboratory."""
    if "joint_centre" not in sources or landing.smoother is None:
        return {}
    source = sources["joint_centre"]
    names = [f"{side}_{kind}" for side in SIDES for kind in source.content["meeting_mm"]]
    sizes = [source.content["meeting_mm"][_unsided(name)] for name in names]
    normal = streams.generator(source, source.same_for, "parting").standard_normal((len(names), 3, draws))
    return {name: MM * size * each for name, size, each in zip(names, sizes, normal, strict=True)}


def _scattered(source: Source, streams: Streams, draws: int, spread_mm: Mapping[str, list[float]]) -> dict[str, Array]:
    normal = streams.normal(source, draws, 3 * len(spread_mm)).reshape(-1, 3, draws)
    return {
        name: MM * np.array(spread)[:, None] * each
        for (name, spread), each in zip(spread_mm.items(), normal, strict=True)
    }


def _unsided(name: str) -> str:
    return split_side(name)[1]


def _segment_errors(sources: Mapping[str, Source], streams: Streams, draws: int) -> dict[str, Array]:
    """Part of the body -> (4, D) shares by which its mass, centre along two axes and radii err."""
    rows = {part: np.zeros((4, draws)) for part in SEGMENT_ENDS}
    if "inertia" in sources:
        source = sources["inertia"]
        normal = streams.normal(source, draws, 4 * len(rows)).reshape(-1, 4, draws)
        for part, each in zip(rows, normal, strict=True):
            spread = source.content["segments"][part]
            sizes = np.array([spread["mass"], spread["centre"], spread["centre"], spread["radius"]])
            rows[part] = np.clip(sizes[:, None] * each, -0.9, None)
    return rows


def _inertia(body: FittedBody, errors: Mapping[str, Array], weight: Array) -> dict[str, tuple[Array, Array, Array]]:
    """Segment -> factor of mass, shift of the centre of mass, factor of radii; both sides of a rider err alike."""
    out = {}
    for name in body.inertia:
        side, part = split_side(name)
        start, end = (body.standing_points[point.replace("*", side)] for point in SEGMENT_ENDS[part])
        mass, x, y, radius = errors[part]
        shift = np.linalg.norm(end - start) * np.stack((x, y, np.zeros(weight.size)))
        out[name] = (weight * (1.0 + mass), shift, 1.0 + radius)
    return out


def _cutoff_factors(sources: Mapping[str, Source], streams: Streams, draws: int, chunk: int) -> Array:
    """(D,) evenly spread in the logarithm, one value a chunk, the chunks in the stream's own order."""
    if "cutoff" not in sources:
        return np.ones(draws)
    source = sources["cutoff"]
    low, high = np.log(source.content["spread"]["factor"])
    chunks = -(-draws // chunk)
    levels = low + (np.arange(chunks) + 0.5) / chunks * (high - low)
    return np.repeat(np.exp(streams.generator(source, source.same_for).permutation(levels)), chunk)[:draws]


def _offsets(sources: Mapping[str, Source], streams: Streams, draws: int, told: bool) -> Array:
    """told : whether a board told how late the cameras are"""
    from scipy.special import ndtr

    if "time_offset" not in sources:
        return np.zeros(draws)
    source = sources["time_offset"]
    most = source.content["spread"]["offset_told_by_board_s" if told else "offset_s"]
    return most * (2.0 * ndtr(streams.normal(source, draws, 1)[0]) - 1.0)
