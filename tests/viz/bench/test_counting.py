"""What is asked to be counted, answered as the machine itself would: in inches and in millimetres, level and upright."""

import json
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from handlead import machines
from handlead.kinematics.links.mounted import Mounted
from handlead.kinematics.train.setup import Setup
from handlead.kinematics.train.solution import solve
from handlead.kinematics.train.train import Drive
from handlead.machines.documents.observations_file import ways_of
from handlead.machines.toml.numbers import UNITS
from handlead.viz.bench_files.shelf import Shelf
from handlead.viz.bench_machine.counting import add_count, counts_name, fit
from handlead.viz.bench_machine.machine_desk import open_machine, put

ROOT = Path(__file__).parents[3]


def answered(machine, asked):
    """The count as the machine itself gives it when the part is turned by hand."""
    stood = json.loads(asked.stood)
    change = {name: Mounted(tuple(one["gears"]), tuple(one.get("idlers", ()))) for name, one in stood["change"].items()}
    train = machine.set_up(Setup(machine.normal_drive, levers=stood["levers"], change=change))
    rate = solve(replace(train, drives={"hand": Drive(asked.turned)}), "hand").rates[asked.moved] or Fraction(0)
    by = Fraction(asked.turns) * rate
    if asked.moved in machine.train.slides:
        by /= UNITS[machine.units]
    ways = ways_of(machine, asked.moved)
    way = next((word for word, sign in ways.items() if by and sign * by > 0), "")
    return {"turned": asked.turned, "turns": asked.turns, "turned way": asked.turned_way, "moved": asked.moved,
            "by": str(abs(by)), "way": way, "within": asked.within, "stood": asked.stood}  # fmt: skip


@pytest.mark.parametrize(
    ("path", "lost", "closely"),
    [
        (
            "scenarios/95-written-from-paper/machine/lenthall-5.toml",
            {"teeth = 48": 'teeth = "?"', 'lead = "1/4"\nsense = "same"': 'lead = "?"\nsense = "?"'}, "to 0.0004 in",
        ),
        ("machines/shipped/brinnock-20.toml", {'lead = 6\nsense = "same"': 'lead = "?"\nsense = "?"'}, "to 0.01 mm"),
    ],
    ids=["level, in inches", "upright, in millimetres"],
)
def test_every_count_that_is_asked_for_leads_to_the_machine_itself(tmp_path, path, lost, closely):
    text = (ROOT / path).read_text()
    true = machines.read_machine_text(text)
    for number, unknown in lost.items():
        assert number in text
        text = text.replace(number, unknown, 1)
    (tmp_path / "lost.toml").write_text(text)
    shelf, said = Shelf(tmp_path), []
    for _ in range(6):
        desk = open_machine(shelf, "lost")
        counts = shelf.path(counts_name(desk))
        found = fit(desk.text, desk.name, counts.read_text() if counts.exists() else "", counts.name)
        if found.determined:
            break
        said.append(found.advice)
        add_count(desk, answered(true, found.asked))
    assert found.determined and not found.contradictions
    assert any(closely in words for words in said), said
    assert put(desk, found.text, "numbers found by counting").machine == true


def test_counts_written_by_hand_are_kept_before_the_page_adds_one(tmp_path):
    text = (ROOT / "machines/shipped/brinnock-20.toml").read_text()
    true = machines.read_machine_text(text)
    (tmp_path / "lost.toml").write_text(text.replace('lead = 6\nsense = "same"', 'lead = "?"\nsense = "?"', 1))
    shelf = Shelf(tmp_path)
    desk = open_machine(shelf, "lost")
    counts = shelf.path(counts_name(desk))
    asked = fit(desk.text, desk.name, "", counts.name).asked
    add_count(desk, answered(true, asked))
    by_hand = counts.read_text() + "# counted again on Tuesday\n"
    counts.write_text(by_hand)
    add_count(desk, answered(true, asked))
    kept = shelf.versions(counts.name)
    assert [kept.text(one.number) for one in kept.all][1] == by_hand
    assert kept.all[1].what == "changed outside the page" and kept.before(kept.all[2]) == kept.all[1]
