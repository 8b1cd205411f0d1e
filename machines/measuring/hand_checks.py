"""What can be counted by hand before any cut: hob and slide are moved so far, and table or slide must answer so.

Each check says which levers go where for it, and back again after it. What was found at it goes under its key in
[seen], where `trace` takes it up.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from handlead.kinematics.frame.frozen import freeze
from handlead.kinematics.frame.words import STILL, direction
from handlead.machines.job_keys.hand_keys import HOB_TURNS, INDEX_TURNS, TRAVELS
from handlead.machines.setups.case import Case, feed_opened_by

#: Finest part of a turn that anybody would look for: one in so many.
FINEST_PART = 12

#: Least travel in mm that is seen well on a dial, and most that a dial has (common practice).
_SEEN_MM = Fraction(1, 5)

#: Degrees in a turn.
_TURN_DEG = 360


#: Turns or millimetres past which nobody turns or counts by hand. Own choice.
MOST_BY_HAND = 10_000


@dataclass(frozen=True)
class HandCheck:
    """Move the part at `turn` ("hob", or a slide's end) by hand, and the part at `moves` must answer.

    `amount` is in turns of the hob or mm of the slide, `way` the way that the part goes in the cut; `by` is in turns of
    the table or mm of a slide, the way `moves_way` ("not at all" for 0). `levers` says which levers go where for it,
    `back` where they go again after it. With `feed_parted` the feed is out meanwhile, by the levers or, where they are
    none, by its gears taken out; else the slide moves with the hob, which must be clear of the work. `key` is where
    what was found belongs under [seen]; "" where no key holds it. `teeth` is the work's count.
    """

    key: str
    turn: str
    amount: Fraction
    way: str
    moves: str
    by: Fraction
    moves_way: str
    feed_parted: bool
    teeth: int
    levers: Mapping[str, str] = field(default_factory=dict)
    back: Mapping[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        freeze(self, "levers", "back")

    @property
    def is_whole_turn(self) -> bool:
        """Whether the hob is turned until the table has come round once."""
        return self.turn == "hob" and self.moves == "table" and self.key in ("", "hob_turns")

    @property
    def by_deg(self) -> float:
        """How far the table turns, in degrees."""
        return float(self.by * _TURN_DEG)

    @property
    def by_teeth(self) -> float:
        """How far the table turns, in teeth of the work."""
        return float(self.by * self.teeth)

    @property
    def hob_clear(self) -> bool:
        """Whether the hob must be clear of the work, since it or the slide moves along it."""
        return not self.feed_parted or self.turn != "hob"

    def as_json(self) -> dict[str, Any]:
        """The check as one of `hand_checks` in the JSON contract."""
        value: dict[str, Any] = {
            "key": self.key or None,
            "turn": self.turn,
            "turns" if self.turn == "hob" else "mm": str(self.amount),
            "way": self.way,
            "moves": self.moves,
            "by_turns" if self.moves == "table" else "by_mm": str(self.by),
            "moves_way": self.moves_way,
            "levers": dict(self.levers),
            "back": dict(self.back),
            "feed": "parted" if self.feed_parted else "in",
            "hob_clear": self.hob_clear,
        }
        if self.moves == "table":
            value |= {"by_deg": self.by_deg, "by_teeth": self.by_teeth}
        return value


def hand_checks(case: Case, parted: Fraction | None, feeding: Fraction | None) -> tuple[HandCheck, ...]:
    """The checks to make before the first cut, from table turns per hob turn with the feed parted and with it running.

    First the hob's turns for one of the table, where they end on a part of a turn that anybody can see; then what
    whole turns of the hob, and a travel of the slide with the hob at rest, must bring about. None on a locked train.
    """
    if case.solution.is_locked:
        return ()
    made = _Maker(case, feed_opened_by(case))
    checks = (*list(made.whole_turn(parted, feeding))[:1], *made.index(parted, feeding), *made.slide(), *made.feed())
    return tuple(each for each in checks if max(each.amount, each.by) <= MOST_BY_HAND)


@dataclass(frozen=True)
class _Maker:
    """Makes the checks of a case with the feed opened by this lever, if any does it."""

    case: Case
    opened: tuple[str, str] | None

    def _check(self, key: str, turn: str, amount: Fraction, moves: str, ratio: Fraction, parted: bool) -> HandCheck:
        """A check by `amount`, the way the part goes in the cut; `ratio` is what one turn or mm brings about."""
        sense = self._sense(turn)
        levers = dict([self.opened]) if self.opened and parted else {}
        positions = self.case.job.machine.positions(self.case.setup)
        moved = ratio * sense
        return HandCheck(
            key=key, turn=turn, amount=amount, way=direction(turn, sense), moves=moves, by=abs(ratio * amount),
            moves_way=direction(moves, 1 if moved > 0 else -1) if moved else STILL,
            feed_parted=parted, teeth=self.case.job.work.teeth,
            levers=levers, back={lever: positions[lever] for lever in levers},
        )  # fmt: skip

    def _sense(self, end: str) -> int:
        rate = self.case.solution.end_rate(end)
        return 1 if rate is None or rate >= 0 else -1

    def whole_turn(self, parted: Fraction | None, feeding: Fraction | None) -> Iterator[HandCheck]:
        """The hob's turns for one turn of the table."""
        for is_parted, ratio in ((True, parted), (False, feeding)):
            if ratio and (1 / ratio).denominator <= FINEST_PART:
                # The key asks for what is counted with all in.
                key = "" if is_parted and ratio != feeding else "hob_turns"
                yield self._check(key, "hob", abs(1 / ratio), "table", ratio, is_parted)

    def index(self, parted: Fraction | None, feeding: Fraction | None) -> Iterator[HandCheck]:
        """How far the table turns for ten turns of the hob, or for so few that it doesn't end where it began."""
        ratio = parted or feeding
        if ratio:
            turns = next((each for each in INDEX_TURNS if (ratio * each).denominator > 1), INDEX_TURNS[0])
            yield self._check("index_check", "hob", turns, "table", ratio, bool(parted))

    def slide(self) -> Iterator[HandCheck]:
        """How far the table turns as the slide goes along the work, the hob at rest: the differential's share."""
        if self.opened is None:
            return
        name, position = self.opened
        opened = Case.of(self.case.job, self.case.setup.with_lever(name, position))
        ratio = opened.questions.table_per_axial
        if ratio is not None:
            yield self._check("slide_check", "axial", self._travel(), "table", ratio, True)

    def _travel(self) -> Fraction:
        """The longest of the usual travels that takes no more than half of the slide's."""
        machine = self.case.job.machine
        whole = machine.limits.travel.get(machine.train.ends["axial"].part)
        travels = TRAVELS[self.case.job.units]
        return next((each for each in travels if whole is None or 2 * each <= whole), travels[-1])

    def feed(self) -> Iterator[HandCheck]:
        """How far the slide goes with the hob, on a dial."""
        rate = self.case.rates.axial if self.case.rates else None
        if rate:
            turns = next((each for each in HOB_TURNS if abs(rate) * each >= _SEEN_MM), HOB_TURNS[-1])
            yield self._check("feed_check", "hob", turns, "axial", rate, False)

