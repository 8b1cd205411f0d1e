"""A plan finds what the machine and its drawers allow, and shows nothing that hasn't been proved."""

import re
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from fractions import Fraction as F
from multiprocessing import get_context
from pathlib import Path

import pytest
from handlead.kinematics.frame.words import Hand
from handlead.machines.job_files.job_file import read_job, read_job_text
from handlead.machines.judging.result_checks import misread_levers
from handlead.machines.machine_files.catalogue import find_machine, shipped_machines
from handlead.machines.planning.planning import plan, plan_many
from handlead.machines.proving.proof import prove
from handlead.machines.written.rewriting import with_setup
from handlead.viz.command import main

SCENARIOS = Path(__file__).parents[2] / "scenarios"
PINION = SCENARIOS / "01-fly-winch-pair" / "pinion.toml"

RIGHT = sorted(path for path in SCENARIOS.glob("[01]*/*.toml") if "job/1" in path.read_text())


def gears_of(setup):
    return [teeth for one in setup.change.values() for teeth in (*one.gears, *one.idlers)]


@pytest.mark.parametrize("path", RIGHT, ids=lambda path: path.parent.name)
def test_every_right_order_is_planned_without_looking_at_its_set_up(path):
    job = read_job(path)
    found = plan(replace(job, setup=None), top=2)
    assert found.is_found, [member.none_because for member in found.members]
    for member in found.members:
        for planned in member.setups:
            again = prove(replace(job, work=member.work, mate=None, setup=planned.setup))
            assert again.is_as_wanted


def test_a_pair_has_one_ratio_on_the_differential_and_equal_lead_errors():
    found = plan(read_job(PINION), top=3)
    assert found.shares_differential
    ours, theirs = found.members
    assert (theirs.name, theirs.work.hand) == ("mate", ours.work.hand.other)
    for one, other in zip(ours.setups, theirs.setups, strict=True):
        ratios = [planned.setup.change["differential gears"].size for planned in (one, other)]
        assert ratios[0] == ratios[1]
        assert one.lead_error_ppm == pytest.approx(other.lead_error_ppm, abs=1e-6)


def test_of_set_ups_alike_in_all_else_the_truest_lead_comes_first_and_each_set_of_ratios_once():
    (member, *_) = plan(read_job(PINION), top=5).members
    slopes = [round(abs(planned.helix_slope_um), 2) for planned in member.setups]
    assert slopes == sorted(slopes)
    ratios = [tuple(one.size for one in planned.setup.change.values()) for planned in member.setups]
    assert len(set(ratios)) == len(ratios)


def test_the_best_lead_is_the_best_that_brute_force_finds_in_a_small_drawer():
    # Four brackets' worth of gears is out of brute force's reach, so the differential's bracket is given alone.
    job = read_job(PINION)
    bracket = "differential gears"
    small = [30, 41, 44, 45, 50, 57, 58, 66, 75, 91]
    machine = job.machine
    sets = tuple(
        replace(one, fits=tuple(name for name in one.fits if name != bracket)) for one in machine.gear_sets
    )
    own = replace(machine.gear_sets[0], name="small", fits=(bracket,), teeth=tuple(small))
    found = plan(job, replace(machine, gear_sets=(*sets, own)), top=1)
    best = found.members[0].setups[0].setup.change[bracket].size
    import itertools
    import math

    from handlead.kinematics.brackets.bracket import Bracket
    from handlead.kinematics.brackets.mounting import Mounting

    # By hand: this machine's rule is 30 sin(beta) / (k pi m_n), as its constants say.
    target = 30 * math.sin(math.radians(22)) / (math.pi * float(job.work.module_n))
    limits = Bracket.of(machine.train.link(bracket).bracket)
    mountable = [
        F(a * c, b * d)
        for a, b, c, d in itertools.permutations(small, 4)
        if isinstance(limits.mount((a, b, c, d)), Mounting)
    ]
    assert best == min(mountable, key=lambda ratio: abs(float(ratio) - target))


@pytest.mark.parametrize("name", shipped_machines())
def test_a_spur_gear_is_planned_on_every_machine_that_ships(name):
    text = """
format = "job/1"
machine = "corvane-7"
[work]
kind = "spur"
teeth = 40
module = 2
face_width = 20
[hob]
module = 2
starts = 1
hand = "left"
diameter = 60
outside_diameter = 65
gashes = 10
"""
    found = plan(read_job_text(text), find_machine(name), top=1)
    assert found.is_found, found.members[0].none_because
    assert found.members[0].setups[0].helix_slope_um == 0


def test_no_gear_is_used_in_two_places():
    for member in plan(read_job(PINION), top=5).members:
        for planned in member.setups:
            owned = [teeth for one in planned.proof.case.job.machine.gear_sets for teeth in one.teeth]
            used = gears_of(planned.setup)
            assert all(used.count(teeth) <= owned.count(teeth) for teeth in used)


def test_a_plan_that_is_written_into_the_job_proves_and_keeps_its_comments(tmp_path):
    text = PINION.read_text().replace("[work]", "# a word on the drawing\n[work]", 1)
    job = read_job(PINION)
    best = plan(job, top=1).members[0].setups[0]
    written = with_setup(text, best.setup)
    assert "# a word on the drawing" in written
    again = read_job_text(written)
    assert again.setup == best.setup
    assert prove(again).is_as_wanted


def test_the_command_writes_only_when_it_is_told_to(tmp_path, capsys):
    copy = tmp_path / "job.toml"
    copy.write_text(PINION.read_text())
    assert main(["plan", str(copy), "--top", "1"]) == 0
    assert copy.read_text() == PINION.read_text()
    assert main(["plan", str(copy), "--top", "1", "--write"]) == 0
    assert copy.read_text() != PINION.read_text()
    assert main(["prove", "--no-cut", str(copy)]) == 0


def test_a_pair_is_written_as_two_jobs_that_share_a_sheet(tmp_path, capsys):
    text = PINION.read_text()
    (tmp_path / "pair.toml").write_text(text[: text.index("[setup]")])
    assert read_job(tmp_path / "pair.toml").mate is not None
    assert main(["plan", str(tmp_path / "pair.toml"), "--top", "1", "--write"]) == 0
    jobs = [str(tmp_path / name) for name in ("pair.toml", "pair-mate.toml")]
    assert main(["prove", "--no-cut", *jobs]) == 0
    assert read_job(jobs[1]).work == read_job(jobs[0]).mate
    # Written again it is renewed; a file about something else is left alone.
    assert main(["plan", jobs[0], "--top", "1", "--write"]) == 0
    pair = (tmp_path / "pair.toml").read_text()
    (tmp_path / "pair.toml").write_text(pair.replace("face_width = 36", "face_width = 30"))
    (tmp_path / "pair-mate.toml").write_text(f"# kept\n{(tmp_path / 'pair-mate.toml').read_text()}")
    assert main(["plan", jobs[0], "--top", "1", "--write"]) == 0
    assert read_job(jobs[1]).work == read_job(jobs[0]).mate
    other = text.replace("teeth  = 23", "teeth  = 24")
    (tmp_path / "pair-mate.toml").write_text(other)
    capsys.readouterr()
    assert main(["plan", jobs[0], "--top", "1", "--write"]) == 2
    assert "isn't written" in capsys.readouterr().err
    assert (tmp_path / "pair-mate.toml").read_text() == other


HELICAL_ALONE = """
format = "job/1"
machine = "corvane-7"
[work]
kind = "helical"
teeth = 30
module = 2
helix_angle = 20
hand = "right"
face_width = 20
[hob]
module = 2
diameter = 60
"""


def test_gears_that_nobody_ordered_are_not_written(tmp_path):
    """Without a mate the plan shows the other hand too, and no file is made of it."""
    (tmp_path / "job.toml").write_text(HELICAL_ALONE)
    assert main(["plan", str(tmp_path / "job.toml"), "--top", "1", "--write"]) == 0
    assert [path.name for path in tmp_path.iterdir()] == ["job.toml"]


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--ratio", "0", "--drawer", "20,30"], "0"),
        (["--ratio", "1.5"], "drawer"),
        (["--ratio", "1.5", "--drawer", "20,x"], "x"),
        (["--ratio", "abc", "--drawer", "20,30"], "abc"),
        ([], "JOB"),
    ],
)
def test_bad_arguments_are_refused_in_a_line(arguments, says, capsys):
    assert main(["plan", *arguments]) == 2
    told = capsys.readouterr().err
    assert says in told
    assert "Traceback" not in told


def test_a_bare_ratio_is_met_as_the_handbooks_say(capsys):
    # 1.27 from a lathe's set with a 127 gear is exact: common practice for inch threads on a metric screw.
    assert main(["plan", "--ratio", "1.27", "--drawer", "20,40,50,100,127,80", "--top", "1"]) == 0
    assert "+0.0000 ppm" in capsys.readouterr().out


def test_jobs_handed_to_other_processes_are_planned_as_they_are_here():
    jobs = [read_job(path) for path in RIGHT if path.parent.name[:2] in ("02", "09")]
    here = [found.as_json() for found in plan_many(jobs, top=1)]
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as executor:
        there = [found.as_json() for found in plan_many(jobs, top=1, executor=executor)]
    assert here == there


@pytest.mark.parametrize("way", ["climb", "conventional"])
@pytest.mark.parametrize("name", ["02-left-hand-hob/job.toml", "05-two-start-hob/job.toml", "08-inch-winch/job.toml"])
def test_the_feed_goes_the_way_that_is_meant(name, way):
    text = re.sub(r'(feed *= *)"(climb|conventional)"', rf'\1"{way}"', (SCENARIOS / name).read_text())
    assert f'"{way}"' in text
    for member in plan(read_job_text(text), top=2).members:
        for planned in member.setups:
            assert planned.proof.computed.outcome.feed.value == way
            assert "feed-other-way" not in {finding.code for finding in planned.proof.findings}


@pytest.mark.parametrize("way", ["climb", "conventional"])
@pytest.mark.parametrize("hob", ["right", "left"])
@pytest.mark.parametrize("name", ["03-no-differential", "04-moon-wheel"])
def test_ratios_that_hang_together_are_found_for_every_hand_and_way(name, hob, way):
    text = re.sub(r'(feed *= *)"(climb|conventional)"', rf'\1"{way}"', (SCENARIOS / name / "job.toml").read_text())
    job = read_job_text(text)
    job = replace(job, hob=replace(job.hob, hand=Hand[hob.upper()]))
    for member in plan(job, top=1).members:
        (planned,) = member.setups
        assert planned.proof.computed.outcome.feed.value == way
        assert abs(planned.helix_slope_um) < 0.1


def test_of_two_set_ups_alike_on_the_flank_the_one_whose_lever_s_plate_is_true_comes_first():
    """The other one needs an idler, and its feed lever stands at "up" while the slide goes down."""
    job = read_job_text("""
format = "job/1"
machine = "vaskerby-12"
[work]
kind = "sprocket"
teeth = 23
pitch = 15.875
roller_diameter = 10.16
face_width = 9
[hob]
pitch = 15.875
lead_angle = "3d 40m"
outside_diameter = 90
""")
    (member,) = plan(job, top=1).members
    best = member.setups[0]
    assert not misread_levers(best.proof.case)
    assert not best.setup.change["feed gears"].idlers


def test_an_idler_is_mounted_rather_than_a_lever_left_whose_plate_is_false():
    """With a left-hand hob the table turns the other way, and a slide geared from it too: plates hold for a right one."""
    text = 'format="job/1"\nmachine="vaskerby-12"\n[work]\nkind="spur"\nteeth=30\nmodule=2\nface_width=20\n'
    job = read_job_text(f'{text}[hob]\nmodule=2\nhand="left"\ndiameter=60\n')
    # One pair turns the sense over by itself; a bracket that takes two pairs alone needs the idler for it.
    two = replace(job.machine.train.link("feed gears"), pairs=(2,))
    machine = replace(job.machine, train=job.machine.train.replacing(two))
    best = plan(job, machine, top=1).members[0].setups[0]
    assert best.setup.change["feed gears"].idlers
    assert not misread_levers(best.proof.case)
