"""What a worn gear is: found from its readings, and never said to be sure where it is something else."""

from __future__ import annotations

import random
import sys
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from handlead.kinematics.gears import gear as gears
from handlead.kinematics.gears import measures
from handlead.kinematics.gears.readings import Sample, Taken, ToothSystem
from handlead.kinematics.gears.sample import gear_of, identify
from handlead.machines.documents.tooth_systems import tooth_systems

sys.path.insert(0, str(Path(__file__).parents[1] / "benchmarks"))
import sample as benchmark

SYSTEMS = tooth_systems()


def by_name(name):
    return next(each for each in SYSTEMS if each.name == name)


def worn_wheel(less=0.0):
    """29 teeth of module 3 at 25 degrees, whose spans are known from tables of base tangents, worn by so much."""
    spans = ((4, Taken(32.61 - less, 0.02, 0.1)), (5, Taken(41.466 - less, 0.02, 0.1)))
    return Sample(29, True, outside=Taken(101.85, 0.05, 0.2), spans=spans, lean=Taken(26.3, 0.5))


@pytest.mark.parametrize(("less", "shift"), [(0.0, 0.0), (0.08, -0.039)])
def test_a_worn_helical_wheel_is_named_first_and_its_thinness_told(less, shift):
    first = identify(worn_wheel(less), SYSTEMS).candidates[0]
    assert first.system.name == "module 3, 20°"
    assert first.helix_angle_deg == 25
    assert first.profile_shift == 0
    assert first.measured_shift == pytest.approx(shift, abs=0.002)
    assert first.fits


def test_without_a_second_span_nobody_is_sure_and_the_next_reading_would_tell():
    sample = replace(worn_wheel(), spans=worn_wheel().spans[:1])
    identity = identify(sample, SYSTEMS)
    assert not identity.is_sure
    assert identity.next_reading is not None
    values = [value for _, value in identity.next_reading.values]
    assert max(values) - min(values) > 0.2


def test_following_the_next_readings_ends_in_the_right_system():
    """A spur wheel of 14 1/2 degrees: each reading that is asked for is taken on the gear itself."""
    system = by_name("diametral pitch 8, 14.5°")
    gear = gear_of(system, 33, 0.0)
    sample = Sample(33, False, outside=Taken(gear.tip_diameter - 0.05, 0.05, 0.1))
    for _ in range(4):
        identity = identify(sample, SYSTEMS)
        if identity.next_reading is None:
            break
        asked = identity.next_reading.what
        if "span over" in asked:
            count = int(asked.split()[3])
            sample = replace(
                sample, spans=(*sample.spans, (count, Taken(measures.span(gear, count), 0.02, 0.05)))
            )
        elif "roots" in asked:
            sample = replace(sample, root=Taken(gear.root_diameter, 0.2, 0.1))
        else:
            ball = identity.next_reading.ball
            sample = replace(sample, balls=((ball, Taken(measures.over_balls(gear, ball), 0.03, 0.1)),))
    assert identity.candidates[0].system == system
    assert sample.readings >= 3


def test_a_tip_that_is_too_high_counts_for_more_than_one_that_is_worn():
    gear = gear_of(by_name("module 3, 20°"), 40, 0.0)
    spans = tuple((count, Taken(measures.span(gear, count), 0.02, 0.1)) for count in (5, 6))
    costs = [
        identify(Sample(40, False, outside=Taken(gear.tip_diameter + miss, 0.05, 0.3), spans=spans), SYSTEMS)
        .candidates[0].cost
        for miss in (-0.2, 0.2)
    ]  # fmt: skip
    assert costs[0] < 1 < costs[1]


def test_the_pair_s_centres_tell_a_shifted_gear_from_a_smaller_module():
    gear = gear_of(by_name("module 2.5, 20°"), 20, 0.0)
    sample = Sample(
        20,
        False,
        outside=Taken(gear.tip_diameter, 0.05, 0.1),
        mate_teeth=40,
        centre_distance=Taken(75.0, 0.1),
    )
    first = identify(sample, SYSTEMS).candidates[0]
    assert (first.system.name, first.profile_shift) == ("module 2.5, 20°", 0)


def test_nothing_but_the_count_is_refused():
    with pytest.raises(ValueError, match="outside diameter"):
        identify(Sample(30), SYSTEMS)


def test_random_worn_gears_are_among_the_first_three_and_no_wrong_one_is_said_to_be_sure():
    """Forty of the gears of the benchmark, made and worn by the relations of the gear itself."""
    dice, systems = random.Random(5), list(SYSTEMS)
    hits = 0
    for _ in range(40):
        system, gear = benchmark.random_gear(dice, systems)
        identity = identify(benchmark.sample_of(dice, gear), systems)
        same = [benchmark.is_same(each, system, gear) for each in identity.candidates[:3]]
        hits += any(same)
        assert not identity.is_sure or same[0], system
    assert hits >= 38


def test_every_system_says_what_it_is_once():
    names = [each.name for each in SYSTEMS]
    assert len(names) > 300
    doubles = {name for name in names if names.count(name) > 1}
    assert not doubles


@pytest.mark.parametrize(
    ("module", "angle", "helix"),
    [("2.7", 20, 0), ("4.0425", 14.5, 0), ("3", 22.5, 11.7), ("3", 17.5, 0), ("3.3", 20, 34.7)],
)
def test_nobody_is_sure_of_a_gear_that_is_of_no_published_system(module, angle, helix):
    """Cut by a rack of the fitter's own, a little worn: a published one with an odd shift would fit, and isn't it."""
    own = ToothSystem("own", Fraction(module), angle, 1.0, 1.25)
    for teeth in range(17, 60, 6):
        gear = gear_of(own, teeth, helix, 0.1)
        few = measures.span_teeth(gear)
        spans = tuple((count, Taken(measures.span(gear, count) - 0.05, 0.02, 0.1)) for count in (few, few + 1))
        lean = Taken(gears.helix_angle_at(gear.tip_diameter, gear.lead), 0.5) if gear.lead else None
        sample = Sample(teeth, bool(gear.lead), outside=Taken(gear.tip_diameter - 0.1, 0.05, 0.2), spans=spans, lean=lean)
        assert not identify(sample, SYSTEMS).is_sure, teeth


def test_a_pair_s_centres_are_told_beside_the_rest_and_refute_nothing_where_it_is_shifted():
    gear = gear_of(by_name("module 3, 20°"), 29, 0.0)
    spans = tuple((count, Taken(measures.span(gear, count), 0.02, 0.1)) for count in (4, 5))
    sample = Sample(29, False, outside=Taken(gear.tip_diameter, 0.05), spans=spans, mate_teeth=31,
                    centre_distance=Taken(91.0, 0.1))  # fmt: skip
    first = identify(sample, SYSTEMS).candidates[0]
    centres = next(each for each in first.agreements if each.what == "centres")
    assert (centres.taken, centres.new) == (91.0, 90.0)
    assert first.fits


def test_no_span_is_asked_for_that_the_face_is_too_narrow_for():
    """Five spans over 30 degrees of base helix need some 20 mm of face; this face has 8."""
    sample = Sample(29, True, face_width=8.0, outside=Taken(101.85, 0.05, 0.2), lean=Taken(26.3, 0.5))
    asked = identify(sample, SYSTEMS).next_reading
    assert asked is not None
    count = int(asked.what.split()[3]) if asked.what.startswith("the span") else None
    assert count is None or count <= 2


@pytest.mark.parametrize(("teeth", "outside", "span"), [(24, 78.0, 60.0), (4, 10.0, 5.0)])
def test_a_span_that_goes_with_no_gear_ends_in_none_that_fits(teeth, outside, span):
    """Over other teeth than were said, or in another unit: no gear has teeth as thick as that, and none as thin."""
    sample = Sample(teeth, None, outside=Taken(outside, 0.05, 0.1), spans=((3, Taken(span, 0.02, 0.1)),))
    identity = identify(sample, SYSTEMS)
    assert not any(each.fits for each in identity.candidates)
    assert not identity.is_sure
