"""How small errors of a train's links come through to its ends, exactly as far as rates decide it.

An error sets a link's driven part ahead by a little. What the ends make of that follows from the train
solved with every drive at rest; how often it comes back, from the train solved with the drive turning.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from handlead.kinematics.frame.motion import Ripple
from handlead.kinematics.links.link import TwoPort

from .elimination import reduce_relations
from .solution import SLIDE_ENDS, held_relations, link_relations, solve
from .train import Train


@dataclass(frozen=True)
class PeriodicError:
    """An error of a link that comes back `waves` times in a turn (or millimetre) of `part`, exactly.

    At its worst the link's driven part stands off by `amplitude` to either side, in turns or mm;
    `phase_turn` is where in its wave the error stands when everything stands at 0.
    """

    link: str
    part: str
    waves: Fraction
    amplitude: float
    phase_turn: float = 0.0


#: A part that is no part of any machine: how far a link's driven part is ahead of its driving one.
_AHEAD = "\0ahead"


def ends_ahead(train: Train, drive: str, link: str) -> dict[str, Fraction]:
    """How far each end goes if the link's driven part goes ahead by one (turn or mm), every drive at rest.

    Signed in the frame. Ends that nothing holds are left out. Raises `KeyError` for a link or drive that
    isn't there and `ValueError` for a link that has no driven part, or passes nothing.
    """
    found = train.link(link)
    relation = found.relation() if isinstance(found, TwoPort) else None
    if relation is None:
        raise ValueError(f"link {link!r} is a {found.kind} that passes nothing from one part to another")
    relations = [(name, row) for name, row in link_relations(train) if name != link]
    relations += [("", {**relation, _AHEAD: Fraction(1)})]
    relations += [*held_relations(train, drive), ("", {train.drives[drive].shaft: Fraction(1)})]
    expressions = reduce_relations((*train.parts, _AHEAD), (row for _, row in relations), keep=(_AHEAD,))
    if _AHEAD not in expressions.free:
        return {}
    moved = {
        name: expressions.value(end.part, {_AHEAD: Fraction(1)}) for name, end in train.ends.items()
    }
    return {name: value * train.ends[name].sign for name, value in moved.items() if value is not None}


def ripples(train: Train, drive: str, error: PeriodicError) -> tuple[Ripple, ...]:
    """The periodic errors of table and slides that an error of one link leaves, told by the hob's angle.

    What moves hob, table and slides alike, as an error ahead of all three does, leaves nothing. Empty too
    where the link passes nothing, or hob and table aren't driven. Raises `KeyError` for an unknown link.
    """
    solution = solve(train, drive)
    rates = {name: solution.end_rate(name) for name in ("hob", "table", *SLIDE_ENDS)}
    hob, turning, link = rates["hob"], solution.rates.get(error.part), train.link(error.link)
    if not isinstance(link, TwoPort) or not link.ratio or not hob or not turning:
        return ()
    ahead = ends_ahead(train, drive, error.link)
    over = _over(train, link, rates)
    per_unit = turning * error.waves / (rates[over] or 1)
    # The hob is what everything else is timed by: where it runs ahead, the others are late by so much.
    late = ahead.get("hob", Fraction(0)) / hob
    left = {
        end: ahead.get(end, Fraction(0)) - late * (rates[end] or 0) for end in ("table", *SLIDE_ENDS)
    }
    return tuple(
        Ripple(end, over, per_unit, float(value) * error.amplitude, error.phase_turn)
        for end, value in left.items()
        if value
    )


def _over(train: Train, link: TwoPort, rates: dict[str, Fraction | None]) -> str:
    """The end by whose travel the error is counted: the link's own if it has one that moves, else the table."""
    own = (name for name, end in train.ends.items() if end.part == link.to_part and rates.get(name))
    return next(own, "table" if rates["table"] else "hob")
