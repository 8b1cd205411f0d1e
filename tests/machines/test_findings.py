"""What a finding is to a program."""

import json
from fractions import Fraction

from handlead.machines.setups.findings import Finding, worst_first


def test_a_finding_gives_its_numbers_to_programs_exact_ones_as_strings():
    found = Finding("a", "error", "m", "r", {"ratio": Fraction(77, 64), "gears": (36, 37), "lead_mm": 494.1})
    assert json.loads(json.dumps(found.as_json()))["facts"] == {"ratio": "77/64", "gears": [36, 37], "lead_mm": 494.1}


def test_a_finding_without_numbers_needs_none_and_can_be_kept_in_a_set():
    assert Finding("a", "note", "m").as_json()["facts"] == {}
    assert len({Finding("a", "note", "m"), Finding("a", "note", "m")}) == 1


def test_what_is_worst_comes_first():
    note, error = Finding("n", "note", "m"), Finding("e", "error", "m")
    assert worst_first([note, error]) == (error, note)
