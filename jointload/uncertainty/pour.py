"""The staircase of one landing poured again with drawn inputs, many draws at once: the functions are the same ones."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from jointload.analysis import fit_body, never_bridged
from jointload.body.angles import joint_angles
from jointload.body.bent import left_out_as_in
from jointload.body.board import with_board
from jointload.body.calibration import FittedBody
from jointload.body.joined import Joining
from jointload.body.mass_centre import mass_centre
from jointload.body.pose import complete_markers, track_segments
from jointload.intake.recording import SIDES, Array, Which
from jointload.intake.session import Session
from jointload.landing.alignment import alignment
from jointload.landing.borne import Borne, forces_borne
from jointload.landing.certainty import Key
from jointload.landing.ends import Seen
from jointload.landing.events import LandingEvents, events_seen, find_events
from jointload.landing.filtered import FilteredForces, scaled_forces
from jointload.landing.landed import DrawnEvents, Landing, Value
from jointload.landing.measures.every_measure import drawn_values
from jointload.landing.span import Indices
from jointload.loads.balance import balanced_motion
from jointload.loads.contact import Contact
from jointload.loads.from_above import loads_from_above
from jointload.loads.moments import joint_loads, smooth_loads
from jointload.modeldata import load_model
from jointload.motion.following import Smoother
from jointload.numerics.rotations import rotate
from jointload.numerics.signals import delayed, zero_lag_lowpass
from jointload.settings import Settings
from jointload.uncertainty.around import NearLanding, around_landing
from jointload.uncertainty.draws import MM, Draws, PlateErrors, Streams, draw_inputs
from jointload.uncertainty.in_order import in_order
from jointload.uncertainty.skin import SkinMotion, draw_skin
from jointload.uncertainty.spreads import Source
from jointload.uncertainty.under_board import BoardUnderFeet

LARGEST_CHUNK, LEAST_CHUNKS = 25, 20
"""Draws poured together: few enough for the memory, and where a cut-off is drawn in enough chunks for it to be spread
(choice)."""
HIGHEST_CUTOFF = 0.45
"""A drawn cut-off stays below this share of its rate."""
Told = Callable[[int], None]
"""Is told how many draws have been poured since it was told last."""


def quiet(done: int) -> None:
    """Tells nobody."""


@dataclass(frozen=True, eq=False)
class Poured:
    """samples : (quantity, side) -> (D,) SI units, NaN where a draw does not give the quantity
    angle, moment : (3, J, F) [rad], [N m] standard deviations of the draws, as JointAngles and JointLoads have them,
    NaN away from the landing
    numbers : input -> (k, D) what was drawn, as Draws.numbers"""

    samples: dict[Key, Array]
    angle: Array
    moment: Array
    numbers: Mapping[str, Array]


def pour(
    session: Session,
    landing: Landing,
    sources: Mapping[str, Source],
    streams: Streams,
    draws: int,
    told: Told = quiet,
    threads: int = 1,
) -> Poured:
    """Every measure of `landing` under draws of `sources`, the same whatever `threads`; told(n) after every n draws."""
    chunk = max(1, min(LARGEST_CHUNK, draws // LEAST_CHUNKS)) if "cutoff" in sources else LARGEST_CHUNK
    inputs = draw_inputs(session, landing, sources, streams, draws, chunk)
    body = fit_body(session, landing.body.rider, landing.settings, inputs.body)
    body = left_out_as_in(body, landing.body)
    near = _near(landing, float(inputs.cutoff.min()))
    markers = _Markers.of(session, landing, near, sources, streams, draws)
    board = BoardUnderFeet.of(near.landing, markers.named(markers.exact))
    pouring = _Pouring(near.landing, body, inputs, markers, _joining(session, near.landing, markers), board)
    chunks = (slice(start, min(start + chunk, draws)) for start in range(0, draws, chunk))
    samples: dict[Key, Array] = {}
    spread = _Spread()
    for done in in_order(pouring.chunk, ((which, markers.drawn(which)) for which in chunks), threads):
        for numbers, values in done.values:
            for key, value in values.items():
                samples.setdefault(key, np.full(draws, np.nan))[numbers] = value
        spread.add("angle", done.angle)
        spread.add("moment", done.moment)
        told(done.angle.shape[-2])
    angle, moment = (_in_recording(spread.of(name), near.frames, landing) for name in ("angle", "moment"))
    return Poured(samples, angle, moment, inputs.numbers)


def _near(landing: Landing, lowest: float) -> NearLanding:
    """What is poured of the landing; lowest : factor of its cut-off."""
    cutoff = landing.settings.cutoff
    return around_landing(landing, None if cutoff is None else lowest * cutoff)


def _in_recording(series: Array, frames: slice, landing: Landing) -> Array:
    """Series of some frames as one of all (..., F), NaN elsewhere."""
    out = np.full((*series.shape[:-1], landing.recording.frames), np.nan)
    out[..., frames] = series
    return out


@dataclass(frozen=True, eq=False)
class _Chunk:
    """values : numbers of draws and what they give;  angle, moment : (3, J, D, F) as in JointAngles, JointLoads."""

    values: list[tuple[Indices, dict[Key, Value]]]
    angle: Array
    moment: Array


@dataclass(frozen=True, eq=False)
class _Pouring:
    """What all chunks of draws share. joining : how the bones were brought together, None where they were not;  board :
    under the feet, None without one"""

    landing: Landing
    body: FittedBody
    inputs: Draws
    markers: _Markers
    joining: Joining | None
    board: BoardUnderFeet | None

    def chunk(self, drawn: tuple[slice, _Drawn]) -> _Chunk:
        """The landing under the draws and what was drawn of their markers."""
        which, normals = drawn
        together, filtered = _poured(self, which, self.markers.disturbed(which, normals))
        landings = _by_events(together, filtered, self.inputs.weight[which])
        values = [(which.start + numbers, _values(landing, self.landing.weight)) for numbers, landing in landings]
        return _Chunk(values, together.angles.angle, together.loads.components)


def _values(landing: Landing, weight: float) -> dict[Key, Value]:
    """Numbers of drawn landings; those shown per body weight or mass as they are at the analysed `weight` [N], so that
    an error that a force shares with the weight drops out."""
    scale = weight / landing.borne
    return {key: value * scale if key[0] in _per_weight() else value for key, value in drawn_values(landing).items()}


@lru_cache(maxsize=1)
def _per_weight() -> frozenset[str]:
    rows = load_model("glossary", "quantities").content
    return frozenset(row["name"] for row in rows if row["normaliser"] != "none")


@dataclass(frozen=True, eq=False)
class _Drawn:
    """Standard normal numbers of one chunk of draws: of the smoother by kinds, or (3, M, D, F) without one, and
    (3, D, 1) of every filled marker."""

    smooth: dict[str, Array]
    plain: NDArray[np.float32] | None
    fills: tuple[Array, ...]


@dataclass(frozen=True, eq=False)
class _Markers:
    """What cameras and skin do to the markers, before any filter.

    exact : (3, M, F) [m] as recorded;  rotation : segment -> lab_from_segment (3, 3, F)
    where : segment -> rows of its markers;  arms : segment -> (3, n) [m] of them from their middle
    """

    labels: list[str]
    exact: Array
    rotation: dict[str, Array]
    where: dict[str, list[int]]
    arms: dict[str, Array]
    since: Array
    peak: float
    skin: SkinMotion | None
    noise: float
    smoother: Smoother | None
    generator: np.random.Generator
    fills: tuple[tuple[int, Array], ...] = ()
    """Rows of markers that others filled, and (F,) [m] how uncertain their place is."""

    @classmethod
    def of(
        cls,
        session: Session,
        landing: Landing,
        near: NearLanding,
        sources: Mapping[str, Source],
        streams: Streams,
        draws: int,
    ) -> _Markers:
        trial, body, settings, part = landing.recording, landing.body, landing.settings, near.landing
        labels, exact, _, fills = complete_markers(trial, body, settings.longest_gap, never_bridged(trial, settings))
        labels, exact = with_board(trial, session.board, settings.longest_gap, labels, exact)
        if landing.smoother is not None and landing.smoother.finer == 1:
            exact = landing.smoother.smoothed(exact)
        where, arms, rotation = {}, {}, {}
        for name, cluster in body.clusters.items():
            seen = [label for label in cluster.labels if label in labels]
            if seen:
                local = cluster.local[:, [cluster.labels.index(label) for label in seen]]
                where[name], arms[name] = [labels.index(n) for n in seen], local - local.mean(axis=1, keepdims=True)
                rotation[name] = np.nan_to_num(part.poses.of(name)[0])
        skin, noise = None, 0.0
        doubts: tuple[tuple[int, Array], ...] = ()
        if "skin" in sources:
            skin = draw_skin(sources["skin"], streams, draws, {name: len(rows) for name, rows in where.items()})
        generator = np.random.default_rng(0)
        if "camera" in sources:
            noise = MM * sources["camera"].content["spread"]["noise_mm"]
            generator = streams.generator(sources["camera"], "recording")
            each = ((fill.marker, fill.doubt(trial.frames)[near.frames]) for fill in fills)
            doubts = tuple((row, doubt) for row, doubt in each if doubt.any())
        since = part.recording.time - part.events.first_touchdown
        peak = _largest_force(part) / part.weight
        follower, cut = part.smoother, exact[..., near.frames]
        return cls(labels, cut, rotation, where, arms, since, peak, skin, noise, follower, generator, doubts)

    def named(self, series: Array) -> dict[str, Array]:
        """(3, M, ...) as label -> (3, ...)."""
        return dict(zip(self.labels, series.swapaxes(0, 1), strict=True))

    def drawn(self, which: slice) -> _Drawn:
        """What is random of the cameras, to be asked for in the order of the draws."""
        draws, smooth = which.stop - which.start, dict[str, Array]()
        plain: NDArray[np.float32] | None = None
        if self.noise and self.smoother is not None:
            smooth = self.smoother.normals(self.generator, draws)
        elif self.noise:
            shape = (*self.exact.shape[:2], draws, self.exact.shape[2])
            plain = self.generator.standard_normal(shape, dtype=np.float32)
        return _Drawn(smooth, plain, tuple(self.generator.standard_normal((3, draws, 1)) for _ in self.fills))

    def disturbed(self, which: slice, drawn: _Drawn) -> Array:
        """(3, M, D, F) [m]"""
        out = np.empty((*self.exact.shape[:2], which.stop - which.start, self.exact.shape[2]))
        if drawn.smooth and self.smoother is not None:
            for row, doubt in self.smoother.doubts(drawn.smooth, out.shape[-1]):
                np.add(doubt, self.exact[:, row, None], out=out[:, row])
        elif drawn.plain is not None:
            np.add(self.noise * drawn.plain, self.exact[:, :, None], out=out)
        else:
            out[...] = self.exact[:, :, None]
        for (row, doubt), normal in zip(self.fills, drawn.fills, strict=True):
            out[:, row] += normal * doubt
        if self.skin is not None:
            for name, rows in self.where.items():
                local = self.skin.displacement(name, self.arms[name], self.since, self.peak, which)
                moved = rotate(self.rotation[name][:, :, None, None], local)
                for k, row in enumerate(rows):
                    out[:, row] += moved[:, k]
        return out


def _joining(session: Session, landing: Landing, markers: _Markers) -> Joining | None:
    """How the bones of `landing` were brought together, to be done for every draw; None where they were not."""
    if landing.smoother is None:
        return None
    body = fit_body(session, landing.body.rider, landing.settings)
    body = left_out_as_in(body, landing.body)
    poses, _ = track_segments(markers.named(markers.exact), body, landing.poses.rate)
    return Joining.along(poses, body, landing.body)


def _largest_force(landing: Landing) -> float:
    force = landing.contact.total
    start = round(landing.events.first_touchdown * landing.contact.fast_rate)
    return float(np.nanmax(force[start:])) if np.isfinite(force[start:]).any() else landing.weight


class _Spread:
    """Standard deviation of series over draws, summed up chunk by chunk about the first draw."""

    def __init__(self) -> None:
        self._about: dict[str, Array] = {}
        self._sums: dict[str, tuple[int, Array, Array]] = {}

    def add(self, name: str, series: Array) -> None:
        """series : (..., D, F)."""
        about = self._about.setdefault(name, series[..., :1, :].copy())
        count, first, second = self._sums.get(name, (0, np.zeros(()), np.zeros(())))
        away = series - about
        total, square = away.sum(axis=-2), np.einsum("...df,...df->...f", away, away)
        self._sums[name] = (count + series.shape[-2], first + total, second + square)

    def of(self, name: str) -> Array:
        count, first, second = self._sums[name]
        return np.sqrt(np.maximum(second - first**2 / count, 0.0) / max(count - 1, 1))


def _poured(pouring: _Pouring, which: slice, disturbed: Array) -> tuple[Landing, FilteredForces]:
    """The landing under the draws `which`, before each has its own events: markers to poses to angles, plates to
    wrenches, both to loads."""
    landing, inputs, body = pouring.landing, pouring.inputs, pouring.body.drawn(which)
    rate = landing.poses.rate
    settings = _with_factor(landing.settings, float(inputs.cutoff[which.start]), rate, landing.contact.fast_rate)
    before = settings.fixed_cutoff
    if np.any(inputs.offset):
        disturbed = delayed(disturbed, inputs.offset[which] * rate)
    markers = pouring.markers.named(zero_lag_lowpass(disturbed, before, rate))
    poses, _ = track_segments(markers, body, rate)
    if pouring.joining is not None:
        poses, body = pouring.joining.joined(poses, body, inputs.partings_of(which))
    angles = joint_angles(poses, body, settings.angle_zero)
    contact, filtered = _borne(pouring, which, settings, pouring.markers.named(disturbed))
    motion, balance = None, None
    if settings.smoothing == "balanced":
        strikes = never_bridged(landing.recording, settings)
        motion, balance = balanced_motion(poses, markers, body, contact.force, strikes, inputs.swings_of(which))
    loads = joint_loads(poses, body, angles, *_unstopped(contact), motion)
    if settings.smoothing == "after":
        loads, angles = smooth_loads(loads, angles, settings.cutoff, rate)
    after = settings.cutoff if settings.smoothing == "after" else None
    flesh = None if balance is None else balance.above
    together = replace(
        landing,
        body=body,
        poses=poses,
        angles=angles,
        alignment=alignment(poses, body, round(landing.events.first_touchdown * rate)),
        contact=contact,
        loads=loads,
        centre=mass_centre(poses, markers, body),
        balance=balance,
        settings=settings,
        upper=None if landing.upper is None else loads_from_above(poses, markers, body, angles, after, flesh),
    )
    return together, filtered


def _borne(
    pouring: _Pouring, which: slice, settings: Settings, drawn: dict[str, Array]
) -> tuple[Contact, FilteredForces]:
    """What the feet bear under the draws `which`, and its low-passes; drawn : markers before any filter."""
    landing, inputs = pouring.landing, pouring.inputs
    plates = inputs.plates.drawn(which)
    contact = _contact(landing, plates, settings.fixed_cutoff)
    filtered = scaled_forces(landing.contact, settings, plates.gain)
    if pouring.board is None:
        return contact, filtered
    change = pouring.board.change(plates, drawn)
    cutoff, step = settings.plate_cutoff(contact.fast_rate), landing.recording.samples_per_frame
    return change.of_contact(contact, cutoff, step), change.of_filtered(filtered, contact, settings)


def _by_events(together: Landing, filtered: FilteredForces, weight: Array) -> Iterator[tuple[Indices, Landing]]:
    """The drawn landings with their events, those of one kind with the same feet at once, with their numbers from the
    first; weight : (D,) factor of the body weight on the plates."""
    pelvis = together.poses.place(together.body, "hip_mid")[1]
    weights, threshold = weight * together.weight, together.settings.contact_threshold
    borne = forces_borne(together.contact, filtered, weights, threshold)
    events = [_events_of(together, pelvis, borne[d], d, each) for d, each in enumerate(weights.tolist())]
    kinds = [(each.kind, *each.sides) for each in events]
    for kind in dict.fromkeys(kinds):
        numbers = np.array([d for d, other in enumerate(kinds) if other == kind])
        which = slice(None) if numbers.size == len(kinds) else numbers
        own = tuple(events[d] for d in numbers)
        drawn = DrawnEvents(own, weight[which] * together.weight, weight[which] * together.weight_on_plates)
        yield numbers, replace(_some(together, which), events=own[0], drawn=drawn, _filtered=[filtered.drawn(which)])


def _events_of(together: Landing, pelvis: Array, borne: Borne, d: int, weight: float) -> LandingEvents:
    """Of one draw; pelvis : (D, F) [m] height of the middle of the hips;  weight : [N]."""
    contact, angles, rate = together.contact.drawn(d), together.angles.drawn(d), together.poses.rate
    settings, name = together.settings, together.recording.name
    if np.isfinite(contact.total).any():
        return events_seen(contact, borne, Seen(pelvis[d], angles, rate), weight, settings, name)
    return find_events(contact, together.poses.drawn(d), together.body.drawn(d), angles, weight, settings, name)


def _some(together: Landing, which: Which) -> Landing:
    """Some of the drawn landings."""
    if isinstance(which, slice):
        return together
    return replace(
        together,
        body=together.body.drawn(which),
        poses=together.poses.drawn(which),
        angles=together.angles.drawn(which),
        alignment=together.alignment.drawn(which),
        contact=together.contact.drawn(which),
        loads=together.loads.drawn(which),
        centre=replace(together.centre, position=together.centre.position[:, which]),
        upper=None if together.upper is None else together.upper.drawn(which),
    )


def _with_factor(settings: Settings, factor: float, rate: float, fast_rate: float) -> Settings:
    """The settings with both cut-offs multiplied, each kept below half its rate."""
    if factor == 1.0:
        return settings
    slow, fast = settings.cutoff, settings.impact_cutoff
    return replace(
        settings,
        cutoff=slow if slow is None or settings.smoothing == "balanced" else min(factor * slow, HIGHEST_CUTOFF * rate),
        impact_cutoff=None if fast is None else min(factor * fast, HIGHEST_CUTOFF * fast_rate),
    )


def _contact(landing: Landing, plates: PlateErrors, cutoff: float | None) -> Contact:
    """The wrenches under the draws, on the feet that bear them; a wrench that is lost stays so."""
    contact = landing.contact
    force, moment = plates.disturbed(*_at_cutoff(landing, cutoff))
    fast_force, fast_moment = plates.disturbed(contact.fast_force, contact.fast_moment)
    total = contact.total + np.einsum("sd,sn->dn", plates.gain - 1.0, np.nan_to_num(contact.fast_force[1]))
    return replace(contact, force=force, moment=moment, fast_force=fast_force, fast_moment=fast_moment, total=total)


def _unstopped(contact: Contact) -> tuple[Array, Array]:
    """Force and moment that the joints bear: NaN where the verdict on the recording stops moments, too."""
    force, moment = contact.force.copy(), contact.moment.copy()
    for gone in contact.lost:
        side = SIDES.index(gone.side)
        force[:, side, :, gone.start : gone.stop] = moment[:, side, :, gone.start : gone.stop] = np.nan
    return force, moment


def _at_cutoff(landing: Landing, cutoff: float | None) -> tuple[Array, Array]:
    """Force and moment (3, 2, F) as analysed, and what another cut-off changes of them."""
    contact, analysed, step = landing.contact, landing.settings.cutoff, landing.recording.samples_per_frame
    pairs = ((contact.force, contact.fast_force), (contact.moment, contact.fast_moment))
    if cutoff is None or cutoff == analysed:
        return contact.force, contact.moment

    def changed(slow: Array, fast: Array) -> Array:
        new, old = (zero_lag_lowpass(fast, f, contact.fast_rate) for f in (cutoff, analysed))
        return np.asarray(slow + np.nan_to_num(new - old)[..., ::step][..., : slow.shape[-1]])

    return changed(*pairs[0]), changed(*pairs[1])
