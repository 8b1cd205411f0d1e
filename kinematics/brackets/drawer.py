"""The drawer: change gears that are owned, and how many of each."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

#: No change gear has more teeth; keeps every product of gears within exact whole numbers.
MOST_TEETH = 10_000


def checked_teeth(teeth: object, what: str = "gear") -> int:
    """`teeth` as a count of teeth.

    Raises `TypeError` where it isn't a whole number, `ValueError` where no gear can have as many.
    """
    if isinstance(teeth, bool) or not hasattr(teeth, "__index__"):
        raise TypeError(f"{what} is {teeth!r}; a gear is given by its whole number of teeth")
    count = int(teeth.__index__())
    if not 1 <= count <= MOST_TEETH:
        raise ValueError(f"{what} has {count} teeth; it must have 1 to {MOST_TEETH}")
    return count


@dataclass(frozen=True)
class Drawer:
    """Change gears owned: `owned` lists pairs of teeth and how many such gears lie there, by rising teeth.

    Make one with `Drawer.of`, from the gears themselves.
    """

    owned: tuple[tuple[int, int], ...]

    @classmethod
    def of(cls, gears: Iterable[int]) -> Drawer:
        """A drawer holding `gears`; a count given twice is owned twice.

        Raises `ValueError` for an empty drawer or a gear without teeth, `TypeError` for anything
        but whole numbers.
        """
        counts = Counter(checked_teeth(z) for z in gears)
        if not counts:
            raise ValueError("the drawer is empty; give the teeth of at least one gear")
        return cls(tuple(sorted(counts.items())))

    @cached_property
    def counts(self) -> Mapping[int, int]:
        """How many are owned, by teeth."""
        return dict(self.owned)

    @cached_property
    def teeth(self) -> tuple[int, ...]:
        """The different numbers of teeth, rising."""
        return tuple(z for z, _ in self.owned)

    @cached_property
    def gears(self) -> tuple[int, ...]:
        """Every gear, rising; one that is owned twice appears twice."""
        return tuple(z for z, count in self.owned for _ in range(count))

    @cached_property
    def _size(self) -> int:
        return sum(count for _, count in self.owned)

    def __len__(self) -> int:
        return self._size

    def __contains__(self, teeth: int) -> bool:
        return teeth in self.counts

    def lacking(self, gears: Iterable[int]) -> tuple[int, ...]:
        """Those of `gears` that the drawer doesn't hold, or not often enough, rising."""
        need = Counter(gears)
        need.subtract({z: min(n, self.counts.get(z, 0)) for z, n in need.items()})
        return tuple(sorted(need.elements()))

    def holds(self, gears: Iterable[int]) -> bool:
        """Whether all of `gears` can be taken out together."""
        return not self.lacking(gears)

    def without(self, gears: Iterable[int]) -> Drawer:
        """The drawer once `gears` are taken out; it may be empty. Raises `ValueError` for gears not in it."""
        missing = self.lacking(gears := list(gears))
        if missing:
            raise ValueError(f"gears {', '.join(map(str, missing))} are taken out but aren't in the drawer")
        left = Counter(self.counts)
        left.subtract(gears)
        return Drawer(tuple(sorted((z, n) for z, n in left.items() if n > 0)))

    def with_more(self, gears: Iterable[int]) -> Drawer:
        """The drawer with `gears` put in besides."""
        return Drawer.of((*self.gears, *gears))


@dataclass(frozen=True)
class DrawerSet:
    """One set of gears and the brackets that it fits, by name; `fits` empty means every bracket."""

    name: str
    drawer: Drawer
    fits: frozenset[str] = frozenset()

    def serves(self, bracket: str) -> bool:
        """Whether gears of this set go on `bracket`."""
        return not self.fits or bracket in self.fits


def drawer_for(bracket: str, sets: Iterable[DrawerSet]) -> Drawer:
    """All gears that fit `bracket`, in whichever set they lie. May be empty."""
    counts: Counter[int] = Counter()
    for gear_set in sets:
        if gear_set.serves(bracket):
            counts.update(gear_set.drawer.counts)
    return Drawer(tuple(sorted(counts.items())))


def capacity(brackets: Iterable[str], sets: Iterable[DrawerSet]) -> Mapping[int, int]:
    """How many gears of each count there are that fit at least one of `brackets`."""
    names = list(brackets)
    counts: Counter[int] = Counter()
    for gear_set in sets:
        if any(gear_set.serves(name) for name in names):
            counts.update(gear_set.drawer.counts)
    return counts


def share_out(
    wanted: Mapping[str, Iterable[int]], sets: Iterable[DrawerSet]
) -> Mapping[str, tuple[tuple[int, str], ...]] | None:
    """Which set each gear of each bracket comes from, as (teeth, set name); None where they don't suffice.

    A gear in one bracket isn't free for another.
    """
    shared = _SharedOut(list(sets), [(bracket, z) for bracket, gears in wanted.items() for z in gears])
    if not all(shared.place(k, set()) for k in range(len(shared.gears))):
        return None
    homes = [(bracket, z, shared.taken[k]) for k, (bracket, z) in enumerate(shared.gears)]
    return {bracket: tuple((z, home) for its, z, home in homes if its == bracket) for bracket in wanted}


class _SharedOut:
    """Gears as (bracket, teeth), by their number here, and the set that each is `taken` from so far."""

    def __init__(self, sets: Sequence[DrawerSet], gears: Sequence[tuple[str, int]]) -> None:
        self.sets, self.gears = sets, gears
        self.taken: dict[int, str] = {}
        self._owned = {(s.name, z): n for s in sets for z, n in s.drawer.counts.items()}
        self._holders: dict[tuple[str, int], list[int]] = {}

    def place(self, k: int, seen: set[tuple[str, int]]) -> bool:
        """Find gear `k` a home, moving others to another set where that makes room; `seen` were tried for it."""
        bracket, z = self.gears[k]
        for gear_set in self.sets:
            home = (gear_set.name, z)
            if not gear_set.serves(bracket) or home not in self._owned or home in seen:
                continue
            seen.add(home)
            holders = self._holders.setdefault(home, [])
            if len(holders) == self._owned[home]:
                moved = next((other for other in list(holders) if self.place(other, seen)), None)
                if moved is None:
                    continue
                holders.remove(moved)
            holders.append(k)
            self.taken[k] = gear_set.name
            return True
        return False
