"""Imperfections of a machine file: what of them comes through to the work, how often, and how much of it."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from handlead.kinematics.frame.motion import Ripple
from handlead.kinematics.links.mounted import Mounted
from handlead.kinematics.train.imperfections import PeriodicError, ends_ahead, ripples
from handlead.machines.job_files.job_file import read_job
from handlead.machines.machine_files.catalogue import shipped_machines
from handlead.machines.machine_files.machine_file import (
    Imperfection,
    Looseness,
    read_machine,
    read_machine_text,
)
from handlead.machines.proving.proof import prove
from handlead.machines.setups.case import Case
from handlead.machines.setups.imperfections import errors_of, plays_of, ripples_of
from handlead.machines.studying.study import study
from handlead.machines.toml.errors import FileFault
from handlead.machines.written.writing import machine_text
from hypothesis import given, settings
from hypothesis import strategies as st

SCENARIOS = Path(__file__).parents[2] / "scenarios"
GOOD = Path(__file__).parent / "good"
PINION = read_job(SCENARIOS / "01-fly-winch-pair" / "pinion.toml")
ARC_LAMP = read_job(SCENARIOS / "03-no-differential" / "job.toml")
RIGHT = [
    read_job(path)
    for path in sorted(SCENARIOS.glob("[01]?-*/*.toml"))
    if "job/1" in path.read_text()
]


def flawed(job, *imperfections):
    return replace(job, machine=replace(job.machine, imperfections=imperfections))


def case_of(job, *imperfections):
    job = flawed(job, *imperfections)
    return Case.of(job, job.setup)


# ---------------------------------------------------------------- how often, exactly


def test_the_table_wheels_own_error_comes_once_a_table_turn_whole():
    (ripple,) = ripples_of(
        case_of(PINION, Imperfection("once per turn", "index worm", angle_deg=Fraction(36, 10_000)))
    )
    assert ripple == Ripple("table", "table", Fraction(1), pytest.approx(1e-5), 0.0)


def test_the_table_worms_error_comes_as_often_as_the_wheel_has_teeth_over_its_starts():
    for job in RIGHT:
        (name,) = (
            link.name
            for link in job.machine.train.links
            if link.kind == "worm gear" and link.to_part == job.machine.train.ends["table"].part
        )
        worm = job.machine.train.link(name)
        flaw = Imperfection("once per turn", name, angle_deg=Fraction(1, 1000), turn_of="driving")
        found = [ripple for ripple in ripples_of(case_of(job, flaw)) if ripple.end == "table"]
        assert [abs(ripple.per_unit) for ripple in found] == [Fraction(worm.teeth, worm.starts)]
        by_teeth = Imperfection("tooth by tooth", name, angle_deg=Fraction(1, 1000))
        found = [ripple for ripple in ripples_of(case_of(job, by_teeth)) if ripple.end == "table"]
        assert [abs(ripple.per_unit) for ripple in found] == [worm.teeth]


def test_a_lead_screws_error_comes_once_a_lead_and_reaches_only_the_slide():
    flaw = Imperfection("once per turn", "slide screw", length=Fraction(1, 50))
    (ripple,) = ripples_of(case_of(PINION, flaw))
    # The screw of the Corvane has a lead of 10 mm, and the differential is tapped from the screw, ahead of the error.
    assert (ripple.end, ripple.over, abs(ripple.per_unit)) == ("axial", "axial", Fraction(1, 10))
    # The slide's own positive is down, the frame's is up.
    assert ripple.amplitude == pytest.approx(-0.02)


def test_a_change_gear_that_runs_out_comes_as_often_as_it_turns():
    # Index 25/40 · 48/23 behind a table worm 1/84: the gear of 23 on the worm shaft turns 84 times in a turn of the
    # table, that of 40 and that of 48 on the stud 84 · 23/48 times, that of 25 84 · 23/48 · 40/25 times.
    turns = {23: Fraction(84), 48: Fraction(84 * 23, 48), 40: Fraction(84 * 23, 48), 25: Fraction(84 * 23 * 40, 48 * 25)}
    for gear, per_table_turn in turns.items():
        flaw = Imperfection("gear runout", gear=gear, runout=Fraction(1, 10))
        found = [ripple for ripple in ripples_of(case_of(PINION, flaw)) if ripple.end == "table"]
        assert [abs(ripple.per_unit) for ripple in found] == [per_table_turn]


def alike():
    """The pinion with 60/40 · 60/69 in the index bracket, which are 25/40 · 48/23 as well: two gears of 60."""
    change = {**PINION.setup.change, "index gears": Mounted((60, 40, 60, 69))}
    return PINION.with_setup(replace(PINION.setup, change=change))


@pytest.mark.parametrize(
    ("where", "per_table_turn"),
    [
        ({}, 84 * Fraction(69 * 40, 60 * 60)),
        ({"link": "index gears", "place": 1}, 84 * Fraction(69 * 40, 60 * 60)),
        ({"link": "index gears", "place": 3}, 84 * Fraction(69, 60)),
        # Mounted elsewhere by now, where none of its count stands: it is sought as if nothing were said.
        ({"link": "index gears", "place": 2}, 84 * Fraction(69 * 40, 60 * 60)),
        ({"link": "speed gears", "place": 1}, 84 * Fraction(69 * 40, 60 * 60)),
    ],
)
def test_of_two_change_gears_of_one_count_the_file_says_which_runs_out(where, per_table_turn):
    flaw = Imperfection("gear runout", gear=60, runout=Fraction(1, 10), **where)
    (found,) = [ripple for ripple in ripples_of(case_of(alike(), flaw)) if ripple.end == "table"]
    assert abs(found.per_unit) == per_table_turn


def test_a_change_gear_that_runs_out_turns_the_last_gear_by_the_line_of_action_it_carries_off():
    # Gears of module 2, half the dial reading off centre. The gear of 23 (base radius 23 mm · cos 20°) is turned by
    # e/r_b, and the table by a 84th of it; the gear of 40 (40 mm · cos 20°) likewise, the worm shaft by 48/23 of that.
    case = case_of(PINION, Imperfection("gear runout", gear=23, runout=Fraction(1, 10)))
    (last,) = (ripple for ripple in ripples_of(case) if ripple.end == "table")
    case = case_of(PINION, Imperfection("gear runout", gear=25, runout=Fraction(1, 10)))
    (first,) = (ripple for ripple in ripples_of(case) if ripple.end == "table")
    # With the differential in, what the slide does after the worm shaft comes round to the table again.
    (plain_last,), (plain_first,) = (
        [
            ripple
            for ripple in ripples_of(
                case_of(
                    PINION.with_setup(replace(PINION.setup, levers={**PINION.setup.levers, "differential": "out"})),
                    Imperfection("gear runout", gear=gear, runout=Fraction(1, 10)),
                )
            )
            if ripple.end == "table"
        ]
        for gear in (23, 25)
    )
    cosine = math.cos(math.radians(20))
    assert abs(plain_last.amplitude) == pytest.approx(0.05 / (23 * cosine) / (2 * math.pi) / 84)
    assert abs(plain_first.amplitude) == pytest.approx(0.05 / (40 * cosine) * 48 / 23 / (2 * math.pi) / 84)
    # The feed takes a part in forty or so of the table's turning through the differential, no more.
    assert abs(last.amplitude) == pytest.approx(abs(plain_last.amplitude), rel=0.1)
    assert abs(first.amplitude) == pytest.approx(abs(plain_first.amplitude), rel=0.1)


@pytest.mark.parametrize("pressure_deg", [14.5, 20, 25])
def test_involutes_in_mesh_with_a_gear_off_its_centre_turn_by_the_eccentricity_over_the_base_radius(pressure_deg):
    # Two involutes on a common tangent of their base circles, the centre of the first going round with it: how far the
    # second is turned from even running, worked out from where the tangent touches. Nothing of the formula enters.
    teeth, module, e = (30, 45), 2.0, 0.05
    base = [z * module / 2 * math.cos(math.radians(pressure_deg)) for z in teeth]
    centres = sum(teeth) * module / 2 + 0.3
    off = []
    for step in range(360):
        turned = math.radians(step)
        x, y = e * math.cos(turned), e * math.sin(turned)
        apart, aim = math.hypot(centres - x, y), math.atan2(-y, centres - x)
        alpha = math.acos(sum(base) / apart)
        # The tangent leaves the first circle at aim + alpha and meets the second at aim + alpha + 180 degrees; each
        # involute is unwound from there by what lies between its own start and that angle.
        touch = aim + alpha
        unwound = base[0] * (touch - turned)
        off.append(touch - (sum(base) * math.tan(alpha) - unwound) / base[1] + turned * base[0] / base[1])
    off = [value - sum(off) / len(off) for value in off]
    case = case_of(
        PINION, Imperfection("gear runout", gear=25, runout=2 * Fraction(e), pressure_angle_deg=Fraction(pressure_deg))
    )
    (error,) = errors_of(case.train, *case.job.machine.imperfections)
    # The gear of 25 drives one of 40 in a bracket of module 2; bring it to the driven gear above, and take the rest out.
    driven = 2 * math.pi * error.amplitude * 40 / teeth[1] / (48 / 23)
    assert max(off) == pytest.approx(driven, rel=0.01)
    assert -min(off) == pytest.approx(driven, rel=0.01)


def test_a_change_gear_that_is_not_mounted_leaves_nothing():
    assert ripples_of(case_of(PINION, Imperfection("gear runout", gear=97, runout=Fraction(1)))) == ()


def test_an_error_ahead_of_hob_and_table_alike_leaves_nothing():
    for job in (PINION, ARC_LAMP):
        ahead = job.machine.train.links[0].name
        assert ripples_of(case_of(job, Imperfection("once per turn", ahead, angle_deg=Fraction(1)))) == ()


def test_an_error_in_the_hobs_own_drive_is_one_of_the_table_by_the_hobs_angle():
    flaw = Imperfection("once per turn", "hob gears", angle_deg=Fraction(36, 100))
    ripple, *_ = (one for one in ripples_of(case_of(PINION, flaw)) if one.end == "table")
    # One wave a hob turn, 23 to a table turn where the work is spur; amplitude a 23rd of the hob's.
    rate = case_of(PINION).rates.table
    assert (ripple.over, abs(ripple.per_unit)) == ("hob", 1)
    assert abs(ripple.amplitude) == pytest.approx(0.001 * abs(float(rate)))


@settings(deadline=None, max_examples=60)
@given(job=st.sampled_from(RIGHT), pick=st.integers(0, 100))
def test_what_comes_through_to_the_ends_is_what_the_train_does_with_a_little_more_ratio(job, pick):
    # An independent way round: a link's driven part turned ahead by a share of its own turning is a link of a ratio
    # that is greater by that share; to first order the ends' rates change by the same influence.
    case = case_of(job)
    links = [
        link
        for link in case.train.links
        if getattr(link, "ratio", None) and case.solution.rates[link.to_part]
    ]
    link = links[pick % len(links)]
    from handlead.kinematics.links.links import Ratio
    from handlead.kinematics.train.solution import solve

    share = Fraction(1, 10**9)
    longer = Ratio(link.name, link.from_part, link.to_part, link.ratio * (1 + share))
    changed = solve(case.train.replacing(longer), case.setup.drive)
    ahead = ends_ahead(case.train, case.setup.drive, link.name)
    for end, value in ahead.items():
        more = changed.end_rate(end) - case.solution.end_rate(end)
        expected = value * case.solution.rates[link.from_part] * link.ratio * share
        assert float(more) == pytest.approx(float(expected), rel=1e-6, abs=1e-18)


def test_a_link_that_passes_nothing_has_no_error_to_pass():
    case = case_of(PINION.with_setup(replace(PINION.setup, levers={**PINION.setup.levers, "feed clutch": "out"})))
    assert ripples(case.train, "main", PeriodicError("feed clutch", "slide screw", Fraction(1), 1e-3)) == ()
    with pytest.raises(ValueError, match="passes nothing"):
        ends_ahead(case.train, "main", "feed clutch")


# ---------------------------------------------------------------- on the work


@pytest.mark.slow
def test_one_wave_a_table_turn_shows_in_the_cumulative_pitch_as_twice_its_arc():
    # ISO 1328-1 counts total cumulative pitch from the least to the greatest deviation: twice the amplitude's arc on
    # the reference circle, d = m_n z / cos β (from memory; own derivation of the arc).
    amplitude = Fraction(36, 10_000)
    true, off = (
        prove(flawed(PINION, *flaws), cut="scratch").as_json()["cut"]
        for flaws in ((), (Imperfection("once per turn", "index worm", angle_deg=amplitude),))
    )
    reference = 3 * 23 / math.cos(math.radians(22))
    arc_um = 1000 * math.radians(float(amplitude)) * reference / 2
    assert true["cumulative_pitch_um"] < 0.2
    # What marks the hob leaves anyway may add to it or take from it.
    marks = true["cumulative_pitch_um"]
    assert off["cumulative_pitch_um"] == pytest.approx(2 * arc_um, abs=marks + 0.01 * arc_um)
    assert off["single_pitch_um"] == pytest.approx(2 * arc_um * math.sin(math.pi / 23), abs=marks)
    assert (off["teeth"], off["hand"]) == (true["teeth"], true["hand"]) == (23, "right")


SPUR = read_job(SCENARIOS / "05-two-start-hob" / "job.toml")


@pytest.mark.slow
def test_a_lead_screws_error_moves_the_teeth_of_helical_work_and_not_of_spur():
    # A slide that is off by e puts a helical tooth off by e tan β round the reference circle, and a spur one nowhere.
    screw = next(link.name for link in SPUR.machine.train.links if link.kind == "screw")
    true, off = (
        prove(flawed(SPUR, *flaws), cut="scratch").as_json()["cut"]
        for flaws in ((), (Imperfection("once per turn", screw, length=Fraction(1, 20)),))
    )
    assert off["cumulative_pitch_um"] == pytest.approx(true["cumulative_pitch_um"], abs=0.2)
    true, off = (
        prove(flawed(PINION, *flaws), cut="scratch").as_json()["cut"]
        for flaws in ((), (Imperfection("once per turn", "slide screw", length=Fraction(1, 20)),))
    )
    # Within one table turn the slide goes 2.4 mm of a lead of 10 mm, and the error through part of its wave.
    most = 1000 * 0.05 * math.tan(math.radians(22)) * 2 * math.sin(math.pi * 2.4 / 10)
    assert 1 < off["cumulative_pitch_um"] < most


# ---------------------------------------------------------------- files


def test_imperfections_are_written_as_they_were_read():
    machine = read_machine(GOOD / "imperfect.toml")
    assert [one.kind for one in machine.imperfections] == [
        "backlash", "backlash", "once per turn", "once per turn", "tooth by tooth", "gear runout",
        "gear runout", "pitch", "worm float", "worm end play", "work runout", "work tilt", "table wobble", "hob runout",
        "hob wobble", "slide not parallel", "slide bow",
    ]  # fmt: skip
    assert machine.imperfections[0].angle_deg == Fraction(1, 20)
    assert machine.imperfections[2].phase_deg == 30
    assert read_machine_text(machine_text(machine)) == machine



@pytest.mark.parametrize(
    ("machine", "runout", "written"),
    [
        ("corvane-7", "0.05", "diametral_pitch = 12"), ("pellarn-4", "0.002", "diametral_pitch = 12"),
        ("pellarn-4", '"0.05 mm"', 'module = "2 mm"'),
    ],
    ids=["in millimetres", "in inches", "in inches, metric gears"],
)
@pytest.mark.parametrize("table", ["looseness", "imperfection"])
def test_change_gears_that_run_out_are_told_by_either_size_of_tooth(table, machine, runout, written):
    row = f'\n[[{table}]]\nkind = "gear runout"\nrunout = {runout}\n{written}\ncomes_from = "dialled"\n'
    row += "gear = 40\n" if table == "imperfection" else ""
    text = shipped_machines()[machine].read_text()
    read = read_machine_text(text + row)
    last = read.looseness[-1].amount if table == "looseness" else read.imperfections[-1]
    assert last.module_n == (2 if "module" in written else Fraction(254, 120))
    again = machine_text(read)
    assert read_machine_text(again) == read
    assert written in again or "module" in written
    with pytest.raises(FileFault, match="diametral_pitch"):
        read_machine_text(f"{text}{row}{'diametral_pitch = 8' if 'module' in written else 'module = 3'}\n")


def test_a_study_says_the_same_of_inch_change_gears_whichever_size_is_given():
    job = read_job(SCENARIOS / "08-inch-winch" / "job.toml")
    runout = Imperfection("gear runout", runout=Fraction(254, 5000), module_n=Fraction(254, 120))
    told, of_the_bracket = (
        study(replace(job, machine=replace(job.machine, looseness=(Looseness("gear runout", "dialled", "normal", one),))), 200)
        for one in (runout, replace(runout, module_n=None))
    )
    assert told.as_json() == of_the_bracket.as_json()
    halved = replace(runout, module_n=runout.module_n / 2)
    loose = replace(job.machine, looseness=(Looseness("gear runout", "dialled", "normal", halved),))
    assert study(replace(job, machine=loose), 200).as_json() != told.as_json()


def test_a_worm_that_floats_may_be_told_by_its_diametral_pitch():
    text = (GOOD / "imperfect.toml").read_text()
    inch = text.replace('link   = "index worm"\nmodule = 4', 'link   = "index worm"\ndiametral_pitch = 6.35')
    assert inch != text
    assert [one.module_n for one in read_machine_text(inch).imperfections] == [
        one.module_n for one in read_machine_text(text).imperfections
    ]


def test_backlash_is_lost_motion_and_no_ripple():
    case = case_of(PINION, Imperfection("backlash", "index worm", angle_deg=Fraction(36, 100)))
    assert ripples_of(case) == ()
    (play,) = plays_of(case)
    assert (play.link, play.width) == ("index worm", Fraction(1, 1000))
