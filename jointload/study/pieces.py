"""What the dose of one rider's foot is summed from: recorded landings, each standing for some of the rider's."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from jointload.intake.recording import Array
from jointload.modeldata import load_model
from jointload.study.exposures import DrawnExposures, Exposure
from jointload.study.heights import HeightLaw
from jointload.study.scatter import Scatter

if TYPE_CHECKING:
    import pandas

ENDS = (0.025, 0.975)


@dataclass(frozen=True, eq=False)
class Pieces:
    """What the dose of one rider's foot is summed from, (P,) each: one measured load standing for some landings.

    load, low, high : over the reference;  landings : for which it stands;  exposure : its row
    measured : which recorded landing it is of, as one may stand for several rows;  scatter : of such landings
    unmatched : landings of each exposure row without a load, modelled : of those with a load from other heights
    note : why
    drawn : what the exposure rows may have been, None where they are sure
    """

    load: Array
    low: Array
    high: Array
    landings: Array
    exposure: Array
    measured: Array
    scatter: Scatter
    style: tuple[str, ...]
    rows: tuple[Exposure, ...]
    unmatched: Array
    modelled: Array
    note: str
    drawn: DrawnExposures | None

    @classmethod
    def of(
        cls,
        own: pandas.DataFrame,
        rows: Sequence[Exposure],
        reference: float,
        scaled: bool,
        drawn: DrawnExposures | None,
        law: Callable[[], HeightLaw | None],
        scatter: Scatter,
    ) -> Pieces:
        known = own[np.isfinite(own["value"]) & np.isfinite(own["height"])]
        parts: list[tuple[float, float, float, float, int, str, int]] = []
        unmatched, modelled, told = np.zeros(len(rows)), np.zeros(len(rows)), ""
        for k, row in enumerate(rows):
            fitting = known[(known["height"] >= row.from_m) & (known["height"] < row.to_m)]
            if fitting.empty and not known.empty:
                fitting, told = _from_other_heights(known, row, scaled, law())
                modelled[k] = 0.0 if fitting.empty else row.landings
            if fitting.empty:
                unmatched[k] = row.landings
                continue
            for index, *values, style in fitting[["value", "low", "high", "style"]].itertuples():
                ends = [v / reference for v in values]
                parts.append((ends[0], ends[1], ends[2], row.landings / len(fitting), k, style, index))
        columns = list(zip(*parts, strict=True)) if parts else [()] * 7
        load, low, high, landings = (np.array(column, dtype=float) for column in columns[:4])
        note = "; ".join(filter(None, (_modelled_note(rows, modelled, told), _unmatched_note(own, rows, unmatched))))
        exposure, measured = (np.array(columns[k], dtype=int) for k in (4, 6))
        return cls(
            load, low, high, landings, exposure, measured, scatter, tuple(columns[5]), tuple(rows), unmatched,
            modelled, note, drawn,
        )  # fmt: skip

    def dose(self, exponent: float, which: str = "load") -> Array:
        """(P,) parts of the dose at the likeliest load, or at its 'low' or 'high'."""
        return self.landings * np.asarray(getattr(self, which)) ** exponent

    def by_chance(self, exponent: float) -> float:
        """Half the 95 % interval of the logarithm of the dose, as other landings would have told it."""
        _, of = np.unique(self.measured, return_inverse=True)
        return exponent * self.scatter.half(np.bincount(of, self.dose(exponent)).astype(float))

    def ends(self, exponent: float, which: str = "load") -> tuple[float, float]:
        """Of the dose at loads of a kind: 95 % of what the exposures may have been, the dose itself where they are
        sure."""
        low, high = _ends(self._sums(self.dose(exponent, which), exponent))
        return low, high

    def share(self, exponent: float, chosen: Array) -> tuple[float, float, float]:
        """Of chosen pieces in the dose: likeliest, low and high over loads and exposures; NaN ends where unknown."""
        ends = []
        for which in ("load", "low", "high"):
            parts = self.dose(exponent, which)
            whole, part = self._sums(parts, exponent), self._sums(np.where(chosen, parts, 0.0), exponent)
            shares = part / np.where(whole == 0, np.nan, whole)
            ends += _ends(shares)
        low, high = (min(ends), max(ends)) if np.isfinite(ends).all() else (np.nan, np.nan)
        return _part(self.dose(exponent), chosen), low, high

    def _sums(self, parts: Array, exponent: float) -> Array:
        """(D,) sums of parts (P,) over what the exposures may have been, (1,) where they are sure; a height's load goes
        by the law of heights."""
        if self.drawn is None:
            return np.array([parts.sum()])
        power = exponent * load_model("tissue", "dose").content["height_law"]["exponent"]
        of_row = np.bincount(self.exposure, parts, len(self.rows))
        return np.asarray((self.drawn.landings * self.drawn.height**power) @ of_row)


def _ends(drawn: Array) -> list[float]:
    """The middle 95 % of draws (D,); the one number itself where all is sure."""
    return (np.quantile(drawn, ENDS) if drawn.size > 1 else np.repeat(drawn, 2)).tolist()


def _from_other_heights(
    known: pandas.DataFrame, row: Exposure, scaled: bool, law: HeightLaw | None
) -> tuple[pandas.DataFrame, str]:
    """This rider's landings as they would be from the middle of the row's heights, none where that is not known; how.

    By the law every landing keeps how far it lies from the rider's mean at its own height, and its interval takes that
    of the law in: neither knows of the other. By the square root the interval stays as it is.
    """
    middle = 0.5 * (row.from_m + row.to_m)
    loads = known[(known["value"] > 0) & (known["height"] > 0)]
    if law is not None and not loads.empty and law.reaches(middle):
        rider = str(loads["rider"].iloc[0])
        there, half = law.predicted(rider, middle)
        means = {height: law.predicted(rider, height)[0] for height in set(loads["height"])}
        factor = np.exp(there - loads["height"].map(means).to_numpy(dtype=float))
        value, low, high = (factor * loads[name].to_numpy(dtype=float) for name in ("value", "low", "high"))
        low, high = with_doubt(value, low, high, half)
        words = f"how the landings of {law.riders} riders change with height ({law.low:.2g} to {law.high:.2g} m)"
        return loads.assign(value=value, low=low, high=high), words
    if not scaled:
        return known.iloc[:0], ""
    nearest = known["height"].iloc[int(np.argmin(np.abs(known["height"] - middle)))]
    power = load_model("tissue", "dose").content["height_law"]["exponent"]
    fitting, ratio = known[known["height"] == nearest], float((middle / nearest) ** power)
    words = "the nearest recorded height, by the square root of the heights' ratio"
    return fitting.assign(**{name: ratio * fitting[name] for name in ("value", "low", "high")}), words


def with_doubt(value: Array | float, low: Array | float, high: Array | float, half: float) -> tuple[Array, Array]:
    """Ends with `half` an interval of the logarithm joined to what they had, as neither knows of the other."""
    with np.errstate(divide="ignore", invalid="ignore"):
        down, up = (np.exp(np.hypot(np.log(np.divide(a, b)), half)) for a, b in ((value, low), (high, value)))
    return np.asarray(value / down), np.asarray(value * up)


def _modelled_note(rows: Sequence[Exposure], modelled: Array, told: str) -> str:
    share = float(modelled.sum()) / sum(row.landings for row in rows)
    return f"{100 * share:.0f} % of the landings are from heights not recorded: taken from {told}" if share else ""


def _unmatched_note(own: pandas.DataFrame, rows: Sequence[Exposure], unmatched: Array) -> str:
    lost = float(unmatched.sum())
    if not lost:
        return ""
    total = sum(row.landings for row in rows)
    heights = ", ".join(
        dict.fromkeys(f"{r.from_m:g} to {r.to_m:g} m" for r, n in zip(rows, unmatched, strict=True) if n)
    )
    unknown = own[own["value"].isna()]
    fitting = [
        note
        for height, note in unknown[["height", "note"]].itertuples(index=False)
        if any(n and r.from_m <= height < r.to_m for r, n in zip(rows, unmatched, strict=True))
    ]
    text = f"{100 * lost / total:.0f} % of the landings ({heights}) have no known load"
    return text + (f": {fitting[0]}" if fitting else ": none was recorded from there")


def _part(dose: Array, chosen: Array) -> float:
    """The share of the chosen landings in a dose; NaN of a dose that is nothing, as where no toe pushes."""
    whole = float(dose.sum())
    return float(dose[chosen].sum()) / whole if whole else np.nan
