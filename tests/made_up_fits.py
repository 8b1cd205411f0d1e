"""Made-up machines of which something is unknown, and what a person would count on them.

Everything is drawn from a seeded `random.Random`, written as the text of a machine file once with its
numbers and once with "?" in the place of some, so that the whole way from file to result is gone.
What is counted is worked out on the true machine and put off by a random part of the counting error.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from random import Random
from typing import Any

from handlead.kinematics.links.links import Differential
from handlead.kinematics.links.mounted import Mounted
from handlead.kinematics.train.elimination import reduce_relations
from handlead.kinematics.train.setup import Setup
from handlead.kinematics.train.solution import held_relations, link_relations
from handlead.machines.machine_files.machine_file import Machine, read_machine_text

TURNS = Fraction(1, 200)
TRAVEL = Fraction(1, 50)

SENSED = ("bevel gears", "worm gear", "screw")

Row = dict[str, Any]


@dataclass
class MadeUp:
    """A machine with its true file, and the file with "?" at the keys `unknown`, each with its true value in words."""

    rows: list[Row]
    chance: Random
    unknown: dict[tuple[str, str, int | None], str] = field(default_factory=dict)

    @property
    def true_text(self) -> str:
        return _text(self.rows)

    @property
    def open_text(self) -> str:
        rows = [dict(row) for row in self.rows]
        for name, key, at in self.unknown:
            row = next(row for row in rows if row["name"] == name)
            if at is None:
                row[key] = "?"
            else:
                row[key] = ["?" if place == at else each for place, each in enumerate(row[key])]
        return _text(rows)

    @property
    def machine(self) -> Machine:
        return read_machine_text(self.true_text)

    def true_values(self) -> dict[str, str]:
        """The unknowns as `fit` names them, with their true values."""
        return {f"link/{name}/{key}": value for (name, key, _), value in self.unknown.items()}


def make_up(chance: Random, numbers: int, senses: int) -> MadeUp:
    """A machine with so many unknown numbers and senses at most, one number a link."""
    rows = _rows(chance)
    made = MadeUp(rows, chance)
    candidates = []
    for row in rows:
        match row["kind"]:
            case "gear pair" | "bevel gears":
                candidates.append((row["name"], "teeth", chance.choice((0, 1))))
            case "worm gear":
                candidates.append((row["name"], chance.choice(("teeth", "teeth", "starts")), None))
            case "differential":
                candidates.append((row["name"], "sun_ratio", None))
            case "screw":
                candidates.append((row["name"], "lead", None))
    for key in chance.sample(candidates, min(numbers, len(candidates))):
        made.unknown[key] = _true(rows, key)
    sensed = [(row["name"], "sense", None) for row in rows if row["kind"] in SENSED]
    for key in chance.sample(sensed, min(senses, len(sensed))):
        made.unknown[key] = _true(rows, key)
    return made


def _true(rows: list[Row], key: tuple[str, str, int | None]) -> str:
    value = next(row for row in rows if row["name"] == key[0])[key[1]]
    value = value if key[2] is None else value[key[2]]
    return str(value)


def _rows(chance: Random) -> list[Row]:
    """The links of a hobbing machine: differential ahead of the index gears, behind them, or none; fed from slide or table."""
    where = chance.choice(("ahead", "behind", "none"))
    teeth = lambda: chance.randint(16, 72)  # noqa: E731
    sense = lambda: chance.choice(("same", "opposite"))  # noqa: E731

    def pair(name: str, start: str, end: str) -> Row:
        kind = chance.choice(("gear pair", "bevel gears"))
        row: Row = {"name": name, "kind": kind, "from": start, "to": end, "teeth": [teeth(), teeth()]}
        return row | ({"sense": sense()} if kind == "bevel gears" else {})

    def worm(name: str, start: str, end: str, most: int) -> Row:
        return {"name": name, "kind": "worm gear", "from": start, "to": end, "starts": chance.randint(1, 4),
                "teeth": chance.randint(20, most), "sense": sense()}  # fmt: skip

    def bracket(name: str, start: str, end: str) -> Row:
        return {"name": name, "kind": "change gears", "from": start, "to": end}

    ratio = chance.choice(("-1", "-1", "-1/2", "-1/3", "2/3", "-5/8", "3", "-7/12", "-24/55"))
    first, second = {
        "ahead": (("sum", "index driven"), "worm shaft gears"),
        "behind": (("index input", "index driven"), "sum gears"),
        "none": (("index input", "index driven"), "worm shaft gears"),
    }[where]
    rows = [
        pair("hob gears", "motor", "hob"),
        pair("index drive", "motor", "index input"),
    ]
    if where == "ahead":
        rows.append(
            {
                "name": "differential",
                "kind": "differential",
                "suns": ["index input", "sum"],
                "carrier": "carrier",
                "sun_ratio": ratio,
            }
        )
    rows.append(bracket("index gears", *first))
    if where == "behind":
        rows.append(
            {
                "name": "differential",
                "kind": "differential",
                "suns": ["index driven", "sum"],
                "carrier": "carrier",
                "sun_ratio": ratio,
            }
        )
        rows.append(pair(second, "sum", "worm shaft"))
    else:
        rows.append(pair(second, "index driven", "worm shaft"))
    rows.append(worm("index worm", "worm shaft", "table", 120))
    rows.append(worm("feed worm", "worm shaft", "feed driver", 60))
    rows.append(bracket("feed gears", "feed driver", "feed shaft"))
    lead = chance.choice(("10", "5", "6", "12.5", "8", "6.35", "12.7", "7.5", "25/3"))
    rows.append(
        {
            "name": "slide screw",
            "kind": "screw",
            "from": "feed shaft",
            "to": "slide",
            "lead": str(Fraction(lead)),
            "sense": sense(),
        }
    )
    if where != "none":
        start = chance.choice(("feed shaft", "feed driver"))
        rows.append(bracket("differential gears", start, "carrier worm"))
        rows.append(worm("carrier worm gear", "carrier worm", "carrier wheel", 60))
        rows.append({"name": "carrier clutch", "kind": "clutch", "from": "carrier wheel", "to": "carrier"})
        rows.append({"name": "carrier brake", "kind": "brake", "shaft": "carrier", "state": "off"})
    return rows


def _value(value: Any) -> str:
    if isinstance(value, list):
        return f"[{', '.join(_value(each) for each in value)}]"
    return str(value) if isinstance(value, int) else f'"{value}"'


def _text(rows: list[Row]) -> str:
    parts = [row[key] for row in rows for key in ("from", "to", "carrier", "shaft") if key in row]
    parts += [sun for row in rows for sun in row.get("suns", ())]
    shafts = [part for part in dict.fromkeys(parts) if part != "slide"]
    lines = ['format = "machine/1"', 'name = "Made up"', "[shafts]", *(f'"{shaft}" = ""' for shaft in shafts)]
    lines += ["[slides]", '"slide" = "carries the hob"', "[ends]"]
    lines += [
        'hob = { part = "hob", positive = "cutting up" }',
        'table = { part = "table", positive = "clockwise" }',
    ]
    lines += ['axial = { part = "slide", positive = "up" }', "[drives]", 'main = { shaft = "motor" }']
    if any(row["name"] == "carrier clutch" for row in rows):
        lines += ["[levers.differential]", 'normal = "out"', "[levers.differential.positions]"]
        lines += ['in  = { "carrier clutch" = "in", "carrier brake" = "off" }']
        lines += ['out = { "carrier clutch" = "out", "carrier brake" = "on" }']
    for row in rows:
        lines += ["[[link]]", *(f"{key} = {_value(value)}" for key, value in row.items())]
    lines += ["[[gear_set]]", 'name = "box"', "teeth = [20, 24, 24, 30, 30, 37, 40, 41, 48, 48, 53, 60]"]
    return "\n".join(lines) + "\n"


# ---------------------------------------------------------------- what is counted


GEARS = {
    "index gears": Mounted((30, 40)),
    "feed gears": Mounted((24, 37)),
    "differential gears": Mounted((41, 53)),
}


def setups(machine: Machine) -> list[Setup]:
    """The machine with gears everywhere, its lever in each position."""
    change = {bracket.name: GEARS[bracket.name] for bracket in machine.train.brackets}
    levers = [{"differential": position} for position in ("in", "out")] if machine.levers else [{}]
    return [Setup("main", levers=each, change=change) for each in levers]


def true_rate(
    machine: Machine, setup: Setup, turned: str, moved: str, held: tuple[str, ...] = ()
) -> Fraction | None:
    """Rate of a part per unit of another; None where the one doesn't settle the other."""
    train = machine.set_up(setup)
    relations = [relation for _, relation in link_relations(train) + held_relations(train, "main")]
    relations += [{part: Fraction(1)} for part in held]
    found = reduce_relations(train.parts, relations, keep=(turned,))
    if turned not in found.free or not set(found.of[moved]) <= {turned}:
        return None
    return found.of[moved].get(turned, Fraction(0))


def counted(
    made: MadeUp,
    setup: Setup,
    turned: str,
    turns: Fraction,
    moved: str,
    held: tuple[str, ...] = (),
    within: Fraction | None = None,
) -> str:
    """A [[counted]] table of an observations file: what a person would note, off by up to the counting error."""
    rate = true_rate(made.machine, setup, turned, moved, held)
    assert rate is not None
    within = within or (TRAVEL if moved == "slide" else TURNS)
    through = rate * turns + within * Fraction(made.chance.randint(-100, 100), 100)
    lines = [
        "[[counted]]",
        f'turned = {{ part = "{turned}", by = "{turns}" }}',
        f'moved = {{ part = "{moved}", by = "{abs(through)}", within = "{within}", '
        f'way = "{"positive" if through >= 0 else "negative"}" }}',
    ]
    if held:
        lines.append(f"held = [{', '.join(_value(part) for part in held)}]")
    if setup.levers:
        lines.append(
            f"levers = {{ {', '.join(f'{name} = {_value(each)}' for name, each in setup.levers.items())} }}"
        )
    gears = ", ".join(
        f'"{name}" = {{ gears = {list(each.gears)}, idlers = {list(each.idlers)} }}'
        for name, each in setup.change.items()
    )
    return "\n".join([*lines, f"change = {{ {gears} }}", ""])


def direct(made: MadeUp) -> list[str]:
    """For each link with an unknown one count across it, so that the slower part goes from mark to mark."""
    machine = made.machine
    bare = Setup("main", levers={"differential": "in"} if machine.levers else {})
    found = []
    for name in dict.fromkeys(key[0] for key in made.unknown):
        link = machine.train.link(name)
        if isinstance(link, Differential):
            found.append(counted(made, bare, link.suns[0], Fraction(100), link.suns[1], (link.carrier,)))
            continue
        start, end = link.ports
        if end == "slide":
            found.append(counted(made, bare, start, Fraction(40), end))
        elif machine.train.link(name).self_locking:
            found.append(counted(made, bare, end, Fraction(4), start))
        else:
            found.append(counted(made, bare, start, Fraction(60), end))
    return found


def end_to_end(made: MadeUp) -> list[str]:
    """Counts from the hob to the table and to the slide, with the lever in each position."""
    found = []
    for setup in setups(made.machine):
        for turns, moved in ((Fraction(200), "table"), (Fraction(50), "slide")):
            if true_rate(made.machine, setup, "hob", moved) is not None:
                found.append(counted(made, setup, "hob", turns, moved))
    return found


def observations_text(counts: list[str]) -> str:
    return "\n".join(['format = "observations/1"', *counts])
