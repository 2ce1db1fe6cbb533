"""Landing styles: what riders do rather than what they bear, looked at together; a label only where the data hold one.

A style belongs to the task it was seen in: profiles found in one task were not found in another (DiCesare et al. (2020)
Med Sci Sports Exerc 52:1088, read as an abstract). A label always stands beside the continuous numbers it was cut from.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from jointload.intake.recording import Array

if TYPE_CHECKING:
    import pandas

LEAST_CELLS = 12
"""Fewer riders or styles are shown, but no clusters are looked for (choice)."""
MOST_CLUSTERS = 4
MAPPED = 2
"""Principal components in which clusters are looked for: those of the map that people see (choice)."""
NULL_DRAWS, BOOTSTRAPS = 199, 100
ALPHA = 0.05
STABLE = 0.75
"""Mean Jaccard similarity at which a cluster counts as stable (Hennig C (2007) Comput Stat Data Anal 52:258-271, from
memory)."""
TELLING = 0.5
"""A feature describes a cluster when its mean lies this many standard deviations from that of all (choice)."""


@dataclass(frozen=True)
class Feature:
    """One number of a style: its name, unit, what a low and a high value is in words."""

    name: str
    unit: str
    low: str
    high: str


FEATURES = (
    Feature("sole_angle_touchdown", "deg", "toes first", "heel first"),
    Feature("knee_flexion_touchdown", "deg", "straighter knees at touch-down", "knees more bent at touch-down"),
    Feature("knee_flexion_peak", "deg", "less knee flexion", "deeper knee flexion"),
    Feature("knee_flexion_range", "deg", "small knee range", "large knee range"),
    Feature("time_to_peak", "ms", "early force peak", "late force peak"),
    Feature("hip_to_ankle_work", "log ratio", "ankle absorbs more than the hip", "hip absorbs more than the ankle"),
    Feature("knee_to_others_work", "log ratio", "knee absorbs less of the work", "knee absorbs more of the work"),
    Feature("force_asymmetry_back_front", "1", "front foot loaded more", "back foot loaded more"),
    Feature("force_asymmetry_right_left", "1", "left foot loaded more", "right foot loaded more"),
    Feature("trunk_lean_forward_touchdown", "deg", "trunk upright", "trunk leaning forward"),
    Feature("trunk_lean_touchdown", "deg", "trunk leaning left", "trunk leaning right"),
)


@dataclass(frozen=True, eq=False)
class Styles:
    """The style of every cell: one rider under one noted style in one task, over all its landings.

    features : a row a cell, columns those of FEATURES that are known;  cells : rider, style and softness of each row
    scores (C, P) : principal components;  loadings (P, features);  explained (P,) : share of variance of each
    labels (C,) : cluster of each cell, None when the data hold none;  fits (C,) : silhouette of each cell
    """

    task: str
    cells: pandas.DataFrame
    features: pandas.DataFrame
    scores: Array
    loadings: Array
    explained: Array
    labels: Array | None
    fits: Array | None
    silhouette: float
    null_p: float
    stability: tuple[float, ...]
    words: tuple[str, ...]
    finding: str


def find_styles(numbers: pandas.DataFrame, task: str, seed: int = 1) -> Styles:
    """Look for styles among the landings of one task.

    numbers : columns rider, style, task, quantity, foot, value
    """
    table = feature_table(numbers[numbers["task"] == task])
    known = table.dropna(axis="columns", thresh=max(1, int(0.8 * len(table)))).dropna()
    known = known.loc[:, known.std(ddof=0) > 1e-9 * known.abs().max()] if len(known) else known
    cells = known.index.to_frame(index=False).assign(softness=_softness(numbers, task).reindex(known.index).to_numpy())
    if len(known) < 3 or known.shape[1] < 2:
        empty = np.zeros((len(known), 0))
        nothing = "too few riders with known features to lay them beside each other"
        return Styles(task, cells, known, empty, empty, np.zeros(0), None, None, np.nan, np.nan, (), (), nothing)
    standard = ((known - known.mean()) / known.std(ddof=0)).to_numpy(float)
    scores, loadings, explained = _components(standard)
    kept = scores[:, :MAPPED]
    if len(known) < LEAST_CELLS:
        finding = f"{len(known)} riders or styles: too few to look for clusters (at least {LEAST_CELLS})"
        return Styles(task, cells, known, scores, loadings, explained, None, None, np.nan, np.nan, (), (), finding)
    labels, silhouette = _best(kept)
    null_p = _null_p(kept, silhouette, seed)
    stability = _stability(kept, labels, cells["rider"].to_numpy(), seed)
    held = null_p < ALPHA and min(stability) >= STABLE
    words = tuple(_describe(standard[labels == k], known[labels == k]) for k in range(labels.max() + 1))
    return Styles(
        task=task,
        cells=cells,
        features=known,
        scores=scores,
        loadings=loadings,
        explained=explained,
        labels=labels if held else None,
        fits=_silhouettes(_apart(kept), labels) if held else None,
        silhouette=silhouette,
        null_p=null_p,
        stability=stability,
        words=words if held else (),
        finding=_finding(int(labels.max() + 1), silhouette, null_p, stability, held),
    )


def feature_table(numbers: pandas.DataFrame) -> pandas.DataFrame:
    """FEATURES of each rider and noted style: means over landings and feet; the index is rider, style."""
    means = numbers.pivot_table(index=["rider", "style"], columns="quantity", values="value", aggfunc="mean")
    if "knee_flexion_range" not in means and {"knee_flexion_peak", "knee_flexion_touchdown"} <= set(means):
        means["knee_flexion_range"] = means["knee_flexion_peak"] - means["knee_flexion_touchdown"]
    works = [f"{joint}_work_negative" for joint in ("hip", "knee", "ankle")]
    if set(works) <= set(means):
        # shares of one whole: only their ratios are free, and only logarithms of them add up
        hip, knee, ankle = (np.log(-means[name].where(means[name] < 0)) for name in works)
        means["hip_to_ankle_work"] = hip - ankle
        means["knee_to_others_work"] = knee - 0.5 * (hip + ankle)
    return means.reindex(columns=[feature.name for feature in FEATURES])


def _softness(numbers: pandas.DataFrame, task: str) -> pandas.Series:
    """The stiff to soft continuum of each rider and noted style, which stands beside any label."""
    mine = numbers[(numbers["task"] == task) & (numbers["quantity"] == "softness")]
    return mine.groupby(["rider", "style"])["value"].mean()


def _components(standard: Array) -> tuple[Array, Array, Array]:
    """Scores, loadings and shares of variance; each component's largest loading is positive."""
    from sklearn.decomposition import PCA

    model = PCA(svd_solver="full").fit(standard)
    signs = np.sign(model.components_[np.arange(len(model.components_)), np.abs(model.components_).argmax(axis=1)])
    return model.transform(standard) * signs, model.components_ * signs[:, None], model.explained_variance_ratio_


def _cuts(scores: Array, counts: Sequence[int]) -> list[Array]:
    """Ward's clusters in each of these numbers, numbered by the order in which they first appear."""
    from scipy.cluster.hierarchy import cut_tree, linkage

    return [_in_order(labels) for labels in cut_tree(linkage(scores, "ward"), list(counts)).T.tolist()]


def _in_order(labels: list[int]) -> Array:
    order = {label: k for k, label in enumerate(dict.fromkeys(labels))}
    return np.array([order[label] for label in labels])


def _best(scores: Array) -> tuple[Array, float]:
    """The number of clusters with the largest mean silhouette."""
    apart = _apart(scores)
    found = _cuts(scores, range(2, MOST_CLUSTERS + 1))
    values = [float(_silhouettes(apart, labels).mean()) for labels in found]
    best = int(np.argmax(values))
    return found[best], values[best]


def _apart(scores: Array) -> Array:
    from scipy.spatial.distance import pdist, squareform

    return np.asarray(squareform(pdist(scores)))


def _silhouettes(apart: Array, labels: Array) -> Array:
    """How much nearer each of N is to its own cluster than to the next, -1 to 1; 0 of one that is alone (Rousseeuw
    (1987) J Comput Appl Math 20:53-65).  apart : (N, N) distances"""
    mine = labels[:, None] == np.arange(labels.max() + 1)
    sizes = mine.sum(axis=0)
    sums = apart @ mine
    own = sums[mine] / np.maximum(sizes[labels] - 1, 1)
    other = np.where(mine, np.inf, sums / sizes).min(axis=1)
    larger = np.maximum(own, other)
    return np.where((sizes[labels] > 1) & (larger > 0), (other - own) / np.where(larger > 0, larger, 1.0), 0.0)


def _null_p(scores: Array, silhouette: float, seed: int) -> float:
    """How often one single Gaussian cloud of the same spread gives clusters as clear (in the manner of Liu et al.
    (2008) J Am Stat Assoc 103:1281-1293, from memory)."""
    rng = np.random.default_rng(seed)
    clouds = (rng.standard_normal(scores.shape) * scores.std(axis=0) for _ in range(NULL_DRAWS))
    as_clear = sum(_best(cloud)[1] >= silhouette for cloud in clouds)
    return (1 + as_clear) / (1 + NULL_DRAWS)


def _stability(scores: Array, labels: Array, riders: Array, seed: int) -> tuple[float, ...]:
    """Mean Jaccard similarity of each cluster with its likeness in studies of riders drawn anew."""
    rng = np.random.default_rng(seed)
    count = int(labels.max()) + 1
    places = {rider: np.flatnonzero(riders == rider) for rider in dict.fromkeys(riders.tolist())}
    names = list(places)
    found = []
    for _ in range(BOOTSTRAPS):
        rows = np.concatenate([places[names[k]] for k in rng.integers(len(names), size=len(names))])
        if len(rows) <= count:
            continue
        (again,) = _cuts(scores[rows], [count])
        seen = [set(rows[labels[rows] == k].tolist()) for k in range(count)]
        new = [set(rows[again == k].tolist()) for k in range(count)]
        found.append([max(len(old & one) / len(old | one) for one in new) if old else np.nan for old in seen])
    return tuple(float(value) for value in np.nanmean(np.array(found), axis=0))


def _describe(standard: Array, features: pandas.DataFrame) -> str:
    """The features that set a cluster apart, in words, the most telling first."""
    known = {feature.name: feature for feature in FEATURES}
    means = standard.mean(axis=0)
    parts = []
    for k in np.argsort(-np.abs(means)):
        if abs(means[k]) >= TELLING:
            feature = known[features.columns[k]]
            words = feature.high if means[k] > 0 else feature.low
            parts.append(f"{words} ({features.iloc[:, k].mean():.3g} {feature.unit})")
    return "; ".join(parts) or "near the middle of all riders"


def _finding(count: int, silhouette: float, null_p: float, stability: tuple[float, ...], held: bool) -> str:
    clear = f"mean silhouette {silhouette:.2f}, p {null_p:.3g} against one single cloud"
    stable = f"stability {', '.join(f'{value:.2f}' for value in stability)} (wanted {STABLE})"
    if held:
        return f"{count} clusters: {clear}; {stable}"
    return f"these data hold no clusters: the best cut, in {count}, has {clear}; {stable}. Riders differ by degrees"
