"""Strain over years: what a rider's landings add up to, tissue by tissue, under several exponents.

dose = sum over landings of (load / reference) ^ m,  in landings of the study's mean load. Which m holds in a living
person is not known, so that every answer is given for several. Edwards WB (2018) Exerc Sport Sci Rev 46:224; Miller RH,
Krupenevich RL (2020) PeerJ 8:e9676.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache, lru_cache, partial
from itertools import product
from typing import TYPE_CHECKING, Any

import numpy as np

from jointload.intake.recording import Array
from jointload.modeldata import load_model
from jointload.study.exposures import Exposure, drawn_exposures
from jointload.study.heights import HeightLaw, height_law
from jointload.study.pieces import Pieces, with_doubt
from jointload.study.scatter import Scatter, landing_scatter

if TYPE_CHECKING:
    import pandas

Row = dict[str, Any]
Compared = tuple[str, Array, Array]
"""A change in words, and the logarithms (T,) of the loads of landings before and after it."""
BASES = {"impulse": "BW s", "peak": "BW"}
"""What of a landing's load is summed, and its unit."""
FEET = ("right", "left", "")
"""Sides of a load; none where it is of the whole body."""
SOFT, STIFF = "soft", "stiff"
BY_DEFINITION = "by definition"
"""Note of a saving that follows from the exponent alone."""
UNLOADED = "no recorded landing loads it: there is no mean load to count by"
"""Note of a dose that is not known although its loads are."""
FEWER = 0.5
"""Share of the landings of a rider's highest class that 'fewer hard landings' leaves out (choice)."""
LIGHTER = 0.04
"""How much lighter each landing is in the change that shows what the exponent alone does (choice)."""


@dataclass(frozen=True)
class Tissue:
    """One tissue of models/tissue/dose.toml; its exponent lies between exponent_low and exponent_high.

    foot : 'back' or 'front' where it is of one foot alone, '' for the mean of both feet or the body
    """

    name: str
    title: str
    impulse: str
    peak: str
    exponent: float
    exponent_low: float
    exponent_high: float
    basis: str
    source: str
    foot: str = ""

    @property
    def exponents(self) -> dict[str, float]:
        """Kind -> exponent: linear, squared, fourth, published, and the highest that sources allow."""
        usual = load_model("tissue", "dose").content["exponents"]
        return {key: usual[key] for key in ("linear", "squared", "fourth")} | {
            "published": self.exponent,
            "highest": self.exponent_high,
        }


@dataclass(frozen=True, eq=False)
class Dose:
    """Tables of a dose, one row each; value, low and high, and a note where a number is not known.

    Each foot stands for itself, as the worse one wears; side is '' for the disc.
    doses : rider, tissue, side, kind, exponent, basis, reference [unit], unit, landings, known_landings,
    modelled_landings, dose, low, high, load_low, load_high, exposure_low, exposure_high, note; dose in landings of the
    reference load, which is the mean of the study's usual landings and feet; load_ and exposure_: the ends if all else
    were sure; modelled: from heights that this rider's landings were not recorded from, among the known
    shares : rider, tissue, side, kind, exponent, by ('activity' or 'style'), name, share, low, high, note
    savings : rider, tissue, side, kind, exponent, change, saving, low, high, note
    draws : of markers, joint centres and plates behind the loads' intervals
    repeated : degrees of freedom, the fewest of any load, of how a rider's landings differ; 0 where none was repeated
    """

    doses: tuple[Row, ...]
    shares: tuple[Row, ...]
    savings: tuple[Row, ...]
    exposures: tuple[Exposure, ...]
    baseline: str
    scaled: bool
    draws: int = 0
    repeated: int = 0


@lru_cache(maxsize=1)
def tissues() -> dict[str, Tissue]:
    """Every tissue by name."""
    rows = load_model("tissue", "dose").content["tissue"]
    return {name: Tissue(name, **row) for name, row in rows.items()}


def landing_loads(metrics: pandas.DataFrame) -> pandas.DataFrame:
    """One row a landing, tissue, foot and basis: trial, rider, condition, height [m], style, tissue, foot, basis,
    value, low, high, from a study's joined numbers.

    style : soft or stiff by the largest knee flexion, mean of both legs
    """
    import pandas as pd

    table = metrics.assign(**{name: pd.to_numeric(metrics[name], errors="coerce") for name in ("value", "low", "high")})
    height = table[table["quantity"] == "drop_height"].set_index("trial")["value"]
    flexion = table[table["quantity"] == "knee_flexion_peak"].groupby("trial")["value"].mean()
    cut = load_model("tissue", "dose").content["style"]["cut"]
    parts = []
    for tissue in tissues().values():
        for basis in BASES:
            part = table[table["quantity"] == getattr(tissue, basis)]
            part = part[part["foot"] == tissue.foot] if tissue.foot else part
            parts.append(part.assign(tissue=tissue.name, basis=basis))
    out = pd.concat(parts, ignore_index=True)
    out["height"] = out["trial"].map(height)
    bent = out["trial"].map(flexion)
    out["style"] = np.where(bent.isna(), "", np.where(bent >= cut, SOFT, STIFF))
    columns = ["trial", "rider", "condition", "height", "style", "tissue", "side", "basis", "value", "low", "high"]
    return out[[*columns, "note"]]


def strain_dose(metrics: pandas.DataFrame, exposures: Sequence[Exposure], baseline: str, scaled: bool = False) -> Dose:
    """Dose, shares and savings of every rider of the exposure table.

    metrics : a study's joined numbers;  baseline : the condition that stands for the rider's usual landings
    A height without a measured landing takes the rider's load from how all riders' landings change with height, where
    three of them or more were recorded from several.  scaled : where they were not, it takes the rider's nearest
    landing, load times the square root of the heights' ratio; without it such landings have no number
    """
    loads = landing_loads(metrics)
    usual = loads[loads["condition"] == baseline]
    of_kind, of_load = _parts(usual, "tissue", "basis"), _parts(usual, "tissue", "basis", "side")
    of_foot = _parts(loads, "rider", "tissue", "basis", "side")
    laws, scatters = _laws(of_load), _scatters(of_load, exposures)
    out: dict[str, list[Row]] = {"doses": [], "shares": [], "savings": []}
    freedom: list[int] = []
    for rider in dict.fromkeys(e.rider for e in exposures):
        rows = [e for e in exposures if e.rider == rider]
        drawn = drawn_exposures(rows)
        for tissue, basis in product(tissues().values(), BASES):
            reference = _reference(of_kind(tissue.name, basis))
            for side in [each for each in FEET if len(of_foot(rider, tissue.name, basis, each))] or ("",):
                own = of_foot(rider, tissue.name, basis, side)
                law, scatter = partial(laws, tissue.name, basis, side), scatters(tissue.name, basis, side)
                usual_ones = own[own["condition"] == baseline]
                pieces = Pieces.of(usual_ones, rows, reference, scaled, drawn, law, scatter)
                freedom += [scatter.freedom] * bool(pieces.load.size)
                compared = _compared(own, baseline) if basis == "impulse" else ()
                for kind, exponent in tissue.exponents.items():
                    key = {"rider": rider, "tissue": tissue.name, "side": side, "kind": kind, "exponent": exponent}
                    of_basis = {"basis": basis, "reference": reference, "unit": BASES[basis]}
                    out["doses"].append(_dose_row(key | of_basis, pieces, exponent))
                    if basis == "impulse":
                        out["shares"] += _share_rows(key, pieces, exponent)
                        out["savings"] += _saving_rows(key, pieces, compared, exponent)
    doses, shares, savings = (tuple(rows) for rows in out.values())
    return Dose(doses, shares, savings, tuple(exposures), baseline, scaled, repeated=min(freedom, default=0))


def _parts(loads: pandas.DataFrame, *by: str) -> Callable[..., pandas.DataFrame]:
    """The rows of each kind, by their columns `by`; parted once, which is quicker than to choose them when asked."""
    parts = dict(iter(loads.groupby(list(by), sort=False)))
    return lambda *kind: parts.get(kind, loads.iloc[:0])


def _laws(of_load: Callable[..., pandas.DataFrame]) -> Callable[[str, str, str], HeightLaw | None]:
    """How each load of the usual landings (tissue, basis, side) changes with height, found when first asked for."""

    @cache
    def law(tissue: str, basis: str, side: str) -> HeightLaw | None:
        return height_law(of_load(tissue, basis, side))

    return law


def _scatters(
    of_load: Callable[..., pandas.DataFrame], exposures: Sequence[Exposure]
) -> Callable[[str, str, str], Scatter]:
    """How each load of the usual landings (tissue, basis, side) scatters, found when first asked for."""

    @cache
    def scatter(tissue: str, basis: str, side: str) -> Scatter:
        return landing_scatter(of_load(tissue, basis, side), exposures)

    return scatter


def _reference(usual: pandas.DataFrame) -> float:
    """Mean load of the usual landings, NaN where none of them loads the tissue."""
    mean = float(usual["value"].mean())
    return mean if mean > 0 else float("nan")


def of_worse_feet(found: Dose) -> Dose:
    """The same with the worse foot alone of each rider and tissue: that of the larger dose by impulse under the
    tissue's own exponent; a known one before one that is not, with a note."""
    sizes: dict[tuple[str, str], list[tuple[float, str]]] = {}
    for row in found.doses:
        if (row["basis"], row["kind"]) == ("impulse", "published"):
            size = float(row["dose"]) if np.isfinite(row["dose"]) else -1.0
            sizes.setdefault((row["rider"], row["tissue"]), []).append((size, row["side"]))
    worse = {key: max(sides)[1] for key, sides in sizes.items()}

    def kept(rows: tuple[Row, ...]) -> tuple[Row, ...]:
        return tuple(row for row in rows if worse.get((row["rider"], row["tissue"])) == row["side"])

    def noted(row: Row) -> Row:
        lost = [side for size, side in sizes[row["rider"], row["tissue"]] if size < 0 and side != row["side"]]
        told = f"the {lost[0]} foot, which may be the worse one, is not known" if lost and row["dose"] >= 0 else ""
        return row | {"note": "; ".join(filter(None, (told, row["note"])))}

    doses = tuple(noted(row) for row in kept(found.doses))
    return replace(found, doses=doses, shares=kept(found.shares), savings=kept(found.savings))


def _dose_row(key: Row, pieces: Pieces, exponent: float) -> Row:
    total = sum(row.landings for row in pieces.rows)
    known = total - float(pieces.unmatched.sum())
    value, load_low, load_high, low, high, exposure_low, exposure_high = (np.nan,) * 7
    if known:
        value, load_low, load_high = (float(pieces.dose(exponent, which).sum()) for which in ("load", "low", "high"))
        exposure_low, exposure_high = pieces.ends(exponent)
        chance = pieces.by_chance(exponent)
        load_low, load_high = _wider(value, load_low, load_high, chance)
        low, high = _wider(value, pieces.ends(exponent, "low")[0], pieces.ends(exponent, "high")[1], chance)
    note = pieces.note
    if known and not np.isfinite([low, high]).all():
        why = "no interval: the study's numbers carry none" if np.isfinite(value) else UNLOADED
        note = "; ".join(filter(None, (note, why)))
    return key | {
        "landings": total, "known_landings": known, "modelled_landings": float(pieces.modelled.sum()),
        "dose": value, "low": low, "high": high,
        "load_low": load_low, "load_high": load_high, "exposure_low": exposure_low, "exposure_high": exposure_high,
        "note": note,
    }  # fmt: skip


def _wider(value: float, low: float, high: float, half: float) -> tuple[float, float]:
    """Ends around a dose with `half` an interval of its logarithm added, as neither knows of the other; those of an
    unknown dose, or of none, as they are."""
    if not (value > 0 and half > 0):
        return low, high
    wide_low, wide_high = with_doubt(value, low, high, half)
    return float(wide_low), float(wide_high)


def _share_rows(key: Row, pieces: Pieces, exponent: float) -> list[Row]:
    """Parts of the known dose; low and high over loads that all lie at an end, and over the exposures."""
    activities = np.array([pieces.rows[k].activity for k in pieces.exposure])
    out = []
    for by, names in (("activity", activities), ("style", np.array(pieces.style))):
        for name in sorted(set(names.tolist())):
            share, low, high = pieces.share(exponent, names == name)
            row = {"by": by, "name": name or "not known", "share": share, "low": low, "high": high}
            out.append(key | row | {"note": pieces.note})
    return out


# What one change would save ---------------------------------------------------------------------------------------


def saving_of_ratio(ratio: float | Array, exponent: float) -> Array:
    """Share of a dose that is saved when every load is `ratio` times what it was: 1 - ratio^m."""
    return 1.0 - np.asarray(ratio) ** exponent


def _compared(own: pandas.DataFrame, baseline: str) -> tuple[Compared, ...]:
    """Every kind of one foot's landings that has another in its place."""
    usual = own[own["condition"] == baseline]
    others = sorted(set(own["condition"]) - {baseline})
    pairs = [(f"{other} in place of {baseline}", usual, own[own["condition"] == other]) for other in others]
    stiff, soft = (usual[usual["style"] == style] for style in (STIFF, SOFT))
    pairs.append(("stiff landings as soft as this rider's soft ones", stiff, soft))
    return tuple((change, _log_loads(before), _log_loads(after)) for change, before, after in pairs)


def _saving_rows(key: Row, pieces: Pieces, compared: Sequence[Compared], exponent: float) -> list[Row]:
    lighter = f"each landing {100 * LIGHTER:.0f} % lighter"
    return [
        _exact(key, lighter, float(saving_of_ratio(1 - LIGHTER, exponent))),
        *(_measured(key, change, before, after, exponent) for change, before, after in compared),
        _fewer(key, pieces, exponent),
    ]


def _exact(key: Row, change: str, saving: float) -> Row:
    return key | {"change": change, "saving": saving, "low": saving, "high": saving, "note": BY_DEFINITION}


def _measured(key: Row, change: str, first: Array, second: Array, exponent: float) -> Row:
    """From the ratio of mean loads of two kinds of landings; the tissue's own numbers drop out of it."""
    row = key | {"change": change, "saving": np.nan, "low": np.nan, "high": np.nan}
    if not first.size or not second.size:
        return row | {"note": "this rider has no landing of the one or of the other kind with a known load"}
    ratio = second.mean() - first.mean()
    row["saving"] = float(saving_of_ratio(np.exp(ratio), exponent))
    if min(first.size, second.size) < 2:
        return row | {"note": "no interval: one landing of a kind cannot tell a change from chance; record several"}
    from scipy.stats import t

    parts = np.array([first.var(ddof=1) / first.size, second.var(ddof=1) / second.size])
    if not parts.any():
        return row | {"note": "no interval: the landings of a kind are alike"}
    freedom = parts.sum() ** 2 / (parts**2 / np.array([first.size - 1, second.size - 1])).sum()
    half = float(t.ppf(0.975, freedom) * np.sqrt(parts.sum()))
    row["low"], row["high"] = (float(saving_of_ratio(np.exp(ratio + sign * half), exponent)) for sign in (1, -1))
    return row | {"note": "95 % interval from the spread of the rider's own landings"}


def _log_loads(loads: pandas.DataFrame) -> Array:
    """(T,) logarithm of a foot's load of each landing in which it is known."""
    values = loads["value"].to_numpy(dtype=float)
    return np.asarray(np.log(values[np.isfinite(values) & (values > 0)]))


def _fewer(key: Row, pieces: Pieces, exponent: float) -> Row:
    """Some of the landings of the rider's highest class left out."""
    change = f"{100 * FEWER:.0f} % of the highest landings left out"
    highest = max(row.from_m for row in pieces.rows)
    chosen = np.array([pieces.rows[k].from_m == highest for k in pieces.exposure], dtype=bool)
    unknown = sum(n for row, n in zip(pieces.rows, pieces.unmatched, strict=True) if row.from_m == highest)
    row = key | {"change": change, "saving": np.nan, "low": np.nan, "high": np.nan}
    if unknown or not chosen.any():
        return row | {"note": f"landings from {highest:g} m and higher have no known load"}
    row["saving"], row["low"], row["high"] = (FEWER * each for each in pieces.share(exponent, chosen))
    only = "" if len({row.from_m for row in pieces.rows}) > 1 else "the rider's only class of heights"
    return row | {"note": "; ".join(filter(None, (only, pieces.note)))}
