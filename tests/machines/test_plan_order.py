"""What a plan holds to: what is asked, what is safe, what lies on the brackets already; and why there is none."""

import re
from dataclasses import replace
from fractions import Fraction as F
from io import StringIO
from pathlib import Path

import pytest
from handlead.kinematics.frame.words import Feed
from handlead.machines.job_files.job_file import read_job, read_job_text
from handlead.machines.machine_files.catalogue import find_machine
from handlead.machines.machine_files.machine_file import GearSet
from handlead.machines.planning.gears_to_get import with_gears
from handlead.machines.planning.planning import plan
from handlead.viz.command import main
from handlead.viz.reports.plan import show_plan
from rich.console import Console

ROOT = Path(__file__).parents[2]
SCENARIOS, CASES = ROOT / "scenarios", ROOT / "tests" / "cases"
PINION = read_job(SCENARIOS / "01-fly-winch-pair" / "pinion.toml")

SPUR = """
format = "job/1"
machine = "corvane-7"
[work]
kind = "spur"
teeth = 40
module = 2
face_width = 20
[hob]
module = 2
diameter = 60
outside_diameter = 65
"""


def spur(teeth=40, machine="corvane-7", units="mm", **cutting):
    job = read_job_text(SPUR.replace("teeth = 40", f"teeth = {teeth}").replace("corvane-7", machine))
    return replace(job, cutting=replace(job.cutting, **cutting), units=units)


def best(job, machine=None, top=1):
    (member, *_) = plan(job, machine, top=top).members
    assert member.setups, member.none_because
    return member.setups[0]


def with_drawer(machine, teeth):
    """The machine with these gears alone, on any bracket."""
    return replace(machine, gear_sets=(GearSet("all there is", (), tuple(teeth)),))


def report(found):
    out = StringIO()
    show_plan(found, Console(file=out, width=240, markup=False, highlight=False))
    return out.getvalue()


# ---------------------------------------------------------------- towards the work


@pytest.mark.parametrize("hob", ["right", "left"])
@pytest.mark.parametrize("meant", [None, Feed.CLIMB, Feed.CONVENTIONAL])
@pytest.mark.parametrize("path", [CASES / "hallowick-wormwheel.toml", SCENARIOS / "06-orchestra-lift" / "job.toml"])
def test_a_radial_feed_goes_towards_the_work_whatever_is_said_of_climb(path, meant, hob):
    job = read_job(path)
    hand = type(job.hob.hand)[hob.upper()]
    job = replace(job, work=replace(job.work, hand=hand), hob=replace(job.hob, hand=hand), setup=None)
    if meant:
        job = replace(job, setup=replace(read_job(path).setup or PINION.setup, feed=meant))
    machine = job.machine
    ends = {name: end for name, end in machine.train.ends.items() if name != "tangential"}
    machine = replace(machine, train=replace(machine.train, ends=ends))
    found = best(job, machine)
    assert found.proof.computed.outcome.feed_slide == "radial"
    assert found.proof.case.solution.end_rate("radial") < 0


# ---------------------------------------------------------------- what is asked


@pytest.mark.parametrize("path", ["01-fly-winch-pair/pinion.toml", "09-curtain-sprocket/job.toml", "12-star-ring/job.toml"])
def test_the_best_is_the_same_however_many_are_listed(path):
    job = read_job(SCENARIOS / path)
    listed = [[member.setups[0].setup for member in plan(job, top=top).members] for top in (1, 4, 12)]
    assert listed[0] == listed[1] == listed[2]


def test_a_plan_says_why_the_slide_feeds_its_way_and_how_to_ask_for_the_other():
    usual = plan(spur(), top=1)
    assert usual.feed_way_because.startswith("conventional") and 'feed = "climb"' in report(usual)
    asked = plan(PINION, top=1)
    assert asked.feed_way_because == "climb, as [setup] feed asks"


@pytest.mark.parametrize("asked", ["0.6", "1", "2.5"])
def test_a_feed_that_is_asked_for_holds(asked):
    found = best(spur(feed=F(asked)))
    assert float(found.feed) == pytest.approx(float(asked), rel=0.05)
    assert found.against == ()


@pytest.mark.parametrize(("units", "says"), [("mm", "9 mm per table turn is asked for"), ("in", "0.3543 in per table turn is asked for")])
def test_a_feed_beyond_the_machine_is_said_with_what_it_takes_and_the_nearest(units, says):
    job = spur(machine="brinnock-20", feed=F(9), units=units)
    limit = (None, F(4))
    machine = replace(job.machine, limits=replace(job.machine.limits, feed_mm_per_table_turn=limit))
    found = best(job, machine)
    assert F(3) < found.feed <= 4
    (words,) = found.against
    assert says in words and "the machine takes at most" in words


@pytest.mark.parametrize(("units", "says"), [("mm", r"A feed of 1\.\d+ mm .* is proposed"), ("in", r"A feed of 0\.05\d+ in .* is proposed")])
def test_a_feed_far_from_the_one_that_is_proposed_is_said(units, says):
    job = spur(units=units)
    limits = replace(job.machine.limits, feed_mm_per_table_turn=None)
    kept = tuple(
        replace(one, fits=tuple(name for name in one.fits if name != "feed gears")) for one in job.machine.gear_sets
    )
    near = best(job).setup.change["feed gears"]
    coarser = (F(5, 2) * near.size).limit_denominator(60)
    own = GearSet("for the feed", ("feed gears",), (16 * coarser.numerator, 16 * coarser.denominator))
    link = replace(job.machine.train.link("feed gears"), bracket=None, pairs=(1,))
    machine = replace(
        job.machine, limits=limits, gear_sets=(*kept, own), train=job.machine.train.replacing(link)
    )
    found = best(job, machine)
    assert found.feed > 2
    (words,) = found.against
    assert re.search(says, words), words


def test_marks_that_are_allowed_are_kept_even_if_a_coarser_feed_is_asked_for():
    found = best(spur(feed=F(3), mark_um=F(2)))
    (words,) = found.against
    assert "the marks allowed ask for at most" in words
    assert float(found.feed) < 1.3  # sqrt(4 * 65 mm * 2 µm / sin 20°)


def test_a_feed_of_four_thirds_that_is_only_proposed_takes_one_pair():
    found = best(read_job(SCENARIOS / "09-curtain-sprocket" / "job.toml"))
    assert found.feed == F(4, 3)
    assert len(found.setup.change["feed gears"].gears) == 2


def test_a_hob_speed_that_is_asked_for_holds_or_the_nearest_is_said():
    slow = best(replace(PINION, mate=None, cutting=replace(PINION.cutting, hob_rpm=F(60))))
    if abs(slow.cycle.hob_rpm - 60) > 3:
        assert any("60 rpm is asked for" in words for words in slow.against)
    else:
        assert slow.against == ()
    usual = best(replace(PINION, mate=None, cutting=replace(PINION.cutting, hob_rpm=F(115))))
    assert usual.cycle.hob_rpm == pytest.approx(115, rel=0.05) and usual.against == ()


# ---------------------------------------------------------------- what is safe, and what differs


def test_of_two_set_ups_alike_the_one_without_an_idler_comes_first():
    found = best(read_job(SCENARIOS / "10-revolve-spline" / "job.toml"))
    assert not any(one.idlers for one in found.setup.change.values())


def test_the_next_best_of_a_spur_gear_differ_by_more_than_the_feed_s_fourth_digit():
    (member,) = plan(spur(), top=5).members
    feeds = [(planned.feed, len(planned.setup.change["feed gears"].gears), len(planned.setup.change["index gears"].gears),
              [len(one.idlers) for one in planned.setup.change.values()]) for planned in member.setups]
    for number, one in enumerate(feeds):
        for other in feeds[:number]:
            assert abs(one[0] / other[0] - 1) > F(1, 100) or one[1:] != other[1:]


def test_the_mate_keeps_what_stands_on_the_brackets_and_an_idler_turns_it_over():
    ours, theirs = (member.setups[0].setup.change for member in plan(PINION, top=1).members)
    for bracket in ("speed gears", "feed gears", "differential gears"):
        assert theirs[bracket].gears == ours[bracket].gears
    assert len(theirs["differential gears"].idlers) != len(ours["differential gears"].idlers)
    assert "the gears stay" in report(plan(PINION, top=1))


def test_the_next_job_s_gears_are_left_as_they_lie():
    lying = {"feed gears": best(spur(feed=F(2))).setup.change["feed gears"]}
    job = spur(teeth=44, feed=F(2))
    after = plan(job, top=1, lying=lying).members[0].setups[0]
    assert after.setup.change["feed gears"].gears == lying["feed gears"].gears


def test_of_two_jobs_the_second_s_report_says_what_stays_from_the_first(tmp_path, capsys):
    for name, teeth in (("one", 40), ("two", 44)):
        (tmp_path / f"{name}.toml").write_text(SPUR.replace("teeth = 40", f"teeth = {teeth}"))
    assert main(["plan", str(tmp_path / "one.toml"), str(tmp_path / "two.toml"), "--top", "1"]) == 0
    said = capsys.readouterr().out
    assert said.count("From the job before") == 1
    assert "feed gears: stays as it is" in said


# ---------------------------------------------------------------- none, and why


@pytest.mark.parametrize(
    ("path", "angle", "module"),
    [("08-inch-winch/job.toml", "0.8", None), ("01-fly-winch-pair/pinion.toml", "0.3", None), ("01-fly-winch-pair/pinion.toml", "1", 6)],
)
def test_a_lead_out_of_the_differential_s_reach_is_answered_not_a_traceback(path, angle, module):
    job = read_job(SCENARIOS / path)
    work = replace(job.work, helix_angle_deg=F(angle), lead=None, module_n=F(module or job.work.module_n))
    hob = replace(job.hob, module_n=work.module_n)
    (member, *_) = plan(replace(job, work=work, mate=None, hob=hob), top=1).members
    assert member.setups or member.none_because


def test_a_machine_without_gears_and_one_with_hardly_any_are_answered():
    none = plan(spur(), replace(find_machine("corvane-7"), gear_sets=()), top=1).members[0]
    assert "lists no change gears" in none.none_because and not none.gears_to_get
    few = plan(spur(), with_drawer(find_machine("corvane-7"), [20, 25]), top=1).members[0]
    assert few.none_because


@pytest.mark.parametrize("units", ["mm", "in"])
def test_a_blank_beyond_the_machine_is_told_as_that_and_no_gears_are_named(units):
    job = spur(teeth=400, units=units)
    member = plan(job, top=1).members[0]
    assert re.search(rf"The blank is [\d.]+ {units} across; the machine takes", member.none_because)
    assert "gears" not in member.none_because and not member.gears_to_get


def test_a_worm_shaft_too_fast_is_told_as_that():
    job = spur(teeth=40)
    machine = job.machine
    limits = replace(machine.limits, rpm={**machine.limits.rpm, "worm shaft": (None, F(1))})
    assert "worm shaft" in machine.train.parts
    member = plan(job, replace(machine, limits=limits), top=1).members[0]
    assert '"worm shaft" would run at' in member.none_because


@pytest.mark.parametrize(("units", "says"), [("mm", r"the nearest is [\d.]+ mm per"), ("in", r"the nearest is [\d.]+ in per")])
def test_a_feed_that_no_gears_reach_is_told_with_the_nearest(units, says):
    job = spur(teeth=40, units=units)
    machine = job.machine
    kept = tuple(
        replace(one, fits=tuple(name for name in one.fits if name != "feed gears")) for one in machine.gear_sets
    )
    own = GearSet("for the feed", ("feed gears",), (100, 20, 98, 21))
    bracket = replace(machine.train.link("feed gears"), bracket=None)
    machine = replace(machine, gear_sets=(*kept, own), train=machine.train.replacing(bracket))
    limits = replace(machine.limits, feed_mm_per_table_turn=(F("1.2"), F("1.3")))
    member = plan(job, replace(machine, limits=limits), top=1).members[0]
    assert re.search(says, member.none_because), member.none_because


@pytest.mark.parametrize("teeth", [107, 113])
def test_gears_that_are_advised_have_been_tried(teeth):
    job = spur(teeth=teeth)
    machine = replace(
        job.machine,
        gear_sets=tuple(replace(one, teeth=tuple(z for z in one.teeth if z % teeth)) for one in job.machine.gear_sets),
    )
    # With the differential left out of it: a plain count is in the index gears or nowhere.
    levers = {name: lever for name, lever in machine.levers.items() if name != "differential"}
    member = plan(job, replace(machine, levers=levers), top=1).members[0]
    if member.setups:
        pytest.skip("the differential makes the count up on this machine")
    named = re.search(r'teeth that fits? "([^"]+)"', member.gears_to_get)
    assert named, member.gears_to_get
    gears = tuple(int(each) for each in re.findall(r"\b\d+\b", member.gears_to_get))
    richer = with_gears(replace(machine, levers=levers), {named[1]: gears})
    assert plan(job, richer, top=1).members[0].setups
