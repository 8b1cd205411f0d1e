"""The keys of a job file."""

from __future__ import annotations

from handlead.kinematics.frame.words import SWIVEL_TURNS, Feed
from handlead.machines.keys.keys import CHANGE_GEAR, SIZE, UNITS
from handlead.machines.tables.tables import Key, NameOr, OneOf, Rows, Swivel, Table, TableOf
from handlead.machines.tables.values import Angle, Flag, Length, Listing, Number, Text, Whole

from .seen_keys import MEASURED, SEEN
from .work_keys import DOUBLE_HELICAL, HOB, MATE, TOOTHED, WORK

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
            Listing(CHANGE_GEAR, 0, 20),
            "Teeth a b c d from the driving shaft on: a/b · c/d.",
            advice="Write the teeth from the driving shaft on: gears = [24, 58, 48, 40]",
        ),
        Key("ratio", Number(), "The ratio that is entered, where a link takes one instead of gears; with its sign."),
        Key("idlers", Listing(CHANGE_GEAR, 0, 10, single=True), "Teeth of the idlers.", default="none"),
    ),
    (OneOf(("gears", "ratio"), True), OneOf(("ratio", "idlers"))),
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
        Key("feed", SIZE, "Feed wanted, for a turn of the table.", default="from the cutting data"),
        Key("hob_rpm", Number(0, 10_000, above=True), "Hob speed wanted, turns a minute.", default="a proposal"),
        Key("mark", Number(0, 1000, above=True), "Greatest height of feed marks on the flank, in µm."),
        Key("cuts", Whole(1, 5), "Number of cuts to full depth.", default="2 above module 3, else 1"),
    ),
)  # fmt: skip

JOB = Table(
    "job file",
    "A piece of work: the drawing, the hob, and what is bolted on the machine.",
    (
        Key("format", Text(("job/1",)), "What the file is.", True, advice='Write format = "job/1"'),
        Key("title", Text(blank=True), "The job in one line.", default="the file's name"),
        UNITS,
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
