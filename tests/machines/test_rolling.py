"""A pair's two jobs cut and rolled: right ones, and each kind of wrong one."""

from __future__ import annotations

import json
import pickle
from dataclasses import replace
from fractions import Fraction
from functools import cache
from pathlib import Path
from types import SimpleNamespace

import pytest
from handlead.kinematics.gears.pair import distance_with_backlash, gap_at, usual_least_backlash
from handlead.kinematics.work.requirement import gear_to_cut
from handlead.kinematics.work.sizes import outside_diameter
from handlead.machines.job_files.job_file import read_job, read_job_text
from handlead.machines.judging_teeth.both_jobs import drawn_apart, pair_apart
from handlead.machines.machine_files.machine_file import Imperfection
from handlead.machines.rolling import members, pair_rolled
from handlead.machines.rolling.judging import running
from handlead.machines.rolling.pair_rolled import NotRolled, roll_pair
from handlead.machines.rolling.words import at_the_machine
from handlead.viz.command import main
from handlead.viz.gear_reports.mesh import show_rolled

ORDERS = Path(__file__).parents[2] / "scenarios"
PINION, WHEEL = (ORDERS / "01-fly-winch-pair" / name for name in ("pinion.toml", "wheel.toml"))


@pytest.fixture(autouse=True)
def cut_once(monkeypatch):
    """A job that is rolled again is the same gear."""
    monkeypatch.setattr(pair_rolled, "as_cut", cut)


cut = cache(pair_rolled.as_cut)


@pytest.fixture(scope="module")
def pinion():
    return read_job(PINION)


@pytest.fixture(scope="module")
def wheel():
    return read_job(WHEEL)


@pytest.fixture(scope="module")
def right(pinion, wheel):
    return roll_pair(pinion, wheel)


def test_a_pair_rolled_elsewhere_is_the_same_pair_and_told_in_a_line(right):
    again = pickle.loads(pickle.dumps(right))
    assert again == right and hash(again) == hash(right)
    assert len(repr(right)) < 200 and "\n" not in repr(right)
    side = right.rolled.sides[1]
    with pytest.raises(ValueError, match="read-only"):
        side.ahead[:] = 0
    assert replace(side, ahead=side.ahead + 1) != side


def codes(rolled):
    return {finding.code: finding for finding in rolled.findings}


def test_the_pair_as_ordered_runs_along_the_whole_face_both_ways(right):
    told = right.as_json()
    assert told["verdict"] == "run together" and not told["errors"]
    assert [drive["bearing"]["where"] for drive in told["drives"]] == ["whole face", "whole face"]
    assert all(0 < drive["transmission_error_um"] < 3 for drive in told["drives"])
    assert [abs(told[whose]["lean_um"]) < 0.1 for whose in ("work", "mate_gear")] == [True, True]
    json.dumps(told, allow_nan=False)


def test_where_little_of_the_face_bears_what_is_usual_is_said_beside_it(right):
    # So thin a film of blue that only the tips of the marks show.
    for film, is_little in ((2e-5, True), (5e-4, False)):
        thin = replace(right, film=film)
        told = [finding for finding in running(thin) if finding.code == "bears-in-part"]
        assert told and all(finding.severity == "warning" for finding in told)
        for finding in told:
            assert (finding.facts["face"] < 0.35) == is_little
            assert ("35 % and more is usual" in finding.message) == is_little


def test_a_flank_that_hardly_bears_in_any_part_is_warned_of_and_the_pair_runs_all_the_same(right):
    """So thin a film that next to nothing is blue: in spots, or in none that the grid has."""
    for film in (1e-9, 0.0):
        thin = replace(right, film=film)
        told = [finding for finding in running(thin) if finding.code == "bears-in-part"]
        assert told and all(finding.severity == "warning" for finding in told)
        assert all("35 % and more is usual" in finding.message for finding in told)
    assert replace(thin, findings=tuple(told)).runs


def test_a_pair_both_of_whose_members_lean_the_other_way_runs_and_is_not_the_drawing_s(pinion, wheel, capsys):
    """The slope of teeth that cross the drawing's would be millimetres over the face, and tell nobody anything."""
    turned = pinion.with_idler("differential gears", 35).with_swivel("24d 9m", "counter-clockwise")
    other = wheel.with_idler("differential gears").with_swivel("19d 51m", "clockwise")
    found = roll_pair(turned, other)
    assert found.runs and [member.hand for member in found.members] == ["left", "right"]
    warned = codes(found)["other-hand"]
    assert warned.severity == "warning"
    assert "The work is to be right-hand, and comes off left-hand." in warned.message
    assert "The mate is to be left-hand" in warned.message
    assert [member.lean_um for member in found.members] == [None, None]
    show_rolled(found)
    out = capsys.readouterr().out
    assert "wrong hand: the drawing's is right" in out and "wrong hand: the drawing's is left" in out


def test_where_one_member_leans_the_wrong_way_it_is_said_which(pinion, wheel):
    found = codes(roll_pair(pinion.with_idler("differential gears", 35), wheel))
    assert "The work is to be right-hand" in found["cut-hands"].message
    assert "The mate" not in found["cut-hands"].message and "other-hand" not in found


def test_without_centres_on_the_drawing_it_says_at_which_backlash_it_rolled(right, pinion, wheel):
    first, second = gear_to_cut(pinion.work), gear_to_cut(wheel.work)
    usual = usual_least_backlash(right.distance, 3)
    assert usual == pytest.approx(2 / 3 * (0.06 + 0.0005 * 157 + 0.09), abs=1e-4)
    assert distance_with_backlash(first, second, usual) == pytest.approx(right.distance, abs=5e-4)
    assert right.rolled.nominal_play == pytest.approx(gap_at(first, second, right.distance) * (first.base_diameter + second.base_diameter) / 2 / right.distance)
    assert codes(right)["usual-backlash"].severity == "note"
    # What stands on the flanks, marks of some µm to either side, takes up as much of it.
    assert usual - 0.025 < right.play()[0] < right.play()[1] < usual


def test_a_differential_a_little_off_bears_at_one_end_and_says_which_member_leans(pinion, wheel):
    # 45 for 44: a lead 44/45 of what it should be.
    off = roll_pair(pinion.with_gears("differential gears", (45, 41, 50, 45)), wheel, distance=Fraction("157.5"))
    assert off.runs
    bears = [finding for finding in off.findings if finding.code == "bears-in-part"]
    assert [finding.facts["where"] for finding in bears] == ["upper end", "lower end"]
    gear = gear_to_cut(pinion.work)
    lean = 1000 * 3.14159265 * gear.base_diameter * 36 * (45 / 44 - 1) / gear.lead
    assert off.members[0].lean_um == pytest.approx(lean, rel=0.01)
    assert "the work's teeth lean" in bears[0].remedy and "to the right" in bears[0].remedy


def test_the_same_at_its_own_centres_does_not_go_in_and_proves_the_job_that_leans(pinion, wheel):
    off = roll_pair(pinion.with_gears("differential gears", (45, 41, 50, 45)), wheel)
    assert not off.runs
    binds = codes(off)["binds"]
    assert binds.facts["least_backlash_mm"] < 0
    assert "leans" in binds.remedy


def test_teeth_too_thick_for_the_centres_do_not_go_in_and_the_distance_at_which_they_do_is_true(pinion, wheel):
    first, second = gear_to_cut(pinion.work), gear_to_cut(wheel.work)
    there = Fraction(str(round(distance_with_backlash(first, second, 0.002), 4)))
    tight = roll_pair(pinion, wheel, distance=there)
    binds = codes(tight)["binds"]
    apart = float(binds.remedy.split("shafts ")[1].split(" mm")[0])
    assert roll_pair(pinion, wheel, distance=there + Fraction(str(round(apart + 0.002, 3)))).runs


def test_a_head_that_is_off_leaves_thin_teeth_and_says_by_how_much_the_pair_is_looser(pinion, wheel, right):
    off = roll_pair(pinion.with_swivel(Fraction(24), "clockwise"), wheel)
    thin = codes(off)["teeth-thin"]
    assert thin.facts["most_backlash_mm"] > right.play()[1] + 0.1
    assert "teeth-thin" not in codes(right)


def test_teeth_of_a_hob_of_another_module_knock(tmp_path):
    job = tmp_path / "job.toml"
    job.write_text((ORDERS / "38-wrong-hob-from-the-rack" / "job.toml").read_text() + "\n[mate]\nteeth = 40\n")
    wrong = roll_pair(read_job(job))
    assert not wrong.runs
    assert codes(wrong)["knocks"].facts["jerk_um"] > 100


def test_two_gears_of_one_hand_are_not_rolled_and_why_is_said(pinion):
    wrong = roll_pair(read_job(ORDERS / "21-idler-left-out" / "job.toml"), pinion)
    assert not wrong.runs and wrong.rolled is None
    assert "Both come off right-hand" in codes(wrong)["cut-hands"].message


def test_another_count_than_drawn_is_told_and_rolled_all_the_same(pinion, wheel):
    other = roll_pair(pinion.with_gears("index gears", (25, 40, 48, 24)), wheel, distance=Fraction(161))
    assert "24 teeth, and the drawing has 23" in codes(other)["cut-count"].message
    assert not other.runs


def test_a_drawing_whose_hands_do_not_match_stops_before_anything_is_cut(pinion):
    same = replace(pinion, mate=replace(pinion.mate, hand=pinion.work.hand))
    assert not roll_pair(same).runs
    assert "pair-shafts" in codes(roll_pair(same))


def test_without_a_mate_s_job_the_drawing_s_own_is_rolled_with(pinion):
    alone = roll_pair(pinion)
    assert alone.runs and alone.as_json()["mate_gear"]["as"] == "drawn"


def test_a_machine_with_a_swinging_index_leaves_it_in_the_pair_once_a_turn(pinion, wheel):
    text = PINION.read_text()
    machine = replace(pinion.machine, imperfections=_once_a_turn(pinion))
    swinging = roll_pair(replace(read_job_text(text, "p.toml"), machine=machine), wheel)
    once = next(wave for wave in swinging.waves(-1) if wave.of == "first")
    # 30 seconds of arc to either side, at the base circle.
    expected = 2 * 30 / 3600 * 3.14159265 / 180 * gear_to_cut(pinion.work).base_diameter / 2 * 1000
    assert once.um == pytest.approx(expected, rel=0.02)


def _once_a_turn(job):
    from handlead.machines.machine_files.machine_file import Imperfection

    return (Imperfection("once per turn", link="index worm", angle_deg=Fraction(30, 3600)),)


def test_what_is_no_pair_for_this_is_refused(pinion, wheel):
    with pytest.raises(NotRolled, match="no mate"):
        roll_pair(read_job(ORDERS / "02-left-hand-hob" / "job.toml"))
    with pytest.raises(NotRolled, match="touches at a point"):
        roll_pair(replace(pinion, crossing_angle_deg=Fraction(44)))
    with pytest.raises(NotRolled, match="worm wheel isn't rolled"):
        roll_pair(pinion, read_job(ORDERS / "06-orchestra-lift" / "job.toml"))


def test_a_mate_s_job_of_another_order_is_warned_of(pinion, wheel):
    other = replace(pinion, mate=replace(pinion.mate, teeth=73))
    found = codes(roll_pair(other, wheel))["other-mate"]
    assert "teeth 73 against 74" in found.message and found.severity == "warning"
    assert (found.facts["told"], found.facts["teeth"]) == (73, 74)


def test_two_jobs_of_a_pair_are_held_against_each_other_both_ways(pinion, wheel):
    assert pair_apart(pinion, wheel) == pair_apart(wheel, pinion) == ()
    shifted = replace(wheel, mate=replace(wheel.mate, profile_shift=Fraction(1, 4)), centre_distance=Fraction(157))
    said = "; ".join(pair_apart(replace(pinion, centre_distance=Fraction(1575, 10)), shifted))
    assert "profile shift 0.25 against 0, [mate] of" in said
    assert "centre distance 157.500 mm against 157.000 mm" in said
    inches = replace(pinion, units="in", centre_distance=Fraction(254, 4))
    assert "centre distance 2.5000 in against 6.1811 in" in "; ".join(pair_apart(inches, shifted))


def test_a_lead_says_the_same_of_a_mate_as_the_angle_it_comes_from(pinion, wheel):
    told = replace(pinion.mate, helix_angle_deg=None, lead=Fraction(pinion.mate.lead_mm))
    assert not drawn_apart(told, wheel.work, "mm")
    assert drawn_apart(replace(told, lead=told.lead + 1), wheel.work, "mm") != ()
    assert not drawn_apart(wheel.work, replace(wheel.work, face_width=Fraction(20)), "mm")
    assert drawn_apart(wheel.work, replace(wheel.work, face_width=Fraction(20)), "mm", face=True)


def test_leads_to_the_hundredth_on_both_drawings_are_one_helix_angle_and_a_minute_is_not(pinion, wheel):
    def led(job):
        return replace(job, work=replace(job.work, helix_angle_deg=None, lead=Fraction(round(job.work.lead_mm, 2))))

    def mated(job, other):
        mate = replace(job.mate, helix_angle_deg=None, lead=Fraction(round(job.mate.lead_mm, 2)))
        return replace(led(job), mate=mate), led(other)

    one, _ = mated(pinion, wheel)
    other, _ = mated(wheel, pinion)
    assert one.work.beta_deg != other.work.beta_deg
    assert pair_apart(one, other) == pair_apart(one, wheel) == pair_apart(pinion, other) == ()
    minute = replace(wheel, work=replace(wheel.work, helix_angle_deg=wheel.work.helix_angle_deg + Fraction(1, 60)))
    assert "helix angle 22° against 22.01667°" in pair_apart(pinion, minute)[0]


@pytest.mark.parametrize("units", ["mm", "in"])
def test_whatever_two_jobs_are_said_to_differ_in_looks_different(pinion, wheel, units):
    for apart in (1, 2, 3, 5, 10):
        further = replace(wheel, centre_distance=Fraction(157) + Fraction(apart, 1000))
        for said in pair_apart(replace(pinion, units=units, centre_distance=Fraction(157)), further):
            one, other = said.removeprefix("centre distance ").split(" against ")
            assert one != other


def test_a_level_machine_s_own_words_stand_for_up_and_down():
    way = {1: "to the tailstock", -1: "to the head"}
    assert at_the_machine("at the upper end only", lambda end, sign: way[sign]) == "at the end to the tailstock only"
    assert at_the_machine("at the upper end only", lambda end, sign: "up" if sign > 0 else "down") == "at the upper end only"


# ---------------------------------------------------------------- the command


def test_the_command_tells_of_both_ways_of_turning(capsys):
    assert main(["mesh", str(PINION), str(WHEEL)]) == 0
    out = capsys.readouterr().out
    for words in ("RUN TOGETHER", "work counter-clockwise", "whole face", "backlash, by feeler", "once a turn of the mate"):
        assert words in out


def test_an_inch_job_is_told_in_inches(capsys, tmp_path):
    job = tmp_path / "job.toml"
    job.write_text((ORDERS / "08-inch-winch" / "job.toml").read_text() + "\n[mate]\nteeth = 40\n")
    assert main(["mesh", str(job)]) == 0
    out = capsys.readouterr().out
    assert " in\n" in out.replace("  ", "") or " in " in out
    drawn = tmp_path / "pair.svg"
    assert main(["show", str(job), "--what", "mesh", "--out", str(drawn)]) == 0
    assert "0.00024 in" in drawn.read_text() and "µm" not in drawn.read_text()
    assert " mm" not in out.replace("--centres", "") and "µm" not in out


def test_the_command_answers_in_json_and_ends_as_it_should(capsys):
    assert main(["mesh", str(ORDERS / "21-idler-left-out" / "job.toml"), str(PINION), "--json"]) == 1
    assert json.loads(capsys.readouterr().out)["drives"] == []
    assert main(["mesh", str(ORDERS / "02-left-hand-hob" / "job.toml"), "--json"]) == 2
    assert "no mate" in json.loads(capsys.readouterr().out)["errors"][0]["message"]
    assert main(["mesh", str(PINION), str(WHEEL), "--centres", "wide"]) == 2
    assert "--centres wide" in capsys.readouterr().err


def test_the_pair_is_drawn_and_filmed(tmp_path, capsys, monkeypatch):
    from handlead.viz.draw import mesh_film

    monkeypatch.setattr(mesh_film, "FRAMES", 2)
    monkeypatch.setattr(mesh_film.film, "__defaults__", (2,))
    for name in ("pair.svg", "pair.gif"):
        assert main(["show", str(PINION), "--what", "mesh", "--mate", str(WHEEL), "--out", str(tmp_path / name)]) == 0
        assert (tmp_path / name).stat().st_size > 10_000
    assert "bears: whole face" in (tmp_path / "pair.svg").read_text()
    assert main(["show", str(PINION), "--mate", str(WHEEL), "--out", str(tmp_path / "x.stl")]) == 2
    assert "--mate goes with --what mesh alone" in capsys.readouterr().err


def test_the_film_s_teeth_do_not_cut_into_each_other_and_touch_where_it_says(right):
    from itertools import pairwise

    import numpy as np
    from handlead.viz.draw.mesh_film import PairInMotion

    mesh = PairInMotion(right)
    pitch_point = mesh.gears[0].base_radius / np.cos(np.radians(right.rolled.working_angle_deg))
    for part in (0.0, 0.3, 0.7):
        turn = part * mesh.step
        work, mate = mesh.outline(0, turn), mesh.outline(1, turn)
        for touch in mesh.touches(turn):
            for teeth in (work, mate):
                fine = np.concatenate([np.linspace(a, b, 30) for a, b in pairwise(teeth)])
                assert np.hypot(*(fine - touch).T).min() < 0.01
        assert len(mesh.touches(turn)) in (1, 2)
        assert np.all(np.hypot(work[:, 0], work[:, 1]) < pitch_point + 3.1)




@pytest.mark.parametrize("teeth", [22, 24])
def test_a_gear_of_another_count_is_held_against_teeth_that_end_where_its_blank_ends(pinion, teeth):
    work = pinion.work
    found = SimpleNamespace(teeth=teeth, hand=work.hand.word, lead_mm=float(work.lead_mm))
    gear = members._as_found(work, found)
    assert gear.teeth == teeth
    assert gear.tip_diameter == pytest.approx(outside_diameter(work))
    # The hob stands as deep as the drawing has it: so the roots are where the drawing's are.
    assert gear.root_diameter == pytest.approx(gear_to_cut(work).root_diameter)


def test_a_blank_that_runs_out_and_leans_has_teeth_that_lean_to_and_fro_and_on_the_whole_not_at_all(pinion):
    rows = (Imperfection("work runout", runout=Fraction(8, 100)), Imperfection("work tilt", runout=Fraction(6, 100), over=Fraction(36)))
    askew = replace(pinion, machine=replace(pinion.machine, imperfections=rows))
    assert members.as_cut(askew).lean_um == pytest.approx(members.as_cut(pinion).lean_um, abs=1.0)
