"""What the blank is turned to, and how deep the hob goes into it: for every kind of work from one place.

The roots are where the hob's tips are at full depth, whatever the blank measures outside.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

from handlead.kinematics.gears.gear import ISO_53, Gear
from handlead.kinematics.other_work import spline
from handlead.kinematics.other_work.sprocket import Sprocket, rolling_diameter
from handlead.kinematics.other_work.wormwheel import Throat, usual_rim_diameter

from .requirement import HobData, Work, gear_of, gear_to_cut

#: A hob's and a worm's diameter this near to each other, relatively, are the same (own choice).
_SAME_WORM = 0.005

#: Face width in modules where the drawing gives none (common practice).
USUAL_FACE_WIDTH = 10

#: Keys that a drawing or a hob may leave out, and without which a size is only taken.
Wanting = Literal["roller_diameter", "outside_diameter", "addendum"]


@dataclass(frozen=True)
class Sizes:
    """The blank's outside diameter (a worm wheel's at the bottom of its throat) and that at the roots, in mm.

    `wanting` names what they really depend on and nobody gave: with any, these are sizes that were
    taken so that a blank can be drawn and simulated, not sizes to work to. `throat` is a throated worm wheel's hollow,
    `touch_before` how far off full depth the hob then first touches the blank, in mm: on the hollow's edges.
    """

    outside_diameter: float
    root_diameter: float
    wanting: tuple[Wanting, ...] = ()
    throat: Throat | None = None
    touch_before: float | None = None

    @property
    def depth(self) -> float:
        """Depth of the teeth in mm: of all but a throated wheel how far the hob goes in from where it just marks the
        blank; 0 or less: it never reaches it.
        """
        return (self.outside_diameter - self.root_diameter) / 2

    @property
    def from_touch(self) -> float:
        """How far the hob goes in from where it first touches the blank, in mm."""
        return self.depth if self.touch_before is None else self.touch_before

    @property
    def diameter_over_all(self) -> float:
        """Greatest diameter of the blank, in mm: over the rim of a throated wheel."""
        return self.throat.rim_diameter if self.throat else self.outside_diameter


def sizes_of(work: Work, hob: HobData) -> Sizes:
    """Sizes of the work's blank and of the roots that the hob leaves."""
    wanting = (*_wanting_root(work, hob), *_wanting_outside(work))
    throat, tip, centres = throat_of(work, hob), hob_tip_diameter(work, hob), centres_at_depth(work, hob)
    touch = throat.touch(tip / 2) - centres if throat and tip and centres else None
    return Sizes(outside_diameter(work), root_diameter(work, hob), wanting, throat, touch)


def throat_of(work: Work, hob: HobData) -> Throat | None:
    """As `drawn_throat`; None too where the drawing's sizes leave no hollow."""
    try:
        return drawn_throat(work, hob)
    except ValueError:
        return None


def drawn_throat(work: Work, hob: HobData) -> Throat | None:
    """The hollow of a throated worm wheel: as its drawing has it, or as it is usually turned.

    None for other work, a plain blank, and where neither drawing nor hob say how large the worm is. Raises
    `ValueError` for sizes that leave no hollow.
    """
    worm = worm_diameter(work, hob)
    if work.kind != "worm wheel" or work.is_plain or worm is None:
        return None
    bottom, axial = outside_diameter(work), float(work.module_n) / math.cos(math.radians(work.beta_deg))
    gear = gear_of(work)
    centres = gear.centres_with(worm)
    radius = centres - bottom / 2
    if work.throat_radius is not None:
        # Another radius is struck from as much further off.
        radius, centres = float(work.throat_radius), centres + float(work.throat_radius) - radius
    rim = float(work.rim_diameter) if work.rim_diameter else usual_rim_diameter(bottom, axial, hob.starts)
    return Throat(centres, radius, rim, float(work.face_width or USUAL_FACE_WIDTH * work.module_n))


def worm_diameter(work: Work, hob: HobData) -> float | None:
    """Reference diameter of a wheel's worm in mm, by its starts and lead angle, or else as the hob's; None if unknown.

    k·m_x / tan γ, the worm's lead angle being the wheel's helix angle; the hob's where that is the same but for the
    last minutes of the angle. A hob may be larger, to be ground.
    """
    reference = hob_reference_diameter(work, hob)
    if not work.is_helical:
        return reference
    worm = hob.starts * float(work.module_n) / math.sin(math.radians(work.beta_deg))
    return reference if reference and math.isclose(reference, worm, rel_tol=_SAME_WORM) else worm


def sprocket_of(work: Work) -> Sprocket | None:
    """The sprocket that the work is; None for other work, and where the chain's roller isn't known."""
    if work.kind != "sprocket" or work.roller_diameter is None:
        return None
    return Sprocket(work.teeth, math.pi * float(work.module_n), float(work.roller_diameter))


def spline_is_unknown(work: Work) -> bool:
    """Whether the work is an involute spline of a pressure angle that no standard rack has."""
    return work.kind == "spline" and not work.has_keys and spline.rack_for(float(work.pressure_angle_deg)) is None


def outside_diameter(work: Work) -> float:
    """Outside diameter of the blank in mm: as the drawing gives it, or else the usual one."""
    if work.outside_diameter is not None:
        return float(work.outside_diameter)
    sprocket = sprocket_of(work)
    return sprocket.usual_tip_diameter if sprocket else gear_of(work).tip_diameter


def gear_on_blank(work: Work) -> Gear | None:
    """The gear as it is cut from the blank of the drawing: as `gear_to_cut`, its tips where that blank ends.

    None for a blank that ends below the datum line of its teeth.
    """
    cut = gear_to_cut(work)
    addendum = (outside_diameter(work) - cut.reference_diameter) / 2 / cut.module_n - cut.profile_shift
    return replace(cut, rack=replace(cut.rack, addendum=addendum)) if 0 < addendum <= 3 else None


def rolling_diameter_of(work: Work) -> float:
    """Diameter in mm of the circle on which the datum line of a hob for this work, or one beside it, rolls."""
    if work.kind == "sprocket":
        return rolling_diameter(work.teeth, math.pi * float(work.module_n))
    return gear_of(work).reference_diameter


def root_diameter(work: Work, hob: HobData) -> float:
    """Diameter in mm at the roots, cut to full depth, backlash allowance and all."""
    sprocket = sprocket_of(work)
    if sprocket:
        return sprocket.root_diameter
    gear = gear_to_cut(work)
    return gear.reference_diameter + 2 * (gear.profile_shift * gear.module_n - hob_addendum(work, hob))


def hob_addendum(work: Work, hob: HobData) -> float:
    """Height in mm of the hob's tips over its datum line: as the hob gives it, or as its rack has it.

    The datum line rolls on the work's reference circle where there is no profile shift. A chain hob's is taken to
    roll there, its tips reaching to the bottom of the gaps; one of another pitch is taken to be like it in its own
    size. A worm wheel's hob is as high as its worm.
    """
    module, sprocket = float(hob.module_n), sprocket_of(work)
    if sprocket:
        return (rolling_diameter_of(work) - sprocket.root_diameter) / 2 * float(hob.module_n / work.module_n)
    if hob.addendum is not None:
        return float(hob.addendum) * module
    if work.kind == "spline" and hob.diameter is not None and hob.outside_diameter is not None:
        # Racks of splines differ in depth, so that the hob itself has to say.
        return float(hob.outside_diameter - hob.diameter) / 2
    if work.kind == "worm wheel":
        module /= math.cos(math.radians(work.beta_deg))
    rack = spline.rack_for(float(hob.pressure_angle_deg)) if work.kind == "spline" else None
    return (rack or ISO_53[hob.rack]).dedendum * module


def hob_reference_diameter(work: Work, hob: HobData) -> float | None:
    """Reference diameter of the hob in mm: as given, or what its addendum leaves of that over the tips."""
    if hob.diameter is not None:
        return float(hob.diameter)
    return None if hob.outside_diameter is None else float(hob.outside_diameter) - 2 * hob_addendum(work, hob)


def centres_at_depth(work: Work, hob: HobData) -> float | None:
    """Distance from the work's axis to the hob's at full depth in mm; None where the hob's size isn't known."""
    reference = hob_reference_diameter(work, hob)
    if reference is None:
        return None
    sprocket = sprocket_of(work)
    if sprocket:
        return (sprocket.root_diameter + reference) / 2 + hob_addendum(work, hob)
    return gear_to_cut(work).centres_with(reference)


def hob_tip_diameter(work: Work, hob: HobData) -> float | None:
    """Diameter over the hob's tips in mm: as given, or its reference diameter and twice its addendum."""
    if hob.outside_diameter is not None:
        return float(hob.outside_diameter)
    return None if hob.diameter is None else float(hob.diameter) + 2 * hob_addendum(work, hob)


def _wanting_outside(work: Work) -> tuple[Wanting, ...]:
    if work.outside_diameter is not None:
        return ()
    without_rollers = work.kind == "sprocket" and work.roller_diameter is None
    return ("outside_diameter",) if spline_is_unknown(work) or without_rollers else ()


def _wanting_root(work: Work, hob: HobData) -> tuple[Wanting, ...]:
    if work.kind == "sprocket":
        return () if work.roller_diameter is not None else ("roller_diameter",)
    if work.has_keys:
        return ()
    measured = hob.addendum is not None or (hob.diameter is not None and hob.outside_diameter is not None)
    if work.kind == "spline" and not measured and not spline.has_one_root(float(hob.pressure_angle_deg)):
        return ("addendum",)
    return ()
