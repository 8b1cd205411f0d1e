"""The keys of what was seen on a blank, found at checks, and measured on the teeth."""

from __future__ import annotations

from fractions import Fraction

from handlead.kinematics.frame.words import MARKS, POSITIVES, STILL
from handlead.machines.keys.keys import HAND, HELIX, MISSED, MOST_TEETH, SIZE
from handlead.machines.tables.observed import MissedBy, Observed, Told
from handlead.machines.tables.tables import Key, Rows, Table
from handlead.machines.tables.values import Angle, Flag, Length, Number, Text, Value, Whole

from .hand_keys import HAND_KEYS

_HOW_FAR_OFF = Angle(0, 90)

_HAND_VALUES: dict[str, tuple[Value, str, Value]] = {
    "index_check": (Observed(Number(0, 10**6), Number(0, 360)), "1 degree", Told(Text((*POSITIVES["table"], STILL)))),
    "slide_check": (Observed(Number(0, 10**6), Number(0, 100)), "1/20", Told(Text((*POSITIVES["table"], STILL)))),
    "feed_check": (Observed(Length(0), Length(0)), "0.05 mm", Told(Text())),
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
        Key("teeth", Observed(Whole(0, MOST_TEETH), Whole(0, 1000)), "Teeth counted; 0 where there are no spaces."),
        Key("hand", Told(Text((*HAND.one_of, "none"))), "Which way they lean; none for straight teeth."),
        Key("lead", Observed(SIZE, SIZE), "Lead measured; it may be off by 1 % unless `within` says."),
        Key(
            "helix_angle",
            Observed(HELIX, _HOW_FAR_OFF),
            "Helix angle at the reference cylinder, as the drawing has it; off by half a degree unless said.",
        ),
        Key(
            "outside_helix_angle",
            Observed(HELIX, _HOW_FAR_OFF),
            "Lean at the outside of the blank, where a protractor lies and as the sheet prints it, a little more "
            "than the helix angle of the drawing; off by half a degree unless said.",
        ),
        Key("spaces_meet", Told(Flag()), "Whether each turn of the table falls into the spaces of the one before."),
        Key(
            "second_cut_miss",
            Observed(MissedBy(), Number(0, Fraction(1, 2))),
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
            Observed(Number(0, 100_000, above=True), Number(0, 1000)),
            "Turns of the hob for one turn of the table, counted by hand with the feed in; off by 1/20 unless said.",
        ),
        *_HAND_CHECKS,
        Key(
            "feed_marks",
            Observed(SIZE, SIZE),
            "How far the feed marks lie apart along a tooth; off by a tenth unless said.",
        ),
        Key("marks", Told(Text(MARKS)), "How the teeth look; rubbed: bright and hardly cut."),
        Key(
            "thickness_miss",
            Observed(MISSED, SIZE),
            "By how much a tooth is thicker than wanted, below 0 where it is thinner; off by 0.03 mm unless said.",
        ),
        Key("span_miss", Observed(MISSED, SIZE), "By how much the span is more than wanted, told as above."),
        Key("depth_miss", Observed(MISSED, SIZE), "By how much the spaces are deeper than wanted, told as above."),
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
        Key("length", Observed(SIZE, Length(0)), "What it reads.", True),
    ),
)

BALLS = Table(
    "balls",
    "A size over two balls in opposite spaces, or nearly so; over pins on a spur gear.",
    (
        Key("diameter", SIZE, "Diameter of the balls.", True),
        Key("over", Observed(SIZE, Length(0)), "What it reads.", True),
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
        Key("chord", Observed(SIZE, Length(0)), "Thickness of a tooth or key, the tongue set as `prove` says."),
        Key("depth", Observed(SIZE, Length(0)), "Depth of a space from the tips."),
    ),
)
