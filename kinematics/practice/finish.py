"""What the hob leaves on the flank: feed marks along the tooth, facets up and down it.

Feeds are mm per table turn along the work axis, heights micrometres. The formulas are for spur
work. On helical work they are a rough guide only: the hob crosses the tooth at an angle, and
cutter runout, deflection and wear add to every mark anyway.

Sources: own derivation from the chord of the hob's circle; the flank forms also stand in
tool makers' hobbing handbooks (from memory).
"""

from __future__ import annotations

import math

from handlead.kinematics.frame import arguments
from handlead.kinematics.gears.gear import helix_rad, whole_module, whole_pressure_angle

_UM = 1000


def root_mark_um(feed: float, hob_tip_diameter: float, helix_angle_deg: float = 0.0) -> float:
    """Depth of a feed mark at the root, radially, in micrometres: (f/cos β)² / (4·d_a0).

    A short chord stands for the arc. For spur work; a rough guide for helical.
    Raises `ValueError` for a feed that leaves uncut ridges between passes.

    >>> round(root_mark_um(3, 90), 3)
    25.0
    """
    chord = _chord(feed, hob_tip_diameter, helix_angle_deg)
    return _UM * chord * chord / (4 * hob_tip_diameter)


def flank_mark_um(
    feed: float, hob_tip_diameter: float, pressure_angle_n_deg: float = 20.0, helix_angle_deg: float = 0.0
) -> float:
    """Depth of a feed mark normal to the flank, in micrometres: the root's, times sin α_n.

    For spur work; a rough guide for helical. Raises `ValueError` as `root_mark_um`.
    """
    return root_mark_um(feed, hob_tip_diameter, helix_angle_deg) * _sine(pressure_angle_n_deg)


def largest_feed(
    mark_um: float, hob_tip_diameter: float, pressure_angle_n_deg: float = 20.0, helix_angle_deg: float = 0.0
) -> float:
    """Largest feed, in mm per table turn, whose mark on the flank stays within `mark_um` micrometres.

    f = cos β·√(4·d_a0·δ / sin α_n), and never as much as the hob's diameter. For spur work; a
    rough guide for helical.
    """
    mark = arguments.number("mark", mark_um, unit="micrometres", above=0) / _UM
    diameter = arguments.number("tip diameter of the hob", hob_tip_diameter, unit="mm", above=0)
    chord = math.sqrt(4 * diameter * mark / _sine(pressure_angle_n_deg))
    return math.cos(helix_rad(helix_angle_deg)) * min(chord, 0.999 * diameter)


def facet_um(
    module_n: float, teeth: int, starts: int, gashes: int, pressure_angle_n_deg: float = 20.0
) -> float:
    """Depth of a generating facet normal to the flank, at mid-flank, in micrometres.

    π²·k²·m_n·sin α_n / (4·z·i²) with i gashes: the sagitta of the involute between two cuts. It
    grows with the square of the starts. For spur work; a rough guide for helical. Where starts
    and teeth share a factor, each thread meets the same spaces again and again, and the errors
    between threads show as pitch errors: that isn't in this number.
    """
    m_n = whole_module(module_n)
    z = arguments.whole("teeth", teeth, at_least=1)
    k = arguments.whole("starts", starts, at_least=1)
    i = arguments.whole("gashes", gashes, at_least=1)
    return _UM * math.pi**2 * k * k * m_n * _sine(pressure_angle_n_deg) / (4 * z * i * i)


def _chord(feed: float, hob_tip_diameter: float, helix_angle_deg: float) -> float:
    """Distance along the tooth from a mark to the next, in mm."""
    diameter = arguments.number("tip diameter of the hob", hob_tip_diameter, unit="mm", above=0)
    chord = arguments.number("feed", feed, unit="mm", at_least=0) / math.cos(helix_rad(helix_angle_deg))
    if chord >= diameter:
        raise ValueError(
            f"feed is {float(feed):g} mm; with a hob of {diameter:g} mm it must be below "
            f"{diameter * math.cos(helix_rad(helix_angle_deg)):g} mm per table turn, or ridges stay uncut"
        )
    return chord


def _sine(pressure_angle_n_deg: float) -> float:
    return math.sin(math.radians(whole_pressure_angle(pressure_angle_n_deg)))
