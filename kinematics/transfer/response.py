"""How the ends answer to the change gears: their rates as exact functions of the brackets' ratios.

With the levers where they are, the train is eliminated once with every filled bracket open; another gear then
costs a few whole-number products instead of another elimination.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import lcm

from handlead.kinematics.frame.motion import ENDS, Rates
from handlead.kinematics.train.solution import hob_rates, solve
from handlead.kinematics.train.train import Train

from .polynomials import Polynomial
from .transfer import Transfer, generic

#: Above this many filled brackets the polynomials get long; then the train is solved each time.
MOST_BRACKETS = 8

#: Coefficients by the set of brackets (as bits) that stand in a term with p; the others stand with q.
Terms = tuple[tuple[int, int], ...]


@dataclass(frozen=True)
class Running:
    """What a train does: `rates` over a turn of the hob, and which way each end goes, signed in the frame.

    A way is 0 where the end stands still and None where nothing drives it. `rates` is None where hob
    or table isn't driven. `stuck` says why nothing can turn: "locked", or "worm driven backwards".
    """

    rates: Rates | None
    hob_way: int | None
    table_way: int | None
    slide_ways: tuple[int | None, ...]
    stuck: str = ""


def _stuck(why: str) -> Running:
    """A train that can't be turned."""
    return Running(None, 0, 0, (0, 0, 0), why)


def run(train: Train, drive: str) -> Running:
    """Solve the train from nothing for one turn of the drive. Raises `KeyError` if there is no such drive."""
    solution = solve(train, drive)
    if solution.is_locked:
        return _stuck("locked")
    if solution.backdriven:
        return _stuck("worm driven backwards")
    hob, table, *slides = (_way(solution.end_rate(name)) for name in ENDS)
    return Running(hob_rates(solution), hob, table, tuple(slides))


def _way(rate: Fraction | None) -> int | None:
    return None if rate is None else (rate > 0) - (rate < 0)


@dataclass(frozen=True)
class Response:
    """The ends of `train` for any gears in the brackets called `filled`; the other brackets are empty.

    Equal in every case to solving the train anew with `run`, and exact.
    """

    train: Train
    drive: str
    filled: tuple[str, ...]
    _common: Terms | None
    _of_end: Mapping[str, Terms | None]
    _is_stuck: bool = False

    @classmethod
    def of(cls, train: Train, drive: str, filled: Iterable[str]) -> Response:
        """Eliminate the train once, its levers standing as they do, for gears in the brackets `filled`.

        Raises `KeyError` for an unknown drive or bracket.
        """
        names = tuple(filled)
        bare = train.with_gears({link.name: None for link in train.brackets if link.name not in names})
        transfer = Transfer.of(bare, drive, names)
        found = transfer.turned_by_drive() if len(names) <= MOST_BRACKETS else None
        if found is None:
            return cls(bare, drive, names, None, {})
        common, *above = _in_whole_numbers((found[0], *found[1].values()), names)
        assert common is not None
        is_stuck = bool(run(bare.with_ratios(generic(names)), drive).stuck)
        return cls(bare, drive, names, common, dict(zip(found[1], above, strict=True)), is_stuck)

    @property
    def is_quick(self) -> bool:
        """Whether the polynomials are there; otherwise each call solves the train."""
        return self._common is not None

    @property
    def polynomials(self) -> Mapping[str, Terms | None]:
        """Each end's rate but for what is the same for all: coefficients by the brackets whose ratios they go with."""
        return self._of_end

    def running(self, ratios: Sequence[Fraction]) -> Running:
        """What the train does with these signed ratios, in the order of `filled`."""
        # In a train that is stuck some ratios lock what others only stop, or leave the worm at rest.
        if self._common is None or self._is_stuck:
            return self._anew(ratios)
        terms = [1]
        for ratio in ratios:
            p, q = ratio.numerator, ratio.denominator
            terms = [term * q for term in terms] + [term * p for term in terms]
        common = _sum(self._common, terms)
        if not common:
            # Locked, or two ways of turning at once: only the whole train tells which.
            return self._anew(ratios)
        values = [None if of is None else _sum(of, terms) for of in (self._of_end.get(n) for n in ENDS)]
        sign = 1 if common > 0 else -1
        hob, table, *slides = (_sign_of(value, sign) for value in values)
        return Running(_rates(values), hob, table, tuple(slides))

    def _anew(self, ratios: Sequence[Fraction]) -> Running:
        return run(self.train.with_ratios(dict(zip(self.filled, ratios, strict=True))), self.drive)


def _in_whole_numbers(polynomials: Sequence[Polynomial | None], names: Sequence[str]) -> list[Terms | None]:
    """The polynomials, all times one number, with the places in a term as bits."""
    bits = {name: 1 << rank for rank, name in enumerate(names)}
    scale = lcm(*(Fraction(value).denominator for each in polynomials if each for value in each.values()))
    return [
        None
        if each is None
        else tuple((sum(bits[name] for name, _ in term), int(value * scale)) for term, value in each.items())
        for each in polynomials
    ]


def _sum(polynomial: Terms, terms: Sequence[int]) -> int:
    total = 0
    for index, coefficient in polynomial:
        total += coefficient * terms[index]
    return total


def _sign_of(value: int | None, sign: int) -> int | None:
    return None if value is None else sign * ((value > 0) - (value < 0))


_STILL = Fraction(0)


def _rates(values: Sequence[int | None]) -> Rates | None:
    hob, table, *slides = values
    if not hob or table is None:
        return None
    return Rates(Fraction(table, hob), *(Fraction(slide, hob) if slide else _STILL for slide in slides))
