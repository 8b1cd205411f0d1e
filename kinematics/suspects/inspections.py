"""What a person can look at, at the machine or on the blank, and what each set-up would show there."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache, partial

from handlead.kinematics.frame.words import MARKS, STILL, swivel_words
from handlead.kinematics.slips.evidence import View
from handlead.kinematics.slips.standing import AS_IT_SHOULD, Standing, counted_words, module_words

#: Answers that every check takes: nothing of what was offered; and that one can't tell.
NONE_OF_THESE, NOT_SURE = ("none of these", "other"), ("not sure", "don't know", "?")


@dataclass(frozen=True)
class SetUpShown:
    """A set-up as it stands, what it shows, and how many table turns a given number of hob turns make."""

    standing: Standing
    view: View
    table_turns: Fraction | None


Look = Callable[[SetUpShown, str], str]


def _stamps(scene: SetUpShown, bracket: str) -> str:
    mounted, stamps = scene.standing.change.get(bracket), scene.standing.stamps.get(bracket)
    return counted_words(replace(mounted, gears=stamps or mounted.gears)) if mounted else "empty"


def _teeth(scene: SetUpShown, bracket: str) -> str:
    mounted = scene.standing.change.get(bracket)
    return counted_words(mounted) if mounted else "empty"


def _lever(scene: SetUpShown, lever: str) -> str:
    return scene.standing.setup.levers.get(lever, "")


def _table_way(scene: SetUpShown, where: str) -> str:
    return scene.view.table_way


def _slide_way(scene: SetUpShown, where: str) -> str:
    return scene.view.slide_way


def _flanks(scene: SetUpShown, where: str) -> str:
    words = scene.view.marks or scene.view.weak_marks
    return EITHER.join(word for word in MARKS if word in words) if not scene.view.marks and words else next(
        (word for word in MARKS if word in words), "untouched"
    )


#: Between two words either of which may be said of the same thing.
EITHER = " or "


def _between(scene: SetUpShown, where: str) -> str:
    return scene.standing.between_cuts


def _sheet(scene: SetUpShown, where: str) -> str:
    return scene.standing.sheet


def _hob(scene: SetUpShown, where: str) -> str:
    hob = scene.standing.hob
    starts = f"{hob.starts} start{'' if hob.starts == 1 else 's'}"
    return f"{module_words(hob.module_n)}, {starts}, {hob.hand.word}-hand"


def _swivel(scene: SetUpShown, where: str) -> str:
    return swivel_words(float(scene.standing.swivel_deg))


def _feed_marks(scene: SetUpShown, where: str) -> str:
    if "one notch" in scene.view.marks or not scene.view.marks:
        return "none"
    return _mm(scene.view.feed_mm)


def _touch_off(scene: SetUpShown, where: str) -> str:
    return _mm(scene.view.feed_mm) if scene.view.table_way != STILL else "the table doesn't turn"


def _mm(feed: Fraction | None) -> str:
    return f"{float(feed):.2f} mm" if feed else STILL


def _mark(scene: SetUpShown, where: str) -> str:
    turns = scene.table_turns
    if turns is None or not turns:
        return "the table doesn't turn"
    degrees = round(float(turns) * 360)
    way = "counter-clockwise" if turns > 0 else "clockwise"
    whole, rest = divmod(abs(degrees), 360)
    return f"{whole} turn{'' if whole == 1 else 's'} and {rest}° {way}"


def _count(scene: SetUpShown, where: str) -> str:
    return EITHER.join(map(str, sorted(scene.view.counts))) or "another number each time"


def _follow(scene: SetUpShown, where: str) -> str:
    return "it slips" if scene.standing.slips else scene.standing.parted or "nowhere"


def _drive(scene: SetUpShown, where: str) -> str:
    return "the way it is meant to" if scene.standing.drive_runs > 0 else "the other way"


def _faces(scene: SetUpShown, where: str) -> str:
    return "the cutting faces" if "rubbed" not in scene.view.symptoms else "the backs"


def _beside(topic: str, scene: SetUpShown, where: str) -> str:
    beside = scene.standing.beside
    return beside.found if beside and beside.looks_at == topic else AS_IT_SHOULD


@dataclass(frozen=True)
class Kind:
    """A kind of look: what it shows, and what it is taken at ("bracket", "box", "lever" or "")."""

    look: Look
    at: str = ""
    #: How far a number in the answer may be off.
    within: Fraction = Fraction(0)
    #: Whether it may show either of several things, which a person can't know beforehand.
    either: bool = False


#: Every kind of look, by its name in the table of checks.
LOOKS: Mapping[str, Kind] = {
    "lever": Kind(_lever, "lever"),
    "table way": Kind(_table_way),
    "slide way": Kind(_slide_way),
    "flanks": Kind(_flanks, either=True),
    "between cuts": Kind(_between),
    "sheet": Kind(_sheet),
    "hob": Kind(_hob, within=Fraction(1, 100)),
    "swivel": Kind(_swivel, within=Fraction(5)),
    "feed marks": Kind(_feed_marks, within=Fraction(1, 20)),
    "touch off": Kind(_touch_off, within=Fraction(1, 50)),
    "mark": Kind(_mark, within=Fraction(1)),
    "stamps": Kind(_stamps, "bracket"),
    "teeth": Kind(_teeth, "bracket"),
    "entered": Kind(_teeth, "box"),
    "count": Kind(_count, either=True),
    "follow": Kind(_follow),
    "drive": Kind(_drive),
    "faces": Kind(_faces),
    **{topic: Kind(partial(_beside, topic)) for topic in ("depth", "blank", "arbor", "gear teeth")},
}


@dataclass(frozen=True)
class Check:
    """A check at one place: `do` tells a person what to do, `minutes` how long it takes."""

    looks_at: str
    where: str
    do: str
    minutes: float

    def outcome(self, scene: SetUpShown) -> str:
        """What a person finds if the scene is what stands there."""
        return LOOKS[self.looks_at].look(scene, self.where)

    def outcomes(self, scene: SetUpShown) -> tuple[str, ...]:
        """What a person may find, one of these, if the scene is what stands there."""
        found = self.outcome(scene)
        return tuple(found.split(EITHER)) if LOOKS[self.looks_at].either else (found,)

    def together(self, outcomes: Iterable[str]) -> dict[str, str]:
        """Each outcome with the one that stands for all those that can't be told from it as they are read."""
        within = LOOKS[self.looks_at].within
        stands: dict[str, str] = {}
        last: tuple[str, str, tuple[Fraction, ...]] | None = None
        for words, values, outcome in sorted((*_parted(outcome), outcome) for outcome in set(outcomes)):
            near = (
                within
                and last is not None
                and words == last[1]
                and len(values) == len(last[2])
                and all(abs(a - b) <= within for a, b in zip(values, last[2], strict=True))
            )
            if not near:
                last = (outcome, words, values)
            assert last is not None
            stands[outcome] = last[0]
        return stands

    def agrees(self, found: str, outcome: str) -> bool:
        """Whether an answer means this outcome: the same words, numbers as near as they can be read.

        Gears may be told as they are stamped, ``24 44 36 40``; without a word on idlers any number of them fits.
        """
        if is_not_sure(found):
            return True
        if self.looks_at in GEAR_LOOKS:
            return _same_gears(found, outcome)
        within = LOOKS[self.looks_at].within
        return any(_near(found, one, within) for one in (outcome, *outcome.split(EITHER)))

    def can_read(self, found: str, outcomes: Iterable[str]) -> bool:
        """Whether the answer is one that can be read: none of these, not sure, or words that an outcome is told in."""
        if is_not_sure(found) or _plain(found) in NONE_OF_THESE:
            return True
        if self.looks_at in GEAR_LOOKS:
            return _read_gears(found) is not None
        words, numbers = _parted(found)
        known = (_parted(one) for outcome in outcomes for one in (outcome, *outcome.split(EITHER)))
        return any(words == one and len(numbers) == len(theirs) for one, theirs in known)


#: The looks that are answered with gears.
GEAR_LOOKS = frozenset({"stamps", "teeth"})


def is_not_sure(found: str) -> bool:
    """Whether an answer says nothing."""
    return _plain(found) in NOT_SURE


def _plain(text: str) -> str:
    return " ".join(text.casefold().split())


def _near(found: str, outcome: str, within: Fraction) -> bool:
    ours, theirs = _parted(found), _parted(outcome)
    if ours[0] != theirs[0] or len(ours[1]) != len(theirs[1]):
        return False
    return all(abs(a - b) <= within for a, b in zip(ours[1], theirs[1], strict=True))


def _same_gears(found: str, outcome: str) -> bool:
    ours, theirs = _read_gears(found), _read_gears(outcome)
    if ours is None or theirs is None or ours[0] != theirs[0]:
        return False
    return ours[1] is None or not ours[0] or ours[1] == theirs[1]


_IDLERS = re.compile(r"\b(no|without|an|\d+)?\s*idlers?\b((?:[\s,:]*\d+)*)")


@lru_cache(maxsize=4096)
def _read_gears(text: str) -> tuple[tuple[int, ...], int | None] | None:
    """Gears and how many idlers an answer names, None where it leaves them out; None for what isn't gears at all."""
    text = _plain(text)
    if text in ("empty", "nothing", "none"):
        return (), 0
    idlers: int | None = None
    if (said := _IDLERS.search(text)) is not None:
        many, named = said[1], _NUMBER.findall(said[2])
        idlers = len(named) or {"no": 0, "without": 0, "an": 1, None: 1}.get(many, 0)
        if not named and many is not None and many.isdigit():
            idlers = int(many)
        text = text[: said.start()] + text[said.end() :]
    gears = tuple(map(int, re.findall(r"\d+", text)))
    rest = re.sub(r"[\d\s/·.,;:*x+-]+", "", text)
    if not gears or len(gears) % 2 or rest not in ("", "and", "with"):
        return None
    return gears, idlers


_NUMBER = re.compile(r"\d+(?:\.\d+)?")


#: Numbers that belong together, and how many of the second make one of the first.
_COMPOUND = ((re.compile(r"(\d+)\s*°\s*(\d+)\s*'"), 60), (re.compile(r"(\d+) turns? and (\d+)\s*°"), 360))


def _joined(times: int, found: re.Match[str]) -> str:
    return str(int(found[1]) * times + int(found[2]))


@lru_cache(maxsize=4096)
def _parted(text: str) -> tuple[str, tuple[Fraction, ...]]:
    """The words of an answer and its numbers, apart; case, spacing and signs that only divide don't count."""
    for pattern, times in _COMPOUND:
        text = pattern.sub(partial(_joined, times), text)
    numbers = tuple(Fraction(number) for number in _NUMBER.findall(text))
    words = re.sub(r"[\W_\d]+", " ", _NUMBER.sub(" ", text.casefold())).split()
    return " ".join(words), numbers
