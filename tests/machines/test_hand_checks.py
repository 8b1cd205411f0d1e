"""Turns counted by hand before the first cut: as the machine makes them, with the levers as they are said."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import handlead.scenarios
import pytest
from handlead.kinematics.words import POSITIVES
from handlead.machines.case import Case
from handlead.machines.job_file import read_job
from handlead.machines.proof import prove, prove_case

ORDERS = Path(handlead.scenarios.__file__).parent
JOBS = [path for path in sorted(ORDERS.glob("*/*.toml")) if '"job/1"' in path.read_text() and "[setup]" in path.read_text()]


@pytest.mark.parametrize("path", JOBS, ids=lambda path: f"{path.parent.name}/{path.stem}")
def test_the_table_makes_its_turn_the_way_that_is_said_with_the_levers_as_they_are_said(path):
    proof = prove(read_job(path))
    for check in proof.hand_checks:
        case = proof.case
        setup = replace(case.setup, levers={**case.setup.levers, **check.levers})
        moved = prove_case(Case.of(case.job, setup)) if check.levers else proof
        ratio = moved.computed.table_per_hob if check.feed_parted else moved.computed.table_per_hob_feeding
        ways = POSITIVES["hob"][check.hob_way] * POSITIVES["table"][check.table_way]
        assert ratio == ways / check.hob_turns
        positions = case.job.machine.positions(case.setup)
        assert {name: positions[name] for name in check.levers} == dict(check.back)


def test_the_winch_s_pinion_turns_once_for_23_of_the_hob_with_the_feed_clutch_out():
    (check,) = prove(read_job(ORDERS / "01-fly-winch-pair" / "pinion.toml")).hand_checks
    assert check.as_json() == {
        "turn": "hob", "turns": "23", "way": "cutting down", "moves": "table", "by_turns": "1",
        "moves_way": "counter-clockwise", "levers": {"feed clutch": "out"}, "back": {"feed clutch": "in"},
        "feed": "parted", "hob_clear": False,
    }  # fmt: skip


def test_what_nobody_could_count_is_no_check():
    # A prime count is made by the differential with the feed in: 222071/13000 hob turns end between two marks.
    proof = prove(read_job(ORDERS / "11-thunder-run-pinion" / "job.toml"))
    assert proof.hand_checks == ()
    assert all(check.hob_turns.denominator <= 12 for path in JOBS for check in prove(read_job(path)).hand_checks)


def test_a_locked_machine_has_nothing_to_be_turned():
    assert prove(read_job(ORDERS / "29-pinned-and-held" / "job.toml")).hand_checks == ()


def test_with_the_feed_in_the_hob_must_be_clear():
    found = [check for path in JOBS for check in prove(read_job(path)).hand_checks]
    assert any(check.feed_parted for check in found)
    assert all(check.as_json()["hob_clear"] is not check.feed_parted for check in found)
    assert all(isinstance(check.hob_turns, Fraction) for check in found)
