"""The parts at fault, found in records of gears that were cut with errors in the machine and measured in simulation."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from handlead.kinematics.frame.motion import Ripple
from handlead.machines.at_fault.finding import inspect_gear
from handlead.machines.job_files.job_file import read_job
from handlead.machines.machine_files.machine_file import Imperfection
from handlead.machines.setups.case import Case
from measured_gears import MeasuredGear, with_noise

DRUM = Case.of(read_job(Path(__file__).parents[2] / "scenarios" / "92-cloud-drum-wheel" / "job.toml"))

TABLE = Imperfection("once per turn", "index worm", angle_deg=Fraction(6, 1000), turn_of="driven")
SCREW = Imperfection("once per turn", "slide screw", length=Fraction(12, 1000), phase_deg=Fraction(70))

#: The blank's middle goes round a hundredth of a mm off: nearer and further, and aside a quarter of a turn later.
BLANK = (Ripple("radial", "table", Fraction(1), 0.01, 0.35), Ripple("tangential", "table", Fraction(1), 0.01, 0.1))


@cache
def gear(errors=(), ripples=()):
    return MeasuredGear.with_errors(DRUM, errors, ripples)


def records(measured, noise=1.0, every=1, counted="clockwise", seed=3):
    draws = np.random.default_rng(seed)
    made = [
        measured.round_gear("pitch cumulative", "right", counted, every),
        measured.round_gear("pitch cumulative", "left", counted, every),
        measured.round_gear("runout", "", counted, every),
        measured.along("helix", "right", [1, 23, 45], 40, counted),
    ]
    return [with_noise(one, noise, draws) for one in made]


#: Parts that turn with the slide screw can't be told from it, but would have to be far worse.
TABLE_NAME, SCREW_NAME, BLANK_NAME = (
    "index worm, once per turn of the table", "slide screw, once per turn of the slide screw", "the blank on its arbor",
)  # fmt: skip


def sizes(found):
    """By name how big each part's fault is, and how much the records hold it to: a wave by the name that is known."""
    told = {}
    for wave in found.waves:
        known = {one.name: one for one in wave.parts if one.name in (TABLE_NAME, SCREW_NAME, BLANK_NAME)}
        one = next(iter(known.values()), wave.parts[0])
        assert not wave.rivals
        told[one.name] = one.size, 2 * one.error
    return told


def near(told, name, size):
    return abs(told[name][0] - size) <= told[name][1] + 0.03 * size


@pytest.mark.parametrize("every", [1, 3])
def test_three_parts_at_fault_are_named_with_their_sizes_though_teeth_are_left_out(every):
    told = sizes(inspect_gear(DRUM, records(gear((TABLE, SCREW), BLANK), every=every)))
    assert len(told) == 3
    assert near(told, TABLE_NAME, 0.006)
    assert near(told, SCREW_NAME, 0.012)
    assert near(told, BLANK_NAME, 0.02)


def test_a_dial_of_five_micrometres_finds_the_blank_and_the_screw():
    told = sizes(inspect_gear(DRUM, records(gear((SCREW,), BLANK), noise=5.0)))
    assert len(told) == 2
    assert near(told, BLANK_NAME, 0.02)
    assert near(told, SCREW_NAME, 0.012)


def test_counting_the_other_way_round_and_records_in_another_order_give_the_same_parts():
    measured = gear((TABLE,), BLANK)
    told = sizes(inspect_gear(DRUM, records(measured)))
    turned = sizes(inspect_gear(DRUM, records(measured, counted="counter-clockwise")[::-1]))
    assert told.keys() == turned.keys() == {TABLE_NAME, BLANK_NAME}
    assert all(near(turned, name, size) for name, (size, _) in told.items())


def test_a_part_is_found_though_another_that_turns_with_it_could_not_be_so_far_out():
    # Tap bevels turn with the slide screw, and would have to be out by more than anything that still runs.
    (wave,) = inspect_gear(DRUM, records(gear((SCREW,)))).waves
    assert wave.parts[0].name == SCREW_NAME
    assert all(one.part.source.largest <= wave.parts[0].part.source.largest for one in wave.parts)


@pytest.mark.parametrize("noise", [0.0, 1.0, 5.0])
def test_a_gear_without_errors_accuses_nobody(noise):
    assert not inspect_gear(DRUM, records(gear(), noise)).waves


@pytest.mark.parametrize("errors", [False, True])
def test_marks_that_a_ball_feels_at_one_place_are_no_waves(errors):
    # Up the face a mark a turn, round the gear the same once a turn: so would a blank off its middle do.
    measured = replace(gear((TABLE,), BLANK) if errors else gear(), at_one_place=True)
    found = inspect_gear(DRUM, records(measured, noise=0.5))
    assert {one.parts[0].name for one in found.waves} == ({TABLE_NAME, BLANK_NAME} if errors else set())
    if errors:
        told = sizes(found)
        assert near(told, TABLE_NAME, 0.006)
        assert near(told, BLANK_NAME, 0.02)


def test_records_of_noughts_accuse_nobody():
    plain = [replace(one, readings=replace(one.readings, um=0 * one.readings.um)) for one in records(gear())]
    found = inspect_gear(DRUM, plain)
    assert not found.waves
    # Marks are believed to be there, and nobody read them: of that a trifle stays.
    assert [one.left_um for one in found.records] == pytest.approx([0] * 4, abs=0.1)


def test_what_one_record_cannot_tell_apart_is_named_together():
    # Once a turn of the table on one flank alone: the wheel's own error, or the blank beside its middle.
    (wave,) = inspect_gear(DRUM, records(gear((TABLE,)))[:1]).waves
    names = {one.name for one in (*wave.parts, *wave.rivals)}
    assert {TABLE_NAME, BLANK_NAME} <= names
    assert not wave.is_certain


def test_an_answer_can_be_hashed_and_says_what_each_reading_is_made_of():
    made = records(gear((TABLE,)))
    found = inspect_gear(DRUM, made)
    assert hash(found) == hash(inspect_gear(DRUM, made))
    for at, record in enumerate(made):
        rest = record.readings.um - sum(np.array(wave.at_readings[at]) for wave in found.waves)
        rest = rest - found.records[at].left - np.array(found.records[at].marks)
        plain = record.readings.plain()
        assert rest == pytest.approx(plain @ np.linalg.lstsq(plain, rest, rcond=None)[0], abs=1e-6)


WORM = Imperfection("once per turn", "index worm", angle_deg=Fraction(16, 1000), turn_of="driving", phase_deg=Fraction(40))


@pytest.mark.parametrize(("noise", "points"), [(1.0, 40), (5.0, 20)])
def test_a_wave_so_quick_and_big_that_only_its_crests_are_cut_deepest_is_found_as_big_as_it_is(noise, points):
    # 72 waves a turn of the table over some 660 gashes: what is left of them looks far smaller.
    measured = gear((WORM,), BLANK)
    draws = np.random.default_rng(5)
    made = [
        measured.round_gear("pitch cumulative", "right"),
        measured.round_gear("runout"),
        measured.along("helix", "right", [1, 23, 45], points),
    ]
    found = inspect_gear(DRUM, [with_noise(one, noise, draws) for one in made])
    told = {one.name: one for wave in found.waves for one in wave.parts}
    assert {one.parts[0].order for one in found.waves} == {1, abs(1 / DRUM.train.link("index worm").ratio)}
    worm = told["index worm, once per turn of the worm shaft"]
    assert abs(worm.size - 0.016) <= 2 * worm.error
    # A dial sees the wave, but of how big it is little more than the order.
    assert noise > 1 or worm.error < 0.003


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("records_of", ["helix", "pitch and helix"])
def test_a_helix_of_three_teeth_accuses_no_sound_hob_arbor_however_well_it_repeats(records_of, seed):
    measured, draws = gear((SCREW,)), np.random.default_rng(seed)
    made = [measured.along("helix", "right", [1, 23, 45], 40)]
    if records_of == "pitch and helix":
        made.append(measured.round_gear("pitch cumulative", "right"))
    found = inspect_gear(DRUM, [with_noise(one, 0.3, draws) for one in made])
    (wave,) = found.waves
    assert SCREW_NAME in {one.name for one in wave.parts}
