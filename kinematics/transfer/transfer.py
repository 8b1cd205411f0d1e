"""A train with open links: eliminated once, and then asked for any ratios, or for what the ratios must be.

Every known link is put in, and what is left are the parts that matter: the ends, the drive's shaft and both
sides of each open link. Numbers for the ratios give numbers for the ends; without numbers each rate is a quotient
of polynomials in the ratios, exact, none of them to a higher power than the first; and with the ends given, the
two sides of an open link tell the ratio that it must have. No formula for any machine stands here.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache, cached_property
from math import lcm

from handlead.kinematics.frame.frozen import freeze
from handlead.kinematics.frame.motion import ENDS
from handlead.kinematics.links.link import Link, Relation, TwoPort
from handlead.kinematics.links.links import Differential
from handlead.kinematics.train.elimination import Expressions, reduce_relations
from handlead.kinematics.train.solution import held_relations, link_relations
from handlead.kinematics.train.train import End, Train

from .polynomials import Polynomial, add, constant, times

#: Ratios with no prime in common, for places of which nothing is known but that something stands there: with
#: these, nothing in a sound train cancels by accident.
_GENERIC = tuple(Fraction(a, b) for a, b in ((7, 5), (11, 13), (17, 19), (29, 23), (31, 37), (43, 41)))

#: A part's rate as a combination of the rates of some others.
Row = Mapping[str, Fraction]

Ratios = Mapping[str, Fraction]


class NotDriven(ValueError):
    """A rate that doesn't follow from the turning of one part, whatever the open ratios are.

    `part` is the part whose rate was asked for; the message says why there is no answer.
    """

    def __init__(self, part: str, message: str) -> None:
        super().__init__(message)
        self.part = part


@dataclass(frozen=True)
class Quotients:
    """Rates of parts per unit of the part turned: each of `above` over `below`."""

    above: Mapping[str, Polynomial]
    below: Polynomial


def generic(names: Iterable[str]) -> dict[str, Fraction]:
    """A fixed odd ratio for each of the names."""
    ratios = {}
    for rank, name in enumerate(names):
        over, value = divmod(rank, len(_GENERIC))
        ratios[name] = _GENERIC[value] + over
    return ratios


@dataclass(frozen=True)
class Transfer:
    """A train whose `places` are open links, boiled down to a few parts.

    `rows` gives each of the parts by those that the other links leave free. Whatever stands in a place counts for
    nothing: its ratio is said with each question, and a place of which none is said passes nothing.
    """

    rows: Mapping[str, Row]
    places: Mapping[str, TwoPort | Differential]
    ends: Mapping[str, End]
    shaft: str

    def __post_init__(self) -> None:
        freeze(self, "rows", "places", "ends")

    @classmethod
    def of(
        cls,
        train: Train,
        drive: str,
        places: Iterable[str] | None = None,
        parts: Iterable[str] = (),
        held: Iterable[str] = (),
    ) -> Transfer:
        """The train with `places` open (its brackets where none are said), every drive but `drive` as it is at rest.

        `parts` are kept besides; those `held` stand still. Raises `KeyError` for what isn't there, `TypeError` for a
        link without a ratio.
        """
        names = [link.name for link in train.brackets] if places is None else list(places)
        links = {name: _with_ratio(train.link(name)) for name in names}
        shaft = train.drives[drive].shaft
        known = [relation for name, relation in link_relations(train) if name not in links]
        known += [relation for _, relation in held_relations(train, drive)]
        known += [{part: Fraction(1)} for part in held]
        ports = [part for link in links.values() for part in link.ports]
        ends = {name: train.ends[name] for name in ENDS if name in train.ends}
        keep = list(dict.fromkeys((shaft, *ports, *(end.part for end in ends.values()), *parts)))
        of = reduce_relations(train.parts, known, keep).of
        return cls({part: of[part] for part in keep}, links, ends, shaft)

    @cached_property
    def _parts(self) -> tuple[str, ...]:
        """The parts kept, and what of the others is free."""
        return tuple(dict.fromkeys((*self.rows, *(other for row in self.rows.values() for other in row))))

    @cached_property
    def _known(self) -> tuple[Relation, ...]:
        """What is known of the parts kept, as relations between them."""
        return tuple({part: Fraction(-1), **row} for part, row in self.rows.items() if part not in row)

    def reduced(self, ratios: Ratios, keep: Sequence[str], still: Iterable[str] = ()) -> Expressions:
        """Every part kept by as few as can be, those in `keep` first, with these ratios and the parts `still` held.

        Raises `KeyError` for a place that isn't there.
        """
        relations = [*self._known, *(relation_of(self.places[name], each) for name, each in ratios.items())]
        relations += [{part: Fraction(1)} for part in still]
        return reduce_relations(self._parts, relations, keep)

    def closed(self, ratios: Ratios) -> Transfer:
        """The train with these ratios put in for good."""
        of = self.reduced(ratios, list(self.rows)).of
        open_ones = {name: link for name, link in self.places.items() if name not in ratios}
        return Transfer({part: of[part] for part in self.rows}, open_ones, self.ends, self.shaft)

    # ------------------------------------------------------------ numbers

    def end_rates(self, ratios: Ratios) -> dict[str, Fraction | None]:
        """What each end does over a turn of the drive, signed in the frame; None where nothing drives it.

        A ratio of 0 holds the driven side of its place still. In a locked train what can only stand still is 0.
        """
        found = self.reduced(ratios, keep=(self.shaft,))
        turn = {self.shaft: Fraction(1)} if self.shaft in found.free else {}
        rates = {name: found.value(end.part, turn) for name, end in self.ends.items()}
        return {name: None if rate is None else rate * self.ends[name].sign for name, rate in rates.items()}

    def by_ends(self, place: str, ratios: Ratios, still: Iterable[str] = ()) -> tuple[Row, Row] | None:
        """Driving and driven side of a place by the ends, signed in the frame; None where the ends don't settle them.

        The parts `still` are held.
        """
        names = {end.part: name for name, end in self.ends.items()}
        of = self.reduced(ratios, list(names), still).of
        sides = _sides(self.places[place], of)
        if any(part not in names for side in sides for part in side):
            return None
        driving, driven = (
            {names[part]: value * self.ends[names[part]].sign for part, value in side.items()} for side in sides
        )
        return driving, driven

    # ------------------------------------------------------------ polynomials

    def together(self, places: Sequence[str], ends: Sequence[str]) -> dict[str, Polynomial] | None:
        """How these ends move, all to one scale, whatever the ratios in `places`; the other places pass nothing.

        None where the train leaves them freer, or less free, than one motion for any ratios.
        """
        parts = [self.ends[name].part for name in ends]
        ports = [part for name in places for part in self.places[name].ports]
        of = self.reduced({}, list(dict.fromkeys((*ports, *parts)))).of
        columns = sorted({other for part in (*ports, *parts) for other in of[part]})
        if len(columns) != len(places) + 1:
            return None
        motion = _motion([(name, *_sides(self.places[name], of)) for name in places], columns)
        return {name: _combined(of[part], motion, self.ends[name].sign) for name, part in zip(ends, parts, strict=True)}

    def turned_by_drive(self) -> tuple[Polynomial, dict[str, Polynomial | None]] | None:
        """The ends' rates over a turn of the drive: the denominator, and the numerator of each; None for a loose end.

        None where the train isn't such that all ratios but a few settle everything that hangs on the places.
        """
        of = self.rows
        rows = [(name, *_sides(link, of)) for name, link in self.places.items()]
        columns = _reached(self.shaft, [{*driving, *driven} for _, driving, driven in rows])
        inside = all({*driving, *driven} & columns for _, driving, driven in rows)
        if not inside or len(columns) != len(rows) + 1 or self.shaft not in of[self.shaft]:
            return None
        motion = _motion(rows, sorted(columns))
        above: dict[str, Polynomial | None] = {}
        for name, end in self.ends.items():
            row = of[end.part]
            if row.keys() <= columns:
                above[name] = _combined(row, motion, end.sign)
            elif row.keys() & columns or len(row) != 1:
                return None  # partly driven, and loose all the same
            else:
                above[name] = None
        return motion[self.shaft], above

    def quotients(self, turned: str, wanted: Sequence[str]) -> Quotients:
        """The rates of the parts `wanted` per unit of `turned`, by the parts' own positives; the drive is as any part.

        Raises `NotDriven` where `turned` can't turn, or a part's rate doesn't follow from it.
        """
        needed = self._that_settle(turned, wanted)
        ports = [part for name in needed for part in self.places[name].ports]
        of = self.reduced({}, list(dict.fromkeys((turned, *ports, *wanted)))).of
        rows = [(name, *_sides(self.places[name], of)) for name in needed]
        columns = sorted({other for _, driving, driven in rows for other in (*driving, *driven)} | {turned})
        ratios = generic(needed)
        relations = [_difference(driving, driven, ratios[name]) for name, driving, driven in rows]
        free = reduce_relations(columns, relations, (turned,)).free
        # What is free besides has no say in what is wanted: it may as well stand still.
        motion = _motion(rows, [each for each in columns if each not in free or each == turned])
        return Quotients({part: _combined(of[part], motion) for part in wanted}, motion[turned])

    def _that_settle(self, turned: str, wanted: Sequence[str]) -> list[str]:
        """As few places as settle what is wanted: the others would only stand above and below the line."""
        ratios = generic(self.places)
        # What is wanted is told by the rest as far as can be.
        found = self.reduced(ratios, (turned, *(part for part in self._parts if part not in (turned, *wanted))))
        if turned not in found.free:
            raise NotDriven(turned, "it can't turn as the machine is set up")
        for part in wanted:
            loose = next((other for other in found.of[part] if other != turned), None)
            if loose is not None and turned not in found.of[part]:
                raise NotDriven(part, "nothing connects it with the part that was turned")
            if loose is not None:
                raise NotDriven(part, f'it also follows "{loose}", which is free to turn')
        for name in self.places:
            fewer = {other: ratio for other, ratio in ratios.items() if other != name}
            of = self.reduced(fewer, (turned,)).of
            if all(of[part].keys() <= {turned} for part in wanted):
                ratios = fewer
        return list(ratios)


def relation_of(link: TwoPort | Differential, ratio: Fraction) -> Relation:
    """The relation of a link with this ratio in place of its own (of a differential: this sun ratio)."""
    if isinstance(link, Differential):
        p, q = link.suns
        return {p: ratio, q: Fraction(-1), link.carrier: 1 - ratio}
    return {link.from_part: ratio, link.to_part: Fraction(-1)}


def _with_ratio(link: Link) -> TwoPort | Differential:
    if not isinstance(link, TwoPort | Differential):
        raise TypeError(f"link {link.name!r} is a {link.kind}, which has no ratio")
    return link


def _sides(link: TwoPort | Differential, of: Mapping[str, Row]) -> tuple[Row, Row]:
    """What turns a link and what it turns, of a differential against the carrier. Ratio times driving is driven."""
    if isinstance(link, Differential):
        p, q = link.suns
        return _difference(of[p], of[link.carrier]), _difference(of[q], of[link.carrier])
    return of[link.from_part], of[link.to_part]


def _difference(one: Row, other: Row, factor: Fraction = Fraction(1)) -> Row:
    """`factor` times `one` less `other`."""
    found = {part: factor * value for part, value in one.items()}
    for part, value in other.items():
        found[part] = found.get(part, Fraction(0)) - value
    return {part: value for part, value in found.items() if value}


def _reached(shaft: str, rows: Sequence[set[str]]) -> set[str]:
    """The free parts that hang together with the drive's shaft by way of open places."""
    found = {shaft}
    while True:
        more = {part for row in rows if row & found for part in row} - found
        if not more:
            return found
        found |= more


def _motion(rows: Sequence[tuple[str, Row, Row]], columns: Sequence[str]) -> dict[str, Polynomial]:
    """The one motion of one column more than there are rows, by Cramer's rule: each column's rate, all to one scale.

    A row says that the ratio of a place times its driving side less its driven side is 0.
    """
    entries = [_entries(*row) for row in rows]

    @cache
    def minor(depth: int, left: tuple[str, ...]) -> Polynomial:
        """Determinant of the rows from `depth` on over the columns left, expanded along its first row."""
        total: Polynomial = {} if left else constant(1)
        for rank, column in enumerate(left):
            sign = -1 if rank % 2 else 1
            rest = minor(depth + 1, left[:rank] + left[rank + 1 :]) if column in entries[depth] else {}
            for term, coefficient in entries[depth].get(column, ()):
                total = add(total, {times(term, other): value for other, value in rest.items()}, sign * coefficient)
        return total

    every = tuple(columns)
    return {
        column: add({}, minor(0, every[:rank] + every[rank + 1 :]), -1 if rank % 2 else 1)
        for rank, column in enumerate(every)
    }


def _entries(name: str, driving: Row, driven: Row) -> dict[str, list[tuple[tuple[tuple[str, int], ...], int]]]:
    """One row by its columns, in whole numbers: the terms with and without the place's ratio."""
    scale = lcm(*(value.denominator for side in (driving, driven) for value in side.values()))
    found: dict[str, list[tuple[tuple[tuple[str, int], ...], int]]] = {}
    for side, term, sign in ((driving, ((name, 1),), 1), (driven, (), -1)):
        for column, value in side.items():
            found.setdefault(column, []).append((term, int(value * scale) * sign))
    return found


def _combined(row: Row, motion: Mapping[str, Polynomial], sign: int = 1) -> Polynomial:
    total: Polynomial = {}
    for column, coefficient in row.items():
        total = add(total, motion.get(column, {}), sign * coefficient)
    return total
