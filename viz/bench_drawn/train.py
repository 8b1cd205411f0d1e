"""The train's drawing with its shafts and links laid over it to be tapped, and what is said of the one that was."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction

from handlead.kinematics.gears.gear import MM_PER_INCH
from handlead.kinematics.links.link import Link
from handlead.kinematics.links.links import BevelGears, GearPair
from handlead.kinematics.links.mounted import ChangeGears, Mounted
from handlead.kinematics.train.path import follow
from handlead.kinematics.train.solution import Solution
from handlead.machines.setups.case import Case
from handlead.machines.toml.units import decimal
from handlead.viz.bench_desk.work import Source
from handlead.viz.draw_train.train_layout import lay_out
from handlead.viz.draw_train.train_shapes import TrainLayout
from handlead.viz.draw_train.train_words import link_lines
from handlead.viz.look.shop import PLAIN, Shop


@dataclass(frozen=True)
class TapLine:
    """A shaft or a link in the drawing, as points that run down the page; `name` is whose."""

    kind: str
    name: str
    points: str


@dataclass(frozen=True)
class Drawn:
    """The drawing as a picture, its width and height, and what can be tapped on it."""

    svg: bytes
    width: float
    height: float
    lines: tuple[TapLine, ...]


def drawn(source: Source) -> Drawn:
    """The train of a job's set-up, drawn."""
    case = Case.of(source.job())
    machine = case.job.machine
    shop = Shop.of(case)
    return draw(case.solution, lay_out(case.solution, shop), shop, machine.name, machine.positions(case.setup))


def draw(
    solution: Solution, layout: TrainLayout, shop: Shop, title: str, levers: Mapping[str, str]
) -> Drawn:
    """A train as a picture, with what can be tapped on it."""
    from handlead.viz.draw_train.train import plot_train
    from handlead.viz.look import look

    axes = plot_train(solution, title=title, levers=levers, layout=layout, shop=shop)
    (x0, x1), (y0, y1) = axes.get_xlim(), axes.get_ylim()
    figure = axes.get_figure(root=True)
    assert figure is not None
    lines = tuple(_lines(layout, x0, y1))
    # Plain floats: the server, which fetches this from a process that draws, would load an array library for others.
    return Drawn(look.picture(figure, "svg"), float(x1 - x0), float(y1 - y0), lines)


def _lines(layout: TrainLayout, left: float, top: float) -> Iterator[TapLine]:
    def told(points: tuple[tuple[float, float], ...]) -> str:
        return " ".join(f"{x - left:.2f},{top - y:.2f}" for x, y in points)

    for upright in layout.uprights:
        yield TapLine("link", upright.link, told(upright.points))
    for coupling in layout.couplings:
        yield TapLine("link", coupling.link, told(((coupling.x0, coupling.y), (coupling.x1, coupling.y))))
    for run in layout.runs:
        yield TapLine("part", run.part, told(((run.x0, run.y), (run.x1, run.y))))


@dataclass(frozen=True)
class Touched:
    """One link on the way to a shaft: what it reaches, and the turns of that for one of the drive."""

    link: str
    part: str
    ratio: str


@dataclass(frozen=True)
class Explained:
    """What is said of a shaft or link that was tapped, and the names that light up."""

    name: str
    lines: tuple[str, ...]
    way: tuple[Touched, ...]
    lit: tuple[str, ...]


def told(case: Case, part: str = "", link: str = "") -> Explained:
    """The way from the drive to a part, or what a link is. Raises `ValueError` for what the machine doesn't have."""
    return told_of(case.solution, case.job.units, part, link, Shop.of(case))


def told_of(solution: Solution, units: str, part: str = "", link: str = "", shop: Shop = PLAIN) -> Explained:
    """As `told`, of a solved train. Raises `ValueError`."""
    if link:
        return _link(solution, link, units, shop)
    if part not in solution.train.parts:
        raise ValueError("the machine has no such part")
    shaft = solution.train.drives[solution.drive].shaft
    way = follow(solution, shaft, part)
    touched = tuple(Touched(one.link, one.part, _ratio(one.ratio)) for one in way)
    lit = {shaft, part, *(one.link for one in way), *(one.part for one in way)}
    return Explained(part, (_turns(solution, part, units),), touched, tuple(sorted(lit)))


def _ratio(value: Fraction | None) -> str:
    """A ratio as it is reckoned on paper: small ones exactly and as a decimal, all others as a decimal."""
    if value is None:
        return "not driven"
    told, exact = decimal(value), str(value)
    return (f"{exact} = {told}" if exact != told and len(exact) <= 9 else told).replace("-", "\N{MINUS SIGN}")


def _turns(solution: Solution, part: str, units: str) -> str:
    """What a part does for a turn of the drive's shaft, and how quick it then goes."""
    rate, drive = solution.rates[part], solution.train.drives[solution.drive]
    if not rate:
        return "nothing drives it" if rate is None else "stands still"
    slides = part in solution.train.slides
    quick = abs(rate) * drive.rpm if drive.rpm else None
    if slides:
        rate, quick = (each and each / (MM_PER_INCH if units == "in" else 1) for each in (rate, quick))
    unit, pace = (units, f"{units} a minute") if slides else ("turns", "rpm")
    return f"{_ratio(rate)} {unit} for a turn of {drive.shaft}" + (f", {float(quick):.3g} {pace}" if quick else "")


def _link(solution: Solution, name: str, units: str, shop: Shop) -> Explained:
    found = next((one for one in solution.train.links if one.name == name), None)
    if found is None:
        raise ValueError("the machine has no such link")
    number = next(at for at, one in enumerate(solution.train.links, 1) if one is found)
    lines = [
        f"link {number} of {len(solution.train.links)} in the machine file, {found.kind}",
        *link_lines(found, shop),
    ]
    lines += (f"{part}: {_turns(solution, part, units)}" for part in found.ports)
    return Explained(name, (*lines, *_wear(found)), (), (name, *found.ports))


def _wear(link: Link) -> Iterator[str]:
    """After how many turns the same two teeth meet again: own derivation, the least common multiple of both counts."""
    pairs = [link.teeth] if isinstance(link, GearPair | BevelGears) else []
    if isinstance(link, ChangeGears) and isinstance(link.mounted, Mounted):
        pairs = list(link.mounted.pairs)
    for one, other in pairs:
        turns = math.lcm(one, other) // one
        often = "each turn" if turns == 1 else f"every {turns} turns"
        yield f"{one} and {other} teeth: the same two meet again {often} of the {one}"
