"""The keys of what a machine does otherwise than its numbers say: play, runout, and what is loose in it."""

from __future__ import annotations

from handlead.machines.toml.tables import Key, OneOf, Table
from handlead.machines.toml.values import Angle, Length, Name, Text

from .keys import CHANGE_GEAR, MODULE, PRESSURE, SIZE

_AMOUNT_CHOICE = (OneOf(("angle", "length"), True),)


def _imperfection(kind: str, meaning: str, *keys: Key, one_of: tuple[OneOf, ...] = ()) -> Table:
    return Table("imperfection", meaning, (Key("kind", Text(), f'"{kind}".', True), *keys), one_of)


def _amount(what: str) -> tuple[Key, ...]:
    return (
        Key("link", Name(of="link"), "The link that has it.", True),
        Key("angle", Angle(0, 180), f"{what}, where its driven part is a shaft."),
        Key("length", Length(0, 1000), f"{what}, where its driven part is a slide."),
    )


_PHASE = Key(
    "phase",
    Angle(0, 360),
    "Where in its wave the error stands when everything stands at 0: a whole wave is 360 degrees.",
    default="0",
)
_GREATEST = "How far the driven part stands off to either side at the worst"

IMPERFECTION: dict[str, Table] = {
    "backlash": _imperfection(
        "backlash",
        "Lost motion of a link, which tells when its driving part turns back.",
        *_amount("How far the driven part can be moved while the driving one is held"),
        one_of=_AMOUNT_CHOICE,
    ),
    "once per turn": _imperfection(
        "once per turn",
        "An error that comes back with each turn of a link's driving or driven part: a worm that runs out, "
        "a table wheel that was cut off its centre, a lead screw with a drunken thread.",
        *_amount(_GREATEST),
        Key(
            "turn_of",
            Text(("driving", "driven")),
            "The part with whose turn it comes back.",
            default="driven, or driving where that is a slide",
        ),
        _PHASE,
        one_of=_AMOUNT_CHOICE,
    ),
    "tooth by tooth": _imperfection(
        "tooth by tooth",
        "An error that comes back with each tooth that goes through the mesh of two gears, or of a worm and its wheel.",
        *_amount(_GREATEST),
        _PHASE,
        one_of=_AMOUNT_CHOICE,
    ),
    "gear runout": _imperfection(
        "gear runout",
        "A change gear whose teeth run out; it tells in the bracket in which it is mounted as driver or driven gear.",
        Key("gear", CHANGE_GEAR, "Its teeth; of two gears alike the first that is mounted has it.", True),
        Key("runout", Length(0, 100), "Reading of the dial over a turn: twice the eccentricity.", True),
        Key("module", MODULE, "Module of the gear, in mm.", default="the bracket's"),
        Key("pressure_angle", PRESSURE, "Pressure angle of the gear.", default="20"),
        _PHASE,
    ),
}

_SPREAD = Key(
    "spread",
    Text(("normal", "even", "fixed")),
    "normal: seldom beyond the amount, 1 of 20 (of a wave, both its parts so); even: anything up to it alike; "
    "fixed: just the amount. Which way, or where in its wave, isn't known in any case.",
    default="normal",
)


def _loose(kind: str, meaning: str, *keys: Key, one_of: tuple[OneOf, ...] = ()) -> Table:
    comes_from = Key("comes_from", Text(), "How it is known: measured, from the maker, or guessed.", True)
    return Table("looseness", meaning, (Key("kind", Text(), f'"{kind}".', True), *keys, _SPREAD, comes_from), one_of)


def _reading(meaning: str) -> Key:
    return Key("runout", Length(0, 100), f"Reading of the dial over a turn{meaning}: twice the eccentricity.", True)


LOOSENESS: dict[str, Table] = {
    "gear runout": _loose(
        "gear runout",
        "Change gears whose teeth run out, each of those that are mounted by itself.",
        _reading(""),
        Key("module", MODULE, "Module of the gears, in mm.", default="the bracket's"),
        Key("pressure_angle", PRESSURE, "Pressure angle of the gears.", default="20"),
    ),
    **{
        kind: _loose(kind, IMPERFECTION[kind].meaning, *IMPERFECTION[kind].keys[1:-1], one_of=IMPERFECTION[kind].one_of)
        for kind in ("once per turn", "tooth by tooth")
    },
    "pitch": _loose(
        "pitch",
        "A screw or rack that moves its slide a little more or less than it should, alike all along.",
        Key("link", Name(of="link"), "The screw or rack.", True),
        Key("length", Length(0, 10), "By how much the slide may be off.", True),
        Key("over", SIZE, "Over this travel.", True),
    ),
    "play": _loose(
        "play",
        "Lost motion that may be taken up another way at one end of the face than at the other.",
        *_amount("How far the driven part may have gone over between the ends of the face"),
        one_of=_AMOUNT_CHOICE,
    ),
    "swivel": _loose(
        "swivel", "The head's angle, as it is read.", Key("angle", Angle(0, 10), "How far it may be off.", True)
    ),
    "work runout": _loose("work runout", "The blank's bore, or its arbor, runs out.", _reading("")),
    "hob runout": _loose("hob runout", "The hob runs out on its arbor.", _reading(" of the hob")),
    "hob diameter": _loose(
        "hob diameter",
        "The hob's reference diameter as it is ground back, which the lead angle goes by.",
        Key("length", Length(0, 100), "How far it may be off.", True),
    ),
    "blank diameter": _loose(
        "blank diameter",
        "The blank's outside diameter as it was measured, from which the depth is touched off.",
        Key("length", Length(0, 100), "How far it may be off.", True),
    ),
}
