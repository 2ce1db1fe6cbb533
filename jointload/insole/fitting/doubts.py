"""What a prediction assumes, and what leaves it in doubt."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from jointload.foot.layer_choice import MOSTLY
from jointload.insole.bed.bed import REASONS
from jointload.insole.calibration.personal import Known, Personal
from jointload.insole.fitting.published_ratio import published_response
from jointload.insole.limb.change import INTERVAL
from jointload.insole.limb.standing import Settled, Standing, stable_reasons
from jointload.insole.shape.asked import Case
from jointload.insole.shape.geometry import Wedge
from jointload.insole.shape.parts import ThinLayer
from jointload.insole.shape.shape import InsoleShape
from jointload.intake.recording import Finding
from jointload.landing.landed import Landing

RUNNING_CONTACT = 0.4
"""A step shorter than this [s] is taken as running, a longer one as walking (choice)."""
STIFF_FLOOR = 3.0
"""From this many body weights on the floor of the net roll stiffness decides, a choice without a source."""
MANY_UNSTABLE = 0.05
"""Share of poses without a stable place from where on it is told as a warning (choice)."""
QUICK = 0.1
"""A material pressed within less [s] was tested as quickly as a landing presses it (choice)."""
MOVED_PRESSURE = 0.25
"""Share of instants with a centre of pressure outside the sole from where on it is told (choice)."""


def task_of(landing: Landing, side: str) -> str:
    """'landing' after a flight; else 'running' or 'walking' by the length of the contact."""
    if landing.events.kind == "landing":
        return "landing"
    events = landing.events.sides[side]
    return "running" if events.takeoff - events.touchdown < RUNNING_CONTACT else "walking"


def assumptions(standing: Standing, case: Case) -> tuple[str, ...]:
    """What every answer of a what-if rests on, a sentence each."""
    return (
        "the measured vertical force stays; the foot settles anew on tissue, insole and midsole (models/insole_response"
        "/foundation.toml, with its spreads)",
        f"the baseline is a flat insole of {1000 * case.before.base:g} mm of the same material",
        *(("a base of the same thickness is under the other foot",) if isinstance(case.given, InsoleShape) else ()),
        f"the pressure before the change is {standing.baseline_text}",
        f"foot length {1000 * standing.place.length:.0f} mm by {standing.place.basis}",
        "the rolling foot carries the ankle sideways, the pelvis goes along by a share, and thigh and shank close "
        "between them; the other leg keeps its place",
        "a bent leg swings about the line from hip to ankle with its shank, the more the more it is bent; the knee "
        "goes outwards with the foot's inversion",
        "eversion turns the tibia inwards by the inclination of the subtalar axis; part of it turns the knee's plane, "
        "and the pelvis tilts with it",
        "a foot in a shoe is set before contact by most of what it will roll on average",
        "the force turns so that it stays aimed near the body's centre as its foot point moves",
        *(
            (
                "thin layers and cup act on heel and ball by the law of the heel's pad for impact (models/foot), and "
                "are under the other foot, too",
            )
            if case.after.thin or case.after.cup.height
            else ()
        ),
        "inertia is that of the measured motion; in the first 30 ms of an impact the answer is an upper bound",
        "a shift towards the toes or heel does not move the ankle forward or back",
        "one person's interval adds that person's own answers, of angles, centre of pressure and force line, by "
        "published spreads where there are any (models/insole_response/own_answers.csv); nothing without tilt or "
        "heel-to-toe drop",
        "a group's interval is that of the mean of 12 persons, with what published magnitudes were missed by",
    )


def doubts_of(
    landing: Landing,
    standing: Standing,
    settled: Settled,
    case: Case,
    task: str,
    known: Known | None = None,
    personal: Personal | None = None,
) -> tuple[Finding, ...]:
    """known : of this rider;  personal : its calibration where it speaks of this shape"""
    given, text = case.given, case.text
    drawn = (
        "the spread of other people, none measured on this rider"
        if personal is None
        else f"what {personal.landings} landings of this rider tell, and the spread of other people for the rest"
    )
    out = [
        Finding(
            "prediction",
            "warn",
            text,
            f"mechanics with {drawn}",
            "a trial of this rider on the shape decides; watch how the ankle rolls",
        ),
        Finding("lumbar_change", "pass", text, "not predicted", "measure it on the shape"),
    ]
    out += _personal_findings(known, personal, text)
    out += _load_findings(landing, standing, settled, text, task)
    if isinstance(given, Wedge) and given.angle:
        out.append(_ratio_finding(standing, settled, given, task))
        if given.length == "heel":
            out.append(
                Finding(
                    "contradicting_sign",
                    "warn",
                    "centre of pressure",
                    "published heel wedges moved it either way",
                    "the mechanics gives one sign; do not rely on it for a heel wedge",
                )
            )
    if isinstance(given, InsoleShape) and abs(given.length / standing.place.length - 1.0) > 0.1:
        lengths = f"{1000 * given.length:.0f} mm insole, {1000 * standing.place.length:.0f} mm foot"
        out.append(Finding("insole_length", "warn", text, lengths, "check the size of the insole or of the foot"))
    return tuple(out)


def layer_findings(shape: InsoleShape, bottomed: Iterable[tuple[ThinLayer, float]]) -> tuple[Finding, ...]:
    """Of each thin layer, whether it bottoms out and how its law was come by; of all, what they leave."""
    out = []
    for layer, share in bottomed:
        firm = share >= MOSTLY
        evidence = f"bottoms out in {100 * share:.0f} % of persons"
        advice = "choose a firmer material, or more height: `jointload layers` compares them" if firm else "none needed"
        out.append(Finding("layer_bottoms_out", "warn" if firm else "pass", str(layer), evidence, advice))
        tested = layer.material.basis == "measured"
        slow = "" if layer.material.loading_time < QUICK else "; measured slowly, or nobody knows how quickly"
        advice = "`jointload material` with tests at two speeds settles it"
        evidence = f"its law is {layer.material.basis}{slow}"
        out.append(Finding("layer_law", "pass" if tested and not slow else "warn", str(layer), evidence, advice))
    if shape.thin:
        advice = "do not take a layer for these; see what it spares heel and ball"
        out.append(Finding("layer_leaves", "pass", "ground force, joint moments", GROUND, advice))
    return tuple(out)


GROUND = (
    "midsoles of 0 to 16 mm changed neither the ground's peak nor its loading rate (Chambon 2014); of joint moments "
    "under thin layers nothing was published that moves them one way"
)


def _personal_findings(known: Known | None, personal: Personal | None, text: str) -> tuple[Finding, ...]:
    if personal is not None:
        return personal.findings
    if known is None or known.personal is None:
        return ()
    low, high = np.rad2deg(known.personal.tested)
    evidence = f"tilted beyond the measured shapes ({low:.1f} to {high:.1f} deg), or under the other foot"
    advice = "the spread of other people is given instead; nothing personal is claimed beyond what was measured"
    return (Finding("outside_measured_shapes", "warn", text, evidence, advice),)


def _load_findings(landing: Landing, standing: Standing, settled: Settled, text: str, task: str) -> list[Finding]:
    """What this landing's load leaves to doubt."""
    out = []
    peak = float(standing.load.force.max()) / landing.weight
    if peak > STIFF_FLOOR:
        out.append(
            Finding(
                "stiffness_floor",
                "warn",
                text,
                f"{peak:.1f} body weights on the foot; above {STIFF_FLOOR:g} a floor of the roll stiffness decides",
                "the floor is a choice without a source: read roll and moments at the peak as orders of magnitude",
            )
        )
    if standing.measured is not None:
        out.append(standing.measured.finding)
    elif landing.pressed is not None:
        foot = f"{standing.side} foot"
        evidence = "modelled: no pressure insole of this foot could be matched to the plates"
        advice = "see the findings of its clock and scale"
        out.append(Finding("baseline_pressure", "warn", foot, evidence, advice))
    if landing.split is not None and (shared := landing.split.split.frames[standing.frames]).any():
        out.append(_split_finding(standing.side, shared))
    if task == "landing":
        out.append(
            Finding(
                "landing_studies",
                "pass",
                "rearfoot and hip",
                "three published wedge studies of a landing with 7 to 10 women each: eversion 0.15 to 0.19 deg per "
                "deg, hip adduction -1.98 deg on 5 deg medial, rotation of the knee on 8 deg",
                "men, boards and moments in landing are not in them",
            )
        )
    if (share := settled.unstable_share) > 0:
        severity, words = (
            "warn" if share > MANY_UNSTABLE else "pass",
            "; ".join(REASONS[k] for k in stable_reasons(settled)),
        )
        out.append(
            Finding(
                "no_stable_pose",
                "warn" if severity == "warn" else "pass",
                text,
                f"{100 * share:.1f} % of the poses: {words}",
                "these are bridged from the instants before and after, or the draw is left out",
            )
        )
    if standing.pulled.mean() > MOVED_PRESSURE:
        out.append(
            Finding(
                "pressure_outside_sole",
                "warn",
                standing.side,
                f"at {standing.pulled.sum()} of {standing.pulled.size} instants the centre of pressure lies outside "
                f"a sole of {1000 * standing.place.length:.0f} mm",
                "it was taken to the sole's edge; check foot markers, foot length and plate corners",
            )
        )
    return out


def _split_finding(side: str, shared: NDArray[np.bool_]) -> Finding:
    """shared : (T,) instants in which both feet bear one plate"""
    return Finding(
        "likely_split",
        "warn",
        f"{side} foot",
        f"two feet share a plate at {shared.sum()} of {shared.size} instants: the wrench under this foot is a likely "
        "split, and no interval of the change holds that freedom",
        "read the change as that of one likely split, not as known this well; one plate a foot decides",
    )


def _ratio_finding(standing: Standing, settled: Settled, wedge: Wedge, task: str) -> Finding:
    """Whether the mechanics' rearfoot roll lies where published wedge studies saw it."""
    bears = standing.rearfoot_bears
    roll = (settled.changed.roll - settled.flat.roll)[settled.usable][:, bears] / wedge.angle
    weights = np.where(np.isfinite(roll), standing.load.force[bears], 0.0)
    roll = np.sum(np.nan_to_num(roll) * weights, axis=1) / np.maximum(np.sum(weights, axis=1), 1.0)
    published = published_response(wedge, task, 1000, 1).roll / wedge.angle
    low, high = np.quantile(published, INTERVAL)
    middle = float(np.median(roll))
    agrees = low <= middle <= high
    return Finding(
        "published_ratio",
        "pass" if agrees else "warn",
        "rearfoot roll",
        f"{middle:.2f} deg per deg of wedge by mechanics while the rearfoot bears; published ratios for {task} "
        f"{low:.2f} to {high:.2f}",
        "they agree" if agrees else "they do not agree: trust neither without a trial of this rider",
    )
