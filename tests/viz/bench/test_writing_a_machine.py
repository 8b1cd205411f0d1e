"""A machine written down by answering, without a browser: every kind of link, comments, removal, what it lacks."""

from pathlib import Path

import pytest
from handlead import machines
from handlead.machines.keys.link_keys import LINK
from handlead.machines.toml.places import parse
from handlead.viz.bench_files.entered import NotEntered
from handlead.viz.bench_files.shelf import Shelf
from handlead.viz.bench_machine.drawing import draw_machine
from handlead.viz.bench_machine.editing import edited
from handlead.viz.bench_machine.growing import grown
from handlead.viz.bench_machine.machine_desk import BARE, begin, open_machine
from handlead.viz.look.shop import Shop

from .written_down import written

ROOT = Path(__file__).parents[3]

#: A link of every kind in inches, a level machine, one from its makers' papers (level, in inches), one that is worn.
PAPER = [
    ROOT / "tests/machines/good/every-kind.toml", ROOT / "machines/shipped/ombrecht-l8.toml",
    ROOT / "scenarios/95-written-from-paper/machine/lenthall-5.toml", ROOT / "tests/machines/good/imperfect.toml",
]  # fmt: skip


@pytest.mark.parametrize("path", PAPER, ids=lambda path: path.stem)
def test_a_machine_that_is_written_by_answering_is_the_machine_on_the_paper(path):
    meant = machines.read_machine(path)
    text = written(parse(path.read_text(), path.name).values)
    assert machines.read_machine_text(text) == meant
    if meant.train.brackets:
        assert machines.constants(machines.read_machine_text(text)).sets == machines.constants(meant).sets


def test_every_kind_of_link_is_among_those_written():
    kinds = {row["kind"] for path in PAPER for row in parse(path.read_text(), path.name).values["link"]}
    assert kinds == set(LINK)


def enter(text, *whats):
    for what in whats:
        text, _ = edited(text, what)
    return text


def test_comments_order_and_line_ends_stay_where_they_are():
    before = (ROOT / "machines/shipped/ombrecht-l8.toml").read_text().replace("\n", "\r\n")
    after = enter(before, {"do": "set", "path": ["link", 8, "teeth"], "value": "64"})
    changed = [(one, other) for one, other in zip(before.splitlines(), after.splitlines(), strict=True) if one != other]
    assert changed == [("teeth  = 60", "teeth  = 64")] and after.count("\r\n") == before.count("\r\n")


def test_a_link_that_is_called_otherwise_is_so_wherever_it_is_named():
    before = (ROOT / "machines/shipped/ombrecht-l8.toml").read_text()
    number = [row["name"] for row in parse(before, "x").values["link"]].index("cage clutch")
    after = enter(
        before, {"do": "set", "path": ["link", number, "name"], "value": "dog clutch"},
        {"do": "rename", "path": ["shafts", "cage"], "name": "differential body"},
    )  # fmt: skip
    machine = machines.read_machine_text(after)
    assert machine.levers["differential"].positions["in"]["dog clutch"] == "in"
    assert machine.train.link("differential").carrier == "differential body"
    meant = before.replace('"cage clutch"', '"dog clutch"').replace('"cage"', '"differential body"')
    assert machine == machines.read_machine_text(meant)


def test_what_is_joined_is_not_taken_out_and_a_link_takes_its_levers_states_along():
    before = (ROOT / "machines/shipped/ombrecht-l8.toml").read_text()
    with pytest.raises(NotEntered, match="still joined: differential carrier, cage brake shaft, cage clutch to"):
        edited(before, {"do": "out", "path": ["shafts", "cage"]})
    number = [row["name"] for row in parse(before, "x").values["link"]].index("cage clutch")
    after = enter(before, {"do": "out", "path": ["link", number]})
    machine = machines.read_machine_text(after)
    assert machine.levers["differential"].positions["in"] == {"cage brake": "off"}
    after = enter(after, {"do": "out", "path": ["levers", "differential"]})
    assert "differential" not in machines.read_machine_text(after).levers


def test_a_number_that_hangs_on_an_unknown_one_is_not_told_as_if_it_were_known():
    text = (ROOT / "scenarios/51-plate-lost/machine.toml").read_text()
    growing = grown(parse(text, "x").values, Shop())
    parts, links = growing.said
    assert links["index worm"].lines == ("1/?, sense ?",) and links["hob gears"].lines == ("18/72",)
    # Up to the hob all is known; beyond an unknown wheel nothing is, with gears in the brackets.
    assert parts["hob"].lines[0].startswith("1 ·") and "?" not in parts["far sun"].lines
    geared = text.replace('kind   = "change gears"', 'kind   = "gear pair"\nteeth = [30, 30]')
    geared = geared.replace('kind = "change gears"', 'kind = "gear pair"\nteeth = [30, 30]')
    parts, _ = grown(parse(geared, "x").values, Shop()).said
    assert parts["table"].lines == ("?",) and parts["table"].sign == 0


def test_pulleys_are_told_in_the_inches_of_their_file():
    text = (ROOT / "scenarios/95-written-from-paper/machine/lenthall-5.toml").read_text()
    growing = grown(parse(text, "x").values, Shop("in"))
    assert growing.said[1]["motor belt"].lines == ("belt 4/10",) and not growing.notes


@pytest.mark.parametrize("units", ["mm", "in"])
def test_loose_ends_locks_and_missing_numbers_are_told_and_drawn(units):
    text = enter(
        BARE.format(name='"Growing"', units=units),
        {"do": "add", "kind": "gear pair", "name": "first gears", "from": "motor", "to new": "shaft", "teeth.0": "20"},
        {"do": "add", "kind": "screw", "name": "lead screw", "from": "shaft"},
        {"do": "add", "kind": "brake", "name": "brake", "shaft": "motor"},
    )  # fmt: skip
    drawn = draw_machine(text, "growing.toml")
    told = "\n".join(drawn.lines)
    for words in ("hob, table: no link touches it yet", "lead screw: its other side isn't joined", "first gears: teeth not known",
                  "lead not known", "sense not known", "LOCKED, levers normal: brake"):  # fmt: skip
        assert words in told
    assert {mark.sign for mark in drawn.marks} >= {"○", "?"} and drawn.drawn.svg.startswith(b"<?xml")


def test_a_text_that_cannot_be_said_so_is_refused_and_nothing_is_written():
    for what in (
        {"do": "add", "kind": "gear pair", "name": ""}, {"do": "set", "path": ["coolant"], "value": "1"},
        {"do": "set", "path": ["link", 99, "teeth"], "value": "1"}, {"do": "out", "path": []}, {"do": "gears"},
        {"do": "add", "kind": "shaft", "name": "hob"}, {"do": "set", "path": ["limits"], "value": "1"},
    ):  # fmt: skip
        with pytest.raises(NotEntered):
            edited(BARE.format(name='"x"', units="mm"), what)


@pytest.mark.parametrize("alike", ["ombrecht-l8", "pellarn-4"])
def test_a_machine_begun_from_another_is_that_one_under_its_own_name_and_says_so(tmp_path, alike):
    shelf = Shelf(tmp_path)
    stem = begin(shelf, 'The "old" hobber, Müller\'s', alike, "mm")
    made, other = machines.read_machine(tmp_path / f"{stem}.toml"), machines.find_machine(alike)
    assert made.name == 'The "old" hobber, Müller\'s' and made.train == other.train and made.levers == other.levers
    text = (tmp_path / f"{stem}.toml").read_text()
    # What the other's head says of itself isn't said of this one.
    assert text.startswith(f"# Begun from {other.name}.\n") and "Invented" not in text and not made.summary
    again = begin(shelf, 'The "old" hobber, Müller\'s', "", "in")
    assert again != stem and open_machine(shelf, again).values["units"] == "in"
