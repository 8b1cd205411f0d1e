"""What a train diagram says in words: of each part and of each link, from a solved train."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import Enum
from fractions import Fraction
from typing import Any

from handlead.kinematics.links.link import Link
from handlead.kinematics.links.links import (
    Belt,
    BevelGears,
    Brake,
    Clutch,
    Differential,
    GearPair,
    Rack,
    Ratio,
    Screw,
    Selector,
    Template,
    WormGear,
)
from handlead.kinematics.links.mounted import ChangeGears, Dialled, SetRatio
from handlead.kinematics.train.solution import Solution
from handlead.kinematics.train.train import END_NAMES
from handlead.viz.look.shop import PLAIN, Shop

#: A fraction whose text is longer than this is written as a decimal, with the sign of a rounded one.
LONGEST_FRACTION = 11


class State(Enum):
    """What a part does, in the words of the diagram."""

    TURNING = ""
    STILL = "stands still"
    HELD = "held"
    LOOSE = "not driven"
    LOCKED = "LOCKED"


@dataclass(frozen=True)
class PartWords:
    """A part: its name, the line or lines under it, what it does, and whether power for an end runs through it.

    `sign` is 1, -1 or 0: which way it turns or slides by its own positive.
    """

    name: str
    lines: tuple[str, ...]
    state: State
    sign: int
    on_path: bool
    end: str | None


@dataclass(frozen=True)
class LinkWords:
    """A link: its name, the lines under it, whether it passes anything, and which way power goes.

    `source` and `target` are the parts that it takes power from and gives it to; None where it
    carries none. `lever` is the state in which a lever has put it.
    """

    name: str
    lines: tuple[str, ...]
    passes: bool
    lever: str | None
    source: str | None
    target: str | None
    on_path: bool
    fights: bool


def parts_in_words(solution: Solution, shop: Shop = PLAIN) -> dict[str, PartWords]:
    """Every part of the train, by name."""
    path_parts, _ = power_path(solution)
    held = _held(solution)
    fighting = _fighting_parts(solution)
    ends = {end.part: name for name, end in solution.train.ends.items()}
    base, _per = base_rate(solution)
    words = {}
    for part in solution.train.parts:
        rate = solution.rates[part]
        state = _state(part, rate, held, fighting)
        end = ends.get(part)
        lines = [state.value] if not rate else [_rate_text(solution, part, rate / base, shop)]
        if rate and end:
            sign = 1 if rate * solution.train.ends[end].sign > 0 else -1
            lines.append(shop.way(end, sign))
        sign = 0 if not rate else 1 if rate > 0 else -1
        words[part] = PartWords(part, tuple(lines), state, sign, part in path_parts, end)
    return words


def base_rate(solution: Solution) -> tuple[Fraction, str]:
    """The rate that all others are told by, and its name: the hob's, or the drive's where the hob stands."""
    hob = solution.train.ends.get("hob")
    rate = solution.rates[hob.part] if hob else None
    if rate and not solution.is_locked:
        return abs(rate), "turn of the hob"
    return Fraction(1), f"turn of {solution.train.drives[solution.drive].shaft}"


def _rate_text(solution: Solution, part: str, rate: Fraction, shop: Shop) -> str:
    """The size of a rate, exact where it is short, with the speed where the drive's is known."""
    slides = part in solution.train.slides
    # An inch is exactly 25.4 mm.
    size, unit = abs(rate) * 5 / 127 if slides and shop.units == "in" else abs(rate), f" {shop.units}" if slides else ""
    text = number_text(size) + unit
    rpm = solution.train.drives[solution.drive].rpm
    own = solution.rates[part]
    if rpm is None or own is None:
        return text
    speed = float(abs(own * rpm))
    return f"{text} · {speed_text(shop.sized(speed) if slides else speed)} {f'{shop.units}/min' if slides else 'rpm'}"


def speed_text(speed: float) -> str:
    """A speed to three figures, without powers of ten."""
    return f"{speed:.0f}" if speed >= 100 else f"{speed:.3g}" if speed >= 0.001 else f"{speed:.5f}"


def number_text(value: Fraction) -> str:
    """A fraction as it is, or, where it is long, as a decimal marked as rounded."""
    text = str(value)
    return text if len(text) <= LONGEST_FRACTION else f"≈{float(value):.5g}"


def _state(part: str, rate: Fraction | None, held: set[str], fighting: set[str]) -> State:
    if part in fighting:
        return State.LOCKED
    if rate is None:
        return State.LOOSE
    if rate:
        return State.TURNING
    return State.HELD if part in held else State.STILL


def _held(solution: Solution) -> set[str]:
    """Parts that something holds: a brake that is on, or a drive at rest that isn't free."""
    train = solution.train
    running = train.drives[solution.drive].shaft
    brakes = {link.shaft for link in train.links if isinstance(link, Brake) and link.relation() is not None}
    resting = {
        drive.shaft
        for name, drive in train.drives.items()
        if name != solution.drive and not drive.free_at_rest and drive.shaft != running
    }
    return brakes | resting


def _fighting_parts(solution: Solution) -> set[str]:
    names = set(solution.lock)
    if not names:
        return set()
    ports = {part for link in solution.train.links if link.name in names for part in link.ports}
    return ports | {solution.train.drives[solution.drive].shaft}


def power_path(solution: Solution) -> tuple[set[str], dict[str, tuple[tuple[str, ...], str]]]:
    """Parts and links (with their sources and target) through which power comes to an end that moves."""
    parts: set[str] = set()
    links: dict[str, tuple[tuple[str, ...], str]] = {}
    for name in END_NAMES:
        end = solution.train.ends.get(name)
        if end is None or not solution.rates[end.part]:
            continue
        for step in solution.flow.upstream(end.part):
            moving = tuple(part for part in step.sources if solution.rates[part])
            links[step.link] = (moving, step.target)
            parts.update((*moving, step.target))
    return parts, links


def links_in_words(solution: Solution, shop: Shop = PLAIN) -> dict[str, LinkWords]:
    """Every link of the train, by name."""
    _, path = power_path(solution)
    flow = {step.link: step for step in solution.flow.steps}
    words = {}
    for link in solution.train.links:
        step = flow.get(link.name)
        source = next((p for p in step.sources if solution.rates[p]), None) if step else None
        words[link.name] = LinkWords(
            link.name,
            link_lines(link, shop),
            link.relation() is not None,
            getattr(link, "state", None) or None,
            source,
            step.target if step and source else None,
            link.name in path,
            link.name in solution.lock,
        )
    return words


def link_lines(link: Link, shop: Shop = PLAIN) -> tuple[str, ...]:
    """What stands under a link's name: its numbers, and the state that a lever has put it in."""
    if shop.units == "in" and isinstance(link, Belt) and not link.toothed:
        sizes = "/".join(f"{shop.sized(float(size)):.5g}" for size in link.sizes)
        return (f"{link.kind} {sizes} in{' crossed' if link.crossed else ''}",)
    if shop.units == "in" and isinstance(link, Screw | Rack):
        travel = f"{shop.sized(float(link.travel if isinstance(link, Rack) else link.lead)):.5g} in"
        return (f"{travel} a turn" if isinstance(link, Rack) else f"lead {travel}",)
    writer = next((line for kind, line in _LINES.items() if isinstance(link, kind)), None)
    return writer(link) if writer else ()


def _teeth(link: GearPair | BevelGears) -> tuple[str, ...]:
    inside = " inside" if isinstance(link, GearPair) and link.internal else ""
    return (f"{link.teeth[0]}/{link.teeth[1]}{inside}",)


def _belt(link: Belt) -> tuple[str, ...]:
    sizes = "/".join(f"{float(size):g}" for size in link.sizes)
    return (f"{link.kind} {sizes}{' crossed' if link.crossed else ''}",)


def _change_gears(link: ChangeGears) -> tuple[str, ...]:
    if link.mounted is None:
        return ("EMPTY",) if not isinstance(link, SetRatio) else ("nothing entered",)
    if isinstance(link.mounted, Dialled):
        return (f"entered {link.mounted}".replace("-", "−"),)
    idlers = ", ".join(str(teeth) for teeth in link.mounted.idlers)
    return (link.mounted.pairs_text, f"idler {idlers}" if idlers else "no idler")


def _selector(link: Selector) -> tuple[str, ...]:
    if not link.state:
        return ("no position",)
    ratio = link.ratios[link.state]
    return (f"at {link.state}", f"×{number_text(ratio)}".replace("-", "−") if ratio else "passes nothing")


def _differential(link: Differential) -> tuple[str, ...]:
    return (f"sun ratio {link.sun_ratio}".replace("-", "−"),)


_LINES: dict[type[Link], Callable[[Any], tuple[str, ...]]] = {
    GearPair: _teeth,
    BevelGears: _teeth,
    WormGear: lambda link: (f"{link.starts}/{link.teeth}",),
    Belt: _belt,
    ChangeGears: _change_gears,
    Selector: _selector,
    Differential: _differential,
    Clutch: lambda link: (link.state.upper(),),
    Brake: lambda link: (link.state.upper(),),
    Screw: lambda link: (f"lead {float(link.lead):g}",),
    Rack: lambda link: (f"{float(link.travel):.5g} a turn",),
    Ratio: lambda link: (number_text(link.value),),
    Template: lambda link: (f"{'smooth' if link.smooth else 'straight'}, {link.state.upper()}",),
}


def levers_text(levers: Mapping[str, str]) -> str:
    """Where the levers stand, on one line."""
    return "; ".join(f"{name}: {position}" for name, position in levers.items())
