"""A plate's numbers beside the machine's own rules, also while a number of its train is unknown."""

from pathlib import Path

import pytest
from handlead.machines.machine_files.catalogue import shipped_machines
from handlead.viz.bench_files.shelf import Shelf
from handlead.viz.bench_machine.machine_desk import open_machine
from handlead.viz.bench_machine.plate import rules, write_plate

LOST = Path(__file__).parents[3] / "scenarios" / "51-plate-lost" / "machine.toml"


@pytest.fixture
def told(tmp_path):
    """What is said of the rule whose name begins so, once the plate's number is entered."""

    def told(text, begins, says=""):
        (tmp_path / "ours.toml").write_text(text)
        desk = open_machine(Shelf(tmp_path), "ours")
        (rule, *_) = (one for one in rules(desk) if one.name.startswith(begins))
        if says:
            write_plate(desk, rule.key, says)
            (rule, *_) = (one for one in rules(desk) if one.name.startswith(begins))
        return rule

    return told


def test_a_plates_index_constant_tells_the_teeth_of_a_wheel_that_nobody_could_see(told):
    rule = told(LOST.read_text(), "index")
    assert rule.constant == "?" and "hangs on index worm, teeth" in rule.said
    # 24 is what the machine's index constant is, with 48 teeth (the order's own README).
    assert "index worm, teeth would be 48" in told(LOST.read_text(), "index", "24").said
    odd = told(LOST.read_text(), "index", "24.1")
    assert odd.is_off and "is it read right" in odd.said


def test_what_was_read_stays_with_its_rule_once_the_number_is_known(told):
    told(LOST.read_text(), "index", "24")
    known = told(LOST.read_text().replace('teeth  = "?"\nsense  = "?"', 'teeth  = 48\nsense  = "opposite"'), "index")
    assert known.plate == "24" and "the same" in known.said and known.constant == "24"


def test_a_rule_that_hangs_on_several_waits_and_shows_no_number_that_is_none_of_the_machines(told):
    rule = told(LOST.read_text(), "differential", "12.5")
    assert "compared once slide screw, lead and carrier worm, teeth are known" in rule.said and not rule.is_off
    assert "= C / (k" in rule.formula


@pytest.mark.parametrize(("machine", "lead"), [("pellarn-4", "0.25 in"), ("tesmore-d2", "10 mm")])
def test_a_feed_constant_tells_the_lead_of_the_screw_in_the_machines_units(told, machine, lead):
    text = shipped_machines()[machine].read_text()
    line = next(line for line in text.split("\n") if line.startswith("lead "))
    known = told(text, "feed")
    rule = told(text.replace(line, 'lead = "?"', 1), "feed", known.constant)
    assert f"would be {lead}" in rule.said


def test_a_rule_that_hangs_on_nothing_unknown_is_compared_as_ever(told):
    text = shipped_machines()["tesmore-d2"].read_text()
    line = next(line for line in text.split("\n") if line.startswith("lead "))
    known = told(text, "index")
    rule = told(text.replace(line, 'lead = "?"', 1), "index", known.constant)
    assert rule.constant == known.constant and "the same" in rule.said
