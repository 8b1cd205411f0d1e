"""The keys of an observations file, and amounts with their uncertainties as values of them."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from handlead.machines.keys.keys import MOST_TEETH
from handlead.machines.tables.observed import Observed
from handlead.machines.tables.tables import Key, OneOf, Rows, Table, TableOf
from handlead.machines.tables.values import Length, Listing, Name, Number, Text, Value, Whole
from handlead.machines.toml import numbers
from handlead.machines.toml.numbers import UNITS, NumberFault

from .job_keys import MOUNTED

#: How surely turns of a shaft are read off its mark, in turns, and the travel of a slide off its dial, in mm,
#: where the file doesn't say (common practice: a chalk mark against a pointer; a dial or a rule).
USUAL_TURNS = Fraction(1, 200)

USUAL_TRAVEL = Fraction(1, 20)

#: How surely a lead is measured where the file doesn't say, as a part of it (common practice).
USUAL_LEAD = Fraction(1, 200)

#: Ways of a part that is no end: its own positive, as the senses of the links have it, or against that.
OWN_WAYS = {"positive": 1, "negative": -1}


@dataclass(frozen=True)
class Amount:
    """A number with the unit that was written behind it; empty where none was."""

    value: Fraction
    unit: str


@dataclass(frozen=True)
class Much(Value):
    """Turns of a shaft, or a length; which of them, the part decides."""

    def _says(self) -> str:
        return 'turns of a shaft such as 24 or "3/8", or for a slide a length; 0 or more'

    def _read(self, raw: Any, units: str) -> Amount:
        text = raw.strip() if isinstance(raw, str) else raw
        unit = next((each for each in UNITS if isinstance(text, str) and text.endswith(each)), "")
        if unit and isinstance(text, str):
            text = text.removesuffix(unit).strip()
        try:
            value = numbers.exact(text)
        except NumberFault as fault:
            raise self.wrong(raw, f"{fault}. It must be {self.says}") from None
        if not 0 <= value <= 10**6:
            raise self.wrong(raw)
        return Amount(value, unit)


_SETUP_KEYS = (
    Key(
        "drive",
        Text(),
        "The drive that is coupled in; all others stand still.",
        default='"main", or else the first',
    ),
    Key(
        "levers",
        TableOf(Text(), "levers"),
        "The position of each lever.",
        default="the machine's normal ones",
    ),
    Key("change", TableOf(MOUNTED, "brackets"), "What lies in each change-gear bracket.", default="empty"),
)


def _movement(name: str, meaning: str, within: str, way: str) -> Table:
    return Table(
        name,
        meaning,
        (
            Key("part", Name(of="part"), "The shaft or slide, as the machine file calls it.", True),
            Key("by", Much(), "How far: turns of a shaft, millimetres or inches of a slide."),
            Key("teeth", Number(0, 10**6), "How far, in teeth of a gear on the shaft that pass a mark."),
            Key("of", Whole(1, MOST_TEETH), "The teeth of that gear.", default="none: needed with `teeth`"),
            Key(
                "way",
                Text(),
                "Which way: of an end in the words of [ends] (clockwise, up, …), of any other part "
                "positive or negative, as the senses of the links have it.",
                default=way,
            ),
            Key("within", Much(), "By how much it may be off either way, in the same unit.", default=within),
        ),
        (OneOf(("by", "teeth"), True),),
    )


TURNED = _movement(
    "counted.turned", "The part that was turned by hand.", "0: turned to a mark", "its positive way"
)

MOVED = _movement(
    "counted.moved",
    "The part that was watched.",
    "1/200 turn, half a tooth, or 0.05 mm",
    "nobody looked: its size alone is used",
)

COUNTED = Table(
    "counted",
    "A part was turned, and another one watched.",
    (
        Key("note", Text(blank=True), "What was done, in words, for the report."),
        Key("turned", TURNED, TURNED.meaning, True, advice='Write turned = { part = "hob", by = 24 }'),
        Key(
            "moved",
            MOVED,
            MOVED.meaning,
            True,
            advice='Write moved = { part = "table", by = 1, within = "1/200" }',
        ),
        *_SETUP_KEYS,
        Key(
            "held",
            Listing(Name(of="part"), single=True),
            "Parts that were held so that they couldn't turn, besides drives not in use.",
            default="none",
        ),
    ),
)

_CUT_HOB = Table(
    "cut.hob",
    "The hob that was used.",
    (
        Key("starts", Whole(1, 20), "Number of starts.", default="1"),
        Key("hand", Text(("right", "left")), "Hand of the hob.", default="right"),
    ),
)

CUT = Table(
    "cut",
    "A set-up that is known to have cut a certain gear, fed along its axis.",
    (
        Key("note", Text(blank=True), "What was cut, in words, for the report."),
        Key("teeth", Whole(1, MOST_TEETH), "Teeth of the gear that came off.", True),
        Key(
            "hand",
            Text(("right", "left", "none")),
            "Its hand; none for straight teeth.",
            default="nobody looked",
        ),
        Key(
            "lead",
            Observed(Length(0, above=True), Length(0)),
            "Its lead, measured or calculated.",
            default="nobody measured",
        ),
        Key("hob", _CUT_HOB, _CUT_HOB.meaning, default="one start, right hand"),
        *_SETUP_KEYS,
    ),
)

BOUND = Table(
    "bound",
    "What can be said of an unknown by looking at it: a wheel has 90 to 110 teeth, a worm no more than 4 starts.",
    (
        Key("unknown", Text(), 'The unknown as `fit` names it: "link/index worm/teeth".', True),
        Key("least", Much(), "It is no less than this."),
        Key("greatest", Much(), "It is no greater than this."),
    ),
)

OBSERVATIONS = Table(
    "observations file",
    "What was done and counted at a machine, so that `fit` can find the numbers that its file lacks.",
    (
        Key(
            "format",
            Text(("observations/1",)),
            "What the file is.",
            True,
            advice='Write format = "observations/1"',
        ),
        Key("title", Text(blank=True), "The observations in one line."),
        Key("units", Text(("mm", "in")), "What every length without a unit of its own is in.", default="mm"),
        Key("counted", Rows({"": COUNTED}, "counted"), COUNTED.meaning),
        Key("cut", Rows({"": CUT}, "cut"), CUT.meaning),
        Key("bound", Rows({"": BOUND}, "bound"), BOUND.meaning),
    ),
)
