"""A drive train: parts, links, where they meet the work, and what turns them. Frozen."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from handlead.kinematics.frame.frozen import freeze
from handlead.kinematics.links.link import Link
from handlead.kinematics.links.links import Ratio
from handlead.kinematics.links.mounted import ChangeGears, Mounted

#: The parts through which a train meets the work.
END_NAMES = ("hob", "table", "axial", "tangential", "radial")


@dataclass(frozen=True)
class End:
    """An end of the train: its part, and the sign of that part's positive in the frame."""

    part: str
    sign: int = 1


@dataclass(frozen=True)
class Drive:
    """Something that can turn the machine. Not in use, its shaft stands still unless `free_at_rest`."""

    shaft: str
    rpm: Fraction | None = None
    free_at_rest: bool = False


@dataclass(frozen=True, repr=False)
class Train:
    """A train with its levers set and its change gears mounted.

    `shafts` and `slides` give each part a word on where to find it. Their order, and that of
    `links`, is the order in which a person would trace the train; no result depends on it.
    Raises `ValueError` for a link, end or drive that names a part which isn't there, for a name
    given twice, and for a link that joins a part to itself.
    """

    shafts: Mapping[str, str]
    slides: Mapping[str, str]
    links: tuple[Link, ...]
    ends: Mapping[str, End]
    drives: Mapping[str, Drive]

    def __post_init__(self) -> None:
        freeze(self, "shafts", "slides", "ends", "drives")
        both = self.shafts.keys() & self.slides.keys()
        if both:
            raise ValueError(f"{min(both)!r} is both a shaft and a slide")
        seen: set[str] = set()
        for link in self.links:
            if link.name in seen:
                raise ValueError(f"two links are called {link.name!r}")
            seen.add(link.name)
            self._check_ports(link)
        for name, part in self._named_parts():
            if part not in self:
                raise ValueError(f"{name} names {part!r}, which is neither a shaft nor a slide")

    def _check_ports(self, link: Link) -> None:
        if len(set(link.ports)) < len(link.ports):
            raise ValueError(f"link {link.name!r} joins a part to itself: {', '.join(link.ports)}")
        for part in link.ports:
            if part not in self:
                raise ValueError(f"link {link.name!r} names {part!r}, which is neither a shaft nor a slide")

    def _named_parts(self) -> Iterable[tuple[str, str]]:
        yield from ((f"end {name!r}", end.part) for name, end in self.ends.items())
        yield from ((f"drive {name!r}", drive.shaft) for name, drive in self.drives.items())

    def __repr__(self) -> str:
        return f"<Train of {len(self.links)} links from {' or '.join(self.drives)} to {', '.join(self.ends)}>"

    def __contains__(self, part: str) -> bool:
        return part in self.shafts or part in self.slides

    @property
    def parts(self) -> tuple[str, ...]:
        """Every shaft, then every slide."""
        return (*self.shafts, *self.slides)

    @property
    def brackets(self) -> tuple[ChangeGears, ...]:
        """The links that take change gears, in their order."""
        return tuple(link for link in self.links if isinstance(link, ChangeGears))

    def link(self, name: str) -> Link:
        """The link called `name`. Raises `KeyError` if there is none."""
        for link in self.links:
            if link.name == name:
                return link
        raise KeyError(name)

    def replacing(self, *links: Link) -> Train:
        """The same train with each of `links` in place of the one that bears its name.

        Raises `KeyError` for a name that the train doesn't have.
        """
        new = {link.name: link for link in links}
        for name in new:
            self.link(name)
        return replace(self, links=tuple(new.get(link.name, link) for link in self.links))

    def without(self, *names: str) -> Train:
        """The same train with the links called `names` taken out. Raises `KeyError` for an unknown one."""
        for name in names:
            self.link(name)
        return replace(self, links=tuple(link for link in self.links if link.name not in names))

    def with_states(self, states: Mapping[str, str]) -> Train:
        """The train after levers have put the named links into these states.

        Raises `KeyError` for an unknown link, `ValueError` for a state that it doesn't have.
        """
        return self.replacing(*(self.link(name).in_state(state) for name, state in states.items()))

    def with_gears(self, mounted: Mapping[str, Mounted | None]) -> Train:
        """The train with change gears in the named brackets (None empties one).

        Raises `KeyError` for an unknown link, `ValueError` for one that takes no change gears.
        """
        links = []
        for name, gears in mounted.items():
            link = self.link(name)
            if not isinstance(link, ChangeGears):
                raise ValueError(f"link {name!r} is a {link.kind}: it takes no change gears")
            links.append(link.with_gears(gears))
        return self.replacing(*links)

    def with_ratios(self, ratios: Mapping[str, Fraction]) -> Train:
        """The train with a fixed signed ratio in each of these brackets, whatever gears make it.

        Raises `KeyError` for an unknown link.
        """
        links = ((self.link(name), ratio) for name, ratio in ratios.items())
        return self.replacing(*(Ratio(link.name, link.ports[0], link.ports[1], ratio) for link, ratio in links))
