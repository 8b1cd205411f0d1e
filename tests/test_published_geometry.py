"""Values that others have printed, or that were worked out by another road: `published/geometry_*.toml`."""

from __future__ import annotations

import doctest
import math
import tomllib
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from handlead.kinematics.frame.words import Hand
from handlead.kinematics.gears import gear, head, measures, tolerance
from handlead.kinematics.gears import pair as pairs
from handlead.kinematics.other_work import spline, sprocket
from handlead.kinematics.practice import cycle, finish

FOLDER = Path(__file__).with_name("published")
HOW_USED = {"read", "from memory", "own derivation"}


def plain(value: Any) -> Any:
    """Arguments as the functions take them: floats for decimals."""
    if isinstance(value, dict):
        return {key: plain(inner) for key, inner in value.items()}
    return float(value) if isinstance(value, Decimal) else value


def hand(word: str | None) -> Hand | None:
    return None if word is None else Hand[word.upper()]


def gear_of(keys: dict[str, Any]) -> gear.Gear:
    rack = {"rack": gear.BasicRack(**keys["rack"])} if "rack" in keys else {}
    return gear.Gear(**{**keys, "hand": hand(keys.get("hand")), **rack})


def on_a_gear(function: Callable[..., float]) -> Callable[..., float]:
    def asked(**arguments: Any) -> float:
        return function(gear_of(arguments.pop("gear")), **arguments)

    return asked


def swivel(
    module_n: float,
    starts: int,
    reference_diameter: float,
    hob_hand: str,
    helix_angle_deg: float,
    work_hand: str | None = None,
) -> float:
    lead_angle = head.hob_lead_angle_deg(module_n, starts, reference_diameter)
    return head.swivel_deg(Hand[hob_hand.upper()], lead_angle, hand(work_hand), helix_angle_deg)


def in_mesh(pinion: dict[str, Any], wheel: dict[str, Any], what: str) -> float:
    """What handbooks tell of a pair without backlash whose tips are shortened to keep the rack's clearance."""
    one, two = gear_of(pinion), gear_of(wheel)
    distance = pairs.distance_without_backlash(one, two)
    bases, reference = (one.base_diameter + two.base_diameter) / 2, (one.reference_diameter + two.reference_diameter) / 2
    modification = (distance - reference) / one.module_n
    shortening = one.module_n * (one.profile_shift + two.profile_shift - modification)
    addenda = one.addendum - shortening, two.addendum - shortening
    return {
        "centre_distance": distance,
        "reference_centre_distance": reference,
        "working_pressure_angle_deg": math.degrees(math.acos(bases / distance)),
        "involute_working": gear.involute_of_tangent(math.sqrt((distance / bases) ** 2 - 1)),
        "centre_distance_modification": modification,
        "tip_shortening": shortening,
        "pinion_addendum": addenda[0],
        "wheel_addendum": addenda[1],
        "pinion_tip_diameter": one.reference_diameter + 2 * addenda[0],
        "wheel_tip_diameter": two.reference_diameter + 2 * addenda[1],
        "whole_depth": one.whole_depth - shortening,
    }[what]


def tolerance_of(gear: dict[str, Any], quality: int, what: str, rounded: bool) -> float:
    found = getattr(tolerance.flank_tolerances(gear_of(gear), quality), what)
    assert isinstance(found, tolerance.Tolerance)
    return found.um if rounded else found.unrounded_um


def time(
    face_width: float, approach: float, overrun: float, feed: float, teeth: int, starts: int, **hob: float
) -> float:
    travel = cycle.travel(face_width, approach, overrun)
    return cycle.cutting_time_min(travel, feed, cycle.hob_rpm(**hob), teeth, starts)


def sprocket_size(what: str, **keys: Any) -> float:
    work = sprocket.Sprocket(**keys["sprocket"])
    least_or_greatest = {
        "least_tip_diameter": work.tip_diameters[0],
        "greatest_tip_diameter": work.tip_diameters[1],
        "least_seating_radius": work.seating_radii[0],
        "greatest_seating_radius": work.seating_radii[1],
    }
    return least_or_greatest[what] if what in least_or_greatest else getattr(work, what)


FUNCTIONS: dict[str, Callable[..., float]] = {
    "approach": cycle.approach,
    "approach_by_contact": cycle.approach_by_contact,
    "ball_pressure_angle_deg": on_a_gear(lambda work, ball: math.degrees(measures.ball_pressure(work, ball))),
    "chordal_height": on_a_gear(measures.chordal_height),
    "chordal_thickness": on_a_gear(measures.chordal_thickness),
    "facet_um": finish.facet_um,
    "flank_mark_um": finish.flank_mark_um,
    "gear": on_a_gear(lambda work, what: getattr(work, what)),
    "hob_lead_angle_deg": head.hob_lead_angle_deg,
    "hob_rpm": cycle.hob_rpm,
    "ideal_span_teeth": on_a_gear(measures.ideal_span_teeth),
    "involute": gear.involute,
    "involute_spline": lambda what, **keys: getattr(spline.involute_spline(**keys), what),
    "largest_feed": finish.largest_feed,
    "least_rolling_diameter": lambda **keys: spline.StraightSpline(**keys).least_rolling_diameter,
    "mesh": in_mesh,
    "over_balls": on_a_gear(measures.over_balls),
    "rack": lambda letter, what: getattr(gear.ISO_53[letter], what),
    "root_mark_um": finish.root_mark_um,
    "span": on_a_gear(measures.span),
    "span_teeth": on_a_gear(measures.span_teeth),
    "sprocket": sprocket_size,
    "swivel": swivel,
    "time": time,
    "tolerance": tolerance_of,
}


def checks() -> list[Any]:
    found = []
    for file in sorted(FOLDER.glob("geometry_*.toml")):
        with file.open("rb") as opened:
            rows = tomllib.load(opened, parse_float=Decimal)["check"]
        found += [pytest.param(row, id=f"{file.stem}: {row['what']}") for row in rows]
    return found


@pytest.mark.parametrize("check", checks())
def test_the_value_comes_out_to_the_last_digit_printed(check: dict[str, Any]) -> None:
    assert check["source"] and check["used"] in HOW_USED
    printed = Decimal(check["value"])
    # Half a unit in the last place printed; a whole number is held to far less.
    exponent = printed.as_tuple().exponent
    assert isinstance(exponent, int)
    half_a_digit = 0.5 * 10.0**exponent if exponent < 0 else 1e-9
    within = float(check.get("within", half_a_digit * (1 + 1e-6)))
    found = FUNCTIONS[check["function"]](**plain(check["arguments"]))
    assert abs(found - float(printed)) <= within, f"{found} {check['unit']}, printed {printed}"


def test_the_tables_are_there() -> None:
    assert len(checks()) > 150


@pytest.mark.parametrize(
    "module", [cycle, finish, gear, head, measures, spline, tolerance], ids=lambda module: module.__name__
)
def test_the_examples_in_the_docstrings_are_true(module: ModuleType) -> None:
    found = doctest.testmod(module)
    assert found.attempted and not found.failed
