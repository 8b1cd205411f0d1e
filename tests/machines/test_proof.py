"""A proof says what is wrong, and what it advises has been tried first."""

import itertools
from dataclasses import replace
from fractions import Fraction as F
from pathlib import Path

import pytest
from handlead.machines.job_files.job_file import read_job_text
from handlead.machines.judging.result_checks import misread_levers
from handlead.machines.machine_files.machine_file import read_machine_text
from handlead.machines.proving.proof import prove
from handlead.machines.setups.case import Case, cuts_wanted
from handlead.machines.setups.mending import carried_out
from handlead.machines.toml.errors import NoSetup

SHIPPED = Path(__file__).parents[2] / "machines" / "shipped"

PINION = """
format = "job/1"
title = "trial pinion"
machine = "corvane-7"
[work]
kind = "helical"
teeth = 29
module = 3
helix_angle = 25
hand = "right"
face_width = 40
[hob]
module = 3
starts = 1
hand = "right"
diameter = 80
outside_diameter = 87.5
gashes = 10
[setup]
swivel = { angle = "22d 51m", turn = "clockwise" }
feed = "climb"
[setup.levers]
differential = "in"
[setup.change]
"index gears" = { gears = [40, 58, 60, 40] }
"feed gears" = { gears = [20, 60], idlers = [] }
"differential gears" = { gears = [37, 55, 50, 25] }
"speed gears" = { gears = [24, 48] }
"""


def proof_of(text, *changes):
    for before, after in changes:
        assert before in text, before
        text = text.replace(before, after)
    return prove(read_job_text(text))


def codes(proof, severity="error"):
    return {finding.code for finding in proof.findings if finding.severity == severity}


def test_a_right_set_up_is_as_wanted():
    proof = proof_of(PINION)
    assert proof.is_as_wanted, proof.findings
    gear = proof.computed.outcome
    assert (gear.teeth, gear.hand.word) == (29, "right")
    # By hand: the machine's rule is 30 = gears * k * p_x, so p_x = 30 / (37/25 * 50/55) and L = 29 p_x.
    assert gear.lead == 29 * 30 / (F(37, 25) * F(50, 55))


@pytest.mark.parametrize(
    ("change", "code", "advice"),
    [
        (("gears = [37, 55, 50, 25] }", "gears = [37, 55, 50, 25], idlers = [44] }"), "wrong-hand", 'idler out of "diff'),
        (("gears = [40, 58, 60, 40]", "gears = [58, 40, 40, 60]"), "wrong-count", 'Exchange 58 and 60 in "index gears"'),
        (('differential = "in"', 'differential = "out"'), "wrong-lead", 'lever "differential" to "in"'),
        (('turn = "clockwise"', 'turn = "counter-clockwise"'), "swivel-wrong-way", "22° 51' clockwise"),
        (('"22d 51m"', '"25d"'), "swivel-off", "22° 51' clockwise"),
        (("40, 58, 60, 40] }", "40, 58, 60, 40], idlers = [44] }"), "table-against-hob", 'idler out of "index gears"'),
        (("gears = [20, 60], idlers", "gears = [20, 58], idlers"), "gear-used-twice", 'In "feed gears" mount 57 in place of 58'),
        (("gears = [20, 60], idlers", "gears = [21, 63], idlers"), "gear-not-owned", 'In "feed gears" mount 20 in place of 21'),
        (('"speed gears" = { gears = [24, 48] }', ""), "not-driven", '"speed gears"'),
        (('differential = "in"', 'differential = "in"\n"feed clutch" = "out"'), "not-driven", '"feed clutch" to "in"'),
        (("gears = [20, 60], idlers = []", "gears = [20, 60], idlers = [30, 31]"), "idlers-not-allowed", 'an idler out of "feed gears"'),
        (("gears = [40, 58, 60, 40]", "gears = [60, 58]"), "pairs-not-allowed", 'Mount 45/29 · 20/30 in "index gears"'),
        (("[hob]\nmodule = 3", "[hob]\nmodule = 2.75"), "hob-doesnt-suit", "normal module"),
        (("gashes = 10", "gashes = 10\npressure_angle = 14.5"), "hob-doesnt-suit", "pressure angle"),
        (("gears = [24, 48]", "gears = [48, 24]"), "beyond-limits", 'Exchange 48 and 24 in "speed gears"'),
    ],
)
def test_each_slip_is_named_with_what_to_do(change, code, advice):
    proof = proof_of(PINION, change)
    assert not proof.is_as_wanted
    assert code in codes(proof)
    assert any(advice in finding.remedy for finding in proof.findings if finding.code == code), proof.findings


def test_a_feed_that_runs_the_other_way_is_a_warning_and_leaves_the_verdict():
    proof = proof_of(PINION, ('feed = "climb"', 'feed = "conventional"'))
    assert codes(proof, "warning") == {"feed-other-way"}
    assert proof.is_as_wanted


def test_a_job_without_a_set_up_has_nothing_to_prove():
    with pytest.raises(NoSetup, match="one to plan"):
        prove(read_job_text(PINION[: PINION.index("[setup]")]))


def test_what_is_advised_makes_the_set_up_right():
    proof = proof_of(PINION, ("50, 25] }", "50, 25], idlers = [44] }"))
    assert not cuts_wanted(proof.case.job.work, proof.case.outcome)
    mended = carried_out(proof.case, proof.correction.steps)
    assert cuts_wanted(mended.job.work, mended.outcome)


def test_spur_work_with_the_differential_left_in_is_told_so():
    spur = PINION.replace('kind = "helical"', 'kind = "spur"').replace("helix_angle = 25\nhand = \"right\"\n", "", 1)
    proof = proof_of(spur, ('"22d 51m", turn = "clockwise"', '"2d 9m", turn = "counter-clockwise"'))
    assert {"wrong-lead", "differential-left-in"} <= codes(proof)
    assert proof_of(
        spur,
        ('"22d 51m", turn = "clockwise"', '"2d 9m", turn = "counter-clockwise"'),
        ('differential = "in"', 'differential = "out"'),
    ).is_as_wanted


def test_the_json_of_a_proof_follows_the_contract():
    value = proof_of(PINION).as_json()
    assert value["verdict"] == "as wanted"
    assert value["train"]["table_per_hob"] == "-1/29"
    assert value["train"]["feed_mm_per_table_turn"] == "1"
    assert value["train"]["climb"] in (True, False)
    assert F(value["train"]["lead_exact"]) == 29 * 30 / (F(37, 25) * F(50, 55))
    assert set(value["findings"][0] if value["findings"] else {}) <= {"code", "severity", "message", "remedy", "facts"}


def test_a_tolerance_of_the_class_decides_whether_a_lead_will_do():
    # 37/25 * 50/55 = 74/55 = 1.34545...; class 8 takes it, class 1 over a wide face doesn't.
    fine = proof_of(PINION, ("face_width = 40", "face_width = 200\nquality = 1"))
    assert "wrong-lead" in codes(fine)


def test_only_a_lever_that_bears_on_the_slide_is_held_against_its_way():
    """A lamp's lever has the same words on its plate."""
    name = "corvane-7"
    (file,) = (path for path in SHIPPED.glob("*.toml") if path.stem == name)
    lamp = '[levers.lamp]\nnormal = "up"\n[levers.lamp.positions]\nup = {}\ndown = {}\n\n[levers.feed]'
    lit = read_machine_text(file.read_text().replace("[levers.feed]", lamp))
    job = read_job_text(PINION)
    found = []
    for feed, idlers in itertools.product(("up", "down"), ((), (30,))):
        change = {**job.setup.change, "feed gears": replace(job.setup.change["feed gears"], idlers=idlers)}
        setup = replace(job.setup, levers={"differential": "in", "feed": feed}, change=change)
        found.append(set(misread_levers(Case.of(replace(job, machine=lit, setup=setup), setup))))
    # The plate of the feed lever holds with the idler or without it, never with both.
    assert found.count({"feed"}) == 2
    assert found.count(set()) == 2


def test_a_hob_known_over_its_tips_has_the_lead_angle_that_these_leave():
    # d_0 = 87.5 - 2 * 3.75 = 80: sin of the lead angle 3/80, 2 degrees 9 minutes (handbooks of hobbing, from memory).
    bare = ("diameter = 80\noutside_diameter = 87.5", "outside_diameter = 87.5")
    assert "swivel-off" not in codes(proof_of(PINION, bare))
    assert "lead-angle-unknown" not in codes(proof_of(PINION, bare), "warning")
    level = ('swivel = { angle = "22d 51m", turn = "clockwise" }', 'swivel = { angle = "25d", turn = "clockwise" }')
    assert "swivel-off" in codes(proof_of(PINION, bare, level))


@pytest.mark.parametrize(
    ("change", "advised"),
    [
        # Two gears of one stud on each other's places.
        (("gears = [37, 55, 50, 25]", "gears = [37, 50, 55, 25]"), 'Exchange 50 and 55 in "differential gears"'),
        # Gears forgotten where no lever makes up for them.
        (('"differential gears" = { gears = [37, 55, 50, 25] }\n', ""), 'No change gears are mounted in "differential gears"'),
    ],
)
def test_an_ordinary_slip_is_named_and_no_lever_that_leads_in_a_circle(change, advised):
    remedies = {finding.remedy for finding in proof_of(PINION, change).findings if finding.severity == "error"}
    assert all(remedy.startswith(advised) for remedy in remedies), remedies


def test_teeth_of_a_large_profile_shift_are_measured_all_the_same():
    """The reference circle lies below their involute."""
    text = (SHIPPED.parents[1] / "scenarios" / "05-two-start-hob" / "job.toml").read_text()
    proof = prove(read_job_text(text.replace("face_width", "profile_shift = 1.3\nface_width", 1)), cut="scratch")
    assert proof.cut.flanks is not None
    assert proof.cut.flanks.single_pitch_um == pytest.approx(0, abs=1)
    assert proof.cut.flanks.quality is not None


@pytest.mark.parametrize("meant", ["climb", "conventional"])
def test_a_feed_put_to_neutral_is_put_to_the_way_that_was_meant(meant):
    """Either way cuts the pair's lead; only one of them is the feed that the job asks for."""
    text = (SHIPPED.parents[1] / "scenarios" / "08-inch-winch" / "job.toml").read_text()
    ways = {way: text.replace('feed = "down"', f'feed = "{way}"') for way in ("up", "down")}
    feeds = {way: prove(read_job_text(job)).computed.outcome.feed.value for way, job in ways.items()}
    (right,) = (way for way, feed in feeds.items() if feed == meant)
    idle = text.replace('feed = "down"', 'feed = "neutral"')
    idle = idle.replace('feed   = "conventional"', f'feed   = "{meant}"')
    assert f'"{meant}"' in idle
    remedies = {finding.remedy for finding in prove(read_job_text(idle)).findings if finding.severity == "error"}
    assert remedies == {f'Put lever "feed" to "{right}" (it stands at "neutral").'}


def test_work_that_nothing_feeds_has_no_hand_but_for_a_worm_wheel():
    text = (SHIPPED.parents[1] / "scenarios" / "03-no-differential" / "job.toml").read_text()
    (line,) = (line for line in text.splitlines() if line.startswith('"feed gears"'))
    outcome = prove(read_job_text(text.replace(line, ""))).computed.outcome
    assert outcome.feed_slide is None
    assert outcome.hand is None


def test_no_lever_is_advised_that_leaves_a_worm_driven_backwards():
    """Another step of the belt leaves the rapid motor against the feed worm as it is."""
    text = (SHIPPED.parents[1] / "scenarios" / "31-rapid-against-the-worm" / "job.toml").read_text()
    findings = [each for each in prove(read_job_text(text)).findings if each.code == "worm-driven-backwards"]
    (remedy,) = {each.remedy for each in findings}
    assert remedy.startswith("Draw the hob clear by hand, and put lever")
    assert 'lever "feed clutch" to "out" (it stands at "in") before "rapid" runs' in remedy
    assert 'which "main" drives' in remedy
