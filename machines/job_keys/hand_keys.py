"""The hand checks of the sheet in words, by their keys in [seen]: the sheet and the file reference say the same."""

from __future__ import annotations

from fractions import Fraction

from handlead.kinematics.gears.gear import MM_PER_INCH

#: Turns of the hob that are made by hand; the last where a slide would hardly be seen to move.
HOB_TURNS = (Fraction(10), Fraction(50))

#: Turns of the hob for the index; the second where a table that stood still would look the same after the first.
INDEX_TURNS = (Fraction(10), Fraction(7))

#: Travels of a slide moved by hand, the longest first, in mm and for a job in inches.
TRAVELS = {
    "mm": tuple(map(Fraction, (100, 50, 20))),
    "in": tuple(MM_PER_INCH * inches for inches in (4, 2, 1)),
}

#: What is found at each hand check.
HAND_KEYS = {
    "index_check": "degrees that the table turned for the sheet's turns of the hob",
    "slide_check": "teeth of the work by which the table turned for the sheet's travel of the slide, hob at rest",
    "feed_check": "travel of the slide for the sheet's turns of the hob, feed in, by a dial",
}

#: How far what is found may be off where the job doesn't say: degrees, teeth, mm (own judgement).
USUAL = {"index_check": Fraction(1), "slide_check": Fraction(1, 20), "feed_check": Fraction(1, 20)}
