"""Tracing wrong cuts: known wrong cuts, planted faults, and whether what is said is true of the machine."""

import json
import math
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from random import Random

import pytest
import reference_machine as reference
from handlead.kinematics.frame.words import Hand
from handlead.kinematics.slips.faults import find_faults
from handlead.kinematics.suspects.causes import combined
from handlead.kinematics.suspects.suspects import SAME_LEAN_DEG, SAME_MISS
from handlead.machines import read_job
from handlead.machines.job_files.job_file import Seen, SeenCheck, read_job_text
from handlead.machines.judging.gear_checks import check_brackets, check_gears_owned, check_mounting
from handlead.machines.proving.proof import prove
from handlead.machines.setups.case import Case
from handlead.machines.tables.observed import Miss
from handlead.machines.toml.errors import FileFault
from handlead.machines.tracing.diagnosis import AS_WANTED, EXPLAINED, NOT_EXPLAINED, trace, with_answer
from handlead.machines.tracing.fault_table import fault_table, read_fault_table
from handlead.machines.tracing.seen_on_blank import evidence_of
from handlead.machines.tracing.studied import study_of
from handlead.machines.written.writing import job_text as written
from hypothesis import given, settings
from hypothesis import strategies as st
from made_up import right_job

SCENARIOS = Path(__file__).parents[2] / "scenarios"
DERIVED = "own derivation, checked independently against the reference machine's train by matrix elimination"


def spur(tmp_path, seen=""):
    return reference.read(reference.job_text(*reference.SPUR, seen), tmp_path)


def helical(tmp_path, seen=""):
    return reference.read(reference.job_text(*reference.HELICAL, seen), tmp_path)


def of_kind(job, kind, where=""):
    """What the first fault of a kind at a place leaves."""
    study = study_of(job, fault_table())
    for fault in find_faults(fault_table().kinds, study):
        if fault.kind.kind == kind and where in (fault.where, fault.detail):
            standing = study.base.changed(fault.changes)
            return study.bench.outcome(standing, study.bench.running(standing))
    raise AssertionError(f"{kind} can't happen at {where!r}")


# ---------------------------------------------------------------- known wrong cuts


def test_a_two_start_hob_on_a_single_start_set_up_cuts_twice_the_teeth(tmp_path):
    # Source: own derivation, from table turns = starts over teeth (J. Edgar, "Hobs and Gear Hobbing", 1914).
    assert of_kind(spur(tmp_path), "hob-other-starts", "a hob of 2 starts is on the arbor").teeth == 120


def test_index_drivers_and_driven_exchanged_leave_no_whole_number(tmp_path):
    outcome = of_kind(spur(tmp_path), "driver-for-driven", "index gears")
    assert outcome.real_teeth == Fraction(48, 5), DERIVED
    assert not outcome.is_steady


def test_a_differential_left_in_on_spur_work_makes_a_helix(tmp_path):
    outcome = of_kind(spur(tmp_path), "lever-wrong", "differential")
    assert (outcome.teeth, outcome.lead) == (60, 1500), DERIVED
    assert outcome.helix_angle_deg == pytest.approx(14.556, abs=5e-4)


def test_differential_drivers_and_driven_exchanged_make_another_angle(tmp_path):
    outcome = of_kind(helical(tmp_path), "driver-for-driven", "differential gears")
    assert outcome.teeth == 40
    assert outcome.helix_angle_deg == pytest.approx(41.0439, abs=1e-4), DERIVED


def test_a_wrong_differential_idler_makes_the_other_hand_and_nothing_else(tmp_path):
    job = helical(tmp_path)
    right, wrong = Case.of(job, job.setup).outcome, of_kind(job, "idler-left-out", "differential gears")
    assert wrong.hand is Hand.LEFT
    assert (wrong.teeth, wrong.lead) == (right.teeth, right.lead), DERIVED
    # The head is then twice the helix angle out.
    assert abs(wrong.swivel_error_deg) == pytest.approx(25, abs=0.01)


def test_the_set_for_one_module_with_the_hob_of_another_makes_another_angle(tmp_path):
    work = 'kind = "helical"\nteeth = 40\nmodule = 2.5\nhelix_angle = 20\nhand = "right"'
    setup = (
        'swivel = { angle = "18d", turn = "clockwise" }\n[setup.levers]\ndifferential = "in"\n[setup.change]\n'
        '"index gears" = { gears = [24, 50, 100, 80] }\n"feed gears" = { gears = [25, 25] }\n'
        '"differential gears" = { gears = [59, 48, 62, 70], idlers = [23] }'
    )
    job = reference.read(reference.job_text(work, "module = 2.5\nlead_angle = 2", setup), tmp_path)
    right = Case.of(job, job.setup).outcome
    wrong = of_kind(job, "hob-other-module", "a hob of module 3 is on the arbor")
    # 20.000125 degrees become those whose sine is 6/5 as great, the lead staying: 24.231483 for 20 degrees.
    assert wrong.helix_angle_deg == pytest.approx(24.231483, abs=2e-4), DERIVED
    assert wrong.lead == right.lead


PRIME = (
    'kind = "spur"\nteeth = 127\nmodule = 2',
    "module = 2\nlead_angle = 2",
    'swivel = { angle = 2, turn = "counter-clockwise" }\n[setup.levers]\ndifferential = "in"\n[setup.change]\n'
    '"index gears" = { gears = [20, 48, 24, 53] }\n"feed gears" = { gears = [30, 30] }\n'
    '"differential gears" = { gears = [92, 23, 25, 40], idlers = [IDLERS] }',
)


def prime(tmp_path, seen=""):
    """The prime count by way of the differential, with the idlers that make the table lag."""
    for idlers in ("", "35"):
        parts = [part.replace("IDLERS", idlers) for part in PRIME]
        job = reference.read(reference.job_text(*parts, seen), tmp_path)
        if Case.of(job, job.setup).outcome.real_teeth == 127:
            return job
    raise AssertionError("neither way round cuts 127 teeth")


def test_another_feed_on_a_prime_count_makes_a_helix(tmp_path):
    outcome = of_kind(prime(tmp_path), "feed-changed", where_feed(prime(tmp_path), Fraction(3, 4)))
    assert outcome.real_teeth == Fraction(12705, 100), DERIVED
    assert outcome.lead == 127 * 30
    assert outcome.helix_angle_deg == pytest.approx(math.degrees(math.asin(math.pi / 15)))


def where_feed(job, times):
    study = study_of(job, fault_table())
    found = [f for f in find_faults(fault_table().kinds, study) if f.kind.kind == "feed-changed"]
    return next(f.detail for f in found if f.detail.endswith(f"a feed {times} of what it should be"))


def test_the_feed_reversed_on_a_prime_count_leaves_no_whole_number(tmp_path):
    outcome = of_kind(prime(tmp_path), "feed-other-way", "feed")
    assert outcome.real_teeth == Fraction(1274, 10), DERIVED
    assert not outcome.is_steady


@pytest.mark.parametrize(
    ("make", "seen", "kind"),
    [
        (spur, 'teeth = 120\nhand = "none"', "hob-other-starts"),
        (spur, "teeth = 10\nspaces_meet = false", "driver-for-driven"),
        (spur, 'teeth = 60\nlead = "1500 mm"', "lever-wrong"),
        (spur, 'teeth = 30\nhand = "none"', "lever-wrong"),
        (helical, 'teeth = 40\nhand = "right"\nhelix_angle = 41', "driver-for-driven"),
        (helical, 'teeth = 40\nhand = "left"\nhelix_angle = 12.5', "idler-left-out"),
        (helical, 'teeth = 40\nhand = "right"\nhelix_angle = 12.5\nmarks = "spoilt"', "swivel-wrong-way"),
        (helical, 'teeth = 40\nhand = "right"\nhelix_angle = 12.5\nslide_moved = "down"', "feed-other-way"),
        (prime, 'teeth = 127\nhelix_angle = 12', "feed-changed"),
        (prime, "teeth = 127\nspaces_meet = false", "feed-other-way"),
    ],
)  # fmt: skip
def test_a_known_wrong_cut_is_traced_to_what_made_it(make, seen, kind, tmp_path):
    found = trace(make(tmp_path, seen))
    assert found.verdict == EXPLAINED
    first = [suspect.faults[0].kind.kind for suspect in found.suspects[:3] if len(suspect.faults) == 1]
    assert kind in first


# ---------------------------------------------------------------- planted faults, and the truth of what is said


@st.composite
def wrong_jobs(draw, faults=1):
    """A right job on a made-up machine, and one or two faults that were made with it."""
    random = draw(st.randoms(use_true_random=False))
    job = right_job(Random(random.getrandbits(32)))
    study = study_of(job, fault_table())
    found = find_faults(fault_table().kinds, study)
    if faults == 2:
        found = [fault for fault in found if fault.kind.is_common]
    kinds = draw(
        st.lists(st.sampled_from(sorted({f.kind.kind for f in found})), min_size=faults, max_size=faults)
    )
    chosen = [random.choice([fault for fault in found if fault.kind.kind == kind]) for kind in kinds]
    changes = chosen[0].changes if faults == 1 else combined(*chosen) or chosen[0].changes
    standing = study.base.changed(changes)
    running = study.bench.running(standing)
    if running is None:
        standing, running = study.base, study.running
    return job, standing, study.bench.outcome(standing, running)


def seen_after(outcome):
    if outcome is None or outcome.teeth is None:
        return Seen(teeth=0)
    if not outcome.is_steady:
        return Seen(teeth=outcome.teeth, spaces_meet=False)
    if not outcome.helix_angle_deg or outcome.helix_angle_deg < 0.5:
        return Seen(teeth=outcome.teeth, straight=True)
    return Seen(outcome.teeth, outcome.hand, helix_angle_deg=Fraction(round(2 * outcome.helix_angle_deg), 2))


@settings(deadline=None, max_examples=25)
@given(wrong_jobs())
def test_a_planted_fault_is_always_among_the_causes(wrong):
    job, standing, outcome = wrong
    found = trace(job.with_seen(seen_after(outcome)))
    if found.verdict == AS_WANTED or (outcome is None and not found.suspects):
        return
    assert standing.key in {suspect.standing.key for suspect in found.suspects}


@settings(deadline=None, max_examples=12)
@given(wrong_jobs(), st.data())
def test_a_cause_that_is_listed_leaves_what_was_seen_when_it_is_set_up_and_proved(wrong, data):
    job, _, outcome = wrong
    job = job.with_seen(seen_after(outcome))
    found = trace(job)
    if not found.suspects:
        return
    for suspect in data.draw(st.lists(st.sampled_from(found.suspects), max_size=6)):
        stood = suspect.standing
        if stood.miscounted or stood.parted or stood.slips:
            continue  # no set-up of a job file says this
        built = replace(job, hob=stood.hob).with_setup(stood.setup)
        proof = prove(built)
        if suspect.outcome is None:
            assert proof.computed.outcome is None
            continue
        assert proof.computed.outcome == suspect.outcome
        assert evidence_of(job).closeness(suspect.view) is not None
        if suspect.view.spaces_meet:
            assert proof.computed.outcome.teeth == job.seen.teeth


@settings(deadline=None, max_examples=10)
@given(wrong_jobs())
def test_causes_stand_together_where_no_protractor_tells_their_teeth_apart(wrong):
    job, _, outcome = wrong
    found = trace(job.with_seen(seen_after(outcome)))
    groups = found.explanation.groups
    for group in groups:
        meeting = [suspect for suspect in group if suspect.view.spaces_meet]
        assert len({(s.outcome.teeth, s.outcome.hand, s.standing.hob.module_n) for s in meeting}) <= 1
        leans = [s.view.helix_deg for s in meeting]
        assert not leans or max(leans) - min(leans) <= SAME_LEAN_DEG
        reals = [float(s.outcome.real_teeth) for s in group if s.outcome and not s.view.spaces_meet and s.outcome.teeth]
        assert not reals or max(reals) - min(reals) <= SAME_MISS
        assert len({(suspect.view.hand, suspect.standing.hob.module_n) for suspect in group if suspect.view.counts}) <= 1
    at = [{suspect.leaves for suspect in group} for group in groups]
    assert sum(map(len, at)) == len(set().union(*at))  # no blank stands in two groups
    assert [suspect for group in groups for suspect in group] == list(found.suspects)
    assert not found.suspects or sum(s.weight for s in found.suspects) == pytest.approx(1)


@settings(deadline=None, max_examples=8)
@given(wrong_jobs())
def test_following_the_next_checks_ends_at_the_planted_fault(wrong):
    job, standing, outcome = wrong
    job = job.with_seen(seen_after(outcome))
    found = trace(job)
    truth = next((suspect for suspect in found.suspects if suspect.standing.key == standing.key), None)
    if truth is None:
        return
    for _ in range(25):
        if found.next is None:
            break
        job = with_answer(job, found.next.check, found.next.check.outcome(truth.scene))
        found = trace(job)
    assert [suspect.standing.key for suspect in found.suspects] == [standing.key]


@settings(deadline=None, max_examples=6)
@given(wrong_jobs(), st.randoms(use_true_random=False))
def test_the_order_of_links_levers_and_rows_does_not_matter(wrong, random):
    job, _, outcome = wrong
    job = job.with_seen(seen_after(outcome))
    table = fault_table()
    train = job.machine.train
    links = list(train.links)
    random.shuffle(links)
    levers = dict(sorted(job.machine.levers.items(), key=lambda _: random.random()))
    machine = replace(job.machine, train=replace(train, links=tuple(links)), levers=levers)
    kinds = list(table.kinds)
    random.shuffle(kinds)
    change = dict(sorted(job.setup.change.items(), key=lambda _: random.random()))
    other = replace(job, machine=machine, setup=replace(job.setup, change=change))
    ours, theirs = trace(job, table=table), trace(other, table=replace(table, kinds=tuple(kinds)))
    weights = [{s.standing.key: s.weight for s in found.suspects} for found in (ours, theirs)]
    assert weights[0] == pytest.approx(weights[1])
    assert ours.verdict == theirs.verdict


# ---------------------------------------------------------------- two faults


def test_two_faults_at_once_are_found_where_no_single_one_explains_it(tmp_path):
    # Range lever and differential idler: half the teeth, and the other hand.
    job = helical(tmp_path)
    study = study_of(job, fault_table())
    changes = {("lever", "range"): "double", ("idlers", "differential gears"): ()}
    standing = study.base.changed(changes)
    outcome = study.bench.outcome(standing, study.bench.running(standing))
    assert (outcome.teeth, outcome.hand) == (20, Hand.LEFT)
    found = trace(job.with_seen(Seen(20, Hand.LEFT, lead=outcome.lead)))
    assert found.verdict == EXPLAINED
    first = found.suspects[0]
    assert sorted(fault.kind.kind for fault in first.faults) == ["idler-left-out", "lever-wrong"]
    assert (
        found.as_json()["causes"][0]["faults"][0]["setup"]
        == found.as_json()["causes"][0]["faults"][1]["setup"]
    )


def test_a_second_fault_that_nothing_speaks_for_is_looked_at_once_answers_ask_for_it(tmp_path):
    job = helical(tmp_path, 'teeth = 40\nhand = "left"')
    found = trace(job)
    assert not any(len(s.faults) == 2 and "swivel" in [f.where for f in s.faults] for s in found.suspects[:3])
    check = next(check for check in found.checks if check.looks_at == "swivel")
    answered = trace(with_answer(job, check, "10° 08' counter-clockwise"))
    assert answered.verdict == EXPLAINED
    assert all(suspect.standing.swivel_deg > 0 for suspect in answered.suspects)
    kinds = {fault.kind.kind for fault in answered.suspects[0].faults}
    assert kinds == {"idler-left-out", "swivel-wrong-way"}


# ---------------------------------------------------------------- as wanted, and not explained


@pytest.mark.parametrize(
    "seen",
    [
        'teeth = 40\nhand = "right"\nhelix_angle = 12.5',
        "teeth = 40",
        'lead = "1741 mm"',
        "spaces_meet = true",
    ],
)
def test_a_cut_that_is_as_wanted_is_said_to_be_so(seen, tmp_path):
    found = trace(helical(tmp_path, seen))
    assert found.verdict == AS_WANTED
    value = found.as_json()
    assert (value["causes"], value["next_check"], value["nearest"]) == ([], None, [])


def test_what_nothing_explains_is_said_to_be_so_with_the_nearest_misses(tmp_path):
    found = trace(
        helical(tmp_path, 'teeth = 41\nhand = "left"\nhelix_angle = 77\ntable_turned = "not at all"')
    )
    assert found.verdict == NOT_EXPLAINED
    value = found.as_json()
    assert value["causes"] == []
    assert value["next_check"] is None
    assert 0 < len(value["nearest"]) <= 5
    for miss in value["nearest"]:
        assert set(miss["against"]) & {"teeth", "hand", "helix_angle", "table_turned"}
        assert miss["faults"][0]["setup"]["change"]


def test_a_set_up_that_is_written_wrong_is_traced_to_what_is_wrong_in_it():
    job = read_job(SCENARIOS / "21-idler-left-out" / "job.toml").with_seen(Seen(74, Hand.RIGHT))
    found = trace(job)
    assert not found.is_right
    first = found.suspects[0].faults[0]
    assert (first.kind.kind, first.where) == ("idler-left-out", "differential gears")
    assert "as written" in first.detail
    assert found.suspects[0].standing.setup.change == job.setup.change


def test_a_cut_as_wanted_from_a_set_up_that_cannot_make_it_is_traced_to_what_stood_otherwise():
    job = read_job(SCENARIOS / "21-idler-left-out" / "job.toml").with_seen(Seen(74, Hand.LEFT))
    found = trace(job)
    assert found.verdict == EXPLAINED
    assert found.as_json()["set_up_as_written"]["as_wanted"] is False
    first = found.suspects[0]
    assert first.faults[0].where == "differential gears"
    assert len(first.standing.change["differential gears"].idlers) == 1


SHIPPED = sorted(path for path in SCENARIOS.glob("*/*.toml") if path.name not in ("expected.toml", "counted.toml"))
ORDERS = [path for path in SHIPPED if path.name != "machine.toml" and "[setup]" in path.read_text()]


@pytest.mark.parametrize("path", ORDERS, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_whether_a_set_up_is_right_is_for_prove_alone_whatever_was_seen(path):
    job = read_job(path)
    for seen in (Seen(teeth=job.work.teeth), Seen(teeth=job.work.teeth + 1)):
        found = trace(job.with_seen(seen))
        assert found.is_right is prove(job).is_as_wanted
        assert found.as_json()["set_up_as_written"]["as_wanted"] is found.is_right
        assert (found.verdict == AS_WANTED) is (found.is_right and seen.teeth == job.work.teeth)


def mounting(job, standing):
    """What `prove` has against mounting this; a gear whose stamp lies is looked for in the drawer by its stamp."""
    setup = standing.setup
    stamped = {name: replace(m, gears=standing.stamps.get(name, m.gears)) for name, m in setup.change.items()}
    case = Case.of(job, setup)
    found = [*check_brackets(case), *check_mounting(case)]
    found += check_gears_owned(Case.of(job, replace(setup, change=stamped)))
    return {(finding.code, finding.message) for finding in found}


@pytest.mark.parametrize("path", ORDERS, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_what_is_listed_as_a_cause_can_be_mounted(path):
    job = read_job(path)
    written = mounting(job, study_of(job, fault_table()).base)
    drawer = {pair for pair in written if pair[0] in ("gear-not-owned", "gear-used-twice")}
    for seen in (Seen(job.work.teeth + 1), Seen(job.work.teeth, spaces_meet=False), Seen(0), Seen(job.work.teeth)):
        found = trace(job.with_seen(seen))
        for suspect in found.suspects[:12]:
            # A gear that the set-up as written has too often is there, whatever the drawer's list says.
            assert mounting(job, suspect.standing) <= drawer


@settings(deadline=None, max_examples=10)
@given(wrong_jobs())
def test_what_is_listed_as_a_cause_on_a_made_up_machine_can_be_mounted(wrong):
    job, _, outcome = wrong
    for suspect in trace(job.with_seen(seen_after(outcome))).suspects[:25]:
        assert not mounting(job, suspect.standing)


# ---------------------------------------------------------------- other things seen


def test_a_second_cut_that_misses_is_traced_to_lost_register(tmp_path):
    found = trace(helical(tmp_path, 'teeth = 40\nhand = "right"\nsecond_cut_miss = 0.3'))
    kinds = {fault.kind.kind for suspect in found.suspects for fault in suspect.faults}
    assert {"register-lost", "hob-shifted-between-cuts"} <= kinds
    assert "feed-changed-between-cuts" not in kinds


def test_changed_feed_gears_lose_register_only_where_the_count_hangs_on_the_feed(tmp_path):
    found = trace(prime(tmp_path, 'teeth = 127\nsecond_cut_miss = "2 mm"'))
    assert "feed-changed-between-cuts" in {f.kind.kind for suspect in found.suspects for f in suspect.faults}


def test_which_way_the_table_turned_tells_idler_from_hob(tmp_path):
    idler = trace(spur(tmp_path, 'teeth = 0\ntable_turned = "counter-clockwise"'))
    hob = trace(spur(tmp_path, 'teeth = 0\ntable_turned = "clockwise"'))
    first = [found.suspects[0].faults[0].kind.kind for found in (idler, hob)]
    assert sorted(first) == ["hob-other-hand", "idler-extra"]


def test_hob_turns_counted_by_hand_tell_the_index_gears(tmp_path):
    found = trace(spur(tmp_path, "hob_turns = { value = 30, within = 0.1 }"))
    assert found.suspects[0].faults[0].kind.kind == "lever-wrong"
    assert found.suspects[0].faults[0].where == "range"


def test_feed_marks_tell_exchanged_feed_gears(tmp_path):
    job = spur(tmp_path, "feed_marks = 4")
    change = {**job.setup.change, "feed gears": replace(job.setup.change["feed gears"], gears=(40, 80))}
    found = trace(job.with_setup(replace(job.setup, change=change)))
    assert found.suspects[0].faults[0].kind.kind == "driver-for-driven"
    assert found.suspects[0].faults[0].where == "feed gears"


def test_a_hand_that_one_is_not_sure_of_does_not_rule_the_other_out(tmp_path):
    sure = trace(helical(tmp_path, 'teeth = 20\nhand = "left"'))
    unsure = trace(helical(tmp_path, 'teeth = 20\nhand = { value = "left", sure = false }'))
    assert {s.view.hand for s in sure.suspects} == {"left"}
    assert {s.view.hand for s in unsure.suspects} > {"left"}


def test_a_wide_allowance_lets_more_causes_in_than_a_narrow_one(tmp_path):
    counts = [
        len(
            trace(
                helical(tmp_path, f'teeth = 40\nhand = "right"\nlead = {{ value = 1300, within = {w} }}')
            ).suspects
        )
        for w in (2, 20, 200)
    ]
    assert counts == sorted(counts)
    assert counts[0] < counts[2]


# ---------------------------------------------------------------- files


def test_everything_seen_is_read_and_written_as_the_same(tmp_path):
    seen = (
        'teeth = { value = 40, within = 1 }\nhand = { value = "left", sure = false }\n'
        'lead = { value = "1741 mm", within = 5 }\n'
        'helix_angle = { value = "12d 30m", within = "20m" }\nspaces_meet = false\n'
        'second_cut_miss = { value = "1/4", within = 0.05 }\n'
        'table_turned = "clockwise"\nslide_moved = "up"\nhob_turns = 40.5\nfeed_marks = 2\nmarks = "spoilt"\n'
        '[[seen.check]]\ndo = "read what is stamped on the hob"\nfound = "module 3"\n'
    )
    job = helical(tmp_path, seen)
    assert job.seen == Seen(
        40, Hand.LEFT, lead=Fraction(1741), helix_angle_deg=Fraction(25, 2), spaces_meet=False,
        second_cut_miss=Miss(Fraction(1, 4)), table_turned="clockwise", slide_moved="up", hob_turns=Fraction(81, 2),
        feed_marks=Fraction(2), marks="spoilt",
        within={"teeth": 1, "lead": Fraction(5), "helix_angle": Fraction(1, 3), "second_cut_miss": Fraction(1, 20)},
        unsure=frozenset({"hand"}), checks=(SeenCheck("read what is stamped on the hob", "module 3"),),
    )  # fmt: skip
    again = read_job_text(written(job), "again.toml", tmp_path)
    assert again.seen == job.seen


def test_the_json_says_all_that_was_promised_and_is_json(tmp_path):
    value = json.loads(
        json.dumps(trace(helical(tmp_path, 'teeth = 40\nhand = "left"')).as_json(), allow_nan=False)
    )
    assert {"causes", "next_check", "nearest"} <= set(value)
    for number, cause in enumerate(value["causes"], 1):
        assert cause["number"] == number
        assert {"teeth", "hand", "helix_angle_deg"} <= set(cause["leaves"])
        assert 0 < cause["weight"] <= 1
        for fault in cause["faults"]:
            assert {"kind", "where", "detail", "setup"} <= set(fault)
            assert fault["kind"] == fault["kind"].lower().replace(" ", "-")
    assert sum(cause["weight"] for cause in value["causes"]) == pytest.approx(1)
    said = [number for split in value["next_check"]["splits"] for number in split["then"]]
    assert sorted(said) == list(range(1, len(value["causes"]) + 1))


def test_the_set_up_in_the_json_is_a_set_up_of_a_job_file(tmp_path):
    job = helical(tmp_path, 'teeth = 40\nhand = "left"')
    cause = trace(job).as_json()["causes"][0]
    setup = cause["faults"][0]["setup"]
    change = "".join(
        f'"{name}" = {{ gears = {row["gears"]}, idlers = {row.get("idlers", [])} }}\n'
        for name, row in setup["change"].items()
    )
    levers = "".join(f'"{name}" = "{position}"\n' for name, position in setup["levers"].items())
    swivel = (
        f'swivel = {{ angle = {setup["swivel"]["angle"]}, turn = "{setup["swivel"]["turn"]}" }}'
        if isinstance(setup["swivel"]["angle"], (int, float))
        else (f'swivel = {{ angle = "{setup["swivel"]["angle"]}", turn = "{setup["swivel"]["turn"]}" }}')
    )
    text = reference.job_text(
        reference.HELICAL[0],
        reference.HELICAL[1],
        f"{swivel}\n[setup.levers]\n{levers}[setup.change]\n{change}",
    )
    outcome = prove(reference.read(text, tmp_path)).computed.outcome
    assert (outcome.teeth, outcome.hand.word) == (cause["leaves"]["teeth"], cause["leaves"]["hand"])


# ---------------------------------------------------------------- what can't be used


def complaint(tmp_path, seen, parts=None):
    text = reference.job_text(*(parts or reference.HELICAL), seen)
    with pytest.raises(FileFault) as caught:
        trace(reference.read(text, tmp_path))
    lines = text.splitlines()
    first = caught.value.complaints[0]
    return str(first), lines[first.line - 1]


@pytest.mark.parametrize(
    ("seen", "line", "words"),
    [
        ('hand = "none"\nlead = 800', "lead = 800", "straight teeth have no lead"),
        ('hand = "none"\nhelix_angle = 20', "helix_angle = 20", 'but "hand" is "none"'),
        ('hand = "left"\nhelix_angle = { value = 0, within = 0 }', "helix_angle = { value = 0", "it is 0"),
        ('teeth = 0\nhand = "left"', 'hand = "left"', '"teeth" is 0'),
        ("teeth = 40\nlead = 100\nhelix_angle = 1", "helix_angle = 1", "makes a module of"),
        ('spaces_meet = false\nmarks = "clean"', 'marks = "clean"', '"spaces_meet" is false'),
        ('table_turned = "not at all"\nhob_turns = 40', "hob_turns = 40", "the table came round"),
        ('teeth = 41\n[[seen.check]]\ndo = "read the swivle"\nfound = "20"', 'do = "read the swivle"', "Did you mean"),
        ("teeth = 40\n[[seen.check]]\ndo = \"look at it\"", "[[seen.check]]", '"found" is missing'),
        ("lead = -3", "lead = -3", "above 0"),
        ("second_cut_miss = 0.7", "second_cut_miss = 0.7", "-0.5 to 0.5"),
        ('marks = "ugly"', 'marks = "ugly"', '"clean"'),
        ("teeth = { valeu = 3 }", "teeth = { valeu = 3 }", 'Did you mean "value"'),
    ],
)  # fmt: skip
def test_things_seen_that_cannot_be_are_refused_at_their_line(seen, line, words, tmp_path):
    said, where = complaint(tmp_path, seen)
    assert words in said
    assert where.startswith(line)


def test_a_job_with_nothing_seen_is_refused(tmp_path):
    said, _ = complaint(tmp_path, "")
    assert '"seen" is missing' in said


def test_a_job_without_a_set_up_is_refused(tmp_path):
    text = reference.job_text(*reference.HELICAL[:2], "", "teeth = 40").replace("[setup]\n", "")
    with pytest.raises(FileFault, match='"setup" is missing'):
        trace(reference.read(text, tmp_path))


# ---------------------------------------------------------------- the table of faults


def test_every_row_of_the_table_can_happen_somewhere(tmp_path):
    happened = set()
    random = Random(11)
    jobs = [spur(tmp_path), helical(tmp_path), prime(tmp_path), *(right_job(random) for _ in range(6))]
    jobs += [
        read_job(SCENARIOS / "01-fly-winch-pair" / "wheel.toml"),
        read_job(SCENARIOS / "03-no-differential" / "job.toml"),
        read_job(SCENARIOS / "84-rebuilt-winch" / "job.toml"),
    ]
    for job in jobs:
        faults = find_faults(fault_table().kinds, study_of(job, fault_table()))
        happened |= {fault.kind.kind for fault in faults}
        for kind in fault_table().kinds:
            chances = [fault.chance for fault in faults if fault.kind is kind]
            assert not chances or sum(chances) == pytest.approx(kind.weight)
    assert happened == {kind.kind for kind in fault_table().kinds}


def test_a_row_that_names_what_is_not_known_is_refused():
    row = '[sizes]\nmodules = []\ndiametral_pitches = []\n[[check]]\nlooks_at = "hob"\ndo = "look"\nminutes = 1\n'
    fault = '[[fault]]\nkind = "k"\nchange = "CHANGE"\nmeaning = "m"\nweight = 1\n'
    fault += 'common = true\ncheck = "CHECK"\nsource = "s"\n'
    assert read_fault_table(row + fault.replace("CHANGE", "hob hand").replace("CHECK", "hob")).kinds
    with pytest.raises(ValueError, match="'gremlin' isn't known"):
        read_fault_table(row + fault.replace("CHANGE", "gremlin").replace("CHECK", "hob"))
    with pytest.raises(ValueError, match="looks at 'moon'"):
        read_fault_table(row + fault.replace("CHANGE", "hob hand").replace("CHECK", "moon"))
    with pytest.raises(ValueError, match="looks at 'stars'"):
        read_fault_table(row.replace('"hob"', '"stars"'))


def test_a_worm_wheel_fed_in_by_hand_is_traced_like_any_other():
    """No slide is driven, and the teeth lean as the head has it."""
    text = """
format = "job/1"
machine = "tesmore-d2"
[work]
kind = "worm wheel"
teeth = 40
module = 2.5
helix_angle = 4
hand = "right"
[hob]
module = 2.5
lead_angle = 4
diameter = 35.8
[setup]
swivel = 0
[setup.levers]
feed = "neutral"
[setup.change]
"index gears" = { gears = [24, 32, 24, 40] }
[seen]
teeth = 50
hand = "right"
"""
    found = trace(read_job_text(text))
    assert found.verdict == EXPLAINED
    (fault,) = found.suspects[0].faults
    assert "50 stands where 40 should" in fault.detail


@pytest.mark.parametrize("hand", ["", '\nhand = "none"'])
def test_marks_of_a_half_way_index_that_stand_straight_are_traced_to_it(tmp_path, hand):
    # 24/20 * 32/24 for 20/24 * 32/24: 12 1/2 spaces to a turn, of which two turns leave 25 along the axis.
    path = tmp_path / "job.toml"
    path.write_text(
        'format = "job/1"\ntitle = "Drum spline"\nmachine = "ombrecht-l8"\n'
        '[work]\nkind = "spline"\nteeth = 18\nmodule = 2\npressure_angle = 30\nface_width = 60\n'
        "[hob]\nmodule = 2\npressure_angle = 30\nstarts = 1\ndiameter = 56\noutside_diameter = 59\n"
        'lead_angle = "2d 03m"\ngashes = 10\n'
        '[setup]\nswivel = {angle = "2d 03m", turn = "counter-clockwise"}\n'
        '[setup.levers]\nfeed = "towards the tailstock"\n'
        '[setup.change]\n"index gears" = {gears = [20, 24, 32, 24]}\n"feed gears" = {gears = [18, 20, 25, 27]}\n'
        f"[seen]\nteeth = 25{hand}\n"
    )
    found = trace(read_job(path))
    fault = found.suspects[0].faults[0]
    assert (fault.kind.kind, fault.where) == ("gears-exchanged", "index gears")
    assert found.suspects[0].outcome.real_teeth == Fraction(25, 2)
