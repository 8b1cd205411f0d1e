"""The keys of a machine file."""

from __future__ import annotations

from fractions import Fraction

from handlead.kinematics.frame.words import POSITIVES, SWIVEL_TURNS
from handlead.kinematics.train.train import END_NAMES
from handlead.machines.tables.tables import Key, OneOf, Rows, Table, TableOf
from handlead.machines.tables.values import Angle, Length, Listing, Name, Number, Span, Text

from .head_scale import READ_FROM
from .imperfection_keys import IMPERFECTION, LOOSENESS
from .keys import CHANGE_GEAR, MODULE, PITCH, SIZE, UNITS
from .link_keys import LINK

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
        Key("teeth", Listing(CHANGE_GEAR), "Their teeth; a count given twice is owned twice.", True),
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
        Key("work_diameter", SIZE, "Largest diameter of the work."),
        Key("face_width", SIZE, "Largest face width of the work."),
        Key("module", MODULE, "Largest module, in mm."),
        Key("diametral_pitch", PITCH, "Coarsest diametral pitch, in 1/in, instead of the module."),
        Key(
            "feed",
            Span(Length(0, above=True)),
            "Greatest feed along the axis for a turn of the table, or [least, greatest].",
        ),
    ),
    (OneOf(("module", "diametral_pitch")),),
)

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
        UNITS,
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
