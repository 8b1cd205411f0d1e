"""Random drive trains: any tangle of every kind of link, and machines laid out as hobbers are.

`trains()` draws tangles, `tree_trains()` those without a loop, `hobbers()` machines whose every link
is known by name, so that a test can work out by hand what they must do. `flipped`, `renamed` and
`reordered` describe the same machine in other words.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from handlead.kinematics.frame.words import Hand, Sense
from handlead.kinematics.links.link import Link, TwoPort
from handlead.kinematics.links.links import (
    Belt,
    BevelGears,
    Brake,
    Chain,
    Clutch,
    Differential,
    GearPair,
    Rack,
    Ratio,
    Screw,
    Selector,
    WormGear,
)
from handlead.kinematics.links.mounted import ChangeGears, Mounted
from handlead.kinematics.train.train import Drive, End, Train
from hypothesis import strategies as st

Draw = Callable[[st.SearchStrategy[Any]], Any]

teeth_counts = st.integers(12, 100)
senses = st.sampled_from(Sense)
hands = st.sampled_from(Hand)
signs = st.sampled_from([1, -1])
sizes = st.fractions(Fraction(1, 12), 12, max_denominator=60)
signed_sizes = st.builds(lambda sign, size: sign * size, signs, sizes)
sun_ratios = st.one_of(st.just(Fraction(-1)), signed_sizes.filter(lambda ratio: ratio != 1))
moduli = st.sampled_from(
    [Fraction(text) for text in ("1/2", "1", "5/4", "3/2", "2", "127/50", "3", "4", "6", "10")]
)


def mounted_gears(
    pairs: Sequence[int] = (1, 2), idlers: Sequence[int] = (0, 1)
) -> st.SearchStrategy[Mounted]:
    """Change gears in a bracket that takes these numbers of pairs and idlers."""
    gears = st.sampled_from(pairs).flatmap(lambda count: st.tuples(*[teeth_counts] * (2 * count)))
    loose = st.sampled_from(idlers).flatmap(lambda count: st.tuples(*[teeth_counts] * count))
    return st.builds(Mounted, gears, loose)


# Links, one function a kind: each draws its numbers and joins the two parts given.


def _gear_pair(draw: Draw, name: str, a: str, b: str) -> Link:
    sense = draw(st.none() | senses)
    return GearPair(name, a, b, draw(st.tuples(teeth_counts, teeth_counts)), draw(st.booleans()), sense)


def _bevel_gears(draw: Draw, name: str, a: str, b: str) -> Link:
    return BevelGears(name, a, b, draw(st.tuples(teeth_counts, teeth_counts)), draw(senses))


def _worm_gear(draw: Draw, name: str, a: str, b: str) -> Link:
    return WormGear(name, a, b, draw(st.integers(1, 4)), draw(teeth_counts), draw(senses))


def _belt(draw: Draw, name: str, a: str, b: str) -> Link:
    return Belt(name, a, b, draw(st.tuples(sizes, sizes)), draw(st.booleans()))


def _chain(draw: Draw, name: str, a: str, b: str) -> Link:
    return Chain(name, a, b, draw(st.tuples(teeth_counts, teeth_counts)), draw(st.booleans()))


def _change_gears(draw: Draw, name: str, a: str, b: str) -> Link:
    # One bracket in four is left empty.
    filled = draw(st.sampled_from([True, True, True, False]))
    return ChangeGears(name, a, b, mounted=draw(mounted_gears()) if filled else None)


def _clutch(draw: Draw, name: str, a: str, b: str) -> Link:
    return Clutch(name, a, b, draw(st.sampled_from(["in", "in", "in", "out"])))


def _selector(draw: Draw, name: str, a: str, b: str) -> Link:
    ratios = {"up": draw(sizes), "down": -draw(sizes), "neutral": Fraction(0)}
    return Selector(name, a, b, ratios, draw(st.sampled_from(["up", "down", "up", "down", "neutral"])))


def _ratio(draw: Draw, name: str, a: str, b: str) -> Link:
    return Ratio(name, a, b, draw(signed_sizes))


def _screw(draw: Draw, name: str, a: str, b: str) -> Link:
    return Screw(name, a, b, draw(sizes), draw(senses))


def _rack(draw: Draw, name: str, a: str, b: str) -> Link:
    if draw(st.booleans()):
        return Rack.of_module(name, a, b, draw(teeth_counts), draw(moduli), draw(senses))
    return Rack(name, a, b, draw(sizes), draw(senses))


TURNING = (_gear_pair, _bevel_gears, _worm_gear, _belt, _chain, _change_gears, _clutch, _selector, _ratio)
SLIDING = (_screw, _rack)
#: Kinds without states: they always pass something.
ALWAYS_PASSING = (_gear_pair, _bevel_gears, _worm_gear, _belt, _chain, _ratio)


class _Growing:
    """A train under construction: parts so far, links so far."""

    def __init__(self, draw: Draw, turning: Sequence[Callable[..., Link]]) -> None:
        self.draw, self.turning = draw, turning
        self.shafts = ["s0"]
        self.slides: list[str] = []
        self.links: list[Link] = []

    def shaft(self) -> str:
        return str(self.draw(st.sampled_from(self.shafts)))

    def new_shaft(self) -> str:
        self.shafts.append(f"s{len(self.shafts)}")
        return self.shafts[-1]

    def join(self, a: str, b: str) -> None:
        kind = self.draw(st.sampled_from(self.turning))
        if self.draw(st.booleans()):
            a, b = b, a
        self.links.append(kind(self.draw, f"link {len(self.links)}", a, b))

    def sum_of(self, a: str, b: str, c: str) -> None:
        a, b, c = self.draw(st.permutations([a, b, c]))
        self.links.append(Differential(f"sum {len(self.links)}", (a, b), c, self.draw(sun_ratios)))

    def branch(self) -> None:
        parent = self.shaft()
        self.join(parent, self.new_shaft())

    def add_up(self) -> None:
        """A differential's third part driven by two that are there."""
        first, second = self.shaft(), self.shaft()
        if first != second:
            self.sum_of(first, second, self.new_shaft())

    def loop(self) -> None:
        """A differential one of whose parts is there, another driven back from anywhere in the train."""
        first = self.shaft()
        second, third = self.new_shaft(), self.new_shaft()
        self.sum_of(first, second, third)
        tail = second
        for _ in range(self.draw(st.integers(0, 2))):
            before, tail = tail, self.new_shaft()
            self.join(before, tail)
        other = self.shaft()
        if other != third:
            self.join(third, other)

    def add_slide(self) -> None:
        parent = self.shaft()
        self.slides.append(f"slide {len(self.slides)}")
        kind = self.draw(st.sampled_from(SLIDING))
        self.links.append(kind(self.draw, f"link {len(self.links)}", parent, self.slides[-1]))

    def brake(self) -> None:
        state = self.draw(st.sampled_from(["on", "off"]))
        self.links.append(Brake(f"brake {len(self.links)}", self.shaft(), state))


def _ends(draw: Draw, growing: _Growing) -> dict[str, End]:
    shafts = draw(st.permutations(growing.shafts))
    ends = {name: End(part, draw(signs)) for name, part in zip(("hob", "table"), shafts, strict=False)}
    slides = zip(("axial", "tangential", "radial"), growing.slides, strict=False)
    return ends | {name: End(part, draw(signs)) for name, part in slides}


def _drives(draw: Draw, growing: _Growing, most: int) -> dict[str, Drive]:
    shafts = draw(st.lists(st.sampled_from(growing.shafts), min_size=1, max_size=most, unique=True))
    return {
        f"drive {index}": Drive(shaft, free_at_rest=draw(st.booleans())) for index, shaft in enumerate(shafts)
    }


@st.composite
def trains(
    draw: Draw,
    max_shafts: int = 12,
    max_loops: int = 2,
    max_redundant: int = 1,
    max_brakes: int = 2,
    max_drives: int = 3,
    turning: Sequence[Callable[..., Link]] = TURNING,
) -> Train:
    """Any train: chains, sums, loops through differentials, slides, brakes, and links too many.

    `max_redundant` links join parts that hang together already; most of them lock the train.
    """
    growing = _Growing(draw, turning)
    size = draw(st.integers(2, max_shafts))
    loops = draw(st.integers(0, max_loops))
    for _ in range(loops):
        if len(growing.shafts) + 4 <= size:
            growing.loop()
    while len(growing.shafts) < size:
        draw(st.sampled_from([growing.branch, growing.branch, growing.branch, growing.add_up]))()
    for _ in range(draw(st.integers(0, 2))):
        growing.add_slide()
    for _ in range(draw(st.integers(0, max_redundant))):
        first, second = growing.shaft(), growing.shaft()
        if first != second:
            growing.join(first, second)
    for _ in range(draw(st.integers(0, max_brakes))):
        growing.brake()
    return Train(
        dict.fromkeys(growing.shafts, ""),
        dict.fromkeys(growing.slides, ""),
        tuple(growing.links),
        _ends(draw, growing),
        _drives(draw, growing, max_drives),
    )


@st.composite
def tree_trains(draw: Draw, max_shafts: int = 12, turning: Sequence[Callable[..., Link]] = TURNING) -> Train:
    """A train of two-part links without a loop: from any part to any other there is one way at most."""
    growing = _Growing(draw, turning)
    for _ in range(draw(st.integers(1, max_shafts - 1))):
        growing.branch()
    for _ in range(draw(st.integers(0, 2))):
        growing.add_slide()
    return Train(
        dict.fromkeys(growing.shafts, ""),
        dict.fromkeys(growing.slides, ""),
        tuple(growing.links),
        _ends(draw, growing),
        _drives(draw, growing, 1),
    )


def large_trains() -> st.SearchStrategy[Train]:
    """Trains of up to sixty shafts with several loops through differentials."""
    return trains(max_shafts=60, max_loops=5, max_redundant=1)


# The same machine in other words.


def stuck_together(train: Train, part: str) -> frozenset[str]:
    """The parts whose positives must turn round with that of `part`: clutches and differentials have no sense."""
    found, open_parts = {part}, [part]
    while open_parts:
        at = open_parts.pop()
        for link in train.links:
            if isinstance(link, Clutch | Differential) and at in link.ports:
                open_parts += [other for other in link.ports if other not in found]
                found.update(link.ports)
    return frozenset(found)


def flipped(train: Train, parts: frozenset[str]) -> Train:
    """The same machine, the positives of `parts` taken the other way round.

    `parts` must hold all that are stuck together or none of them (see `stuck_together`).
    """
    links = tuple(
        _turned(link) if isinstance(link, TwoPort) and len(parts.intersection(link.ports)) == 1 else link
        for link in train.links
    )
    ends = {
        name: replace(end, sign=-end.sign) if end.part in parts else end for name, end in train.ends.items()
    }
    return replace(train, links=links, ends=ends)


def _turned(link: TwoPort) -> TwoPort:
    match link:
        case GearPair():
            sense = link.sense or (Sense.SAME if link.internal else Sense.OPPOSITE)
            return replace(link, sense=Sense(-sense.value))
        case BevelGears() | WormGear() | Screw() | Rack():
            return replace(link, sense=Sense(-link.sense.value))
        case Belt():
            return replace(link, crossed=not link.crossed)
        case ChangeGears(mounted=Mounted() as gears):
            idlers = gears.idlers[1:] if gears.idlers else (30,)
            return link.with_gears(replace(gears, idlers=idlers))
        case ChangeGears():
            return link
        case Selector():
            return replace(link, ratios={state: -ratio for state, ratio in link.ratios.items()})
        case Ratio():
            return replace(link, value=-link.value)
    raise AssertionError(f"no way to turn round a {link.kind}")


def renamed(train: Train, names: Mapping[str, str]) -> Train:
    """The same machine with its parts called otherwise: old name -> new name."""

    def called(link: Link) -> Link:
        match link:
            case TwoPort():
                return replace(link, from_part=names[link.from_part], to_part=names[link.to_part])
            case Differential():
                p, q = link.suns
                return replace(link, suns=(names[p], names[q]), carrier=names[link.carrier])
            case Brake():
                return replace(link, shaft=names[link.shaft])
        raise AssertionError(f"no way to rename the parts of a {link.kind}")

    return Train(
        {names[part]: words for part, words in train.shafts.items()},
        {names[part]: words for part, words in train.slides.items()},
        tuple(called(link) for link in train.links),
        {name: replace(end, part=names[end.part]) for name, end in train.ends.items()},
        {name: replace(drive, shaft=names[drive.shaft]) for name, drive in train.drives.items()},
    )


@st.composite
def reordered(draw: Draw, train: Train) -> Train:
    """The same machine with its links and parts written down in another order."""
    return replace(
        train,
        links=tuple(draw(st.permutations(train.links))),
        shafts=dict.fromkeys(draw(st.permutations(list(train.shafts))), ""),
        slides=dict.fromkeys(draw(st.permutations(list(train.slides))), ""),
    )


# Machines laid out as hobbers are.


@dataclass(frozen=True)
class Hobber:
    """A hobbing machine and what was drawn for it.

    `summed` says where the differential stands: "before index", "after index" or "nowhere".
    `differential_fed_by` is "slide" (behind the feed gears) or "table" (ahead of them), and
    `differential_in` whether its lever lets it work.
    """

    train: Train
    summed: str
    differential_fed_by: str
    differential_in: bool
    tangential: bool

    def ratio(self, *names: str) -> Fraction:
        """Product of the ratios of the links called so, as they stand."""
        product = Fraction(1)
        for name in names:
            link = self.train.link(name)
            assert isinstance(link, TwoPort)
            assert link.ratio
            product *= link.ratio
        return product


#: Trains between the named links, from the drive on: what a finger would follow.
_INDEX_AND_FEED: Mapping[str, tuple[Callable[..., Link], str, str]] = {
    "belt": (_belt, "motor", "main shaft"),
    "hob gears": (_gear_pair, "main shaft", "hob"),
    "index drive": (_bevel_gears, "main shaft", "index input"),
    "table worm": (_worm_gear, "worm shaft", "table"),
    "feed worm": (_worm_gear, "worm shaft", "feed driver"),
    "feed bevels": (_bevel_gears, "feed driven", "feed shaft"),
}


@st.composite
def hobbers(
    draw: Draw,
    summed: Sequence[str] = ("before index", "after index", "nowhere"),
    differential_in: Sequence[bool] = (True, False),
    tangential: Sequence[bool] = (True, False),
) -> Hobber:
    """A machine with index, feed and mostly a differential train, gears mounted, all positives at random.

    motor, main shaft, hob; main shaft, index gears, worm shaft, table; worm shaft, feed gears, feed
    shaft, axial or tangential slide; feed train, differential gears, carrier. A rapid motor stands
    behind a clutch that is out.
    """
    where = draw(st.sampled_from(summed))
    is_in, tangential_on = draw(st.sampled_from(differential_in)), draw(st.sampled_from(tangential))
    fed_by = draw(st.sampled_from(["slide", "table"]))
    links = [kind(draw, name, *ports) for name, (kind, *ports) in _INDEX_AND_FEED.items()]

    def bracket(name: str, start: str, end: str) -> Link:
        return ChangeGears(name, start, end, mounted=draw(mounted_gears()))

    gearbox = {"low": draw(sizes), "high": draw(sizes)}
    before, after = ("index input", "range output")
    if where == "before index":
        before, after = "sum", "range output"
        differential = Differential("differential", ("index input", "sum"), "carrier", draw(sun_ratios))
        index = bracket("index gears", "range output", "worm shaft")
    elif where == "after index":
        differential = Differential(
            "differential", ("index driven", "worm shaft"), "carrier", draw(sun_ratios)
        )
        index = bracket("index gears", "range output", "index driven")
    else:
        index = bracket("index gears", "range output", "worm shaft")
    links += [Selector("range", before, after, gearbox, draw(st.sampled_from(["low", "high"]))), index]
    links += [
        bracket("feed gears", "feed driver", "feed driven"),
        Clutch("axial clutch", "feed shaft", "axial screw", "out" if tangential_on else "in"),
        Clutch("tangential clutch", "feed shaft", "tangential screw", "in" if tangential_on else "out"),
        _screw(draw, "axial lead screw", "axial screw", "axial slide"),
        _screw(draw, "tangential lead screw", "tangential screw", "tangential slide"),
        _belt(draw, "rapid belt", "rapid motor", "rapid shaft"),
        Clutch("rapid clutch", "rapid shaft", "feed shaft", "out"),
    ]
    if where != "nowhere":
        start = "feed shaft" if fed_by == "slide" else "feed driver"
        links += [
            bracket("differential gears", start, "differential stud"),
            _worm_gear(draw, "differential worm", "differential stud", "loose wheel"),
            Clutch("differential clutch", "loose wheel", "carrier", "in" if is_in else "out"),
            Brake("carrier brake", "carrier", "off" if is_in else "on"),
            differential,
        ]
    parts = sorted({part for link in links for part in link.ports})
    slides = [part for part in parts if part.endswith("slide")]
    ends = {"hob": "hob", "table": "table", "axial": "axial slide", "tangential": "tangential slide"}
    train = Train(
        {part: "" for part in parts if part not in slides},
        dict.fromkeys(slides, ""),
        tuple(draw(st.permutations(links))),
        {name: End(part, draw(signs)) for name, part in ends.items()},
        {"main": Drive("motor"), "rapid": Drive("rapid motor", free_at_rest=draw(st.booleans()))},
    )
    return Hobber(train, where, fed_by, is_in and where != "nowhere", tangential_on)
