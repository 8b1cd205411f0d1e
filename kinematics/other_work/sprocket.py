"""Roller-chain sprockets: sizes to turn the blank to and to measure the tooth gaps by.

Source: ISO 606; diameters as in "Transmission sprocket or roller sprocket analysis", the least
tip diameter, seating radii and angles from memory. Lengths are mm, angles degrees.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from handlead.kinematics.frame import arguments


@dataclass(frozen=True)
class Sprocket:
    """A sprocket for roller chain: teeth, chain pitch, greatest roller diameter."""

    teeth: int
    pitch: float
    roller_diameter: float

    def __post_init__(self) -> None:
        arguments.whole("teeth", self.teeth, at_least=5)
        pitch = arguments.number("pitch", self.pitch, unit="mm", above=0)
        roller = arguments.number("roller diameter", self.roller_diameter, unit="mm", above=0, below=pitch)
        object.__setattr__(self, "pitch", pitch)
        object.__setattr__(self, "roller_diameter", roller)

    @property
    def pitch_diameter(self) -> float:
        """Diameter through the roller centres."""
        return pitch_diameter(self.teeth, self.pitch)

    @property
    def root_diameter(self) -> float:
        """Diameter at the bottom of the gaps."""
        return self.pitch_diameter - self.roller_diameter

    @property
    def tip_diameters(self) -> tuple[float, float]:
        """Least and greatest outside diameter of the blank."""
        least = self.pitch_diameter + self.pitch * (1 - 1.6 / self.teeth) - self.roller_diameter
        return least, self.pitch_diameter + 1.25 * self.pitch - self.roller_diameter

    @property
    def usual_tip_diameter(self) -> float:
        """Outside diameter of a blank whose drawing gives none: p·(0.6 + cot(180°/z)).

        Source: ASME B29.1 (from memory); kept between the two that ISO 606 allows.
        """
        least, greatest = self.tip_diameters
        return min(max(self.pitch * (0.6 + 1 / math.tan(math.pi / self.teeth)), least), greatest)

    @property
    def seating_radii(self) -> tuple[float, float]:
        """Least and greatest radius of the roller's seat."""
        least = 0.505 * self.roller_diameter
        return least, least + 0.069 * math.cbrt(self.roller_diameter)

def pitch_diameter(teeth: int, pitch: float) -> float:
    """Diameter in mm through the centres of rollers a chain pitch apart, whatever their size: p / sin(180°/z)."""
    return pitch / math.sin(math.pi / teeth)


def rolling_diameter(teeth: int, hob_pitch: float) -> float:
    """Diameter on which a hob of `hob_pitch` rolls, in mm: z·p_hob / π.

    The pitch is the hob's along its thread's normal, not the chain's: the chain lies on chords.
    """
    pitch = arguments.number("pitch of the hob", hob_pitch, unit="mm", above=0)
    return arguments.whole("teeth", teeth, at_least=1) * pitch / math.pi


def over_pins(sprocket: Sprocket, pin: float | None = None) -> float:
    """Size over two pins in opposite gaps or nearly so, in mm; pins of the roller's size if not given.

    From memory of ISO 606: d + d_R for an even count, d·cos(90°/z) + d_R for an odd one.
    """
    roller = sprocket.roller_diameter
    size = arguments.number("pin", roller if pin is None else pin, unit="mm", at_least=roller)
    # A thicker pin doesn't sit in the seat: its place depends on the flank's form, which isn't known here.
    if size > sprocket.roller_diameter * 1.01:
        raise ValueError(f"pin is {size:g} mm; take one of the roller's {sprocket.roller_diameter:g} mm")
    across = sprocket.pitch_diameter
    if sprocket.teeth % 2:
        across *= math.cos(math.pi / (2 * sprocket.teeth))
    return across + size
