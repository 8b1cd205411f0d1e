"""A machine's change-gear rules for every position of its levers, with worked lines."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import islice, product
from typing import Any

from handlead.kinematics.frame.frozen import frozen
from handlead.kinematics.frame.words import Hand, direction
from handlead.kinematics.gears.gear import MM_PER_INCH
from handlead.kinematics.links.mounted import ChangeGears, SetRatio
from handlead.kinematics.transfer.constants import (
    Constants,
    DifferentialRule,
    FeedRule,
    IndexRule,
    find_constants,
)
from handlead.machines.machine_files.machine_file import Machine

#: Combinations of lever positions looked at; a machine with more has its first ones worked out.
MOST_COMBINATIONS = 512

#: The worked lines are for this gear: a common size, with a count that no constant divides by accident.
EXAMPLE_TEETH, EXAMPLE_ANGLE_DEG = 29, 25


@dataclass(frozen=True)
class RuleSet:
    """The rules that hold for each of `positions` (lever -> position); equal rules stand together."""

    positions: tuple[Mapping[str, str], ...]
    constants: Constants

    def __post_init__(self) -> None:
        object.__setattr__(self, "positions", tuple(map(frozen, self.positions)))


@dataclass(frozen=True, repr=False)
class Rules:
    """All rule sets of a machine for one drive, in the order in which its levers list their positions."""

    machine: Machine
    drive: str
    sets: tuple[RuleSet, ...]
    left_out: int

    def __repr__(self) -> str:
        return f"<Rules of {self.machine.name!r} by {self.drive!r}: {len(self.sets)} sets>"

    def as_json(self) -> dict[str, Any]:
        """The rules as plain values for a JSON object; ratios as strings."""
        return {
            "machine": self.machine.name,
            "drive": self.drive,
            "rules": [_set_json(rules) for rules in self.sets],
            "combinations_left_out": self.left_out,
        }


def find_rules(machine: Machine, drive: str | None = None) -> Rules:
    """Work out the rules for every combination of lever positions in which no two levers clash."""
    running = drive or machine.normal_drive
    found: list[RuleSet] = []
    combinations = _combinations(machine)
    for positions in combinations[:MOST_COMBINATIONS]:
        if machine.can_stand(positions):
            train = machine.train.with_states(machine.states(positions))
            _sort_in(found, positions, find_constants(train, running))
    return Rules(machine, running, tuple(found), max(0, len(combinations) - MOST_COMBINATIONS))


def _combinations(machine: Machine) -> list[dict[str, str]]:
    return list(islice(machine.lever_combinations(), 16 * MOST_COMBINATIONS))


def _sort_in(found: list[RuleSet], positions: dict[str, str], constants: Constants) -> None:
    for index, rules in enumerate(found):
        if rules.constants == constants:
            found[index] = RuleSet((*rules.positions, positions), constants)
            return
    found.append(RuleSet((positions,), constants))


def where_text(positions: Sequence[Mapping[str, str]], machine: Machine) -> str:
    """These combinations of lever positions, as short as they can be said; empty where all are meant.

    Levers are named only where their position matters. Combinations in which two levers clash
    count as meant, since nobody can set them.
    """
    chosen = [_key(combination) for combination in positions]
    clashing = {
        _key(combination) for combination in _combinations(machine) if not machine.can_stand(combination)
    }
    boxes = _boxes(chosen, clashing, machine)
    return "; or ".join(filter(None, (_box_text(box, machine) for box in boxes)))


_Key = tuple[tuple[str, str], ...]
_Box = dict[str, list[str]]


def _key(positions: Mapping[str, str]) -> _Key:
    return tuple(positions.items())


def _boxes(chosen: list[_Key], clashing: set[_Key], machine: Machine) -> list[_Box]:
    """Blocks of positions, each any of its levers' listed ones, that together make up `chosen`."""
    allowed = set(chosen) | clashing
    boxes: list[_Box] = []
    left = list(chosen)
    while left:
        box = {name: [position] for name, position in left[0]}
        for name, lever in machine.levers.items():
            for position in lever.positions:
                grown = {**box, name: [*box[name], position]}
                if position not in box[name] and set(_keys(grown)) <= allowed:
                    box = grown
        boxes.append(box)
        covered = set(_keys(box))
        left = [key for key in left if key not in covered]
    return boxes


def _keys(box: _Box) -> Iterator[_Key]:
    for values in product(*box.values()):
        yield tuple(zip(box, values, strict=True))


def _box_text(box: _Box, machine: Machine) -> str:
    return ", ".join(
        f"{name} {' or '.join(values)}"
        for name, values in box.items()
        if len(values) < len(machine.levers[name].positions)
    )


# ---------------------------------------------------------------- formulas and worked lines


Rule = IndexRule | FeedRule | DifferentialRule


def product_letters(rule: Rule, constants: Constants) -> str:
    """The gears of all brackets that the rule is for, in letters: those in series with its own before them."""
    loose = "".join(f"{letters} · " for letters in _loose_letters(rule, constants).values())
    return f"{loose}a/b · c/d"


def letters_words(rule: Rule, constants: Constants) -> str:
    """Which letters stand in which bracket, where there are several; empty where the rule is for one bracket."""
    loose = _loose_letters(rule, constants)
    if not loose:
        return ""
    each = [f"{letters} in {name}" for name, letters in loose.items()]
    return f"{', '.join(each)}, a/b · c/d in {rule.bracket}: one behind the other, the product counts"


def _loose_letters(rule: Rule, constants: Constants) -> dict[str, str]:
    lettered = constants.letters_before(rule.bracket).items()
    return {name: " · ".join(map("/".join, zip(each[::2], each[1::2], strict=True))) for name, each in lettered}


def index_formula(rule: IndexRule) -> str:
    """What the gears must come to, in symbols: k starts, z teeth."""
    return f"{abs(rule.constant)} · k/z"


def index_example(rule: IndexRule) -> str:
    """One worked line."""
    ratio = abs(rule.ratio(Hand.RIGHT, 1, EXAMPLE_TEETH))
    return f"{EXAMPLE_TEETH} teeth, single-start hob: {abs(rule.constant)} · 1/{EXAMPLE_TEETH} = {ratio}"


def feed_formula(rule: FeedRule, units: str) -> str:
    """The rule in symbols: f is the feed in the machine's own units per turn of table or hob."""
    constant = _in_units(abs(rule.constant), units)
    said = "inches" if units == "in" else units
    return f"f / {_number(constant)}    f in {said} per {rule.per} turn, {rule.slide} slide"


def feed_example(rule: FeedRule, units: str) -> str:
    """One worked line."""
    feed = Fraction(8, 100) if units == "in" else Fraction(2)
    constant = _in_units(abs(rule.constant), units)
    return f"{_number(feed)} {units} per {rule.per} turn: {_number(feed)} / {_number(constant)} = {feed / constant}"


def differential_formula(rule: DifferentialRule, units: str) -> str:
    """The rule in symbols: L lead, z teeth, k starts, f feed per table turn, p_x = L/z axial pitch."""
    if rule.constant is None:
        return "no single constant: it depends on more than lead, teeth, starts and feed"
    # A constant over a lead has the lead's unit, over a feed times a lead its square, and so on.
    scale = _in_units(Fraction(1), units) ** (1 - rule.feed_power)
    constant = _number(rule.constant * scale)
    over = [] if rule.starts_power >= 0 else ["k"]
    pitch = rule.teeth_power == 1
    if rule.slide == "tangential":
        times, over = _times(rule, pitch), [*over, "π m_n" if pitch else "π m_n z"]
        return f"{constant}{times} · cos β / ({' · '.join(over)})    tangential slide, {_counts(rule)}"
    times, over = _times(rule, pitch), [*over, "p_x" if pitch else "L"]
    tail = f" = {constant}{times} · sin β / ({' · '.join([*over[:-1], 'π m_n'])})" if pitch else ""
    bottom = f"({' · '.join(over)})" if len(over) > 1 else over[0]
    return f"{constant}{times} / {bottom}{tail}    lengths in {units}, {_counts(rule)}"


def _times(rule: DifferentialRule, pitch: bool) -> str:
    powers = {
        "z": 0 if pitch else rule.teeth_power,
        "k": max(0, rule.starts_power),
        "f": rule.feed_power,
    }
    return "".join(
        f" · {name}" + (f"^{power}" if power not in (0, 1) else "") for name, power in powers.items() if power
    )


def _counts(rule: DifferentialRule) -> str:
    if rule.depends_on_teeth:
        return "the tooth count matters: each member of a pair needs its own gears"
    return "free of the tooth count: both members of a pair take the same gears"


def differential_example(rule: DifferentialRule, units: str) -> str:
    """One worked line, for a module 3 (8 DP) gear at 25 degrees, 2 mm (0.08 in) of feed where it matters."""
    if rule.constant is None:
        return ""
    module = MM_PER_INCH / 8 if units == "in" else Fraction(3)
    feed = Fraction(8, 100) * MM_PER_INCH if units == "in" else Fraction(2)
    size = "8 DP" if units == "in" else "module 3"
    angle = math.radians(EXAMPLE_ANGLE_DEG)
    trig = math.cos(angle) if rule.slide == "tangential" else math.sin(angle)
    inverse_lead = trig / (math.pi * float(module) * EXAMPLE_TEETH)
    factor = Fraction(EXAMPLE_TEETH) ** rule.teeth_power * feed**rule.feed_power
    ratio = float(rule.constant * factor) * inverse_lead
    teeth = f"{EXAMPLE_TEETH} teeth, " if rule.depends_on_teeth else ""
    fed = f", feed {_number(_in_units(feed, units))} {units}" if rule.feed_power else ""
    return f"{size}, {teeth}{EXAMPLE_ANGLE_DEG}°, single-start hob{fed}: {ratio:.9f}"


def _in_units(mm: Fraction, units: str) -> Fraction:
    return mm / MM_PER_INCH if units == "in" else mm


def _number(value: Fraction) -> str:
    """A decimal where it is short, else the fraction."""
    decimal = f"{float(value):.6f}".rstrip("0").rstrip(".")
    return decimal if Fraction(decimal) == value else str(value)


# ---------------------------------------------------------------- idlers


def idler_words(link: ChangeGears, sign: int) -> str:
    """How many idlers give a ratio of this sign, for each number of pairs that the bracket takes."""
    if isinstance(link, SetRatio):
        return "plus" if sign > 0 else "minus"
    return ", ".join(f"{_pairs(pairs)}: {_idlers_for(link, pairs, sign)}" for pairs in sorted(link.pairs))


def _pairs(number: int) -> str:
    return {1: "one pair", 2: "two pairs", 3: "three pairs"}.get(number, f"{number} pairs")


def _idlers_for(link: ChangeGears, pairs: int, sign: int) -> str:
    fitting = [number for number in sorted(link.idlers) if (-1) ** (pairs + number) == sign]
    if not fitting:
        return "can't be had"
    words = {0: "no idler", 1: "an idler", 2: "two idlers"}
    return " or ".join(words.get(number, f"{number} idlers") for number in fitting)


def index_senses(rule: IndexRule, link: ChangeGears) -> list[tuple[str, str]]:
    """For each hand of hob, the idlers with which the table runs with it."""
    return [
        (f"{hand.word}-hand hob", idler_words(link, 1 if rule.ratio(hand, 1, 1) > 0 else -1))
        for hand in (Hand.RIGHT, Hand.LEFT)
    ]


def feed_senses(rule: FeedRule, link: ChangeGears) -> list[tuple[str, str]]:
    """The idlers that give climb feed (or a tangential slide to the right) with the hob cutting up.

    Per table turn the slide goes by constant times ratio, and the table by minus the hob's hand.
    """
    hob = f" with a {Hand.RIGHT.word}-hand hob" if rule.per == "table" else ""
    with_hob = rule.constant * (-Hand.RIGHT.value if hob else 1)
    way, sign = ("climb", -1) if rule.slide == "axial" else (direction(rule.slide, 1), 1)
    how = "the other sign" if isinstance(link, SetRatio) else "an idler more or less"
    turned = f"; {how} turns it over" + (", and so does a left-hand hob" if hob else "")
    return [(f"{way}{hob}", idler_words(link, 1 if with_hob * sign > 0 else -1) + turned)]


def differential_senses(rule: DifferentialRule, link: ChangeGears) -> list[tuple[str, str]]:
    """For each hand of work, the idlers that give it; by hand of hob and way of the slide where they matter."""
    senses = rule.senses
    by_hob = any(senses.get(key) != senses.get((key[0].other, *key[1:])) for key in senses)
    by_way = any(senses.get(key) != senses.get((*key[:2], -key[2])) for key in senses)
    rows: dict[str, int] = {}
    for (hob, work, way), sign in senses.items():
        name = f"{work.word}-hand work" if rule.slide == "axial" else "table rolling with the slide"
        name += f", {hob.word}-hand hob" if by_hob else ""
        name += f", {_way_word(rule.slide, way)}" if by_way else ""
        rows[name] = sign
    return [(name, idler_words(link, sign)) for name, sign in sorted(rows.items(), reverse=True)]


def _way_word(slide: str, way: int) -> str:
    """The way of the slide while the hob cuts up."""
    if slide == "axial":
        return "conventional" if way > 0 else "climb"
    return f"slide {direction(slide, way)}"


# ---------------------------------------------------------------- JSON


def _set_json(rules: RuleSet) -> dict[str, Any]:
    constants = rules.constants
    return {
        "levers": [dict(positions) for positions in rules.positions],
        "index": constants.index
        and {"bracket": constants.index.bracket, "in_series": list(constants.before(constants.index.bracket)),
             "constant": str(abs(constants.index.constant)),
             "signed_constant": str(constants.index.constant)},
        "feeds": [
            {"bracket": rule.bracket, "in_series": list(constants.before(rule.bracket)), "slide": rule.slide,
             "per": rule.per, "mm_per_turn_at_1": str(abs(rule.constant)),
             "signed_mm_per_turn_at_1": str(rule.constant)}
            for rule in constants.feeds
        ],
        "differentials": [
            {"bracket": rule.bracket, "in_series": list(constants.before(rule.bracket)), "slide": rule.slide,
             "constant_mm": rule.constant and str(rule.constant),
             "teeth_power": rule.teeth_power, "starts_power": rule.starts_power, "feed_power": rule.feed_power,
             "depends_on_teeth": rule.depends_on_teeth}
            for rule in constants.differentials
        ],
        "speed": constants.speed,
    }  # fmt: skip
