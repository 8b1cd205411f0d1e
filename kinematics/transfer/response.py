"""How the ends answer to the change gears: their rates as exact functions of the brackets' ratios.

With the levers where they are, the train is eliminated once with every filled bracket taken out and
its two shafts kept. What is left is one small system in the ratios p/q of the brackets; by Cramer's
rule each end's rate is a quotient of two polynomials, linear in each p and each q. Another gear then
costs a few whole-number products instead of another elimination.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import lcm

from handlead.kinematics.frame.motion import Rates
from handlead.kinematics.train.elimination import reduce_relations
from handlead.kinematics.train.links import Ratio
from handlead.kinematics.train.solution import SLIDE_ENDS, held_relations, hob_rates, link_relations, solve
from handlead.kinematics.train.train import Train

from .needs import with_generic_gears

#: Above this many filled brackets the polynomials get long; then the train is solved each time.
MOST_BRACKETS = 8

_ENDS = ("hob", "table", *SLIDE_ENDS)

#: Coefficients by the set of brackets (as bits) that stand in a term with p; the others stand with q.
_Polynomial = tuple[tuple[int, int], ...]


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
    hob, table, *slides = (_way(solution.end_rate(name)) for name in _ENDS)
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
    _common: _Polynomial | None
    _of_end: Mapping[str, _Polynomial | None]
    _is_stuck: bool = False

    @classmethod
    def of(cls, train: Train, drive: str, filled: Iterable[str]) -> Response:
        """Eliminate the train once, its levers standing as they do, for gears in the brackets `filled`.

        Raises `KeyError` for an unknown drive or bracket.
        """
        names = tuple(filled)
        bare = train.with_gears({link.name: None for link in train.brackets if link.name not in names})
        system = _System.of(bare, drive, names) if len(names) <= MOST_BRACKETS else None
        if system is None:
            return cls(bare, drive, names, None, {})
        empty = [link.name for link in bare.brackets if link.name not in names]
        return cls(bare, drive, names, *system.solved(), bool(run(with_generic_gears(bare, empty), drive).stuck))

    @property
    def is_quick(self) -> bool:
        """Whether the polynomials are there; otherwise each call solves the train."""
        return self._common is not None

    @property
    def polynomials(self) -> Mapping[str, _Polynomial | None]:
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
        values = [None if of is None else _sum(of, terms) for of in (self._of_end.get(n) for n in _ENDS)]
        sign = 1 if common > 0 else -1
        hob, table, *slides = (_sign_of(value, sign) for value in values)
        return Running(_rates(values), hob, table, tuple(slides))

    def _anew(self, ratios: Sequence[Fraction]) -> Running:
        return run(with_ratios(self.train, dict(zip(self.filled, ratios, strict=True))), self.drive)


def with_ratios(train: Train, ratios: Mapping[str, Fraction]) -> Train:
    """The train with a fixed signed ratio in each of these brackets. Raises `KeyError` for an unknown one."""
    links = [(train.link(name), ratio) for name, ratio in ratios.items()]
    return train.replacing(*(Ratio(link.name, link.ports[0], link.ports[1], ratio) for link, ratio in links))


def _sum(polynomial: _Polynomial, terms: Sequence[int]) -> int:
    total = 0
    for index, coefficient in polynomial:
        total += coefficient * terms[index]
    return total


def _sign_of(value: int | None, sign: int) -> int | None:
    return None if value is None else sign * ((value > 0) - (value < 0))


def _rates(values: Sequence[int | None]) -> Rates | None:
    hob, table, *slides = values
    if not hob or table is None:
        return None
    return Rates(Fraction(table, hob), *(Fraction(slide or 0, hob) for slide in slides))


@dataclass(frozen=True)
class _System:
    """One row a bracket over the free parts, the drive's first: p·row of its driving shaft − q·row of the driven."""

    driving: tuple[tuple[int, ...], ...]
    driven: tuple[tuple[int, ...], ...]
    ends: Mapping[str, tuple[int, ...] | None]
    scale: int

    @classmethod
    def of(cls, train: Train, drive: str, filled: Sequence[str]) -> _System | None:
        """The system; None where it isn't one that every ratio but a few settles."""
        shaft = train.drives[drive].shaft
        ports = [train.link(name).ports for name in filled]
        parted = train.without(*filled)
        parts = [parted.ends[name].part for name in _ENDS if name in parted.ends]
        relations = [relation for _, relation in link_relations(parted) + held_relations(parted, drive)]
        keep = list(dict.fromkeys([shaft, *(port for pair in ports for port in pair), *parts]))
        of = reduce_relations(parted.parts, relations, keep).of
        rows = [({**of[a]}, {**of[b]}) for a, b in ports]
        columns = _reached(shaft, [{*a, *b} for a, b in rows])
        inside = [(a, b) for a, b in rows if {*a, *b} & columns]
        if len(inside) != len(rows) or len(columns) != len(rows) + 1 or shaft not in of[shaft]:
            return None
        order = [shaft, *sorted(columns - {shaft})]
        ends: dict[str, tuple[int, ...] | None] = {}
        wanted = {
            name: (parted.ends[name], of[parted.ends[name].part]) for name in _ENDS if name in parted.ends
        }
        scale = lcm(*(value.denominator for _, row in wanted.values() for value in row.values()))
        for name, (end, row) in wanted.items():
            if not row.keys() <= columns:
                # Driven by what nothing settles: loose, unless it is partly driven all the same.
                if row.keys() & columns or len(row) != 1:
                    return None
                ends[name] = None
                continue
            ends[name] = tuple(int(row.get(part, 0) * scale) * end.sign for part in order)
        whole = [_whole(a, b, order) for a, b in inside]
        return cls(tuple(a for a, _ in whole), tuple(b for _, b in whole), ends, scale)

    def solved(self) -> tuple[_Polynomial, dict[str, _Polynomial | None]]:
        """The common denominator, and the numerator of each end."""
        common: list[tuple[int, int]] = []
        of_end: dict[str, list[tuple[int, int]]] = {name: [] for name, row in self.ends.items() if row}
        for chosen in range(1 << len(self.driving)):
            rows = [
                a if chosen >> index & 1 else tuple(-value for value in b)
                for index, (a, b) in enumerate(zip(self.driving, self.driven, strict=True))
            ]
            _note(common, chosen, _determinant([row[1:] for row in rows]))
            for name, found in of_end.items():
                end = self.ends[name]
                assert end is not None
                # Bordered by the end's own row, the drive's column last, the determinant is its numerator.
                _note(found, chosen, _determinant([(*row[1:], row[0]) for row in (*rows, end)]))
        numerators = {name: None if row is None else tuple(of_end[name]) for name, row in self.ends.items()}
        return tuple(common), numerators


def _note(polynomial: list[tuple[int, int]], chosen: int, value: int) -> None:
    if value:
        polynomial.append((chosen, value))


def _reached(shaft: str, rows: Sequence[set[str]]) -> set[str]:
    """The free parts that hang together with the drive's shaft by way of brackets."""
    found = {shaft}
    while True:
        more = {part for row in rows if row & found for part in row} - found
        if not more:
            return found
        found |= more


def _whole(
    driving: Mapping[str, Fraction], driven: Mapping[str, Fraction], order: Sequence[str]
) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Both rows multiplied by one number to make them whole."""
    scale = lcm(*(value.denominator for row in (driving, driven) for value in row.values()))
    first, second = (tuple(int(row.get(part, 0) * scale) for part in order) for row in (driving, driven))
    return first, second


def _determinant(rows: Sequence[Sequence[int]]) -> int:
    """Determinant of a small matrix of whole numbers, without fractions.

    Source: E. H. Bareiss, "Sylvester's identity and multistep integer-preserving Gaussian
    elimination", 1968 (from memory).
    """
    matrix = [list(row) for row in rows]
    size, sign, before = len(matrix), 1, 1
    for step in range(size - 1):
        pivot = next((row for row in range(step, size) if matrix[row][step]), None)
        if pivot is None:
            return 0
        if pivot != step:
            matrix[step], matrix[pivot] = matrix[pivot], matrix[step]
            sign = -sign
        top = matrix[step]
        for row in matrix[step + 1 :]:
            for column in range(step + 1, size):
                row[column] = (row[column] * top[step] - row[step] * top[column]) // before
        before = top[step]
    return sign * matrix[-1][-1] if matrix else 1
