"""Double helical gears: the groove that hob and approach need, the apex, and the set-up of the other half."""

import math
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import handlead.scenarios
import pytest
from handlead.kinematics.cutting.groove_sweep import reach_in_sweep
from handlead.kinematics.other_work.double_helix import apex_shift
from handlead.kinematics.work.requirement import gear_to_cut
from handlead.machines.blanks.witness import setting_of
from handlead.machines.job_files.job_file import read_job, read_job_text
from handlead.machines.planning.planning import plan
from handlead.machines.proving.halves_checks import groove_of
from handlead.machines.proving.proof import prove
from handlead.machines.setups.case import Case, stroke_of
from handlead.machines.toml.errors import FileFault
from handlead.machines.written.writing import job_text
from handlead.viz.commands.plan_writing import write_plan
from handlead.viz.sheet_words.halves_words import _change_over
from handlead.viz.sheet_words.words import sheet_words

ORDERS = Path(handlead.scenarios.__file__).parent
FIRST, SECOND = (ORDERS / "74-herringbone-hoist" / name for name in ("job.toml", "job-second-half.toml"))


def job(path=FIRST, **changes):
    read = read_job(path)
    return replace(read, halves=replace(read.halves, **changes))


def codes(proof):
    return {finding.code for finding in proof.judged}


@pytest.mark.parametrize(
    "name", ["01-fly-winch-pair/pinion", "08-inch-winch/job", "11-thunder-run-pinion/job", "05-two-start-hob/job", "74-herringbone-hoist/job-second-half"]
)  # fmt: skip
def test_the_hob_s_edges_reach_as_far_along_the_work_as_is_reckoned(name):
    case = Case.of(read_job(ORDERS / f"{name}.toml"))
    reach = stroke_of(case).before
    # Gashes leave a little between their passages, so that the sweep stays short; it is never farther.
    swept = reach_in_sweep(setting_of(case).to_depth(gear_to_cut(case.job.work)), reach)
    assert reach - 0.06 < swept < reach + 0.005


def test_a_groove_for_the_first_half_alone_is_too_narrow_for_the_second():
    found = next(each for each in prove(job(groove=Fraction(36))).judged if each.code == "groove-too-narrow")
    assert found.severity == "error"
    assert "36.50 mm" in found.message
    assert "other half" in found.message
    assert "groove-too-narrow" not in codes(prove(job(groove=Fraction(73, 2))))


def test_a_slide_that_begins_in_the_groove_needs_room_to_both_sides():
    first = groove_of(Case.of(job()))
    assert (first.half, first.feeds_into) == ("upper", True)
    begun = job(half="lower")
    assert groove_of(Case.of(begun)).own == pytest.approx(2 * first.reckoned.reach)
    found = next(each for each in prove(begun).findings if each.code == "groove-too-narrow")
    assert "end for end" in found.message
    assert "32.82 mm" in found.message
    assert "groove-too-narrow" not in codes(prove(job(half="lower", groove=Fraction(57))))


def test_a_groove_that_isn_t_as_deep_as_the_teeth_is_cut_into():
    root = Case.of(job()).sizes.root_diameter
    assert "groove-too-shallow" in codes(prove(job(groove_diameter=Fraction(root) + Fraction(1, 10))))
    assert "groove-too-shallow" not in codes(prove(job(groove_diameter=Fraction(root) - Fraction(1, 10))))


def test_the_simulated_blank_bears_the_groove_out_and_an_unknown_hob_is_said():
    assert "groove-measured" in codes(prove(job(), cut="scratch"))
    without = job()
    without = replace(without, hob=replace(without.hob, diameter=None, outside_diameter=None, lead_angle_deg=None))
    assert "groove-not-known" in codes(prove(without))


def test_two_lines_drawn_on_paper_meet_where_the_apex_is_said_to_be():
    # Lines that lean 30 degrees to either side, the second one shifted by 0.04 along the circle.
    slope = math.tan(math.radians(30))
    meets = 0.04 / (slope + slope)
    assert apex_shift(0.04, 30) == pytest.approx(meets)


def test_the_other_half_is_the_least_change_and_its_steps_were_tried():
    proof = prove(read_job(FIRST))
    steps = [step["words"] for step in proof.as_json()["double_helical"]["other_half"]]
    assert len(steps) == 2
    assert any(step.startswith("Add an idler") for step in steps)
    setup = read_job(FIRST).setup
    for step in proof.other_half.steps:
        setup = step.on(setup)
    other = read_job(SECOND)
    assert prove(other.with_setup(setup)).is_as_wanted


def on_another(machine, **changes):
    """The same halves, half as large, to plan on another machine."""
    read = read_job_text(
        job_text(read_job(FIRST).with_setup(None))
        .replace("corvane-7", machine).replace("module = 3", "module = 1.5").replace("69.25", "50")
        .replace("face_width = 38", "face_width = 30").replace("groove_diameter = 84", ""),
        "job.toml",
    )  # fmt: skip
    return replace(read, hob=replace(read.hob, lead_angle_deg=None), halves=replace(read.halves, **changes))


@pytest.mark.parametrize("turned_over", [True, False])
@pytest.mark.parametrize("machine", ["brinnock-20", "corvane-7", "pellarn-4"])
def test_the_sheet_of_the_first_half_names_no_change_that_the_plan_does_otherwise(machine, turned_over):
    """Without a differential a feed turned over leans the teeth the other way too, and takes the hob into the first
    half: that is no way to the second where the work is turned over, and the very way where it stays clamped."""
    unset = on_another(machine, turned_over=turned_over, groove=Fraction(60))
    first, second = (member.setups[0] for member in plan(unset, top=1).members)
    proof = prove(unset.with_setup(first.setup))
    setup = first.setup
    for step in proof.other_half.steps:
        setup = step.on(setup)
    own = replace(unset, halves=unset.halves.other, work=second.proof.case.job.work)
    then, planned = (prove(own.with_setup(one)) for one in (setup, second.setup))
    said = _change_over(proof, unset.halves)
    if (machine == "brinnock-20" and turned_over) or (machine == "pellarn-4" and not turned_over):
        assert not proof.other_half.steps and "plan the second half" in said
    else:
        assert then.is_as_wanted
        assert then.case.outcome.feed is planned.case.outcome.feed
        assert groove_of(then.case).feeds_into and groove_of(planned.case).feeds_into
        assert then.case.setup.levers == planned.case.setup.levers
    assert proof.other_half.feed is planned.case.outcome.feed
    assert ("take up the slide's backlash" in said) is not turned_over


def test_both_halves_are_planned_and_share_their_differential_gears(tmp_path):
    unset = read_job(FIRST).with_setup(None)
    found = plan(unset, top=1)
    assert [member.name for member in found.members] == ["work", "second half"]
    assert found.is_found
    assert found.shares_differential
    path = tmp_path / "job.toml"
    path.write_text(job_text(unset))
    write_plan(path, plan(read_job(path), top=1))
    second = read_job(tmp_path / "job-second-half.toml")
    assert second.halves.is_second
    assert second.work.hand is read_job(SECOND).work.hand
    assert prove(second).is_as_wanted


def test_work_that_stays_clamped_has_its_second_half_fed_the_other_way():
    unset = job(turned_over=False, half="upper", groove=Fraction(40)).with_setup(None)
    first, second = plan(unset, top=1).members
    cases = [member.setups[0].proof.case for member in (first, second)]
    assert [groove_of(case).half for case in cases] == ["upper", "lower"]
    assert all(groove_of(case).feeds_into for case in cases)
    assert cases[0].solution.end_rate("axial") * cases[1].solution.end_rate("axial") < 0


def test_the_sheet_has_the_order_of_work_and_the_mark_for_either_meeting():
    import datetime

    def block(which):
        words = sheet_words(prove(which), datetime.date(2001, 2, 3))
        return next(block for block in words.blocks if block.title.startswith("DOUBLE HELICAL"))

    said = " ".join(step.text for step in block(job()).steps)
    assert "INTO the groove" in said
    assert "At ITS inner face the middle of a SPACE" in said
    assert "0.035 mm along the axis" in said
    assert "the middle of a TOOTH" in " ".join(step.text for step in block(job(staggered=True)).steps)
    assert "SECOND" in block(read_job(SECOND)).title
    inches = " ".join(step.text for step in block(replace(job(), units="in")).steps)
    assert "1.4961 in" in inches
    assert " mm" not in inches


@pytest.mark.parametrize(("half", "end", "says"), [("upper", "STOP", "4.65 mm, 9.83 mm AT MOST"), ("lower", "START", "28.17 mm, NO MORE")])
def test_the_first_page_bounds_the_travel_on_the_side_where_the_other_half_lies(half, end, says):
    """Groove of 38 less the reach of 28.17 leaves 9.83: "or more" would send the hob into the other half."""
    import datetime

    words = sheet_words(prove(job(half=half)), datetime.date(2001, 2, 3))
    stops = {name.split(",")[0]: value for name, value, *_ in words.running if name.startswith(("START", "STOP"))}
    assert stops.pop(end) == says
    assert all("or more" in value for value in stops.values())


TEXT = FIRST.read_text()


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (TEXT.replace("face_width = 38\n", ""), '"face_width" is missing'),
        (TEXT.replace('kind   = "helical"', 'kind   = "spur"').replace('helix_angle = "30d"\nhand   = "right"\n', "", 1), "only helical teeth have two halves"),
        (TEXT.replace("groove = 38", 'half = "middle"\ngroove = 38'), "lower"),
        (TEXT.replace("groove = 38\n", ""), "groove"),
    ],
)  # fmt: skip
def test_what_no_two_halves_can_be_is_sent_back(text, says):
    with pytest.raises(FileFault, match=says):
        read_job_text(text, "job.toml")


def test_what_is_written_of_two_halves_reads_the_same():
    for changes in ({}, {"half": "lower", "turned_over": False, "staggered": True, "set_within": Fraction(1, 10)}):
        read = job(**changes)
        assert read_job_text(job_text(read), "job.toml").halves == read.halves


def test_the_apex_moves_by_half_the_error_over_the_tangent():
    # 0.1 mm round the reference circle at 45 degrees: each half's teeth run 0.05 mm along before they meet.
    assert math.isclose(apex_shift(0.1, 45), 0.05, abs_tol=1e-12)
    assert math.isclose(apex_shift(-0.1, math.degrees(math.atan(0.5))), -0.1, abs_tol=1e-12)
