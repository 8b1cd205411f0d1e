"""Set-ups made move by move: what a return keeps, what it loses, and by how much, exactly."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from handlead.kinematics.frame.motion import Position
from handlead.kinematics.train.moves import Order, Play, run
from handlead.kinematics.train.setup import SetupMove
from handlead.machines.job_files.job_file import read_job, read_job_text
from handlead.machines.judging.move_checks import brought_back, check_moves
from handlead.machines.machine_files.machine_file import Imperfection
from handlead.machines.proving.proof import prove
from handlead.machines.setups.case import Case, feed_opened_by, with_lever_moved
from handlead.machines.setups.moves import make_moves
from handlead.machines.written.writing import job_text
from hypothesis import given, settings
from hypothesis import strategies as st

SCENARIOS = Path(__file__).parents[2] / "scenarios"
GOOD = Path(__file__).parent / "good"

#: Right orders with an axial feed, one for each way in which the shipped machines are built.
ORDERS = {
    f"{path.parent.name}/{path.stem}": read_job(path)
    for path in sorted(SCENARIOS.glob("[01]?-*/*.toml"))
    if "job/1" in path.read_text() and path.parent.name[:2] not in ("06", "07")
}
PINION, ARC_LAMP, MOON = (
    ORDERS[name] for name in ("01-fly-winch-pair/pinion", "03-no-differential/job", "04-moon-wheel/job")
)


def moved(job, *moves):
    setup = replace(job.setup, moves=moves)
    return make_moves(Case.of(job.with_setup(setup), setup))


def cut(job, start=-5, to=40, name="cut", **what):
    """A cut from one height to another, the way in which the set-up feeds."""
    up = Case.of(job, job.setup).rates.axial * job_sense(job) > 0
    places = (start, to) if up else (to, start)
    if name == "cut":
        what["start"] = {"axial": Fraction(places[0])}
    return SetupMove(name, "axial", Fraction(places[1]), **what)


def job_sense(job):
    """Which way the hob turns when its drive runs."""
    return 1 if Case.of(job, job.setup).solution.end_rate("hob") > 0 else -1


def back(job, start=-5, to=40, **what):
    up = Case.of(job, job.setup).rates.axial * job_sense(job) > 0
    return SetupMove("return", "axial", Fraction(start if up else to), **what)


def by_hand(name, radial):
    """The radial slide wound to a place by its handwheel."""
    return SetupMove(name, "radial", Fraction(radial), by_hand=True)


def missed(job, *moves):
    result = moved(job, *moves)
    assert result.passage.stop is None, result.passage.stop
    (found,) = result.missed
    return found


def codes(result):
    return {(finding.code, finding.severity) for finding in check_moves(result)}


# ---------------------------------------------------------------- returns


@settings(deadline=None, max_examples=60)
@given(
    name=st.sampled_from(sorted(ORDERS)),
    start=st.fractions(-30, 0, max_denominator=7),
    to=st.fractions(1, 90, max_denominator=7),
)
def test_a_return_through_the_same_gears_falls_exactly_into_the_first_cut(name, start, to):
    job = ORDERS[name]
    result = moved(
        job, cut(job, start, to), back(job, start, to, backwards=True), cut(job, start, to, "second cut")
    )
    (found,) = result.missed
    assert (found.low, found.high) == (0, 0)
    assert result.passage.runs[1].end == result.passage.runs[0].start
    assert ("register-kept", "note") in codes(result)


@settings(deadline=None, max_examples=40)
@given(st.fractions(1, 200, max_denominator=50))
def test_a_rapid_return_without_a_differential_misses_by_travel_over_axial_pitch(travel):
    # A lead of z C f and so an axial pitch of C f, with C = 9 turns of the table (non-differential set-up, see
    # 03-no-differential); that the slide alone must come back by whole pitches: handbooks' rule that only whole
    # coincidences restore register (common practice; the amount by own derivation).
    pitch = 9 * Fraction(5251, 3430)
    found = missed(
        ARC_LAMP,
        cut(ARC_LAMP, 0, travel),
        back(ARC_LAMP, 0, travel, drive="rapid", levers={"feed clutch": "out"}),
        cut(ARC_LAMP, 0, travel, "second cut", levers={"feed clutch": "in"}),
    )
    assert found.low == found.high
    assert -Fraction(1, 2) < found.low <= Fraction(1, 2)
    # Right hand: a space that is so much higher up stands counter-clockwise of where it was.
    assert (found.low - travel / pitch).denominator == 1


@pytest.mark.parametrize("pitches", [1, 2, 3])
def test_a_rapid_return_over_whole_axial_pitches_falls_in(pitches):
    travel = pitches * 9 * Fraction(5251, 3430)
    found = missed(
        ARC_LAMP,
        cut(ARC_LAMP, 0, travel),
        back(ARC_LAMP, 0, travel, drive="rapid", levers={"feed clutch": "out"}),
        cut(ARC_LAMP, 0, travel, "second cut", levers={"feed clutch": "in"}),
    )
    assert found.low == found.high == 0


def test_the_advice_names_the_axial_pitch_over_which_the_slide_may_come_back_alone():
    result = moved(
        ARC_LAMP,
        cut(ARC_LAMP),
        back(ARC_LAMP, drive="rapid", levers={"feed clutch": "out"}),
        cut(ARC_LAMP, name="second cut", levers={"feed clutch": "in"}),
    )
    (lost,) = (finding for finding in check_moves(result) if finding.code == "register-lost")
    assert lost.severity == "error"
    assert "13.77813 mm" in lost.remedy
    assert "9 turns" in lost.remedy


@settings(deadline=None, max_examples=30)
@given(st.fractions(1, 200, max_denominator=50))
def test_a_differential_left_in_keeps_register_on_a_rapid_return_and_one_taken_out_loses_travel_over_pitch(
    travel,
):
    lead = Case.of(PINION, PINION.setup).outcome.lead
    out, back_in = ({"feed clutch": word} for word in ("out", "in"))
    kept = missed(
        PINION,
        cut(PINION, 0, travel),
        back(PINION, 0, travel, drive="rapid", levers=out),
        cut(PINION, 0, travel, "second cut", levers=back_in),
    )
    assert kept.low == kept.high == 0
    lost = missed(
        PINION,
        cut(PINION, 0, travel),
        back(PINION, 0, travel, drive="rapid", levers={**out, "differential": "out"}),
        cut(PINION, 0, travel, "second cut", levers={**back_in, "differential": "in"}),
    )
    # The table must turn once in a lead; what the cage doesn't give it is travel/lead of a turn, in 23 pitches. Up and
    # to the right the spaces run counter-clockwise.
    up = 1 if Case.of(PINION, PINION.setup).rates.axial * job_sense(PINION) > 0 else -1
    assert (lost.low - up * 23 * travel / lead).denominator == 1


RAPID = [name for name, job in ORDERS.items() if "rapid" in job.machine.train.drives]


def back_by_rapid(job, lever, position):
    """Cut, the lever put over, the slide back by the rapid motor, the lever put back, cut again."""
    stands = job.machine.positions(job.setup)[lever]
    return moved(
        job,
        cut(job),
        back(job, drive="rapid", levers={lever: position}),
        cut(job, name="second cut", levers={lever: stands}),
    )


@pytest.mark.parametrize("name", RAPID)
def test_the_lever_named_for_bringing_the_slide_back_alone_keeps_register_and_where_none_is_none_does(name):
    job = ORDERS[name]
    case = Case.of(job, job.setup)
    named = feed_opened_by(case)
    kept = set()
    for lever in job.machine.levers:
        for position, _ in with_lever_moved(case, lever):
            result = back_by_rapid(job, lever, position)
            if result.passage.stop is None and [
                (found.low, found.high) for found in result.missed
            ] == [(0, 0)]:
                kept.add((lever, position))
    assert named in kept or (named is None and not kept)


def test_some_order_comes_back_alone_and_some_does_not():
    named = {name: feed_opened_by(Case.of(ORDERS[name], ORDERS[name].setup)) for name in RAPID}
    assert named["01-fly-winch-pair/pinion"] is not None
    assert named["03-no-differential/job"] is None


@pytest.mark.parametrize(
    ("name", "lever"),
    # The lever that stops the slide by way of the cage would take the table's share of it away as well.
    [
        ("02-left-hand-hob/job", "cage brake"),
        ("05-two-start-hob/job", "differential"),
        ("10-revolve-spline/job", "differential"),
    ],
)
def test_a_lever_that_parts_the_differential_is_not_named_for_coming_back(name, lever):
    named = feed_opened_by(Case.of(ORDERS[name], ORDERS[name].setup))
    assert named is not None and named[0] != lever


def test_a_return_with_the_feed_reversed_and_the_hob_running_on_keeps_a_plain_count_and_loses_a_prime():
    other = {"up": "down", "down": "up"}
    for job, keeps in ((PINION, True), (MOON, False)):
        way = job.setup.levers["feed"]
        found = missed(
            job,
            cut(job),
            back(job, levers={"feed": other[way]}),
            cut(job, name="second cut", levers={"feed": way}),
        )
        assert (found.low == found.high == 0) is keeps


def test_a_prime_by_the_differential_is_lost_on_a_rapid_return_by_what_the_index_lacks():
    # Index alone 211 + 1/4; the slide gives and takes the quarter tooth with each 2 mm. Brought back alone, the table
    # has lost a quarter of a tooth for each of the table turns that the cut took: N hob turns leave N/845 of a pitch
    # (own derivation from the gears of 04-moon-wheel).
    travel = Fraction(30)
    found = missed(
        MOON,
        cut(MOON, 0, travel),
        back(MOON, 0, travel, drive="rapid", levers={"feed clutch": "out"}),
        cut(MOON, 0, travel, "second cut", levers={"feed clutch": "in"}),
    )
    hob_turns = travel / 2 * 211
    assert found.low == found.high != 0
    assert ((abs(found.low) - hob_turns / 845).denominator == 1) or (
        (abs(found.low) + hob_turns / 845).denominator == 1
    )


def test_a_second_cut_with_the_differential_forgotten_parts_from_the_first_up_the_face():
    found = missed(
        PINION,
        cut(PINION),
        back(PINION, backwards=True),
        cut(PINION, name="second cut", levers={"differential": "out"}),
    )
    lead = Case.of(PINION, PINION.setup).outcome.lead
    assert abs(found.high - found.low) == 23 * PINION.work.face_width / lead


def lost(result):
    return [finding for finding in check_moves(result) if finding.code == "register-lost"]


def test_a_rapid_return_that_loses_register_is_advised_what_keeps_it():
    result = moved(
        ARC_LAMP,
        cut(ARC_LAMP, -30, 50),
        back(ARC_LAMP, -30, 50, drive="rapid", levers={"feed clutch": "out"}),
        cut(ARC_LAMP, -30, 50, name="second cut", levers={"feed clutch": "in"}),
    )
    (finding,) = lost(result)
    assert finding.remedy.startswith("Draw the hob clear by hand, bring the slide back through the same gears")
    (found,) = result.missed
    advised = moved(ARC_LAMP, *brought_back(result, found, same_levers=False))
    assert not lost(advised) and not advised.not_clear


def test_a_second_cut_with_other_levers_is_advised_those_of_the_first():
    result = moved(
        PINION,
        cut(PINION, -30, 66),
        back(PINION, -30, 66, backwards=True),
        cut(PINION, -30, 66, name="second cut", levers={"differential": "out"}),
    )
    (finding,) = lost(result)
    assert finding.remedy.endswith("before the cut, with the levers as they stood in the first.")
    (found,) = result.missed
    assert lost(moved(PINION, *brought_back(result, found, same_levers=False)))
    assert not lost(moved(PINION, *brought_back(result, found, same_levers=True)))


def test_where_no_return_helps_the_other_findings_come_first():
    result = moved(PINION, SetupMove("cut", "hob", turns=Fraction(100)), cut(PINION, -30, 66, name="second cut"))
    assert all("through the same gears" not in finding.remedy for finding in lost(result))


# ---------------------------------------------------------------- what can't be done, or told


def test_a_place_that_lies_the_other_way_stops_the_moves_in_words():
    result = moved(PINION, cut(PINION), back(PINION))
    assert ("never-gets-there", "error") in codes(result)
    assert len(result.passage.runs) == 1
    (finding,) = (one for one in check_moves(result) if one.code == "never-gets-there")
    assert "the other way" in finding.message


def test_a_rapid_motor_against_a_worm_stops_the_moves():
    result = moved(ARC_LAMP, cut(ARC_LAMP), back(ARC_LAMP, drive="rapid"))
    assert ("worm-driven-backwards", "error") in codes(result)


def test_a_slide_that_nothing_moves_stops_the_moves():
    result = moved(PINION, cut(PINION, levers={"feed": "neutral"}))
    (finding,) = (one for one in check_moves(result) if one.code == "never-gets-there")
    assert "isn't moved" in finding.message


def test_a_table_that_is_free_while_the_machine_runs_can_not_be_counted_on():
    # Both the brake and the clutch of the cage off: the cage, and with it the table, goes where it likes.
    job = next(job for name, job in ORDERS.items() if name.startswith("12-star-ring"))
    levers = job.machine.levers
    loose = {
        name: position
        for name, lever in levers.items()
        for position, states in lever.positions.items()
        if set(states.values()) & {"off", "out"} and "cage" in " ".join(states)
    }
    result = moved(
        job,
        cut(job),
        SetupMove("withdrawal", "hob", turns=Fraction(3), levers=loose),
        back(
            job,
            backwards=True,
            levers={name: job.setup.levers.get(name, levers[name].normal) for name in loose},
        ),
        cut(job, name="second cut"),
    )
    assert result.passage.runs[1].free == ("table",)
    (found,) = result.missed
    assert found.worst is None
    assert "the table is free while the withdrawal runs" in found.why
    assert ("register-lost", "error") in codes(result)


def test_a_first_cut_that_is_not_the_set_ups_is_told():
    result = moved(PINION, cut(PINION, levers={"differential": "out"}))
    assert ("first-cut-otherwise", "warning") in codes(result)
    assert ("first-cut-otherwise", "warning") not in codes(moved(PINION, cut(PINION)))


def test_moves_beyond_the_travel_of_a_slide_are_told():
    assert ("beyond-limits", "error") in codes(moved(PINION, cut(PINION, -200, 200)))


def test_turns_of_hob_table_and_drive_end_where_they_say():
    case = Case.of(PINION, PINION.setup)
    result = moved(
        PINION,
        SetupMove("approach", "hob", turns=Fraction(7, 2)),
        SetupMove("approach", "table", turns=Fraction(5, 3)),
        SetupMove("overrun", "", turns=Fraction(11)),
    )
    by_hob, by_table, by_drive = (made.end - made.start for made in result.passage.runs)
    assert abs(by_hob.hob) == Fraction(7, 2)
    assert by_hob.table / by_hob.hob == case.rates.table
    assert abs(by_table.table) == Fraction(5, 3)
    assert by_drive.hob == 11 * case.solution.end_rate("hob")


def test_without_moves_nothing_is_said_of_register():
    result = prove(PINION).as_json()
    assert "register" not in result
    assert not {"register-kept", "register-lost"} & {finding["code"] for finding in result["findings"]}


# ---------------------------------------------------------------- lost motion


def with_backlash(job, **what):
    machine = replace(job.machine, imperfections=(Imperfection("backlash", **what),))
    return replace(job, machine=machine)


@settings(deadline=None, max_examples=30)
@given(
    name=st.sampled_from(sorted(ORDERS)),
    width=st.fractions(Fraction(1, 1000), Fraction(1, 10), max_denominator=1000),
    pick=st.integers(0, 100),
)
def test_play_that_is_taken_up_again_before_the_second_cut_loses_nothing(name, width, pick):
    job = ORDERS[name]
    links = [
        link.name
        for link in job.machine.train.links
        if link.kind in ("gear pair", "worm gear", "bevel gears")
    ]
    job = with_backlash(job, link=links[pick % len(links)], angle_deg=360 * width)
    result = moved(
        job, cut(job, -40, 80), back(job, -40, 80, backwards=True), cut(job, -40, 80, "second cut")
    )
    assert result.passage.stop is None
    (found,) = result.missed
    assert (found.low, found.high) == (0, 0)


def test_play_of_the_table_worm_shows_where_the_second_cut_runs_the_other_way():
    # Cutting on the way back, the table lags by its play, in pitches of 23 teeth.
    play = Fraction(1, 2000)
    job = with_backlash(PINION, link="index worm", angle_deg=360 * play)
    up = replace(cut(job), name="cut")
    found = missed(job, up, replace(back(job, backwards=True), name="second cut"))
    assert abs(found.low) == 23 * play


def test_play_of_the_slide_screw_shows_on_a_helix_as_so_much_of_its_lead():
    play = Fraction(1, 5)
    job = with_backlash(PINION, link="slide screw", length=play)
    lead = Case.of(PINION, PINION.setup).outcome.lead
    found = missed(job, cut(job), replace(back(job, backwards=True), name="second cut"))
    assert abs(found.low) == 23 * play / lead


def test_play_ahead_of_hob_and_table_alike_shows_nowhere():
    job = with_backlash(PINION, link="motor belt", angle_deg=Fraction(30))
    found = missed(job, cut(job), replace(back(job, backwards=True), name="second cut"))
    assert found.low == found.high == 0


def test_play_still_being_taken_up_on_the_face_is_told():
    job = with_backlash(PINION, link="index worm", angle_deg=Fraction(2))
    result = moved(job, cut(job, 5, 30), back(job, 5, 30, backwards=True), cut(job, 5, 30, "second cut"))
    assert ("play-in-a-cut", "warning") in codes(result)


def test_play_one_behind_the_other_is_taken_up_one_after_the_other():
    setup = replace(PINION.setup, levers={**PINION.setup.levers, "differential": "out"})
    train = Case.of(PINION, setup).train
    plays = [Play("index worm", Fraction(1, 100)), Play("index drive", Fraction(1, 10))]
    there = Order("cut", train, "main", "hob", turns=Fraction(100))
    passage = run([there, replace(there, name="return", backwards=True)], Position(), plays)
    phases = passage.runs[1].phases
    assert [bool(phase.per_turn.table) for phase in phases] == [False, False, True]
    # The table stands still for as long as both plays take, each turned into turns of the table.
    out = passage.runs[0].end.table
    behind = Fraction(1, 10) * train.link("index gears").ratio * train.link("index worm").ratio
    end = passage.runs[1].end.table
    assert abs(end) == Fraction(1, 100) + abs(behind)
    assert abs(end) < abs(out)


# ---------------------------------------------------------------- files


def test_moves_are_written_as_they_were_read():
    job = read_job(GOOD / "moves-job.toml")
    assert [move.name for move in job.setup.moves] == ["approach", "cut", "return", "second cut"]
    assert job.setup.moves[0].start == {"axial": Fraction(-25, 2)}
    assert job.setup.moves[2].levers == {"range": "high"}
    assert job.setup.moves[3].turns == Fraction(41, 2)
    assert read_job_text(job_text(job), beside=GOOD) == job


def test_the_proof_of_a_job_with_moves_says_register_in_its_json():
    job = PINION.with_setup(
        replace(
            PINION.setup,
            moves=(
                cut(PINION, -30, 66),
                by_hand("withdrawal", 7),
                back(PINION, -30, 66, backwards=True),
                by_hand("approach", 0),
                cut(PINION, -30, 66, name="second cut"),
            ),
        )
    )
    proof = prove(job)
    found = proof.as_json()["register"]
    assert proof.is_as_wanted
    assert found["falls_in"] is True
    assert found["miss_pitch"] == "0"
    names = [move["name"] for move in found["moves"]]
    assert names == ["cut", "withdrawal", "return", "approach", "second cut"]
    assert [move["radial"] for move in found["moves"]] == ["0", "7", "7", "0", "0"]
    assert [move["drive"] for move in found["moves"]] == ["main", None, "main", None, "main"]
