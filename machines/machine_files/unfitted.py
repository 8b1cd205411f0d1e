"""A machine file that holds "?" for numbers or senses: the machine as far as it is known, and what isn't.

`read_unfitted` reads such a file for `fit`. An ordinary reader refuses it, and says at each "?" how
to find what belongs there.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from handlead.kinematics.frame.words import Sense
from handlead.kinematics.links.link import PI, Link
from handlead.kinematics.links.links import Rack, Selector
from handlead.kinematics.narrowing.domains import Domain, Fractions, Wholes
from handlead.kinematics.train.train import Train
from handlead.kinematics.transfer.polynomials import SIGN, powers
from handlead.kinematics.unknowns.open_train import OpenRatio, OpenTrain
from handlead.machines.tables.question_marks import UNKNOWN, open_paths, with_stand_ins
from handlead.machines.tables.reading import rows
from handlead.machines.toml import places
from handlead.machines.toml.errors import Place
from handlead.machines.toml.numbers import UNITS
from handlead.machines.toml.places import Document, Path_

from .machine_file import Machine, machine_of
from .machine_links import module_of

_MM, _INCH = UNITS["mm"], UNITS["in"]

#: What a number of each sort may be. Nothing outside is looked for, and what is found is the only one inside.
#: The limits are wider than those of hobbing machines (common practice); a bound in the observations narrows them.
DOMAINS: Mapping[str, Domain] = {
    "teeth": Wholes(Fraction(4), Fraction(1000)),
    "starts": Wholes(Fraction(1), Fraction(20)),
    "ratio": Fractions(Fraction(1, 200), Fraction(200), ((Fraction(1), 100),)),
    "lead": Fractions(Fraction(1), Fraction(200), ((_MM, 20), (_INCH, 40))),
    # A pinion goes round its pitch circle: mostly a simple multiple of pi.
    "travel": Fractions(Fraction(5), Fraction(2000), ((_MM, 20), (_INCH, 40), (PI, 20))),
    "diameter": Fractions(Fraction(5), Fraction(3000), ((_MM, 2), (_INCH, 16))),
}

#: The same in words, for those who are told that nothing fits.
DOMAIN_WORDS: Mapping[str, str] = {
    "teeth": "whole numbers of teeth",
    "starts": "whole numbers of starts",
    "ratio": "fractions with denominators up to 100",
    "lead": "leads in fractions of a millimetre with denominators up to 20, or of an inch up to 40",
    "travel": "travels in fractions of 1 or π millimetres with denominators up to 20, or of an inch up to 40",
    "diameter": "diameters in half millimetres or sixteenths of an inch",
    "sense": "same or opposite",
}

#: The sorts that are lengths.
LENGTHS = frozenset({"lead", "travel", "diameter"})
_SIGNED = frozenset({"ratio"})


@dataclass(frozen=True)
class Figure:
    """A number or sense of a link that enters its ratio.

    `key` names it (``link/index worm/teeth``), `path` is where it stands in the file. `sort` is a key
    of `DOMAINS`, or ``sense``; `exponent` is its power in the ratio. `state` is that of a selector in
    which it counts, else empty.
    """

    key: str
    path: Path_
    link: str
    sort: str
    exponent: int
    state: str = ""

    @property
    def number(self) -> str:
        """The variable for its size; empty for a sense."""
        return "" if self.sort == "sense" else self.key

    @property
    def sign(self) -> str:
        """The variable for its sign; empty for what is always above 0."""
        return f"{SIGN}{self.key}" if self.sort == "sense" or self.sort in _SIGNED else ""

    def domain(self, units: str) -> Domain | None:
        """What the size may be, fractions of the machine's own `units` first; None for a sense."""
        domain = DOMAINS.get(self.sort)
        if not isinstance(domain, Fractions):
            return domain
        own = UNITS[units]
        return replace(domain, units=tuple(sorted(domain.units, key=lambda each: each[0] != own)))

    def plainest_first(self, values: Iterable[Fraction], units: str) -> list[Fraction]:
        """Values of the figure in the order in which a person at a machine in these `units` would believe them."""
        domain = self.domain(units)

        def key(value: Fraction) -> tuple[tuple[int, int], Fraction]:
            return domain.plainness(abs(value)) if domain else (0, 0), value

        return sorted(values, key=key)

    def value(self, values: Mapping[str, Fraction]) -> Fraction | None:
        """The number with its sign, or the sign of the sense, from the values of its variables; None if one lacks."""
        parts = [values.get(name) for name in (self.number, self.sign) if name]
        if any(part is None for part in parts):
            return None
        product = Fraction(1)
        for part in parts:
            product *= part or 0
        return product

    def words(self, value: Fraction, units: str) -> str:
        """The value as the file would have it: ``96``, ``-1/3``, ``same``, a length in the file's `units`."""
        if self.sort == "sense":
            return Sense(int(value)).word
        return str(value / UNITS[units] if self.sort in LENGTHS else value)


@dataclass(frozen=True)
class Unfitted:
    """A machine and its unknown `figures`; `machine` has something that can be read in the place of each."""

    machine: Machine
    figures: tuple[Figure, ...]

    def place(self, figure: Figure) -> Place:
        """Where the figure stands in the file."""
        return self.machine.document.place(*figure.path)


def read_unfitted(path: str | os.PathLike[str], shown: str | None = None) -> Unfitted:
    """The machine in the file at `path`, called `shown` in complaints, with "?" where something is unknown.

    Raises `FileFault` with everything else that is wrong with the file.
    """
    return _unfitted(places.read(path, shown or os.fspath(path)))


def read_unfitted_text(text: str, file: str = "machine.toml") -> Unfitted:
    """The machine in `text`, called `file` in complaints. Raises `FileFault`."""
    return _unfitted(places.parse(text, file))


def _unfitted(document: Document) -> Unfitted:
    unknown = list(open_paths(document))
    machine = machine_of(with_stand_ins(document, unknown))
    machine = replace(machine, document=document)
    wanted = set(unknown)
    return Unfitted(machine, tuple(figure for figure in figures(machine) if figure.path in wanted))


# ---------------------------------------------------------------- the figures of a machine

#: For each key of a link's row: sort, and exponent in the ratio (of a pair: that of the first of two).
_FIGURES: Mapping[str, Mapping[str, tuple[str, int]]] = {
    "gear pair": {"teeth": ("teeth", 1), "sense": ("sense", 1)},
    "bevel gears": {"teeth": ("teeth", 1), "sense": ("sense", 1)},
    "worm gear": {"starts": ("starts", 1), "teeth": ("teeth", -1), "sense": ("sense", 1)},
    "belt": {"teeth": ("teeth", 1), "diameters": ("diameter", 1)},
    "chain": {"teeth": ("teeth", 1), "diameters": ("diameter", 1)},
    "differential": {"sun_ratio": ("ratio", 1)},
    "selector": {"ratios": ("ratio", 1)},
    "screw": {"lead": ("lead", 1), "sense": ("sense", 1)},
    "rack": {"teeth": ("teeth", 1), "travel": ("travel", 1), "sense": ("sense", 1)},
}


def figures(machine: Machine) -> Iterator[Figure]:
    """Every number and sense in the machine's file that enters the ratio of a link, in the file's order."""
    for index, row in rows(machine.document, "link"):
        known = _FIGURES.get(str(row.get("kind")), {})
        for key, (sort, exponent) in known.items():
            if key in row:
                yield from _of_key(("link", index, key), row, sort, exponent)


def _of_key(path: Path_, row: Mapping[str, Any], sort: str, exponent: int) -> Iterator[Figure]:
    name, key = str(row["name"]), str(path[-1])
    value = row[key]
    if isinstance(value, dict):
        for state in value:
            yield Figure(f"link/{name}/{key}/{state}", (*path, state), name, sort, exponent, state)
    elif isinstance(value, list):
        # Where one of a pair alone is unknown, the key says enough.
        both = sum(each == UNKNOWN for each in value) != 1
        for at, each in enumerate(value):
            numbered = both or each != UNKNOWN
            suffix = f"/{at + 1}" if numbered else ""
            yield Figure(
                f"link/{name}/{key}{suffix}", (*path, at), name, sort, exponent if at == 0 else -exponent
            )
    else:
        yield Figure(f"link/{name}/{key}", path, name, sort, exponent)


def known_value(machine: Machine, figure: Figure) -> Fraction:
    """What the machine has for a figure: the number with its sign in mm or teeth, or the sign of the sense."""
    link = machine.train.link(figure.link)
    at = figure.path[3] if len(figure.path) > 3 else None
    key = str(figure.path[2])
    if figure.sort == "sense":
        return Fraction(link.sense.value)  # type: ignore[attr-defined]
    if isinstance(link, Selector):
        return Fraction(link.ratios[str(at)])
    if isinstance(link, Rack) and key == "teeth":
        return link.travel / _pinion(machine, figure)
    if key in ("teeth", "diameters") and isinstance(at, int):
        pair = getattr(link, "teeth", None) or link.sizes  # type: ignore[attr-defined]
        return Fraction(pair[at])
    return Fraction(getattr(link, key))


def _pinion(machine: Machine, figure: Figure) -> Fraction:
    """Travel of a rack for each tooth of its pinion, in mm."""
    row = machine.document.get(*figure.path[:2])
    from handlead.machines.keys.link_keys import LINK

    module = module_of(LINK["rack"].read({**row, "teeth": 1, "sense": "same"}, machine.units))
    return PI * (module or 0)


# ---------------------------------------------------------------- trains with unknowns


def open_train(machine: Machine, train: Train, unknown: Iterable[Figure]) -> OpenTrain:
    """`train`, which is `machine` set up, with the figures `unknown` left open."""
    ratios: dict[str, OpenRatio] = {}
    by_link: dict[str, list[Figure]] = {}
    for figure in unknown:
        by_link.setdefault(figure.link, []).append(figure)
    for name, open_figures in by_link.items():
        link = train.link(name)
        state = getattr(link, "state", "")
        counting = [figure for figure in open_figures if figure.state in ("", state)]
        if counting and link.relation() is not None:
            ratios[name] = _open_ratio(machine, link, counting)
    return OpenTrain(train, ratios)


def _open_ratio(machine: Machine, link: Link, unknown: Iterable[Figure]) -> OpenRatio:
    """The link's ratio with the unknown figures as variables: what it has now, without what they have now."""
    ratio = Fraction(getattr(link, "sun_ratio", None) or getattr(link, "ratio", None) or 1)
    exponents: dict[str, int] = {}
    for figure in unknown:
        ratio /= known_value(machine, figure) ** figure.exponent
        for name in (figure.number, figure.sign):
            if name:
                exponents[name] = exponents.get(name, 0) + figure.exponent
    return OpenRatio(ratio, powers(exponents))


def variables_of(
    unknown: Iterable[Figure],
    units: str,
    bounds: Mapping[str, tuple[Fraction | None, Fraction | None]] | None = None,
) -> tuple[dict[str, Domain], list[str]]:
    """The numbers of a machine in `units` with their domains, narrowed by `bounds` of their keys, and the signs."""
    domains: dict[str, Domain] = {}
    signs: list[str] = []
    for figure in unknown:
        domain = figure.domain(units)
        if domain is not None:
            low, high = (bounds or {}).get(figure.key, (None, None))
            domains[figure.number] = replace(
                domain,  # type: ignore[type-var]
                low=domain.low if low is None else low,
                high=domain.high if high is None else high,
            )
        if figure.sign:
            signs.append(figure.sign)
    return domains, signs
