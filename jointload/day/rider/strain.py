"""Warm-up, rest and the count of hard landings: landings tire and can hurt. Common practice; the limits are the
laboratory's. A limit stops the plan, not the people."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from jointload.day.folder.settings import Limits

CAUTIONS = (
    "Landings tire and can hurt. Riders stop whenever they want to; who feels pain does not land again today.",
    "A research tool, not a medical device: who may land, and how often, qualified people decide.",
)


@dataclass(frozen=True)
class Landed:
    """One landing of a rider today: largest force of a foot [body weights], None where it is not known, and seconds on
    a clock that nobody sets back, None where it was recorded before this program was started."""

    force: float | None
    seconds: float | None


def strained(rider: str, landings: Sequence[Landed], limits: Limits, now: float) -> dict[str, Any]:
    """What the page says of one rider's landings today, in order; a landing whose force is not known counts as hard,
    for it may have been."""
    hard = sum(landing.force is None or landing.force >= limits.hard_above for landing in landings)
    stopped = limit_reached(len(landings), hard, limits)
    last = landings[-1].seconds if landings else None
    since = None if last is None else max(0.0, now - last)
    kind, text = _reminder(len(landings), since, limits)
    return {
        "rider": rider,
        "landings": len(landings),
        "hard": hard,
        "hard_above_bw": limits.hard_above,
        "limit": limits.landings,
        "hard_limit": limits.hard,
        "stopped": stopped,
        "kind": "limit" if stopped else kind,
        "reminder": stopped or text,
        "since_last_s": None if since is None else round(since),
    }


def limit_reached(landings: int, hard: int, limits: Limits) -> str:
    """Which limit of the laboratory is reached, in words; '' for none."""
    if limits.landings and landings >= limits.landings:
        return f"The laboratory's limit of {limits.landings} landings a day is reached."
    if limits.hard and hard >= limits.hard:
        return f"The laboratory's limit of {limits.hard} hard landings a day is reached."
    return ""


def _reminder(count: int, since: float | None, limits: Limits) -> tuple[str, str]:
    if not count:
        return ("warm_up", "Warm up before the first landing.") if limits.warm_up else ("", "")
    rest = 60.0 * limits.rest_minutes
    if limits.rest_after and count % limits.rest_after == 0 and (since is None or since < rest):
        return "rest", f"{count} landings: rest for {limits.rest_minutes:g} minutes, and ask whether anything hurts."
    return "", ""
