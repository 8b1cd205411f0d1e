"""What keys take that stand in files of several kinds.

Nothing among the tables of keys knows what the values are for: `machine_file` and `job_file` make machines and jobs
of them.
"""

from __future__ import annotations

from fractions import Fraction

from handlead.kinematics.brackets.drawer import MOST_TEETH as MOST_CHANGE_GEAR_TEETH
from handlead.kinematics.frame.words import Hand, Sense
from handlead.machines.tables.tables import Key
from handlead.machines.tables.values import Angle, Length, Listing, Number, Text, Whole

MOST_TEETH = 100_000

TEETH = Whole(1, MOST_TEETH)
TWO_TEETH = Listing(TEETH, 2, 2)
#: Of a loose gear: no bracket takes a larger one, and the search keeps to it.
CHANGE_GEAR = Whole(1, MOST_CHANGE_GEAR_TEETH)
SIZE = Length(0, above=True)
MISSED = Length(-100, 100)
MODULE = Length(Fraction(1, 1000), 1000, units="mm")
# As the module's limits, turned over.
PITCH = Number(Fraction(254, 10_000), 25_400)
SENSE = Text(tuple(sense.word for sense in (Sense.SAME, Sense.OPPOSITE)))
HAND = Text(tuple(hand.word for hand in (Hand.RIGHT, Hand.LEFT)))
PRESSURE = Angle(0, 45, above=True)
HELIX = Angle(0, Fraction(8999, 100))
UNITS = Key("units", Text(("mm", "in")), "What every length without a unit of its own is in.", default="mm")
