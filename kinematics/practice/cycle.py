"""From cutting speed to minutes: hob speed, depth to dial in, approach, overrun, travel, time.

Lengths are mm, feeds mm per table turn, speeds metres and turns a minute. The swivel enters as
its amount: which way the head is swung makes no difference to a travel.
"""

from __future__ import annotations

import math
from dataclasses import replace

from handlead.kinematics.frame import arguments
from handlead.kinematics.gears.gear import Gear
from handlead.kinematics.gears.measures import over_balls


def hob_rpm(cutting_speed_m_min: float, hob_tip_diameter: float) -> float:
    """Hob turns a minute for a cutting speed: 1000·v / (π·d_a0). Common practice.

    >>> round(hob_rpm(30, 70), 4)
    136.4185
    """
    speed = arguments.number("cutting speed", cutting_speed_m_min, unit="m/min", at_least=0)
    return 1000 * speed / (math.pi * _hob(hob_tip_diameter))


def cutting_speed_m_min(hob_rpm: float, hob_tip_diameter: float) -> float:
    """Cutting speed in m/min of a hob of `hob_tip_diameter` at `hob_rpm`."""
    rpm = arguments.number("hob speed", hob_rpm, unit="rpm", at_least=0)
    return math.pi * _hob(hob_tip_diameter) * rpm / 1000


def table_rpm(hob_rpm: float, teeth: int, starts: int) -> float:
    """Table turns a minute: n_h·k / z. The share of a helix in the table's turning is left out."""
    rpm = arguments.number("hob speed", hob_rpm, unit="rpm", at_least=0)
    return rpm * _starts(starts) / _teeth(teeth)


def approach(
    hob_tip_diameter: float, depth: float, swivel_deg: float = 0.0, tip_diameter: float = 0.0
) -> float:
    """Travel from first touch to full depth by the usual formula, in mm.

    Spur √(h·(d_a0 − h)); swivelled tan η·√(h·((d_a0 − h)/sin² η + d_a)), about half a percent
    short in ordinary work: see `approach_by_contact`. `tip_diameter` is the blank's, and only
    counts where the head is swung. Source: handbook formula, from memory; R. Endoy, "Estimating
    Hobbing Times", lists the same variables.
    """
    d_a0, h = _hob(hob_tip_diameter), _depth(depth, hob_tip_diameter)
    eta = _swivel(swivel_deg)
    if eta == 0:
        return math.sqrt(h * (d_a0 - h))
    d_a = arguments.number("tip diameter of the blank", tip_diameter, unit="mm", above=2 * h)
    # tan η drawn into the root: sin² η alone would underflow at the smallest of angles.
    return math.sqrt(h * ((d_a0 - h) / math.cos(eta) ** 2 + d_a * math.tan(eta) ** 2))


def approach_by_contact(
    hob_tip_diameter: float, depth: float, swivel_deg: float, tip_diameter: float
) -> float:
    """Travel from first touch to full depth, from the shapes themselves, in mm.

    Own derivation: the hob is a cylinder swung about X, the blank's end face a circle; the point
    of the circle that the cylinder meets first is found by halving. Assumes a hob long enough to
    reach that point; a shorter one touches later.
    """
    radius, h = _hob(hob_tip_diameter) / 2, _depth(depth, hob_tip_diameter)
    eta = _swivel(swivel_deg)
    blank = arguments.number("tip diameter of the blank", tip_diameter, unit="mm", above=2 * h) / 2
    centres = radius + blank - h

    def cleared(angle: float) -> float:
        return max(radius**2 - (centres - blank * math.cos(angle)) ** 2, 0.0)

    def rises(angle: float) -> bool:
        # Sign of the derivative of the travel over the place on the circle; it changes once.
        fall = (centres - blank * math.cos(angle)) * math.sin(angle)
        return math.cos(angle) * math.sin(eta) * math.sqrt(cleared(angle)) > fall

    low, high = 0.0, math.acos((centres - radius) / blank)
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if rises(middle) else (low, middle)
    place = (low + high) / 2
    return (math.sqrt(cleared(place)) + blank * math.sin(place) * math.sin(eta)) / math.cos(eta)


def overrun(hob_addendum: float, transverse_pressure_angle_deg: float, swivel_deg: float) -> float:
    """Travel beyond the face until the swung hob has left it, in mm: (h_a0 / tan α_t)·tan η.

    0 for a head that isn't swung: add a clearance. Own derivation, a simple estimate.
    """
    height = arguments.number("addendum of the hob", hob_addendum, unit="mm", at_least=0)
    angle = arguments.number(
        "transverse pressure angle", transverse_pressure_angle_deg, unit="deg", above=0, below=90
    )
    return height / math.tan(math.radians(angle)) * math.tan(_swivel(swivel_deg))


def overrun_over_tips(gear: Gear, tip_diameter: float, swivel_deg: float) -> float:
    """Travel beyond the face until the swung hob has finished the work's tips, in mm.

    It is the longer one where the work's tips stand further over its reference circle than the hob's reach below it.
    Own derivation: where the line of action meets the tip circle, (√(r_a² − r_b²) − r·sin α_t)·cos α_t along the
    rack, times tan η.
    """
    tip = arguments.number("tip diameter of the blank", tip_diameter, unit="mm", above=0) / 2
    pressure = math.radians(gear.transverse_pressure_angle_deg)
    to_tip = math.sqrt(max(tip**2 - (gear.base_diameter / 2) ** 2, 0.0))
    reach = to_tip - gear.reference_diameter / 2 * math.sin(pressure)
    return max(reach, 0.0) * math.cos(pressure) * math.tan(_swivel(swivel_deg))


def travel(face_width: float, approach: float, overrun: float, clearance: float = 0.0) -> float:
    """Travel of the slide through one cut, in mm: approach, face, overrun and a clearance for setting."""
    parts = (
        ("face width", face_width),
        ("approach", approach),
        ("overrun", overrun),
        ("clearance", clearance),
    )
    return sum(arguments.number(name, length, unit="mm", at_least=0) for name, length in parts)


def cutting_time_min(travel: float, feed: float, hob_rpm: float, teeth: int, starts: int) -> float:
    """Minutes that one cut takes: z·L / (n_h·k·f). Any slide's travel and feed, radial as well.

    Source: R. Endoy, "Estimating Hobbing Times", eq. 1. Setting, indexing and return come on top.

    >>> round(cutting_time_min(44.2, 2, 136.4185, 40, 1), 4)
    6.4801
    """
    length = arguments.number("travel", travel, unit="mm", at_least=0)
    per_table_turn = arguments.number("feed", feed, unit="mm per table turn", above=0)
    rpm = arguments.number("hob speed", hob_rpm, unit="rpm", above=0)
    return _teeth(teeth) * length / (rpm * _starts(starts) * per_table_turn)


def depth_left_by_span(span_excess: float, pressure_angle_n_deg: float = 20.0) -> float:
    """Further depth in mm to dial in where the span measures `span_excess` mm too much.

    ΔW / (2·sin α_n): own derivation, both flanks move off by Δh·sin α_n along their normal.
    A span already too small gives a negative depth: there is nothing left to do about it.
    """
    excess = arguments.number("span excess", span_excess, unit="mm")
    angle = arguments.number("pressure angle", pressure_angle_n_deg, unit="deg", above=0, at_most=45)
    return excess / (2 * math.sin(math.radians(angle)))


def depth_left_by_thickness(excess: float, pressure_angle_n_deg: float = 20.0) -> float:
    """Further depth in mm to dial in where a tooth's chord, at a set height, measures `excess` mm too much.

    Δs / (2·tan α_n): own derivation, as `depth_left_by_span`; along the tooth's chord the flanks come apart by tan α_n.
    """
    excess = arguments.number("thickness excess", excess, unit="mm")
    angle = arguments.number("pressure angle", pressure_angle_n_deg, unit="deg", above=0, at_most=45)
    return excess / (2 * math.tan(math.radians(angle)))


def depth_left_by_balls(gear: Gear, ball: float, size: float) -> float:
    """Further depth in mm to dial in where `gear`, as it is to be, measures `size` mm over two balls of `ball` mm.

    Found by halving on the profile shift that the size stands for. Raises `ValueError` where none within a module and a
    half of the gear's own gives it.
    """
    low, high = gear.profile_shift - 1.5, gear.profile_shift + 1.5
    least, most = (_over_balls(gear, shift, ball) for shift in (low, high))
    if not least < size < most:
        raise ValueError(f"over balls of {ball:g} mm this gear can't measure {size:g} mm")
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if _over_balls(gear, middle, ball) < size else (low, middle)
    if abs(_over_balls(gear, high, ball) - size) > 1e-3:  # the ball drops between the flanks before it comes to that
        raise ValueError(f"over balls of {ball:g} mm this gear can't measure {size:g} mm")
    return (low - gear.profile_shift) * gear.module_n


def _over_balls(gear: Gear, shift: float, ball: float) -> float:
    try:
        return over_balls(replace(gear, profile_shift=shift), ball)
    except ValueError:
        return 0.0  # the ball drops between the flanks, or nothing is left of the tooth


def depths_in_cuts(depth: float, finishing: float) -> tuple[float, ...]:
    """Depths in mm to dial in for a first and a finishing cut, each from the first touch.

    `finishing` is what the last cut takes off, radially; 0 means a single cut.
    """
    whole = arguments.number("depth", depth, unit="mm", above=0)
    last = arguments.number("finishing", finishing, unit="mm", at_least=0, below=whole)
    return (whole - last, whole) if last else (whole,)


def _hob(hob_tip_diameter: float) -> float:
    return arguments.number("tip diameter of the hob", hob_tip_diameter, unit="mm", above=0)


def _depth(depth: float, hob_tip_diameter: float) -> float:
    return arguments.number("depth", depth, unit="mm", above=0, below=float(hob_tip_diameter) / 2)


def _swivel(swivel_deg: float) -> float:
    """The swivel's amount in radians."""
    amount = arguments.number("swivel", swivel_deg, unit="deg", above=-90, below=90)
    return math.radians(abs(amount))


def _teeth(teeth: int) -> int:
    return arguments.whole("teeth", teeth, at_least=1)


def _starts(starts: int) -> int:
    return arguments.whole("starts", starts, at_least=1)
