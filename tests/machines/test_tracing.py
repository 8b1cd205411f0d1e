"""Tracing as a shop does it: what it can see on a tooth, how it answers, and what it is told at the end."""

import math
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from random import Random

import pytest
import reference_machine as reference
from handlead.kinematics.frame.words import Hand
from handlead.kinematics.law.light_cut import light_marks
from handlead.kinematics.slips.evidence import BlankSeen, Evidence, Measure, Word
from handlead.kinematics.slips.faults import find_faults
from handlead.kinematics.suspects.causes import combined
from handlead.kinematics.suspects.pairs import may_explain
from handlead.machines import read_job
from handlead.machines.job_files.job_file import Seen, SeenCheck
from handlead.machines.toml.errors import FileFault
from handlead.machines.tracing.diagnosis import AS_WANTED, EXPLAINED, NOT_EXPLAINED, trace, with_answer
from handlead.machines.tracing.fault_table import fault_table
from handlead.machines.tracing.studied import study_of
from made_up import right_job

ROOT = Path(__file__).parents[2]
SCENARIOS, CASES = ROOT / "scenarios", ROOT / "tests" / "cases"
WHEEL = SCENARIOS / "01-fly-winch-pair" / "wheel.toml"


def helical(tmp_path, seen=""):
    return reference.read(reference.job_text(*reference.HELICAL, seen), tmp_path)


def kinds(suspect):
    return [fault.kind.kind for fault in suspect.faults]


def check_of(found, looks_at, where=""):
    return next(check for check in found.checks if (check.looks_at, check.where) == (looks_at, where))


# ---------------------------------------------------------------- cases


def test_a_range_lever_at_many_teeth_is_named_first_and_alone():
    found = trace(read_job(CASES / "hallowick-range-seen.toml"))
    assert found.verdict == EXPLAINED
    first = found.suspects[0]
    assert [(fault.kind.kind, fault.where) for fault in first.faults] == [("lever-wrong", "range")]
    # No helix angle of this module has the lead; the rates and a protractor at the outside tell it all the same.
    assert (first.view.teeth, first.view.hand, first.view.lead) == (63, "right", Fraction("494.1"))
    assert all(len(suspect.faults) == 1 for suspect in found.explanation.groups[0])


@pytest.mark.parametrize(("key", "verdict"), [("outside_helix_angle", AS_WANTED), ("helix_angle", EXPLAINED)])
def test_the_lean_at_the_outside_has_a_key_of_its_own(key, verdict, tmp_path):
    for name in ("wexcombe-0.toml", "wexcombe-good-lean.toml"):
        text = (CASES / name).read_text()
        (tmp_path / name).write_text(text.replace("\nhelix_angle = 15.83", f"\n{key} = 15.83"))
    assert trace(read_job(tmp_path / "wexcombe-good-lean.toml")).verdict == verdict


def test_the_lean_at_the_outside_is_the_screws_there():
    # A lead of 1000 mm on 100 mm: atan(100 pi / 1000), 17.4406 degrees.
    assert BlankSeen(100.0).lean_outside_deg(1000.0, "left") == pytest.approx(17.4406, abs=1e-4)
    assert BlankSeen(100.0).lean_outside_deg(None, "none") == 0
    assert BlankSeen(100.0).lean_outside_deg(None, None) is None


# ---------------------------------------------------------------- drive, hob, and the other member's gears


def test_table_and_slide_both_seen_reversed_is_the_drive_first():
    job = read_job(WHEEL)
    meant = trace(job.with_seen(Seen(teeth=job.work.teeth))).meant.view
    turned = {"clockwise": "counter-clockwise", "counter-clockwise": "clockwise", "up": "down", "down": "up"}
    seen = Seen(
        job.work.teeth, job.work.hand, table_turned=turned[meant.table_way], slide_moved=turned[meant.slide_way]
    )
    found = trace(job.with_seen(seen))
    assert kinds(found.suspects[0]) == ["drive-reversed"]
    assert "rubbed" in found.suspects[0].view.marks


def test_a_hob_end_for_end_rubs_and_turns_nothing_over():
    job = read_job(WHEEL)
    meant = trace(job.with_seen(Seen(teeth=job.work.teeth))).meant.view
    found = trace(
        job.with_seen(Seen(job.work.teeth, table_turned=meant.table_way, slide_moved=meant.slide_way, marks="rubbed"))
    )
    assert kinds(found.suspects[0]) == ["hob-end-for-end"]


def test_the_mates_index_gears_left_in_cut_its_count():
    job = read_job(SCENARIOS / "01-fly-winch-pair" / "pinion.toml")
    found = trace(job.with_seen(Seen(job.mate.teeth, job.work.hand)))
    named = [fault for suspect in found.suspects for fault in suspect.faults if fault.kind.kind == "mates-gears-left"]
    assert named
    assert "index" in named[0].where


# ---------------------------------------------------------------- what is seen on a tooth


def test_a_thin_tooth_speaks_for_a_head_that_is_off():
    job = read_job(WHEEL)
    seen = Seen(job.work.teeth, job.work.hand, marks="clean")
    radius = float(job.hob.diameter) / 2
    for off in (1.0, 2.0):
        thin = -math.radians(off) ** 2 * radius / math.tan(math.radians(20))
        found = trace(job.with_seen(replace(seen, thickness_miss=Fraction(thin), within={"thickness_miss": Fraction(1, 200)})))
        swivels = [suspect for suspect in found.suspects if kinds(suspect) == ["swivel-off"]]
        assert {round(abs(s.outcome.swivel_error_deg), 1) for s in swivels} == {off}


@pytest.mark.parametrize(
    ("seen", "kind"),
    [
        ({"thickness_miss": Fraction(-1, 2)}, "cut-too-deep"),
        ({"span_miss": Fraction(1, 4)}, "cut-not-deep-enough"),
        ({"depth_miss": Fraction(1, 2)}, "cut-too-deep"),
        ({"depth_miss": Fraction(-1, 2)}, "cut-not-deep-enough"),
        ({"runs_out": True}, "work-runs-out"),
        ({"one_tooth_out": True}, "work-slipped"),
        ({"meshes": False, "thickness_miss": Fraction(1, 5)}, "cut-not-deep-enough"),
    ],
)
def test_what_is_seen_on_a_tooth_is_traced(seen, kind):
    job = read_job(WHEEL)
    found = trace(job.with_seen(replace(Seen(job.work.teeth, job.work.hand), **seen)))
    assert found.verdict == EXPLAINED
    first = {k for suspect in found.explanation.groups[0] for k in kinds(suspect)}
    assert kind in first


def test_what_nobody_looked_at_is_said():
    job = read_job(WHEEL)
    found = trace(job.with_seen(Seen(job.work.teeth)))
    assert found.verdict == AS_WANTED
    assert "the count" not in found.unseen
    assert {"the hand", "the thickness of the teeth", "whether it runs with its mate"} <= set(found.unseen)


def test_a_clean_finish_is_weak_evidence_within_three_degrees(tmp_path):
    job = helical(tmp_path)
    seen = Seen(40, Hand.RIGHT, helix_angle_deg=Fraction(25, 2))
    swivel = job.setup.swivel_deg
    for off, stays in ((2, True), (5, False)):
        tilted = job.with_setup(replace(job.setup, swivel_deg=swivel + off))
        study = study_of(tilted, fault_table())
        _, view = study.view(study.base, study.running)
        assert ("clean" in view.marks | view.weak_marks) is stays
        assert ("spoilt" in view.marks) is not stays
    assert trace(job.with_seen(replace(seen, marks="clean"))).verdict == AS_WANTED


def test_marks_that_stand_out_several_times_as_many_are_taken_for_a_count():
    random, tried = Random(3), 0
    while tried < 2:
        job = right_job(random)
        study = study_of(job, fault_table())
        for fault in find_faults(fault_table().kinds, study):
            standing = study.base.changed(fault.changes)
            running = study.bench.running(standing)
            outcome = running and study.bench.outcome(standing, running)
            if not outcome or outcome.is_steady or outcome.teeth is None or fault.kind.kind == "something-slips":
                continue
            marks = light_marks(running.rates, job.work, standing.hob, float(standing.swivel_deg))
            if marks is None or marks.turns < 2:
                continue
            found = trace(job.with_seen(Seen(marks.count)))
            assert standing.key in {suspect.standing.key for suspect in found.suspects}
            tried += 1
            break


# ---------------------------------------------------------------- looking again, and the end


def test_one_cause_left_is_looked_at_before_it_is_sure():
    job = read_job(WHEEL).with_seen(Seen(74, Hand.RIGHT))
    found = trace(job)
    assert not found.is_certain
    assert 0 < found.explanation.unknown < 0.5
    truth = found.suspects[0]
    for _ in range(8):
        if found.next is None:
            break
        job = with_answer(job, found.next.check, found.next.check.outcome(truth.scene))
        found = trace(job)
    assert found.is_certain
    assert [suspect.standing.key for suspect in found.suspects] == [truth.standing.key]
    assert any("right" in line or "Mount" in line for line in found.cure)
    assert any(line.startswith("Tried in simulation") for line in found.cure)


def test_a_machine_that_stands_as_it_is_written_refutes_every_cause():
    job = read_job(WHEEL).with_seen(Seen(71, Hand.LEFT))
    found = trace(job)
    meant = found.meant.scene
    for _ in range(20):
        if found.next is None:
            break
        check = found.next.check
        job = with_answer(job, check, "71" if check.looks_at == "count" else check.outcome(meant))
        found = trace(job)
    assert found.verdict == NOT_EXPLAINED
    assert not found.is_certain


def test_counting_again_takes_the_place_of_the_count():
    job = read_job(WHEEL).with_seen(Seen(75, Hand.LEFT))
    found = trace(job)
    assert "counted-wrong" in {kind for suspect in found.suspects for kind in kinds(suspect)}
    again = trace(with_answer(job, check_of(found, "count"), "74"))
    assert again.verdict == AS_WANTED


def test_not_sure_rules_nothing_out_and_is_not_asked_again():
    job = read_job(WHEEL).with_seen(Seen(71, Hand.LEFT))
    found = trace(job)
    check = found.next.check
    after = trace(with_answer(job, check, "not sure"))
    assert {s.standing.key for s in after.suspects} == {s.standing.key for s in found.suspects}
    assert after.next is None or after.next.check != check


@pytest.mark.parametrize(
    ("stamps", "fits"),
    [
        ("20 37 30 40", True), ("20/37, 30/40", True), ("20 37 30 40, no idlers", True), ("20-37-30-40", True),
        ("20 37 30 41", False), ("empty", False),
    ],
)  # fmt: skip
def test_gears_are_answered_as_they_are_stamped(stamps, fits):
    job = read_job(WHEEL).with_seen(Seen(74, Hand.RIGHT))
    check = check_of(trace(job), "stamps", "index gears")
    after = trace(with_answer(job, check, stamps))
    assert (after.verdict == EXPLAINED) is fits


@pytest.mark.parametrize(
    ("looks_at", "where", "answer", "words"),
    [
        ("lever", "feed", "sideways", "is no answer to this check"),
        ("stamps", "index gears", "20 37 30", "isn't gears"),
        ("stamps", "index gears", "rusty", "isn't gears"),
        ("drive", "", "yes", "is no answer to this check"),
    ],
)
def test_an_answer_that_cannot_be_read_is_complained_of_at_its_line(looks_at, where, answer, words, tmp_path):
    job = read_job(WHEEL)
    check = check_of(trace(job.with_seen(Seen(74, Hand.RIGHT))), looks_at, where)
    text = WHEEL.read_text() + f'\n[seen]\nteeth = 74\nhand = "right"\n[[seen.check]]\ndo = "{check.do}"\nfound = "{answer}"\n'
    (tmp_path / "job.toml").write_text(text)
    with pytest.raises(FileFault) as caught:
        trace(read_job(tmp_path / "job.toml"))
    (complaint,) = caught.value.complaints
    assert words in str(complaint)
    assert text.splitlines()[complaint.line - 1].startswith("found")


def test_a_mistake_that_is_written_comes_at_once():
    job = read_job(SCENARIOS / "21-idler-left-out" / "job.toml").with_seen(Seen(74, Hand.RIGHT))
    found = trace(job)
    assert found.suspects[0].weight > 0.95
    assert found.next.check.minutes <= 4
    assert found.cure


def test_checks_in_a_job_are_kept_with_what_was_found():
    job = read_job(WHEEL).with_seen(Seen(74, Hand.RIGHT))
    check = trace(job).next.check
    assert with_answer(job, check, "other").seen.checks == (SeenCheck(check.do, "other"),)
    assert trace(with_answer(job, check, "other")).verdict == NOT_EXPLAINED


# ---------------------------------------------------------------- any two slips


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_no_pair_that_leaves_what_was_seen_is_lost_in_the_sieve(seed):
    random = Random(seed)
    job, tried = right_job(random), 0
    study = study_of(job, fault_table())
    faults = find_faults(fault_table().kinds, study)
    gears = [fault for fault in faults if fault.kind.kind in ("gear-swapped", "hob-other-module", "idler-extra")]
    for _ in range(300):
        first, second = random.sample(gears, 2)
        changes = combined(first, second)
        standing = study.base.changed(changes or {})
        running = study.bench.running(standing)
        if changes is None or running is None or (first.kind.is_common and second.kind.is_common):
            continue
        _, view = study.view(standing, running)
        if not view.spaces_meet or view.helix_deg is None or view.hand not in ("right", "left"):
            continue
        evidence = Evidence(
            Measure(Fraction(view.teeth), Fraction(0)), Word(view.hand),
            helix=Measure(Fraction(view.helix_deg), Fraction(1, 100)),
        )  # fmt: skip
        passed = {frozenset(map(id, pair)) for pair in may_explain(study, faults, evidence)}
        assert frozenset((id(first), id(second))) in passed
        tried += 1
        if tried == 3:
            break
    assert tried or not job.work.is_helical


@pytest.mark.parametrize("seed", range(4))
def test_two_slips_whose_spaces_do_not_meet_are_kept_by_their_count_alone(seed):
    random = Random(seed)
    study = study_of(right_job(random), fault_table())
    faults = find_faults(fault_table().kinds, study)
    swapped = [fault for fault in faults if fault.kind.kind == "gear-swapped"]
    evidence, pairs = None, []
    for first, second in (random.sample(swapped, 2) for _ in range(200)):
        changes = combined(first, second)
        standing = study.base.changed(changes) if changes else None
        running = study.bench.running(standing) if standing else None
        if running is None or running.rates is None or not running.rates.table:
            continue
        _, view = study.view(standing, running)
        if view.teeth is None or view.spaces_meet or len(view.counts) != 2:
            continue
        evidence = Evidence(Measure(Fraction(min(view.counts)), Fraction(0)), spaces_meet=Word("no"))
        pairs = [frozenset(map(id, pair)) for pair in may_explain(study, faults, evidence)]
        assert frozenset((id(first), id(second))) in pairs
        return
    raise AssertionError("no two gears that leave spaces which don't meet")


def test_teeth_that_lean_a_little_are_less_likely_to_look_straight():
    job = read_job(WHEEL)
    study = study_of(job, fault_table())
    _, view = study.view(study.base, study.running)
    seen = Evidence(hand=Word("none"))
    straight, little, more, leaning = (
        seen.closeness(replace(view, helix_deg=lean, hand=hand))
        for lean, hand in ((0.0, "none"), (0.1, "left"), (0.4, "left"), (0.6, "left"))
    )
    assert straight == 1.0 > little > more > 0
    assert leaning is None


def test_what_was_reckoned_for_a_set_up_stays_while_answers_come_and_goes_with_another_set_up(tmp_path):
    job = helical(tmp_path, 'teeth = 40\nhand = "left"\nhelix_angle = 12.5')
    before = trace(job)
    study = study_of(job, fault_table())
    answered = with_answer(job, before.next.check, before.next.check.outcome(before.suspects[0].scene))
    assert study_of(answered, fault_table()) is study
    after = trace(answered)
    assert len(after.suspects) < len(before.suspects)
    again = trace(job)
    assert [(s.standing.key, s.weight) for s in again] == [(s.standing.key, s.weight) for s in before]
    other = answered.with_setup(replace(job.setup, swivel_deg=job.setup.swivel_deg + 1))
    assert study_of(other, fault_table()) is not study
    # What is seen decides anew, too.
    half = trace(job.with_seen(Seen(20, Hand.RIGHT)))
    assert half.suspects[0].view.teeth == 20


def test_two_gears_swapped_in_two_brackets_are_found_by_count_hand_and_lean():
    random = Random(1)
    job = right_job(random)
    while "differential" not in job.machine.levers or not job.work.is_helical:
        job = right_job(random)
    study = study_of(job, fault_table())
    swapped = [f for f in find_faults(fault_table().kinds, study) if f.kind.kind == "gear-swapped"]
    for _ in range(2000):
        first, second = random.sample(swapped, 2)
        changes = combined(first, second)
        if changes is None or {first.where, second.where} != {"index gears", "differential gears"}:
            continue
        standing = study.base.changed(changes)
        _, view = study.view(standing, study.bench.running(standing))
        if view.spaces_meet and view.hand == job.work.hand.word and view.teeth != job.work.teeth:
            found = trace(job.with_seen(Seen(view.teeth, job.work.hand, lead=view.lead, within={"lead": Fraction(1, 100)})))
            assert standing.key in {suspect.standing.key for suspect in found.suspects}
            return
    raise AssertionError("no two gears that leave spaces which meet")
