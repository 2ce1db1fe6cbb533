"""Every choice of an analysis in one frozen record; it is written to run.json as it stands."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Literal, get_args

from jointload.errors import SettingError, expected_found

LandingEnd = Literal["lowest_pelvis", "peak_knee_flexion", "peak_force", "fixed_100ms"]
Smoothing = Literal["balanced", "fixed", "after"]
AngleZero = Literal["anatomical", "standing"]
MomentFrame = Literal["joint", "proximal", "distal", "lab"]


_CUTOFF = 20.0


@dataclass(frozen=True)
class Settings:
    """Cut-offs [Hz] (None: no filter), contact_threshold [N], longest_gap [s]; names of the models and definitions
    used."""

    cutoff: float | None = _CUTOFF
    """Zero-lag low-pass of 'fixed' and 'after' smoothing, of markers AND plate wrenches: a mismatch makes false impact
    moments (Bisseling & Hof 2006 J Biomech 39:2438)."""
    impact_cutoff: float | None = 100.0
    """Low-pass of the plate force at its own rate for force peaks and loading rates (choice)."""
    smoothing: Smoothing = "balanced"
    """'fixed' filters markers and plates with the cut-off; 'after' computes the dynamics on raw data and smooths the
    joint loads with it (Edwards et al. 2011 Gait Posture); 'balanced' follows the markers as quickly as the plates say
    and lays what they feel beside on swinging flesh."""
    contact_threshold: float = 20.0
    landing: int = 1
    """Which of the landings that follow a flight."""
    landing_end: LandingEnd = "lowest_pelvis"
    angle_zero: AngleZero = "anatomical"
    moment_frame: MomentFrame = "joint"
    """Besides the joint coordinate system, the axes in which series.csv gives net joint moments."""
    longest_gap: float = 0.1
    body: str = "lower_body"
    hip_centre: str = "harrington_2007"
    inertia: str = "de_leva_1996"

    def __post_init__(self) -> None:
        for name, low, high, unit in (
            ("cutoff", 1, 500, "Hz"),
            ("impact_cutoff", 5, 2000, "Hz"),
            ("contact_threshold", 1, 500, "N"),
            ("longest_gap", 0, 1, "s"),
            ("landing", 1, 99, "as a number"),
        ):
            value = getattr(self, name)
            if value is not None and not low <= value <= high:
                raise SettingError(
                    expected_found(
                        f"setting {name}", f"{low} to {high} {unit}", value, "the settings", "choose a value inside"
                    )
                )
        if self.smoothing == "balanced" and self.cutoff != _CUTOFF:
            given = "none" if self.cutoff is None else f"{self.cutoff:g} Hz"
            advice = "choose --smoothing fixed or after, or leave --cutoff out"
            raise SettingError(expected_found("cut-off", "none with balanced smoothing", given, "the settings", advice))
        for name, choices in (
            ("smoothing", Smoothing),
            ("landing_end", LandingEnd),
            ("angle_zero", AngleZero),
            ("moment_frame", MomentFrame),
        ):
            if getattr(self, name) not in get_args(choices):
                raise SettingError(
                    expected_found(
                        f"setting {name}",
                        " or ".join(get_args(choices)),
                        repr(getattr(self, name)),
                        "the settings",
                        "choose one",
                    )
                )

    @property
    def fixed_cutoff(self) -> float | None:
        """Of markers and plates [Hz] before the dynamics, where it is fixed."""
        return self.cutoff if self.smoothing == "fixed" else None

    def peak_cutoff(self, rate: float) -> float | None:
        """Of force peaks, and of a board's markers, kept below half the rate [Hz] at which they are sampled."""
        return None if self.impact_cutoff is None else min(self.impact_cutoff, 0.45 * rate)

    def plate_cutoff(self, rate: float) -> float | None:
        """Of the wrenches for the dynamics: that of the markers where it is fixed, that of force peaks where the motion
        is balanced with them."""
        return self.peak_cutoff(rate) if self.smoothing == "balanced" else self.fixed_cutoff

    def as_dict(self) -> dict[str, object]:
        return {f.name: getattr(self, f.name) for f in fields(self)}
