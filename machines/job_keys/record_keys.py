"""What a record of a finished gear says of itself, and its columns: reader and file reference go by this table."""

from __future__ import annotations

from dataclasses import dataclass

#: µm in a unit of readings.
READ_IN = {"um": 1.0, "µm": 1.0, "mm": 1000.0, "in": 25400.0, "thou": 25.4, "tenths": 2.54, "divisions": 0.0}

#: mm in a unit of heights and lengths of roll.
LENGTHS_IN = {"mm": 1.0, "in": 25.4}


@dataclass(frozen=True)
class HeadLine:
    """A line above the readings: its key, the words it may have (none: any), what it says, and without it.

    `also` are other words for the key.
    """

    key: str
    words: tuple[str, ...]
    takes: str
    meaning: str
    without: str = "**required**"
    also: tuple[str, ...] = ()


#: The columns of each kind of record.
COLUMNS: dict[str, tuple[str, ...]] = {
    "pitch single": ("tooth", "deviation"),
    "pitch cumulative": ("tooth", "deviation"),
    "runout": ("tooth", "deviation"),
    "helix": ("tooth", "height", "deviation"),
    "profile": ("tooth", "roll", "deviation"),
    "transmission error": ("angle", "deviation"),
}

#: Other words for columns.
ALSO_COLUMNS = {"space": "tooth", "reading": "deviation", "value": "deviation", "z": "height", "degrees": "angle"}

_PITCH = (
    "Pitch, single (from the tooth before to this one) or cumulative, is measured along the reference circle, positive "
    "where the flank lies further the way the teeth are counted."
)
_TRACE = "Helix and profile along the base tangent, positive where metal stands out."

#: Along what each kind is measured, and what is plus.
SIGNS = {
    "pitch single": _PITCH,
    "pitch cumulative": _PITCH,
    "helix": _TRACE,
    "profile": _TRACE,
    "runout": "Runout: positive where the ball lies further out. Whether pitch and runout were felt at one place of "
    "each tooth, feed marks and all, or over a mark, is found from the records.",
    "transmission error": "Transmission error: along the base tangent, positive where metal stands out, so that the "
    "one of the two that is driven is ahead. It is read as the mean along the line on which a true master gear "
    "touches, over the whole face, one tooth after the other about the reference circle.",
}

#: What stands in each column.
MEANINGS = {
    "tooth": "Which tooth, from 1, in the order of counting; of runout, which space. What wasn't measured is left out.",
    "height": "Height on the face, up along the work axis as it stood on the machine, from mid-face; another zero "
    "does no harm.",
    "roll": "Length of roll along the base tangent, from the base circle.",
    "angle": "Degrees that the gear has turned, from 0 to 360: tooth 1 is in mesh at 0, and tooth 2 comes next.",
    "deviation": " ".join(("The reading, from any zero.", *dict.fromkeys(SIGNS.values()))),
}

HEAD: tuple[HeadLine, ...] = (
    HeadLine("quantity", tuple(COLUMNS), "", "What was measured.", also=("record", "measured", "kind")),
    HeadLine(
        "unit", tuple(READ_IN), "",
        "Unit of the readings; thou are 0.001 in, tenths 0.0001 in, divisions those of the dial.", also=("units",),
    ),
    HeadLine(
        "flank", ("right", "left"), "",
        "Which flank of a tooth that points up, seen facing the table as the gear lay when it was cut; runout has "
        "none.",
        "**required** but for runout",
    ),
    HeadLine(
        "counted", ("clockwise", "counter-clockwise"), "",
        "Which way the teeth were counted, seen facing the table as the gear lay when it was cut.",
        also=("way of counting", "counting", "count"),
    ),
    HeadLine("date", (), "a day, such as 2026-11-20", "When it was measured.", "none"),
    HeadLine(
        "division", (), "a length, such as 0.01 mm or 0.0005 in",
        "One division of the dial, where it was taken by hand.", "none; required where the unit is divisions",
        also=("divisions", "dial"),
    ),
    HeadLine("lengths", tuple(LENGTHS_IN), "", "Unit of heights and of lengths of roll.", "mm", ("heights", "rolls")),
    HeadLine(
        "height", (), "a length, such as 8, -8 mm or 0.3 in",
        "At which height of the face pitch, runout or profile was taken, up along the work axis as the gear stood on "
        "the machine, from mid-face; below it is negative. At two heights runout and pitch tell a blank that stands "
        "askew from one that runs out.",
        "mid-face", ("at height", "taken at"),
    ),
    HeadLine(
        "first tooth", ("marked", "unknown"), "",
        "Whether its tooth 1 is the marked one, from which all records of the gear are counted. One that began at "
        "another, which nobody knows, is turned by whole teeth to where it goes best with the others: it tells how "
        "large a wave is, but not where it stands.",
        "marked", ("first", "tooth 1"),
    ),
)  # fmt: skip

#: A record that is filled in.
EXAMPLE = """# Pitch of the 29-tooth pinion, taken by hand; a line like this one, without a key, is a note.
# quantity: pitch cumulative
# unit: divisions
# division: 0.01 mm
# flank: right
# counted: clockwise
# date: 2026-11-20
tooth, deviation
1, 0
4, 1
7, 1.5
10, 0.5
13, -1
16, -2
19, -1.5
22, -0.5
25, 0.5
28, 0
"""
