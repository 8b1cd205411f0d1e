"""The keys of what a machine does otherwise than its numbers say: play, runout, and what is loose in it."""

from __future__ import annotations

from handlead.machines.tables.tables import Key, OneOf, Table
from handlead.machines.tables.values import Angle, Length, Name, Text, Whole

from .keys import CHANGE_GEAR, MODULE, PITCH, PRESSURE, SIZE

_AMOUNT_CHOICE = (OneOf(("angle", "length"), True),)


#: What may stand with any imperfection.
_KNOWN = (
    Key("comes_from", Text(), "How it is known: measured, or the records that `inspect` found it in."),
    Key(
        "inspected",
        Text(),
        "The day of those records, as 2031-05-04; what newer ones show takes the place of what older ones did.",
    ),
)


def _imperfection(kind: str, meaning: str, *keys: Key, one_of: tuple[OneOf, ...] = ()) -> Table:
    return Table("imperfection", meaning, (Key("kind", Text(), f'"{kind}".', True), *keys, *_KNOWN), one_of)


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


def _reading(meaning: str) -> Key:
    return Key("runout", Length(0, 100), f"Reading of the dial over a turn{meaning}: twice the eccentricity.", True)


_POINTS_TO = Key(
    "phase",
    Angle(0, 360),
    "Where the high side points with the table at 0: counter-clockwise from towards the hob, seen facing the table.",
    default="0",
)
_HIGH_GASH = Key(
    "phase",
    Angle(0, 360),
    "By what angle of the hob's turn its high side comes after its first gash.",
    default="0",
)
_PITCH = Key("diametral_pitch", PITCH, "The same in 1/in, instead of the module.")
_SIZE_CHOICE = (OneOf(("module", "diametral_pitch")),)

_WORM = (
    Key("link", Name(of="link"), "The worm and its wheel.", True),
    Key("module", MODULE, "Module along the worm, in mm.", default="the link's"),
    _PITCH,
)
_WAY = Key("way", Text(("in", "away", "left", "right")), "Which way it goes off, the way the head goes up.", True)

_WORK_RUNOUT = ("The blank's bore, or its arbor, runs out.", (_reading(" of the blank"),))
_WORK_TILT = (
    "The blank stands askew: its arbor runs true where its lower face is, and out of true above.",
    (_reading(" at a true arbor"), Key("over", SIZE, "How far above the blank's lower face it is read.", True)),
)
_TABLE_WOBBLE = (
    "The table's axis leans, and the way it leans goes round as the table turns.",
    (
        _reading(" at a true arbor in the table"),
        Key("over", SIZE, "How far above the place about which the axis leans it is read.", True),
        Key("waves", Whole(1, 1000), "How often the lean goes round in a turn of the table.", default="1"),
        Key("below", Length(0, 10_000), "How far below the blank's lower face that place is.", default="0"),
    ),
)
_HOB_RUNOUT = ("The hob runs out on its arbor, at either end alike.", (_reading(" of the hob"),))
_HOB_WOBBLE = (
    "The hob leans on its arbor: true at the middle of its length, and out of true at one end the other way than at "
    "the other.",
    (_reading(" of its collar"), Key("over", SIZE, "How far to the right of the hob's middle it is read.", True)),
)
_NOT_PARALLEL = (
    "The axial slide's way isn't parallel to the table's axis; the depth is right at mid-face.",
    (
        Key("length", Length(0, 100), "How far the head is off.", True),
        Key("over", SIZE, "Over this travel.", True),
        _WAY,
    ),
)
_BOW = (
    "The axial slide's way is hollow or humped, as an arc; the depth is right at mid-face, where it stands off most.",
    (
        Key("length", Length(0, 100), "How far the middle stands off a straight edge.", True),
        Key("over", SIZE, "Over this travel.", True),
        Key("way", Text(("in", "away", "left", "right")), "Which way the middle stands off.", True),
    ),
)
_WORM_FLOAT = (
    "A worm that goes to and fro along its axis with each of its turns, as over a thrust washer that isn't true.",
    (*_WORM, Key("runout", Length(0, 100), "Reading of the dial at its end over a turn: all its way.", True)),
)
_END_PLAY = (
    "Play along a worm's axis, which tells as lost motion of its wheel.",
    (*_WORM, Key("length", Length(0, 100), "How far the worm can be pushed along.", True)),
)

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
        "A change gear whose teeth run out; it tells in the bracket in which it is mounted as driver, driven gear or "
        "idler.",
        Key(
            "gear",
            CHANGE_GEAR,
            "Its teeth; of gears alike that of link and place has it, without them the first that is mounted, an idler "
            "last.",
            True,
        ),
        Key("link", Name(of="link"), "The bracket in which it was mounted, where others have as many teeth."),
        Key(
            "place",
            Whole(1, 100),
            "Where in that bracket, counted from its driving shaft on: the gears a, b, c, d are 1, 2, 3, 4, idlers "
            "come after the last of them.",
        ),
        Key("runout", Length(0, 100), "Reading of the dial over a turn: twice the eccentricity.", True),
        Key("module", MODULE, "Module of the gear, in mm.", default="the bracket's"),
        _PITCH,
        Key("pressure_angle", PRESSURE, "Pressure angle of the gear.", default="20"),
        Key(
            "between",
            Angle(0, 360),
            "At an idler, the angle from the gear before it to the gear after it, the way the idler turns.",
            default="180",
        ),
        _PHASE,
        one_of=_SIZE_CHOICE,
    ),
    "pitch": _imperfection(
        "pitch",
        "A screw or rack that moves its slide a little more or less than it should, alike all along.",
        Key("link", Name(of="link"), "The screw or rack.", True),
        Key("length", Length(-10, 10), "How much too far the slide goes; not far enough is negative.", True),
        Key("over", SIZE, "Over this travel.", True),
    ),
    "worm float": _imperfection("worm float", _WORM_FLOAT[0], *_WORM_FLOAT[1], _PHASE, one_of=_SIZE_CHOICE),
    "worm end play": _imperfection("worm end play", _END_PLAY[0], *_END_PLAY[1], one_of=_SIZE_CHOICE),
    "work runout": _imperfection("work runout", _WORK_RUNOUT[0], *_WORK_RUNOUT[1], _POINTS_TO),
    "work tilt": _imperfection("work tilt", _WORK_TILT[0], *_WORK_TILT[1], _POINTS_TO),
    "table wobble": _imperfection("table wobble", _TABLE_WOBBLE[0], *_TABLE_WOBBLE[1], _POINTS_TO),
    "hob runout": _imperfection("hob runout", _HOB_RUNOUT[0], *_HOB_RUNOUT[1], _HIGH_GASH),
    "hob wobble": _imperfection("hob wobble", _HOB_WOBBLE[0], *_HOB_WOBBLE[1], _HIGH_GASH),
    "slide not parallel": _imperfection("slide not parallel", _NOT_PARALLEL[0], *_NOT_PARALLEL[1]),
    "slide bow": _imperfection("slide bow", _BOW[0], *_BOW[1]),
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


LOOSENESS: dict[str, Table] = {
    "gear runout": _loose(
        "gear runout",
        "Change gears whose teeth run out, each of those that are mounted by itself, idlers too.",
        _reading(""),
        Key("module", MODULE, "Module of the gears, in mm.", default="the bracket's"),
        _PITCH,
        Key("pressure_angle", PRESSURE, "Pressure angle of the gears.", default="20"),
        one_of=_SIZE_CHOICE,
    ),
    **{
        kind: _loose(
            kind,
            IMPERFECTION[kind].meaning,
            *(key for key in IMPERFECTION[kind].keys[1:] if key not in (_PHASE, *_KNOWN)),
            one_of=IMPERFECTION[kind].one_of,
        )
        for kind in ("once per turn", "tooth by tooth")
    },
    "pitch": _loose(
        "pitch",
        IMPERFECTION["pitch"].meaning,
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
    **{
        kind: _loose(kind, meaning, *keys, one_of=_SIZE_CHOICE if _PITCH in keys else ())
        for kind, (meaning, keys) in {
            "worm float": _WORM_FLOAT,
            "worm end play": _END_PLAY,
            "work runout": _WORK_RUNOUT,
            "work tilt": _WORK_TILT,
            "table wobble": _TABLE_WOBBLE,
            "hob runout": _HOB_RUNOUT,
            "hob wobble": _HOB_WOBBLE,
            "slide not parallel": _NOT_PARALLEL,
            "slide bow": _BOW,
        }.items()
    },
    "hob gashes": _loose(
        "hob gashes",
        "Faces of the hob's gashes off even division, in a wave once round it; the job's hob says how its teeth are "
        "relieved behind them.",
        Key("length", Length(0, 10), "How far the faces stand off to either side, along its reference circle.", True),
    ),
    "hob thread": _loose(
        "hob thread",
        "The hob's thread, which goes a little too far or not far enough.",
        Key("length", Length(0, 1), "By how much it may be off along the axis in a turn.", True),
    ),
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
