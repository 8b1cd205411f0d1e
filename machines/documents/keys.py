"""The keys of every file, as tables: from them come reading, guesses at misspellings, writing and the reference.

Nothing here knows what the values are for; `machine_file` and `job_file` make machines and jobs of them.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from handlead.kinematics.frame.words import MARKS, POSITIVES, STILL, SWIVEL_TURNS, Feed, Hand, Sense
from handlead.kinematics.gears.gear import MM_PER_INCH
from handlead.kinematics.search.bracket import BRACKET_KEYS, Bracket
from handlead.kinematics.search.drawer import MOST_TEETH as MOST_CHANGE_GEAR_TEETH
from handlead.kinematics.train.train import END_NAMES
from handlead.kinematics.work.requirement import WORK_KINDS
from handlead.machines.toml.observed import Measured, MissedBy, Told
from handlead.machines.toml.values import (
    Angle,
    Flag,
    Key,
    Length,
    Listing,
    Name,
    NameOr,
    Number,
    OneOf,
    Rows,
    Span,
    Swivel,
    Table,
    TableOf,
    Text,
    Value,
    Whole,
)  # fmt: skip

from .halves_keys import HALVES, MEETS
from .hand_keys import HAND_KEYS
from .head_scale import READ_FROM
from .toothed_keys import BECAUSE, CLEANED, FLANKS

MOST_TEETH = 100_000

# ---------------------------------------------------------------- what the keys take

_TEETH = Whole(1, MOST_TEETH)
_TWO_TEETH = Listing(_TEETH, 2, 2)
#: Of a loose gear: no bracket takes a larger one, and the search keeps to it.
_CHANGE_GEAR = Whole(1, MOST_CHANGE_GEAR_TEETH)
_SIZE = Length(0, above=True)
_MISSED = Length(-100, 100)
_MODULE = Length(Fraction(1, 1000), 1000, units="mm")
# As the module's limits, turned over.
_PITCH = Number(Fraction(254, 10_000), 25_400)
_SENSE = Text(tuple(sense.word for sense in (Sense.SAME, Sense.OPPOSITE)))
_HAND = Text(tuple(hand.word for hand in (Hand.RIGHT, Hand.LEFT)))
_PRESSURE = Angle(0, 45, above=True)
_HELIX = Angle(0, Fraction(8999, 100))
_UNITS = Key("units", Text(("mm", "in")), "What every length without a unit of its own is in.", default="mm")


# ---------------------------------------------------------------- a machine file

END = {
    end: Table(
        f"ends.{end}",
        "A part that meets the work, and which way its positive runs in the frame.",
        (
            Key("part", Name(of="shaft" if end in ("hob", "table") else "slide"), "The part.", True),
            Key(
                "positive",
                Text(tuple(POSITIVES[end])),
                "Which way the part's own positive runs.",
                True,
            ),
            Key(
                "called",
                Table(
                    f"ends.{end}.called",
                    "What the frame's two ways are called at this machine, for its sheets: of a machine whose work "
                    "lies level, up may be towards the tailstock.",
                    tuple(Key(way, Text(), f"What people at the machine say for {way}.") for way in POSITIVES[end]),
                ),
                "Other words for its two ways.",
                default="the frame's",
            ),
        ),
    )
    for end in END_NAMES
}

_END_MEANINGS = {
    "hob": "The hob's spindle.",
    "table": "The table that carries the work.",
    "axial": "The slide that moves along the work axis.",
    "tangential": "The slide that moves the hob along its own axis.",
    "radial": "The slide that moves towards the work axis and away from it.",
}

ENDS = Table(
    "ends",
    "Which parts meet the work.",
    tuple(
        Key(
            end,
            END[end],
            _END_MEANINGS[end],
            end in ("hob", "table"),
            advice=f'Write {end} = {{ part = "…", positive = {Text(tuple(POSITIVES[end])).says} }}',
        )
        for end in END_NAMES
    ),
)

DRIVE = Table(
    "drives.NAME",
    "Something that can turn the machine.",
    (
        Key("shaft", Name(of="shaft"), "The shaft that it turns.", True),
        Key("rpm", Number(0, 100_000, above=True), "Its speed in turns a minute."),
        Key(
            "at_rest",
            Text(("still", "free")),
            "What the shaft does while another drive is in use.",
            default="still",
        ),
    ),
)

LEVER = Table(
    "levers.NAME",
    "Something that the operator moves.",
    (
        Key(
            "normal",
            Text(),
            "The position in which it stands unless a job says otherwise.",
            True,
            advice="Write the position in which the lever stands for plain work",
        ),
        Key(
            "positions",
            TableOf(
                TableOf(Text(), "states", names="link"),
                "positions",
            ),
            "For each position, the state into which it puts each link that it moves.",
            True,
            advice='Write for each position the states it sets: in = { "clutch" = "in" }',
        ),
    ),
)

#: Measures of a bracket that may be 0.
_MAY_BE_ZERO = frozenset({"clearance", "gap", "slack", "studs", "addendum"})


def _bracket_value(key: str, unit: str) -> Value:
    low = 0 if key in _MAY_BE_ZERO else None
    if key == "module":
        return _MODULE
    if key == "pivot":
        return Text(("driving", "driven"))
    if unit == "mm":
        return Length(0, above=low is None)
    if key in ("clearance", "addendum"):
        return Number(0, 1000)
    return Whole(0 if low == 0 else 1, MOST_TEETH)


def _bracket(values: dict[str, Any]) -> dict[str, Any]:
    """The keys as `handlead.kinematics.bracket` takes them. Raises `ValueError` for what no bracket can be."""
    keys = {key: value for key, value in values.items() if key != "diametral_pitch"}
    if "diametral_pitch" in values:
        keys["module"] = MM_PER_INCH / values["diametral_pitch"]
    try:
        Bracket.of(keys)
    except ValueError as fault:
        raise ValueError(str(fault).removeprefix("bracket: ")) from None
    return keys


BRACKET = Table(
    "link.bracket",
    "What can physically be mounted in a change-gear bracket; each key is optional, and without any there is no limit.",
    (
        *(
            Key(key, _bracket_value(key, unit), f"{meaning[0].upper()}{meaning[1:]}.")
            for key, (meaning, unit) in BRACKET_KEYS.items()
        ),
        Key(
            "diametral_pitch", _PITCH, "Diametral pitch of the change gears, in 1/in, instead of the module."
        ),
    ),
    (OneOf(("module", "diametral_pitch")),),
    _bracket,
)

_SENSE_ADVICE = (
    'Turn {from} its positive way by hand: if {to} goes its own positive way, write sense = "same", '
    'else sense = "opposite"'
)


def _link(
    kind: str,
    meaning: str,
    *keys: Key,
    ports: tuple[str, str] | None = ("shaft", "shaft"),
    one_of: tuple[OneOf, ...] = (),
) -> Table:
    between = () if ports is None else (
        Key("from", Name(of=ports[0]), "The part at the driving side.", True),
        Key("to", Name(of=ports[1]), "The part at the driven side.", True),
    )  # fmt: skip
    return Table(
        "link",
        meaning,
        (
            Key("name", Text(), "What the link is called on the machine and in the reports.", True),
            Key("kind", Text(), f'"{kind}".', True),
            *between,
            *keys,
        ),
        one_of,
    )


def _sense(required: bool = True, default: str = "") -> Key:
    return Key(
        "sense",
        _SENSE,
        "Whether the positives of both parts go together (same) or against each other (opposite).",
        required,
        default,
        _SENSE_ADVICE,
    )


def _state(default: str, *states: str) -> Key:
    return Key(
        "state",
        Text(states),
        "The state in which it is where no lever puts it into another.",
        default=default,
    )


_PULLEYS = (
    Key("teeth", _TWO_TEETH, "Teeth of both, the driving one first."),
    Key("diameters", Listing(_SIZE, 2, 2), "Diameters of both, the driving one first."),
    Key("crossed", Flag(), "Whether it is crossed, which turns the sense over.", default="false"),
)

LINK: dict[str, Table] = {
    "gear pair": _link(
        "gear pair",
        "Two gears in mesh. External ones turn against each other, an internal pair together, unless `sense` says so.",
        Key("teeth", _TWO_TEETH, "Teeth of both gears, the driving one first.", True),
        Key("internal", Flag(), "Whether one is a ring with teeth inside.", default="false"),
        _sense(False, "opposite, or same for an internal pair"),
    ),
    "bevel gears": _link(
        "bevel gears",
        "Two bevel gears; their sense depends on how they face.",
        Key("teeth", _TWO_TEETH, "Teeth of both gears, the driving one first.", True),
        _sense(),
    ),
    "worm gear": _link(
        "worm gear",
        "A worm (`from`) and its wheel (`to`), which never drives it.",
        Key("starts", Whole(1, 100), "Starts of the worm.", True),
        Key("teeth", _TEETH, "Teeth of the wheel.", True),
        _sense(),
    ),
    "belt": _link(
        "belt", "A belt between two pulleys.", *_PULLEYS, one_of=(OneOf(("teeth", "diameters"), True),)
    ),
    "chain": _link(
        "chain", "A chain between two sprockets.", *_PULLEYS, one_of=(OneOf(("teeth", "diameters"), True),)
    ),
    "change gears": _link(
        "change gears",
        "A bracket for change gears, empty until a job mounts some.",
        Key(
            "pairs",
            Listing(Whole(1, 10), 1, 10, single=True),
            "The numbers of pairs that it takes.",
            default="[1, 2]",
        ),
        Key(
            "idlers",
            Listing(Whole(0, 10), 1, 11, single=True),
            "The numbers of idlers that it takes.",
            default="[0, 1]",
        ),
        Key("bracket", BRACKET, "What can physically be mounted.", default="no limit"),
    ),
    "differential": _link(
        "differential",
        "An epicyclic train of two suns p, q and a carrier c: q − c = sun_ratio·(p − c).",
        Key("suns", Listing(Name(of="shaft"), 2, 2), "The suns p and q.", True),
        Key("carrier", Name(of="shaft"), "The carrier c.", True),
        Key(
            "sun_ratio",
            Number(),
            "Rate of q over rate of p with the carrier held.",
            default="-1, the plain bevel kind",
        ),
        ports=None,
    ),
    "clutch": _link(
        "clutch",
        "In, both shafts turn as one; out, nothing passes.",
        _state("in", "in", "out"),
    ),
    "brake": _link(
        "brake",
        "On, the part stands still; off, it is free.",
        Key("shaft", Name(of="part"), "The part that it holds.", True),
        _state("on", "on", "off"),
        ports=None,
    ),
    "selector": _link(
        "selector",
        "A reverser or range box: its ratio goes by its state.",
        Key(
            "ratios",
            TableOf(Number(), "ratios"),
            "For each state the rate of `to` over that of `from`; 0 passes nothing.",
            True,
            advice="Write the ratio of each state: { high = 1, low = \"1/2\", neutral = 0 }",
        ),
        _state(""),
    ),
    "template": _link(
        "template",
        "A template, or a cam, along which one slide is led while another moves: in, it leads; out, it doesn't.",
        Key(
            "points",
            Listing(Listing(Length(), 2, 2), 2, 200),
            "Points of it, in their order: where the slide `from` stands, 0 with the hob at mid-face, and "
            "how far the slide `to` is then displaced, each by its part's own positive.",
            True,
            advice="Write points = [[-40, 0.02], [0, 0], [40, 0.02]]",
        ),
        Key(
            "law",
            Text(("straight", "smooth")),
            "What lies between the points: straight lines, or a smooth curve, of three points the parabola.",
            default="straight",
        ),
        _state("in", "in", "out"),
        ports=("slide", "slide"),
    ),
    "screw": _link(
        "screw",
        "A screw that moves a slide.",
        Key("lead", _SIZE, "Travel of the slide for a turn of the screw, its starts counted in.", True),
        _sense(),
        ports=("shaft", "slide"),
    ),
    "rack": _link(
        "rack",
        "A pinion that moves a slide by its rack.",
        Key("teeth", _TEETH, "Teeth of the pinion."),
        Key("module", _MODULE, "Module of the pinion, in mm; its travel then holds π to forty decimals."),
        Key("diametral_pitch", _PITCH, "Diametral pitch of the pinion, in 1/in, instead of the module."),
        Key("travel", _SIZE, "Travel for a turn of the pinion, instead of teeth and module; it stays exact."),
        _sense(),
        ports=("shaft", "slide"),
        one_of=(OneOf(("travel", "module", "diametral_pitch"), True),),
    ),
}  # fmt: skip

GEAR_SET = Table(
    "gear_set",
    "Change gears that lie in the drawer.",
    (
        Key("name", Text(), "What the set is called.", True),
        Key(
            "fits",
            Listing(Name(of="bracket"), single=True),
            "The change-gear links into which they can be put.",
            default="every one",
        ),
        Key("teeth", Listing(_CHANGE_GEAR), "Their teeth; a count given twice is owned twice.", True),
    ),
)

LIMITS = Table(
    "limits",
    "What the machine can do; `prove` refuses set-ups beyond it.",
    (
        Key(
            "rpm",
            TableOf(Span(Number(0, 100_000)), "speeds", names="shaft"),
            "For a shaft its greatest speed in turns a minute, or [least, greatest].",
        ),
        Key(
            "travel",
            TableOf(Length(0, above=True), "travels", names="slide"),
            "For a slide the whole length of its travel.",
        ),
        Key(
            "swivel",
            Span(Angle(None, 180)),
            "How far the head swings to either side, in degrees, or [least, greatest] with counter-clockwise positive.",
        ),
        Key("work_diameter", _SIZE, "Largest diameter of the work."),
        Key("face_width", _SIZE, "Largest face width of the work."),
        Key("module", _MODULE, "Largest module, in mm."),
        Key("diametral_pitch", _PITCH, "Coarsest diametral pitch, in 1/in, instead of the module."),
        Key(
            "feed",
            Span(Length(0, above=True)),
            "Greatest feed along the axis for a turn of the table, or [least, greatest].",
        ),
    ),
    (OneOf(("module", "diametral_pitch")),),
)

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
        Key("gear", _CHANGE_GEAR, "Its teeth; of two gears alike the first that is mounted has it.", True),
        Key("runout", Length(0, 100), "Reading of the dial over a turn: twice the eccentricity.", True),
        Key("module", _MODULE, "Module of the gear, in mm.", default="the bracket's"),
        Key("pressure_angle", _PRESSURE, "Pressure angle of the gear.", default="20"),
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
        Key("module", _MODULE, "Module of the gears, in mm.", default="the bracket's"),
        Key("pressure_angle", _PRESSURE, "Pressure angle of the gears.", default="20"),
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
        Key("over", _SIZE, "Over this travel.", True),
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

#: Minutes that changing over takes, for each thing that is done, where a machine file doesn't say (starting values,
#: common practice at hand-set machines, from memory), and what is counted.
CHANGE_TIMES: dict[str, tuple[Fraction, str]] = {
    "gear_off": (Fraction(1), "taking a change gear off"),
    "gear_on": (Fraction(3, 2), "putting a change gear on and setting its mesh"),
    "idler": (Fraction(2), "putting an idler in, or taking one out"),
    "lever": (Fraction(1, 4), "moving a lever"),
    "head": (Fraction(5), "swinging the head to another angle"),
    "hob": (Fraction(12), "putting another hob on its arbor and truing it"),
    "fixture": (Fraction(15), "putting up another arbor or fixture for the blank and truing it"),
}

CHANGE_OVER = Table(
    "change_over",
    "What changing over takes at this machine, in minutes, for `survey --order`.",
    tuple(
        Key(name, Number(0, 10_000), f"Minutes for {what}.", default=f"{float(usual):g}")
        for name, (usual, what) in CHANGE_TIMES.items()
    ),
)

HEAD = Table(
    "head",
    "The scale by which the head is swung, where it isn't read from behind the hob or has words of its own.",
    (
        Key("read", Text(READ_FROM), "Where the scale is read from.", default=READ_FROM[0]),
        Key(
            "called",
            Table(
                "head.called",
                "What the scale calls the two ways, each seen from behind the hob.",
                tuple(Key(turn, Text(), f"What the scale says for {turn}.") for turn in SWIVEL_TURNS),
            ),
            "The scale's own words for its two ways.",
            default="clockwise and counter-clockwise, as they look from where it is read",
        ),
    ),
)

MACHINE = Table(
    "machine file",
    "A hobbing machine: its train from drive to work, its levers, and the change gears that go with it.",
    (
        Key("format", Text(("machine/1",)), "What the file is.", True, advice='Write format = "machine/1"'),
        Key("name", Text(), "What the machine is called.", True),
        _UNITS,
        Key("summary", Text(blank=True), "The machine in one line."),
        Key(
            "shafts",
            TableOf(Text(blank=True), "shafts"),
            "Every turning part, with a word on where to find it.",
            True,
            advice='Write a table [shafts] with a line for each turning part: "motor" = "main motor"',
        ),
        Key(
            "slides",
            TableOf(Text(blank=True), "slides"),
            "Every sliding part, with a word on what it carries.",
        ),
        Key(
            "ends",
            ENDS,
            ENDS.meaning,
            True,
            advice="Write a table [ends] that says which parts meet the work",
        ),
        Key("head", HEAD, HEAD.meaning),
        Key(
            "drives",
            TableOf(DRIVE, "drives"),
            "What can turn the machine.",
            True,
            advice='Write a table [drives] with a line for each: main = { shaft = "motor", rpm = 1440 }',
        ),
        Key("levers", TableOf(LEVER, "levers"), "What the operator moves."),
        Key(
            "link",
            Rows(LINK, "link"),
            "The connections, in the order in which a person would trace the train.",
            True,
            advice="Write a [[link]] for each connection between parts",
        ),
        Key("gear_set", Rows({"": GEAR_SET}, "gear_set"), GEAR_SET.meaning),
        Key("limits", LIMITS, LIMITS.meaning),
        Key(
            "imperfection",
            Rows(IMPERFECTION, "imperfection"),
            "What the machine is known not to do perfectly, for `prove`: small errors that come through to the work.",
            default="none",
        ),
        Key("change_over", CHANGE_OVER, CHANGE_OVER.meaning),
        Key(
            "looseness",
            Rows(LOOSENESS, "looseness"),
            "What of the machine is known only within bounds, for `study`, and how it is known.",
            default="none",
        ),
    ),
)


# ---------------------------------------------------------------- a job file

_SIZE_OF_TOOTH = (
    Key("module", _MODULE, "Module normal to the tooth, in mm."),
    Key("diametral_pitch", _PITCH, "Diametral pitch normal to the tooth, in 1/in."),
    Key(
        "pitch",
        Length(Fraction(1, 100), 3000),
        "Circular pitch normal to the tooth, as for chains and splines; the module is this over π, to forty decimals.",
    ),
)
_NORMAL_SIZES = tuple(key.name for key in _SIZE_OF_TOOTH)
#: The keys of which a drawing gives one: the size of its teeth.
TOOTH_SIZES = (*_NORMAL_SIZES, "transverse_module", "transverse_diametral_pitch")

#: What a worm wheel's blank may be.
BLANKS = ("throated", "plain")

_WORK_KEYS = (
    Key("kind", Text(WORK_KINDS), "What is to be cut.", True),
    Key("teeth", _TEETH, "Number of teeth.", True),
    *_SIZE_OF_TOOTH,
    Key("transverse_module", _MODULE, "Module in the plane across the axis, in mm."),
    Key("transverse_diametral_pitch", _PITCH, "Diametral pitch in the plane across the axis, in 1/in."),
    Key("pressure_angle", _PRESSURE, "Pressure angle normal to the tooth.", default="20"),
    Key("transverse_pressure_angle", _PRESSURE, "Pressure angle in the plane across the axis."),
    Key("helix_angle", _HELIX, "Helix angle at the reference cylinder, from the axis."),
    Key("lead", _SIZE, "Travel along the axis in which a tooth goes once round, instead of the helix angle."),
    Key("hand", _HAND, "Hand of the helix: right or left."),
    Key("face_width", _SIZE, "Width of the face."),
    Key("quality", Whole(1, 11), "Flank tolerance class of ISO 1328-1.", default="8"),
    Key("profile_shift", Number(-3, 3), "Profile shift, in modules.", default="0"),
    Key(
        "outside_diameter",
        _SIZE,
        "Outside diameter of the blank; of a worm wheel, at the bottom of its throat.",
        default="from the size of the teeth",
    ),
    Key(
        "thinning",
        Length(0),
        "Backlash allowance: by how much a tooth is to be thinner, normal to it at the reference cylinder.",
        default="0",
    ),
    Key(
        "crown",
        Length(-5, 5),
        "By how much the flanks are to fall back at either end of the face, as on an inspector's chart; cut by a "
        "template.",
        default="0",
    ),
    Key(
        "taper",
        Length(-5, 5),
        "By how much a tooth is to be thicker at the upper end of the face than at the lower, normal to it at the "
        "reference cylinder; cut by a template, or by two slides geared together.",
        default="0",
    ),
    Key("roller_diameter", _SIZE, "Greatest diameter of the chain's rollers, for the depth of a sprocket."),
    Key(
        "blank",
        Text(BLANKS),
        "What a worm wheel's blank is turned to: with the hollow, or a plain cylinder of the outside diameter.",
        default="throated",
    ),
    Key(
        "key_width",
        _SIZE,
        "Width of the keys of a straight-sided spline; with it go minor_diameter and outside_diameter, and the module "
        "may be left out: it is that of the hob, which rolls on the outside unless a module says on what circle.",
    ),
    Key("minor_diameter", _SIZE, "Diameter at the bottom between the keys of a straight-sided spline."),
    Key(
        "form_diameter",
        _SIZE,
        "Diameter down to which the sides of the keys must be straight: a hob leaves fillets at their foot.",
        default="as the hob leaves it, and said",
    ),
    Key(
        "throat_radius",
        _SIZE,
        "Radius of the hollow round a worm wheel.",
        default="the centre distance less half the outside diameter",
    ),
    Key(
        "rim_diameter",
        _SIZE,
        "Diameter over the rim of a throated worm wheel.",
        default="over the throat by 6 / (starts + 2) axial modules",
    ),
)
_WORK_CHOICES = (
    OneOf(TOOTH_SIZES, True, unless=("key_width", "minor_diameter")),
    OneOf(("helix_angle", "lead")),
    OneOf(("pressure_angle", "transverse_pressure_angle")),
)

WORK = Table("work", "The drawing: what is to be cut.", _WORK_KEYS, _WORK_CHOICES)

MATE = Table(
    "mate",
    "The other member of the pair; what it leaves out is as in [work], but for the hand, which is the other one.",
    (
        *(Key(key.name, key.value, key.meaning, False, "as in [work]") for key in _WORK_KEYS),
        Key("centre_distance", _SIZE, "From shaft to shaft, where they are parallel.", default="from the shifts"),
        Key("crossing_angle", Angle(0, 90), "Angle at which the shafts cross, of a crossed helical pair.", default="0"),
    ),
    (*(OneOf(choice.keys) for choice in _WORK_CHOICES), OneOf(("centre_distance", "crossing_angle"))),
)

_HOB_KEYS = (
        *_SIZE_OF_TOOTH,
        Key("starts", Whole(1, 20), "Number of starts.", default="1"),
        Key("hand", _HAND, "Hand of the hob: right or left.", default="right"),
        Key("lead_angle", Angle(0, 60), "Lead angle, from the plane across its axis.", default="from the diameter"),
        Key("diameter", _SIZE, "Reference diameter."),
        Key("outside_diameter", _SIZE, "Diameter over the tips."),
        Key("gashes", Whole(1, 100), "Number of gashes."),
        Key("pressure_angle", _PRESSURE, "Pressure angle normal to the tooth.", default="as the work's"),
        Key("rack", Text(("A", "B", "C", "D")), "Basic rack of ISO 53.", default="A"),
        Key("addendum", Number(0, 5, above=True), "Tip of the hob from its datum line, in modules; else the rack's."),
        Key("dedendum", Number(0, 5, above=True), "Root of the hob from its datum line, in modules; else the rack's."),
        Key("tip_radius", Number(0, 2), "Radius at the tips of the hob, in modules; else the rack's."),
        Key("length", _SIZE, "Length of its threads, from the first full tooth to the last."),
        Key(
            "ground_to",
            _SIZE,
            "Diameter over the tips as it is now, sharpened; outside_diameter is then what it was new, and the other "
            "figures are of the new hob.",
        ),
)  # fmt: skip

DOUBLE_HELICAL = Table(
    "double_helical",
    "A double helical gear, two halves cut on one blank; [work] is the half that this set-up cuts, its face_width that "
    "of one half.",
    (
        Key("groove", _SIZE, "Width of the groove between the halves.", True),
        Key("groove_diameter", _SIZE, "Diameter to which the groove is turned.", default="not looked at"),
        Key("half", Text(tuple(HALVES)), "Where this half lies on the machine.", default="fed into the groove"),
        Key("second", Flag(), "Whether the other half is cut already.", default="false"),
        Key(
            "turned_over",
            Flag(),
            "Whether the work is turned end for end before the second half, so that both are cut in the same place.",
            default="true",
        ),
        Key("meets", Text(MEETS), "How the halves meet at the apex.", default=MEETS[0]),
        Key(
            "set_within",
            Length(0),
            "How truly the second half is set by its line, along the reference circle.",
            default="0.05 mm",
        ),
    ),
)

TOOTHED = Table(
    "toothed",
    "Work that has teeth on it already, into whose spaces the hob must be set.",
    (
        Key("because", Text(BECAUSE), "Why: worn and cut again, gashed before, or the gears were out since.", True),
        Key(
            "stock",
            Length(0),
            "What is left to cut off each flank where it isn't worn, normal to the flank.",
            default="from the last [[measured]]",
        ),
        Key("worn", Length(0), "How deep a flank is worn, at the worst place."),
        Key("worn_flank", Text(FLANKS), "Which way that flank looks, seen facing the table."),
        Key("clean", Text(CLEANED), "Which flanks must come clean all over.", default=CLEANED[0]),
        Key("lead", _SIZE, "Lead of the teeth there, measured.", default="the drawing's"),
        Key(
            "set_within",
            Length(0),
            "How truly the hob is set into a space, along the reference circle.",
            default="0.05 mm",
        ),
    ),
)

HOB = Table(
    "hob",
    "The hob, as its maker marked it; or by its name in the rack of hobs beside the job, hobs.toml.",
    (
        Key("name", Text(), "Its name in the rack; keys given here as well go before the rack's."),
        *_HOB_KEYS,
    ),
    (OneOf(_NORMAL_SIZES),),
)

RACK_HOB = Table(
    "hob of a rack",
    "A hob of the rack.",
    (
        Key("name", Text(), "What it is called on its shelf.", True),
        *_HOB_KEYS,
        Key("material", Text(), "What it is made of, as in the table of cutting data."),
    ),
    (OneOf(_NORMAL_SIZES, True),),
)

HOBS = Table(
    "rack of hobs",
    "The hobs that there are: a file hobs.toml beside the jobs that take theirs from it.",
    (
        Key("format", Text(("hobs/1",)), "What the file is.", True, advice='Write format = "hobs/1"'),
        _UNITS,
        Key("hob", Rows({"": RACK_HOB}, "hob"), RACK_HOB.meaning, True),
    ),
)

SWIVEL = Table(
    "setup.swivel",
    "How far the hob head is swung, and which way.",
    (
        Key("angle", Angle(0, 180), "The angle.", True),
        Key("turn", Text(tuple(SWIVEL_TURNS)), "Which way, seen from behind the hob."),
    ),
)

MOUNTED = Table(
    "setup.change.NAME",
    "What lies in a change-gear bracket.",
    (
        Key(
            "gears",
            Listing(_CHANGE_GEAR, 0, 20),
            "Teeth a b c d from the driving shaft on: a/b · c/d.",
            True,
            advice="Write the teeth from the driving shaft on: gears = [24, 58, 48, 40]",
        ),
        Key("idlers", Listing(_CHANGE_GEAR, 0, 10, single=True), "Teeth of the idlers.", default="none"),
    ),
)

#: What a move may be for. The first cut leaves spaces; every cut after it is held against them.
MOVES = ("approach", "cut", "overrun", "withdrawal", "return", "infeed", "second cut")

_SLIDE_PLACES = {
    "axial": "Height of the hob's centre over the lower face of the blank.",
    "tangential": "Distance of the hob's middle to the right of the work axis.",
    "radial": "By how much the centre distance is greater than at the depth of the cut, whether or not the machine "
    "drives a radial slide.",
}


def _slides(name: str, meaning: str, one_of: tuple[OneOf, ...] = ()) -> Table:
    return Table(
        f"setup.moves.{name}", meaning, tuple(Key(end, Length(), says) for end, says in _SLIDE_PLACES.items()), one_of
    )


_TURNS = Number(0, 10**7, above=True)

MOVE = Table(
    "setup.moves",
    "What the machine is made to do, move by move, so that `prove` can tell whether a second cut falls into the spaces "
    "of the first. Each clutch is taken to close where its halves stand.",
    (
        Key("name", Text(MOVES), "What the move is for.", True),
        Key(
            "from",
            _slides("from", "Where the slides stand before the first move."),
            "Where the slides stand before it; the first move only.",
            default="0",
        ),
        Key("drive", Text(), "The drive that runs.", default="the set-up's"),
        Key(
            "backwards",
            Flag(),
            "Whether it runs the other way. A drive that leaves the hob still runs whichever way the slide has to go.",
            default="false",
        ),
        Key(
            "by_hand",
            Flag(),
            "Whether a slide is taken there by its own handwheel, every drive at rest, as a hob is drawn clear where "
            "no drive moves the radial slide.",
            default="false",
        ),
        Key(
            "levers",
            TableOf(Text(), "levers"),
            "Levers moved before it; they stay there for the moves that follow.",
            default="as they stand",
        ),
        Key(
            "to",
            _slides("to", "Where a slide is to stand in the end.", (OneOf(tuple(_SLIDE_PLACES), True),)),
            "Run until this slide stands there: { axial = 45 }.",
        ),
        Key("hob_turns", _TURNS, "Run for so many turns of the hob."),
        Key("table_turns", _TURNS, "Run for so many turns of the table."),
        Key("drive_turns", _TURNS, "Run for so many turns of the drive."),
    ),
    (OneOf(("to", "hob_turns", "table_turns", "drive_turns"), True),),
)

SETUP = Table(
    "setup",
    "What is bolted on, and where the levers stand.",
    (
        Key("swivel", Swivel(SWIVEL), SWIVEL.meaning, default="not looked at"),
        Key("feed", Text(tuple(feed.value for feed in Feed)), "How the feed is meant; the train says what it is."),
        Key("drive", Text(), "The drive that turns the machine.", default='"main", or else the first'),
        Key("levers", TableOf(Text(), "levers"), "The position of each lever.", default="the machine's normal ones"),
        Key("change", TableOf(MOUNTED, "brackets"), "What lies in each change-gear bracket.", default="empty"),
        Key("moves", Rows({"": MOVE}, "setup.moves"), MOVE.meaning, default="one cut with the set-up as it is"),
    ),
)  # fmt: skip

CUTTING = Table(
    "cutting",
    "How it is to be cut, for `plan` and the sheet; what is left out is proposed as a starting value.",
    (
        Key(
            "material",
            Text(),
            "Material of the work, as in the table of cutting data (machines/practice/cutting_data.toml). Named, its "
            "row is what the hob's speed is held against; else the greatest speed that the hob may have.",
            default="a speed is proposed for steel to 700 N/mm2",
        ),
        Key("hob_material", Text(), "Material of the hob, as in that table.", default="high-speed steel"),
        Key("feed", _SIZE, "Feed wanted, for a turn of the table.", default="from the cutting data"),
        Key("hob_rpm", Number(0, 10_000, above=True), "Hob speed wanted, turns a minute.", default="a proposal"),
        Key("mark", Number(0, 1000, above=True), "Greatest height of feed marks on the flank, in µm."),
        Key("cuts", Whole(1, 5), "Number of cuts to full depth.", default="2 above module 3, else 1"),
    ),
)  # fmt: skip

_HOW_FAR_OFF = Angle(0, 90)

_HAND_VALUES: dict[str, tuple[Value, str, Value]] = {
    "index_check": (Measured(Number(0, 10**6), Number(0, 360)), "1 degree", Told(Text((*POSITIVES["table"], STILL)))),
    "slide_check": (Measured(Number(0, 10**6), Number(0, 100)), "1/20", Told(Text((*POSITIVES["table"], STILL)))),
    "feed_check": (Measured(Length(0), Length(0)), "0.05 mm", Told(Text())),
}

#: What was found at the hand checks that the sheet gives.
_HAND_CHECKS = tuple(
    key
    for name, (value, usual, way) in _HAND_VALUES.items()
    for key in (
        Key(name, value, f"{HAND_KEYS[name][0].upper()}{HAND_KEYS[name][1:]}; off by {usual} unless said."),
        Key(f"{name}_way", way, f"Which way it went at {name}, in the words of the sheet."),
    )
)

CHECK = Table(
    "seen.check",
    "What was found when a check was made that `trace` asked for.",
    (
        Key("do", Text(), "The check, in the words in which it was asked for.", True),
        Key("found", Text(), "What was found, in the words that it was asked in.", True),
    ),
)

SEEN = Table(
    "seen",
    "What is on the blank, or was measured on it, or seen at the machine; `trace` looks for what explains it.",
    (
        Key("teeth", Measured(Whole(0, MOST_TEETH), Whole(0, 1000)), "Teeth counted; 0 where there are no spaces."),
        Key("hand", Told(Text((*_HAND.one_of, "none"))), "Which way they lean; none for straight teeth."),
        Key("lead", Measured(_SIZE, _SIZE), "Lead measured; it may be off by 1 % unless `within` says."),
        Key(
            "helix_angle",
            Measured(_HELIX, _HOW_FAR_OFF),
            "Helix angle at the reference cylinder, as the drawing has it; off by half a degree unless said.",
        ),
        Key(
            "outside_helix_angle",
            Measured(_HELIX, _HOW_FAR_OFF),
            "Lean at the outside of the blank, where a protractor lies and as the sheet prints it, a little more "
            "than the helix angle of the drawing; off by half a degree unless said.",
        ),
        Key("spaces_meet", Told(Flag()), "Whether each turn of the table falls into the spaces of the one before."),
        Key(
            "second_cut_miss",
            Measured(MissedBy(), Number(0, Fraction(1, 2))),
            "By how much a second cut missed the spaces of the first; off by a tenth of a pitch unless said.",
        ),
        Key(
            "table_turned",
            Told(Text((*POSITIVES["table"], STILL))),
            "Which way the table turned, seen facing it.",
        ),
        Key(
            "slide_moved",
            Told(Text()),
            "Which way the slide that feeds moved: up, down, right, left, away, in, the machine's word; or not at all.",
        ),
        Key(
            "hob_turns",
            Measured(Number(0, 100_000, above=True), Number(0, 1000)),
            "Turns of the hob for one turn of the table, counted by hand with the feed in; off by 1/20 unless said.",
        ),
        *_HAND_CHECKS,
        Key(
            "feed_marks",
            Measured(_SIZE, _SIZE),
            "How far the feed marks lie apart along a tooth; off by a tenth unless said.",
        ),
        Key("marks", Told(Text(MARKS)), "How the teeth look; rubbed: bright and hardly cut."),
        Key(
            "thickness_miss",
            Measured(_MISSED, _SIZE),
            "By how much a tooth is thicker than wanted, below 0 where it is thinner; off by 0.03 mm unless said.",
        ),
        Key("span_miss", Measured(_MISSED, _SIZE), "By how much the span is more than wanted, told as above."),
        Key("depth_miss", Measured(_MISSED, _SIZE), "By how much the spaces are deeper than wanted, told as above."),
        Key("meshes", Told(Flag()), "Whether it runs with its mate at the drawing's centres."),
        Key("runs_out", Told(Flag()), "Whether the teeth run out when the gear is turned on its own bore."),
        Key("one_tooth_out", Told(Flag()), "Whether one tooth or space is out of pitch, the others being alike."),
        Key("check", Rows({"": CHECK}, "seen.check"), CHECK.meaning),
    ),
)

SPAN = Table(
    "span",
    "A span: over so many teeth, between parallel anvils.",
    (
        Key("teeth", Whole(1, 1000), "Teeth between the anvils.", True),
        Key("length", Measured(_SIZE, Length(0)), "What it reads.", True),
    ),
)

BALLS = Table(
    "balls",
    "A size over two balls in opposite spaces, or nearly so; over pins on a spur gear.",
    (
        Key("diameter", _SIZE, "Diameter of the balls.", True),
        Key("over", Measured(_SIZE, Length(0)), "What it reads.", True),
    ),
)


MEASURED = Table(
    "measured",
    "What the teeth measured when they were cut so deep, for `measure`; a row each time, the last one counts.",
    (
        Key("date", Text(), "The day, as 2031-05-04."),
        Key("dialled", Length(0), "Depth dialled in by then, from the touch."),
        Key("span", SPAN, SPAN.meaning),
        Key("balls", BALLS, BALLS.meaning),
        Key("chord", Measured(_SIZE, Length(0)), "Thickness along the chord, the tongue set as `prove` says."),
        Key("depth", Measured(_SIZE, Length(0)), "Depth of a space from the tips."),
    ),
)

JOB = Table(
    "job file",
    "A piece of work: the drawing, the hob, and what is bolted on the machine.",
    (
        Key("format", Text(("job/1",)), "What the file is.", True, advice='Write format = "job/1"'),
        Key("title", Text(blank=True), "The job in one line.", default="the file's name"),
        _UNITS,
        Key(
            "machine",
            Text(),
            "The name of a machine that ships, or the path of a machine file next to this one.",
            True,
            advice="Write the name of a machine that ships, or the path of a machine file next to this one",
        ),
        Key("work", WORK, WORK.meaning, True, advice="Write a table [work] with what the drawing says"),
        Key("double_helical", DOUBLE_HELICAL, DOUBLE_HELICAL.meaning),
        Key("toothed", TOOTHED, TOOTHED.meaning),
        Key("mate", MATE, MATE.meaning),
        Key("hob", NameOr(HOB), HOB.meaning, default="chosen from the rack beside the job, where there is one"),
        Key("cutting", CUTTING, CUTTING.meaning),
        Key(
            "fixture",
            Text(),
            "What holds the blank, by a name of the shop's own; jobs of one name need no other for `survey --order`.",
            default="another one for every job",
        ),
        Key("setup", SETUP, SETUP.meaning, default="none: a job to plan"),
        Key("seen", SEEN, SEEN.meaning),
        Key("measured", Rows({"": MEASURED}, "measured"), MEASURED.meaning),
    ),
)
