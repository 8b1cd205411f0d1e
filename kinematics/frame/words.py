"""The trade's two-way words and their signs in the frame of the machine.

The frame is fixed to the machine and right-handed: Z along the work axis out of the
table's face, X from the work axis towards the hob, Y to the right seen from behind the
hob with Z upwards. A table turns positively counter-clockwise seen facing it, a hob so
that its teeth move along +Z where they meet the work, the hob head counter-clockwise
seen from behind the hob.
"""

from __future__ import annotations

from enum import Enum


class Hand(Enum):
    """Hand of a hob or of the work; its value is the sign used in every formula."""

    LEFT = -1
    RIGHT = 1

    @property
    def word(self) -> str:
        """The word used in files and on sheets: ``"right"`` or ``"left"``."""
        return self.name.lower()

    @property
    def other(self) -> Hand:
        """The opposite hand."""
        return Hand(-self.value)


class Feed(Enum):
    """Whether the slide moves against (climb) or with (conventional) the hob's teeth.

    Source: R. P. Phillips, "Design and Selection of Hobs", nomenclature entry "climb hobbing".
    """

    CLIMB = "climb"
    CONVENTIONAL = "conventional"

    @property
    def other(self) -> Feed:
        """The other of the two."""
        return Feed.CONVENTIONAL if self is Feed.CLIMB else Feed.CLIMB


class Sense(Enum):
    """Whether the positives of two parts go together or against each other."""

    OPPOSITE = -1
    SAME = 1

    @property
    def word(self) -> str:
        """The word used in machine files: ``"same"`` or ``"opposite"``."""
        return self.name.lower()


#: Which way a part's own positive runs in the frame, by end, in the words of a machine file.
POSITIVES: dict[str, dict[str, int]] = {
    "hob": {"cutting up": 1, "cutting down": -1},
    "table": {"counter-clockwise": 1, "clockwise": -1},
    "axial": {"up": 1, "down": -1},
    "tangential": {"right": 1, "left": -1},
    "radial": {"away": 1, "in": -1},
}

#: Turn of the hob head about X, seen from behind the hob.
SWIVEL_TURNS: dict[str, int] = {"counter-clockwise": 1, "clockwise": -1}

#: That a part didn't move, where the way is asked for in which it did.
STILL = "not at all"

#: How the teeth on a blank look: whole; flanks spoilt; cut away; a single notch, the table not having turned;
#: rubbed bright and hardly cut, the hob's backs going first.
MARKS = ("clean", "spoilt", "cut away", "one notch", "rubbed")


def angle_text(angle_deg: float, minute: str = "'") -> str:
    """The size of an angle for a vernier, in whole degrees and minutes.

    >>> angle_text(-22.85)
    "22° 51'"
    """
    minutes = round(abs(angle_deg) * 60)
    return f"{minutes // 60}° {minutes % 60:02d}{minute}"


def swing(swivel_deg: float) -> str:
    """Which way the head is swung, seen from behind the hob; "" where a vernier shows it level."""
    if not round(swivel_deg * 60):
        return ""
    return next(word for word, sign in SWIVEL_TURNS.items() if sign * swivel_deg > 0)


def swivel_words(swivel_deg: float) -> str:
    """The swivel for the vernier, and which way it is swung: ``24° 09' counter-clockwise``."""
    return f"{angle_text(swivel_deg)} {swing(swivel_deg)}".rstrip()


def direction(end: str, sign: int) -> str:
    """The trade word for moving `end` in the frame's positive (`sign` 1) or negative (-1) way.

    Raises `KeyError` for an end that the frame doesn't know.
    """
    return next(word for word, value in POSITIVES[end].items() if value == sign)
