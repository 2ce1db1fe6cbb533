"""What one synthetic landing is to be like, and the made-up response to a wedge."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from jointload.errors import SettingError, expected_found
from jointload.intake.rider import Rider
from jointload.synthetic.standing import TYPICAL, Noise

Style = Literal["soft", "stiff"]
LIMITS = {
    "drop": (0.1, 1.5, "m"),
    "peak": (2.5, 9.0, "body weights"),
    "back_share": (0.35, 0.65, "of the load"),
    "approach": (0.0, 1.2, "m/s"),
    "stance": (0.2, 0.8, "m"),
    "knee_dip": (-0.3, 0.6, "rad"),
    "wedge": (-0.2, 0.2, "rad"),
    "delay": (0.0, 0.02, "s"),
}
"""Values from which the model still makes a landing."""


@dataclass(frozen=True)
class LandingSpec:
    """One landing in numbers; the rider's stance names the back foot, which touches down first.

    drop : height of fall [m];  peak : of the vertical force [body weights], within 5 %
    back_share : part of the load that the back foot takes
    approach : forward speed [m/s];  stance : distance between the middles of the soles [m]
    knee_dip : turn of the knees' planes towards each other in the crouch [rad]
    style, posture : how the body is held and takes the load; without a posture that of the style
    wedge : heel wedge under both feet [rad], positive medial; WedgeLaw says what it does to the motion
    delay : front foot after back foot [s];  flight : longest recorded time of flight [s]
    settling : recorded time after touch-down [s];  marker_rate, force_rate [Hz]
    """

    rider: Rider
    drop: float = 0.45
    peak: float = 5.0
    back_share: float = 0.55
    approach: float = 0.5
    stance: float = 0.44
    knee_dip: float = 0.0
    style: Style = "soft"
    posture: Posture | None = None
    wedge: float = 0.0
    delay: float = 0.008
    flight: float = 0.28
    settling: float = 0.85
    marker_rate: float = 250.0
    force_rate: float = 1000.0
    noise: Noise = TYPICAL
    seed: int = 0
    name: str = "landing"

    @property
    def held(self) -> Posture:
        return self.posture or POSTURES[self.style]

    def __post_init__(self) -> None:
        for key, (low, high, unit) in LIMITS.items():
            if not low <= getattr(self, key) <= high:
                found = getattr(self, key)
                text = expected_found(
                    f"landing {key}", f"{low} to {high} {unit}", found, self.name, "choose one inside"
                )
                raise SettingError(text)
        if self.force_rate % self.marker_rate:
            whole = f"a multiple of {self.marker_rate:g} Hz"
            raise SettingError(expected_found("force rate", whole, self.force_rate, self.name, "choose one"))


@dataclass(frozen=True)
class WedgeLaw:
    """Made-up response to a medial heel wedge, per rad of wedge: for the sample, no finding about people.

    roll : of the foot on the floor towards inversion [1];  turn : of the shank outward [1]
    shift : of the centre of pressure medially [m/rad]
    """

    roll: float = 0.5
    turn: float = 0.15
    shift: float = 0.040


WEDGE_LAW = WedgeLaw()


@dataclass(frozen=True)
class Posture:
    """How the body is held, and how it takes the load.

    leg : hip-ankle distance at touch-down as a share of the straight leg
    lean, tilt : of trunk and pelvis forward at touch-down [rad], and their change into the crouch
    rise : out of the crouch [m]
    first_share, first_length : height of the first force bump as a share of the peak, and how long it lasts [s]
    ball_stop, ankle_stop : time [s] from touch-down until the ball of the foot rests, and until the ankle does
    toward_toes : place [m] of the first contact before the middle of the sole
    """

    leg: float
    lean: float
    lean_change: float
    tilt: float
    tilt_change: float
    rise: float
    first_share: float
    first_length: float = 0.085
    ball_stop: float = 0.027
    ankle_stop: float = 0.060
    toward_toes: float = 0.06


POSTURES = {
    "soft": Posture(leg=0.965, lean=0.25, lean_change=0.18, tilt=0.10, tilt_change=0.18, rise=0.10, first_share=0.55),
    "stiff": Posture(leg=0.975, lean=0.18, lean_change=0.12, tilt=0.06, tilt_change=0.10, rise=0.04, first_share=0.50),
}
