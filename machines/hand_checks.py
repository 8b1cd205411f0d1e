"""What can be counted by hand before any cut: turns of the hob for a turn of the table, and which way it goes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from handlead.kinematics.frozen import freeze
from handlead.kinematics.words import direction

from .case import Case, feed_opened_by

#: Finest part of a turn that anybody would look for: one in so many.
FINEST_PART = 12


@dataclass(frozen=True)
class HandCheck:
    """Turn the hob by hand so many turns the way that it runs, and the table must make one turn, the way `table_way`.

    `levers` says which levers go where for it, `back` where they go again after it. With `feed_parted` the slide
    stands meanwhile, by the levers or, where they are none, by its gears taken out; else it moves with them, and the
    hob must be clear of the work. Ways are words of the frame: positive and negative in `kinematics/words.py`.
    """

    hob_turns: Fraction
    hob_way: str
    table_way: str
    feed_parted: bool
    levers: Mapping[str, str] = field(default_factory=dict)
    back: Mapping[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        freeze(self, "levers", "back")

    def as_json(self) -> dict[str, Any]:
        """The check as one of `hand_checks` in the JSON contract."""
        return {
            "turn": "hob",
            "turns": str(self.hob_turns),
            "way": self.hob_way,
            "moves": "table",
            "by_turns": "1",
            "moves_way": self.table_way,
            "levers": dict(self.levers),
            "back": dict(self.back),
            "feed": "parted" if self.feed_parted else "in",
            "hob_clear": not self.feed_parted,
        }


def hand_checks(case: Case, parted: Fraction | None, feeding: Fraction | None) -> tuple[HandCheck, ...]:
    """The check to make before the first cut, from table turns per hob turn with the feed parted and with it running.

    With the feed parted, or else with all in; none where the turns are of so fine a part that nobody could see it,
    or where nothing turns.
    """
    return tuple(_checks(case, parted, feeding))[:1]


def _checks(case: Case, parted: Fraction | None, feeding: Fraction | None) -> Iterator[HandCheck]:
    runs = case.solution.end_rate("hob")
    sense = 1 if runs is None or runs >= 0 else -1
    for is_parted, ratio in ((True, parted), (False, feeding)):
        if not ratio or (1 / ratio).denominator > FINEST_PART:
            continue
        opened = feed_opened_by(case) if is_parted else None
        positions = case.job.machine.positions(case.setup)
        yield HandCheck(
            hob_turns=abs(1 / ratio),
            hob_way=direction("hob", sense),
            table_way=direction("table", sense if ratio > 0 else -sense),
            feed_parted=is_parted,
            levers=dict([opened]) if opened else {},
            back={opened[0]: positions[opened[0]]} if opened else {},
        )
