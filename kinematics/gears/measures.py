"""Sizes that the teeth of an involute gear are measured by: span, balls, and chord.

Lengths in mm, angles in degrees, with no backlash allowance. Source: ISO 21771 (from memory); a function says where it
rests on something else.
"""

from __future__ import annotations

import math

from handlead.kinematics.frame import arguments

from .gear import MM_PER_INCH, Gear, inverse_involute


def span_teeth(gear: Gear) -> int:
    """How many teeth to take a span over, so that the anvils touch near mid-flank; at least 2."""
    return min(gear.teeth, max(2, math.floor(ideal_span_teeth(gear) + 0.5)))


def ideal_span_teeth(gear: Gear) -> float:
    """The unrounded count for which the anvils touch at diameter d + 2·x·m_n.

    Own derivation from the span itself; for spur and helical gears alike it gives the values
    printed in stock-gear handbooks.
    """
    base = gear.base_diameter
    # The circle that halves a full-depth tooth, kept within the involute for few teeth or deep shifts.
    touched = max(gear.reference_diameter + 2 * gear.profile_shift * gear.module_n, base)
    width = math.sqrt(touched**2 - base**2) / math.cos(math.radians(gear.base_helix_angle_deg))
    return (width - _span_of_no_teeth(gear)) / gear.normal_base_pitch


def span(gear: Gear, teeth_spanned: int) -> float:
    """Base tangent length over `teeth_spanned` teeth W_k, in mm, with no backlash allowance.

    >>> round(span(Gear(24, 3, profile_shift=0.4), 4), 4)
    32.8266
    """
    spanned = arguments.whole("teeth spanned", teeth_spanned, at_least=1, at_most=gear.teeth)
    return spanned * gear.normal_base_pitch + _span_of_no_teeth(gear)


def span_contact_diameter(gear: Gear, teeth_spanned: int) -> float:
    """Diameter at which the anvils touch the flanks, in mm; the tip must lie above it."""
    across = span(gear, teeth_spanned) * math.cos(math.radians(gear.base_helix_angle_deg))
    return math.hypot(gear.base_diameter, across)


def span_least_face_width(gear: Gear, teeth_spanned: int) -> float:
    """Face width in mm that a span needs before both anvils find a flank: W_k·sin β_b.

    The anvils need a little more to rest on; some millimetres are common practice.
    """
    return span(gear, teeth_spanned) * math.sin(math.radians(gear.base_helix_angle_deg))


def span_fits(gear: Gear, teeth_spanned: int) -> bool | None:
    """Whether the span can be measured on this gear; None where its face width isn't known.

    It can where both anvils find a flank within the face width and touch it below the tip.
    A spur gear's span doesn't depend on the width.
    """
    if span_contact_diameter(gear, teeth_spanned) >= gear.tip_diameter:
        return False
    if gear.hand is None:
        return True
    if gear.face_width is None:
        return None
    return gear.face_width > span_least_face_width(gear, teeth_spanned)


def measurable_span(gear: Gear) -> int | None:
    """The count nearest to mid-flank over which a span can be measured on this gear; None where there is none.

    Fewer teeth than `span_teeth` where the face is too narrow, as long as the anvils still touch the
    flanks less than a module below the reference circle. They are given 1.2 mm + 0.018·W_k of the
    tooth's length to rest on (DIN 3960's advice, from memory). A face that isn't known is taken as wide enough.
    """
    for spanned in range(span_teeth(gear), 1, -1):
        if span_contact_diameter(gear, spanned) < gear.reference_diameter - 2 * gear.module_n:
            return None
        rest = (1.2 + 0.018 * span(gear, spanned)) * math.cos(math.radians(gear.base_helix_angle_deg))
        room = math.inf if gear.face_width is None or gear.hand is None else float(gear.face_width)
        if span_fits(gear, spanned) is not False and room > span_least_face_width(gear, spanned) + rest:
            return spanned
    return None


def _span_of_no_teeth(gear: Gear) -> float:
    """What remains of the span's formula at a count of 0."""
    shift = 2 * gear.profile_shift * math.tan(gear.pressure_n_rad)
    factor = gear.teeth * gear.involute_t + shift - math.pi / 2
    return gear.module_n * math.cos(gear.pressure_n_rad) * factor


def over_balls(gear: Gear, ball: float) -> float:
    """Size over two balls of diameter `ball`, in opposite spaces or nearly so, M_dK, in mm.

    Balls, not pins: over pins, a helical gear with an odd count reads differently. Raises
    `ValueError` for a ball so small that it would drop between the flanks.

    >>> round(over_balls(Gear(20, 1), 1.7), 4)
    22.2941
    """
    centres = gear.base_diameter * math.hypot(1, math.tan(ball_pressure(gear, ball)))
    if gear.teeth % 2:
        centres *= math.cos(math.pi / (2 * gear.teeth))
    return centres + ball


def ball_contact_diameter(gear: Gear, ball: float) -> float:
    """Diameter at which a ball in a tooth space touches the flanks, in mm.

    Own derivation: the ball's radius, along the flank's normal, leads from its centre back
    towards the base cylinder. Raises `ValueError` where the ball would touch below the base
    circle, off the involute.
    """
    base = gear.base_diameter
    reach = base * math.tan(ball_pressure(gear, ball))
    left = reach - ball * math.cos(math.radians(gear.base_helix_angle_deg))
    if left < 0:
        raise ValueError(
            f"ball is {ball:g} mm; it touches below the base circle. A larger ball would be right"
        )
    return math.hypot(base, left)


def ball_fits(gear: Gear, ball: float) -> bool:
    """Whether the ball rests on both flanks, clear of the root, and stands out above the tips."""
    try:
        touched = ball_contact_diameter(gear, ball)
    except ValueError:
        return False
    centre = gear.base_diameter * math.hypot(1, math.tan(ball_pressure(gear, ball)))
    clear_of_root = centre - ball > gear.root_diameter
    return touched < gear.tip_diameter and clear_of_root and centre + ball > gear.tip_diameter


def ideal_ball(gear: Gear) -> float:
    """Diameter in mm of the ball that touches the flanks at diameter d + 2·x·m_n.

    Own derivation: found by halving on the diameter at which the ball touches.
    """
    wanted = max(gear.reference_diameter + 2 * gear.profile_shift * gear.module_n, 1.001 * gear.base_diameter)
    low, high = 0.0, 6 * gear.module_n
    for _ in range(60):
        ball = (low + high) / 2
        try:
            too_small = ball_contact_diameter(gear, ball) < wanted
        except ValueError:
            too_small = True
        low, high = (ball, high) if too_small else (low, ball)
    return (low + high) / 2


def default_ball(gear: Gear, *, inch: bool = False) -> float:
    """A ball likely to be at hand, near to `ideal_ball`, in mm.

    In steps of 0.1 mm below 2 mm, then of 0.5 mm; `inch` balls in steps of 1/64 in below 1/8 in, then of 1/32 in.
    The steps are common practice, not a standard: measure the balls that you have. Where no step
    near by fits, the ideal itself comes back: a ball to be looked for.
    """
    ideal = ideal_ball(gear)
    steps = 10.0 if ideal < 2 else 2.0
    if inch:
        steps = (64 if ideal < MM_PER_INCH / 8 else 32) / float(MM_PER_INCH)
    nearest = round(ideal * steps)
    # On to larger ones: over a tooth that is higher than usual the ideal ball doesn't stand out.
    for ball in ((nearest + step) / steps for step in (0, 1, -1, 2, 3, 4, 5, 6, 7, 8)):
        if ball > 0 and ball_fits(gear, ball):
            return ball
    return ideal


def ball_pressure(gear: Gear, ball: float) -> float:
    """Transverse pressure angle at the ball's centre α_K, in radians; `ValueError` as `over_balls`."""
    ball = arguments.number("ball", ball, unit="mm", above=0)
    value = (
        ball / (gear.module_n * math.cos(gear.pressure_n_rad))
        - math.pi / 2
        + gear.teeth * gear.involute_t
        + 2 * gear.profile_shift * math.tan(gear.pressure_n_rad)
    ) / gear.teeth
    if value < 0:
        raise ValueError(
            f"ball is {ball:g} mm; it would drop between the flanks. A larger ball would be right"
        )
    return math.radians(inverse_involute(value))


def chordal_thickness(gear: Gear) -> float:
    """Thickness of the tooth along the chord, for a gear-tooth caliper, normal to the tooth, in mm.

    Source: "Elements of Metric Gear Technology", section 10.
    """
    return gear.virtual_teeth * gear.module_n * math.sin(_half_thickness_angle(gear))


def chordal_height(gear: Gear, tip_diameter: float | None = None) -> float:
    """Height from the tip to that chord, to set on the caliper's tongue, in mm.

    `tip_diameter`, measured on the blank in mm, stands in for the drawing's where it is given.
    Source: as `chordal_thickness`.
    """
    addendum = gear.addendum
    if tip_diameter is not None:
        tip = arguments.number("tip diameter", tip_diameter, unit="mm", above=gear.reference_diameter)
        addendum = (tip - gear.reference_diameter) / 2
    rise = gear.virtual_teeth * gear.module_n * (1 - math.cos(_half_thickness_angle(gear))) / 2
    return addendum + rise


def _half_thickness_angle(gear: Gear) -> float:
    shift = 2 * gear.profile_shift * math.tan(gear.pressure_n_rad)
    return (math.pi / 2 + shift) / gear.virtual_teeth
