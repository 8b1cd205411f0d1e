"""What is advised is done on the machine in simulation: the finding goes, and nothing else goes wrong."""

import json
import re
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from handlead.kinematics.frame.words import Feed
from handlead.kinematics.links.mounted import Mounted
from handlead.kinematics.train.setup import Setup
from handlead.kinematics.transfer.roles import Role
from handlead.machines.job_files.job_file import read_job
from handlead.machines.judging.checks import JOB_CHECKS
from handlead.machines.proving import trials
from handlead.machines.proving.proof import prove, prove_case
from handlead.machines.setups.case import Case
from handlead.machines.setups.mending import carried_out
from wrong_set_ups import jobs, made_up_jobs, wrong_jobs

ROOT = Path(__file__).parents[2]
CASES = ROOT / "tests" / "cases"


def errors(found):
    return [finding for finding in found if finding.severity == "error"]


def follow(proof):
    """Follow every remedy alone, and all of them together."""
    wanted = proof.correction
    if wanted is None:
        return
    beyond_help = {finding.message for check in JOB_CHECKS for finding in check(proof.case)}
    left = errors(prove_case(carried_out(proof.case, wanted.steps)).judged)
    assert {finding.message for finding in left} <= beyond_help, left
    before = {finding.code for finding in errors(proof.judged)}
    assert {step for _, steps in wanted.parts for step in steps} == set(wanted.steps)
    for finding, steps in wanted.parts:
        advised = next(each for each in proof.findings if (each.code, each.message) == (finding.code, finding.message))
        assert advised.remedy == " ".join(step.words for step in steps)
        after = prove_case(carried_out(proof.case, steps)).judged
        assert (finding.code, finding.message) not in {(each.code, each.message) for each in after}
        same = [each for each in proof.judged if each.code == finding.code]
        assert sum(each.code == finding.code for each in after) < len(same), (finding, after)
        assert {each.code for each in errors(after)} <= before, (finding, steps, after)


def untried(proof):
    """What the remedies that nobody tried say."""
    tried = {finding.message for finding, _ in (proof.correction.parts if proof.correction else ())}
    return [finding.remedy for finding in errors(proof.findings) if finding.message not in tried]


#: How a remedy would name a gear, an idler, a lever, a ratio or an angle as the cure.
NAMED = re.compile(r"\d|lever \"|idlers? (in|out)|[Ee]xchange|end for end|[Mm]ount \d|[Ss]wing")


def test_every_remedy_of_the_orders_and_cases_does_what_it_says():
    wrong = [proof for job in jobs() if (proof := prove(job)).correction]
    assert len(wrong) >= 25
    for proof in wrong:
        follow(proof)
        assert not any(NAMED.search(remedy) for remedy in untried(proof)), untried(proof)


def same_hob(proof):
    """Nothing that is advised turns the hob over, so that its cutting faces would look backwards."""
    if proof.correction and not any(finding.code == "idlers-not-allowed" for finding in proof.judged):
        then = carried_out(proof.case, proof.correction.steps)
        if then.setup.drive == proof.case.setup.drive:
            ways = (case.solution.end_rate("hob") or 0 for case in (proof.case, then))
            assert next(ways) * next(ways) >= 0


def corpus(number, seed, right=()):
    found = 0
    for words, job in wrong_jobs(number, seed, right):
        proof = prove(job)
        try:
            follow(proof)
            same_hob(proof)
            assert not any(NAMED.search(remedy) for remedy in untried(proof)), untried(proof)
            if not any(role is Role.DIFFERENTIAL for role in proof.case.roles.values()):
                assert not any("differential" in finding.remedy for finding in proof.findings) or any(
                    "differential" in name for name in job.machine.levers
                )
        except AssertionError as fault:
            raise AssertionError(f"{words}: {fault}") from fault
        found += proof.correction is not None
    return found


def test_what_is_advised_for_set_ups_made_wrong_by_chance_does_what_it_says():
    assert corpus(25, 7) >= 22


def test_what_is_advised_on_machines_that_nobody_wrote_down_does_what_it_says():
    assert corpus(25, 3, made_up_jobs(6, 3)) >= 22


@pytest.mark.slow
def test_what_is_advised_for_three_hundred_set_ups_made_wrong_by_chance_does_what_it_says():
    assert corpus(300, 1) >= 280


# ---------------------------------------------------------------- one by one


def remedies(job):
    return {finding.code: finding.remedy for finding in errors(prove(job).findings)}


def changed(job, **change):
    setup = replace(job.setup, change={**job.setup.change, **change})
    return replace(job, setup=setup)


def test_a_machine_without_a_differential_is_told_of_the_one_gear_that_is_wrong_and_of_no_differential():
    proof = prove(read_job(CASES / "wexcombe-wrong-feed.toml"))
    (finding,) = errors(proof.findings)
    assert finding.remedy.startswith('In "feed gears" mount 37 in place of 36: it should read 64/24 · 28/37.')
    assert "in per table turn" in finding.remedy
    assert not any("differential" in each.message + each.remedy for each in proof.findings)


def test_where_the_lead_is_in_the_index_gears_the_one_that_is_owned_brings_it_back():
    """35/40 · 55/40 = 77/64; the count alone would ask for 6/5, and cut straight teeth."""
    found = remedies(read_job(CASES / "wexcombe-not-owned.toml"))
    assert set(found) == {"spaces-dont-meet", "gear-not-owned"}
    assert set(found.values()) == {'In "index gears" mount 40 in place of 41: it should read 35/40 · 55/40.'}


def test_a_ratio_that_no_gears_at_hand_come_to_is_the_one_that_the_feed_asks_for():
    job = read_job(CASES / "wexcombe-not-owned.toml")
    bare = replace(job.machine, gear_sets=tuple(replace(one, teeth=(24, 28, 35, 37, 40, 64)) for one in job.machine.gear_sets))
    found = remedies(replace(job, machine=bare))
    assert "77/64" in found["spaces-dont-meet"] or "1.203" in found["spaces-dont-meet"], found
    assert "6/5" not in "".join(found.values())


def test_two_slips_at_once_are_mended_at_once_and_each_finding_has_its_part():
    job = read_job(ROOT / "scenarios" / "27-hob-of-other-hand" / "job.toml")
    found = remedies(job)
    # The idler turns the slide over with the table: without the lever the feed would be the other way than was meant.
    assert 'Put lever "feed" to "down"' in found["table-against-hob"]
    assert 'Add an idler in "index gears"' in found["table-against-hob"]
    assert found["swivel-wrong-way"].startswith("Swing the head to 3° 49' clockwise")


def test_an_idler_that_is_advised_lies_in_the_drawer_and_fits():
    job = read_job(ROOT / "scenarios" / "21-idler-left-out" / "job.toml")
    (step,) = prove(job).correction.steps
    ((name, mounted),) = step.change.mounted.items()
    assert f"({mounted.idlers[0]} teeth will do)" in step.words
    assert prove(replace(job, setup=step.on(job.setup))).is_as_wanted
    assert name == "differential gears"


def test_gears_of_two_brackets_that_stand_in_each_other_are_put_back():
    job = read_job(ROOT / "scenarios" / "01-fly-winch-pair" / "pinion.toml")
    index, feed = (job.setup.change[name].gears for name in ("index gears", "feed gears"))
    crossed = changed(
        job,
        **{"index gears": Mounted((*index[:3], feed[3])), "feed gears": Mounted((*feed[:3], index[3]))},
    )
    assert any("they should read 25/40 · 48/23 and 24/60 · 58/29" in remedy for remedy in remedies(crossed).values())


def test_what_comes_of_the_feed_is_said_where_its_gears_change():
    job = read_job(ROOT / "scenarios" / "40-feed-gears-forgotten" / "job.toml")
    (remedy,) = remedies(job).values()
    assert remedy.startswith('No change gears are mounted in "feed gears": mount ')
    assert remedy.endswith("mm per table turn.")


def test_a_hob_that_doesnt_suit_hides_nothing_that_gears_can_mend():
    job = read_job(ROOT / "scenarios" / "21-idler-left-out" / "job.toml")
    other = replace(job, hob=replace(job.hob, pressure_angle_deg=job.hob.pressure_angle_deg - 5))
    found = remedies(other)
    assert set(found) == {"hob-doesnt-suit", "wrong-hand"}
    assert found["wrong-hand"].startswith("Add an idler")


def unlimited(job):
    return replace(job, machine=replace(job.machine, limits=replace(job.machine.limits, feed_mm_per_table_turn=None)))


def test_a_feed_that_no_hob_stands_is_warned_of_and_mended_where_the_machine_file_sets_no_limit():
    job = unlimited(read_job(ROOT / "scenarios" / "01-fly-winch-pair" / "pinion.toml"))
    wild = changed(job, **{"feed gears": Mounted((60, 24, 96, 20))})
    (finding,) = (each for each in prove(wild).findings if each.code == "feed-out-of-measure")
    assert finding.severity == "warning"
    assert finding.facts["feed_mm_per_table_turn"] > 12
    assert '"feed gears"' in finding.remedy
    done = carried_out(Case.of(wild), prove(wild).correction.steps)
    assert prove_case(done).is_as_wanted
    assert done.outcome.sliding_feed < 6
    assert "feed-out-of-measure" not in {each.code for each in prove(job).findings}


def test_an_idler_in_the_speed_gears_is_never_taken_out_to_turn_the_hob_over():
    """It would free the gear that is used twice, and leave the hob cutting with the backs of its teeth."""
    job = next(job for job in made_up_jobs(15, 5) if job.setup.change["speed gears"].idlers == (23,))
    feed = job.setup.change["feed gears"]
    place = feed.gears.index(22)
    twice = changed(job, **{"feed gears": replace(feed, gears=(*feed.gears[:place], 23, *feed.gears[place + 1 :]))})
    proof = prove(twice)
    assert "gear-used-twice" in {each.code for each in errors(proof.judged)}
    same_hob(proof)
    assert proof.correction.steps


def test_what_wont_mount_is_told_in_the_units_of_the_job():
    inch, metric = (
        read_job(ROOT / "scenarios" / folder / "job.toml") for folder in ("08-inch-winch", "41-gear-against-the-stud")
    )
    crammed = changed(inch, **{"index gears": Mounted((24, 27, 95, 90))})
    for job, ours, theirs in ((crammed, " in ", " mm"), (metric, " mm ", " in ")):
        (message,) = (each.message for each in errors(prove(job).judged) if each.code == "wont-mount")
        reason = message.partition(": ")[2]
        assert ours in reason
        assert theirs not in reason


def test_a_long_loop_that_holds_itself_fast_is_told_by_what_a_lever_frees():
    (finding,) = errors(prove(read_job(ROOT / "scenarios" / "30-brake-and-clutch" / "job.toml")).findings)
    assert 'What fights is "' in finding.message
    assert len(finding.message) < 200
    assert {"cage brake", "cage clutch"} <= set(finding.facts["links"])
    assert all(name in finding.message for name in ("cage brake", "cage clutch"))


def test_the_head_of_a_level_machine_is_swung_in_the_machines_own_words():
    level = read_job(CASES / "wexcombe-pair.toml")
    upright = read_job(ROOT / "scenarios" / "01-fly-winch-pair" / "pinion.toml")
    for job, ends in ((level, True), (upright, False)):
        (remedy,) = remedies(replace(job, setup=replace(job.setup, swivel_deg=-job.setup.swivel_deg))).values()
        assert remedy.startswith("Swing the head to ")
        assert (", right-hand end towards the headstock" in remedy) is ends


def test_two_brackets_in_one_train_are_mended_each():
    """The loose pair ahead of the index gears decides the count with them."""
    job = read_job(CASES / "tarnholm-left.toml")
    setup = Setup(
        drive="main", swivel_deg=Fraction(1019, 60), feed=Feed.CONVENTIONAL, levers={"black knob": "pulled"},
        change={
            "e f gears": Mounted((41, 48)), "index gears": Mounted((20, 24, 24, 25)),
            "feed gears": Mounted((20, 25, 30, 36)), "differential gears": Mounted((40, 90, 95, 41)),
        },
    )  # fmt: skip
    proof = prove(replace(job, setup=setup))
    (step,) = proof.correction.steps
    assert step.words == 'In "e f gears" mount 48 in place of 41: it should read 48/48.'
    assert prove(replace(job, setup=step.on(setup))).is_as_wanted


def test_a_feed_that_cant_be_turned_over_with_the_gears_at_hand_is_no_reason_to_spoil_the_teeth():
    """Without a differential the index gears would have to be others, and none of the box come to them."""
    job = read_job(CASES / "wexcombe-pair-mate.toml")
    proof = prove(replace(job, setup=replace(job.setup, feed=Feed.CLIMB)))
    assert proof.is_as_wanted
    (finding,) = (each for each in proof.findings if each.code == "feed-other-way")
    assert not NAMED.search(finding.remedy)


def test_programs_are_told_each_step_and_what_it_changes():
    job = read_job(ROOT / "scenarios" / "27-hob-of-other-hand" / "job.toml")
    swing, _, idler = json.loads(json.dumps(prove(job).as_json()))["correction"]
    assert swing["swivel_deg"] == pytest.approx(-3.8167, abs=1e-4)
    assert idler["change"]["index gears"]["gears"] == [40, 34, 50, 30]
    assert len(idler["change"]["index gears"]["idlers"]) == 1
    assert prove(read_job(ROOT / "scenarios" / "05-two-start-hob" / "job.toml")).as_json()["correction"] is None


def test_a_verdict_alone_tries_nothing(monkeypatch):
    def tried(case, steps):
        raise AssertionError("a changed set-up was tried")

    monkeypatch.setattr(trials, "carried_out", tried)
    proof = prove(read_job(ROOT / "scenarios" / "21-idler-left-out" / "job.toml"))
    assert proof.verdict == "not as wanted"
    assert {finding.code for finding in errors(proof.judged)} == {"wrong-hand"}
