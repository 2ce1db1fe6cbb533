"""What a dose says first: what holds under every exponent, and what the exponent decides."""

from __future__ import annotations

from typing import Any

from jointload.report.study_pages.dose_answers import best_change, largest_rider, largest_source
from jointload.study.strain_dose import BY_DEFINITION, Dose, tissues

KINDS = ("linear", "squared", "fourth", "published", "highest")


def doses(sizes: dict[str, tuple[float, ...]]) -> tuple[dict[str, Any], ...]:
    """Doses of the knee's cartilage by rider, one for each kind of exponent."""
    return tuple(
        {"rider": rider, "tissue": "knee_cartilage", "side": "left", "basis": "impulse", "kind": kind, "dose": dose}
        for rider, own in sizes.items()
        for kind, dose in zip(KINDS, own, strict=True)
    )


def made(**tables: Any) -> Dose:
    return Dose(**({"doses": (), "shares": (), "savings": ()} | tables), exposures=(), baseline="flat", scaled=False)


def test_whose_dose_is_largest_under_every_exponent_is_told_with_how_far() -> None:
    found = made(doses=doses({"a": (20.0, 30.0, 40.0, 50.0, 90.0), "b": (10.0,) * 5}))
    (told,) = largest_rider(found)
    title = tissues()["knee_cartilage"].title
    assert told == f"{title}: a (left foot) under every exponent, 2.0 to 9.0 times the next rider."


def test_where_the_exponent_decides_it_is_said_so() -> None:
    found = made(doses=doses({"a": (20.0, 20.0, 1.0, 1.0, 1.0), "b": (10.0,) * 5}))
    (told,) = largest_rider(found)
    assert "the exponent decides: a under exponent 1, exponent 2; b under exponent 4, the tissue's own exponent" in told


def test_one_known_rider_is_compared_with_nobody() -> None:
    assert largest_rider(made(doses=doses({"a": (20.0,) * 5, "b": (float("nan"),) * 5}))) == []


def test_the_activity_that_makes_most_and_one_that_does_not_lead_everywhere() -> None:
    def shares(rider: str, work: tuple[float, ...]) -> list[dict[str, Any]]:
        return [
            {"rider": rider, "by": "activity", "name": name, "share": share}
            for own in work
            for name, share in (("work", own), ("play", 1.0 - own))
        ]

    found = made(shares=tuple(shares("a", (0.6, 0.9)) + shares("b", (0.4, 0.9))))
    first, second = largest_source(found)
    assert first == "a: work makes 60 to 90 % of the dose, the most of every tissue under every exponent."
    assert second.startswith("b: no one activity leads everywhere; work makes 40 to 90 %")


def test_the_best_change_is_the_one_that_saves_where_it_saves_least() -> None:
    def saving(change: str, value: float, low: float, note: str = "") -> dict[str, Any]:
        return {"rider": "a", "change": change, "saving": value, "low": low, "note": note}

    rows = (
        saving("lighter", 0.9, 0.9, BY_DEFINITION), saving("fewer", 0.2, 0.1), saving("fewer", 0.3, 0.1),
        saving("softer", 0.1, float("nan")), saving("softer", 0.8, float("nan")),
    )  # fmt: skip
    assert best_change(made(savings=rows)) == [
        "a: fewer saves 20 to 30 % over all tissues and exponents.",
        "For everybody: lighter saves 90 %, by the exponent alone.",
    ]
    assert "cannot be told from chance" in best_change(made(savings=rows[3:]))[0]
