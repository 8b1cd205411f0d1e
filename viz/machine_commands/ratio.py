"""``handlead plan --ratio``: change gears for a bare ratio, from a list of gears or a machine's drawer and bracket."""

from __future__ import annotations

import argparse
import itertools
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from handlead.kinematics.brackets.bracket import Bracket
    from handlead.kinematics.brackets.drawer import Drawer
    from handlead.kinematics.search.change_gears import ChangeGearSet, NearestSets

#: Gears that a range in --drawer may stand for: no drawer holds more.
_MOST_IN_A_RANGE = 500

#: Numbers of pairs looked through where none is asked for and no bracket says.
_USUAL_PAIRS = (1, 2)

#: Teeth that a gear clears the next shaft by on a bracket of the usual make (rule of thumb, common practice).
_USUAL_CLEARANCE = 15

#: Nearer sets that can't be mounted, told with the reason.
_REFUSED = 3


@dataclass(frozen=True)
class _RatioAsked:
    """What is to be searched: `bracket` None where no machine says what fits."""

    target: Fraction
    drawer: Drawer
    pairs: tuple[int, ...]
    idlers: tuple[int, ...] = (0,)
    bracket: Bracket | None = None
    where: str = ""


def _target(text: str) -> Fraction:
    from handlead.machines.toml.numbers import NumberFault, exact

    try:
        return exact(text)
    except NumberFault as fault:
        raise ValueError(f"{text[:40]!r} isn't a ratio: {fault}") from None


def _drawer(text: str) -> list[int]:
    return [teeth for part in text.replace(" ", ",").split(",") if part for teeth in _gears(part)]


def _gears(text: str) -> Iterator[int]:
    """One gear, or those of a range such as 20-100, every fifth of them where it is 20-100/5."""
    ends, slash, step = text.partition("/")
    first, dash, last = ends.partition("-")
    if not dash or not first:
        if slash:
            raise ValueError(f"{text[:40]!r} in --drawer is no range; write one as 20-100 or, every fifth, 20-100/5")
        yield _gear(text)
        return
    least, greatest, each = _gear(first), _gear(last), _gear(step) if slash else 1
    if least > greatest or each < 1:
        raise ValueError(f"{text[:40]!r} in --drawer runs backwards; write a range from its least gear, as 20-100")
    teeth = range(least, greatest + 1, each)
    if len(teeth) > _MOST_IN_A_RANGE:
        raise ValueError(
            f"{text[:40]!r} in --drawer stands for {len(teeth)} gears; a range may stand for {_MOST_IN_A_RANGE}"
        )
    yield from teeth


def _gear(text: str) -> int:
    from handlead.machines.toml.numbers import NumberFault, whole

    try:
        return whole(text)
    except NumberFault as fault:
        raise ValueError(
            f"{text[:40]!r} in --drawer isn't a gear's teeth: {fault}; a range is written 20-100"
        ) from None


def run_ratio(options: argparse.Namespace) -> int:
    """Find the nearest sets and print them; returns the exit status."""
    from handlead.machines.toml.errors import FileFault
    from handlead.viz.streams.outlet import complain, print_json

    try:
        asked = _asked(options)
        found = _search(asked, options.top)
    except (ValueError, FileFault) as fault:
        complain(f"plan --ratio: {fault}")
        return 2
    if options.json:
        print_json(_as_json(asked, found))
    else:
        _show(asked, found)
    return 0 if found.sets else 1


def _asked(options: argparse.Namespace) -> _RatioAsked:
    from handlead.kinematics.brackets.drawer import Drawer

    if options.jobs:
        raise ValueError("it finds gears for a ratio alone; leave the JOB out, or leave --ratio out")
    target = _target(options.ratio)
    listed = _drawer(options.drawer) if options.drawer is not None else []
    pairs = (options.pairs,) if options.pairs else ()
    if options.machine is None:
        if options.bracket is not None:
            raise ValueError("--bracket needs the machine that it stands on: add --machine")
        if not listed:
            raise ValueError("no gears: give those that are owned, as --drawer 20,24,24,30, or a --machine")
        return _RatioAsked(target, Drawer.of(listed), pairs or _USUAL_PAIRS)
    return _on_machine(options, target, listed, pairs)


def _on_machine(
    options: argparse.Namespace, target: Fraction, listed: list[int], pairs: tuple[int, ...]
) -> _RatioAsked:
    from handlead.kinematics.brackets.bracket import Bracket
    from handlead.kinematics.brackets.drawer import Drawer, drawer_for
    from handlead.machines.machine_files.catalogue import find_machine
    from handlead.machines.setups.drawers import drawers_of

    machine = find_machine(options.machine, Path.cwd())
    brackets = {link.name: link for link in machine.train.brackets}
    name = options.bracket if options.bracket is not None or len(brackets) != 1 else next(iter(brackets))
    if name not in brackets:
        said = f'{machine.name} has no bracket "{name}"' if name else f"{machine.name} has more than one bracket"
        known = ", ".join(f'"{one}"' for one in brackets) or "none"
        raise ValueError(f"{said}; name one with --bracket: {known}")
    link = brackets[name]
    drawer = Drawer.of(listed) if listed else drawer_for(name, drawers_of(machine))
    if not len(drawer):
        raise ValueError(f'no gears lie in the drawers of {machine.name} for "{name}"; give some, as --drawer')
    return _RatioAsked(
        target, drawer, pairs or tuple(sorted(link.pairs)), tuple(sorted(link.idlers))[:1],
        Bracket.of(link.bracket or {}), f'"{name}" of {machine.name}',
    )  # fmt: skip


def _search(asked: _RatioAsked, top: int) -> NearestSets:
    from handlead.kinematics.search.change_gears import nearest_sets

    return nearest_sets(
        asked.target, asked.drawer, pairs=asked.pairs, idlers=asked.idlers, bracket=asked.bracket, limit=top,
        refused=_REFUSED if asked.bracket else 0,
    )  # fmt: skip


def _on_a_usual_bracket(one: ChangeGearSet) -> tuple[ChangeGearSet, str]:
    """The set in an order that a bracket of the usual make takes, or, where it takes none, as it is and why not."""
    from handlead.kinematics.brackets.bracket import Bracket
    from handlead.kinematics.brackets.mounting import Mounting
    from handlead.kinematics.links.mounted import Mounted

    bracket, why = Bracket(clearance=Fraction(_USUAL_CLEARANCE)), ""
    for drivers in itertools.permutations(one.gears[::2]):
        for driven in itertools.permutations(one.gears[1::2]):
            gears = tuple(itertools.chain.from_iterable(zip(drivers, driven, strict=True)))
            fit = bracket.mount(gears)
            if isinstance(fit, Mounting):
                return replace(one, mounted=Mounted(gears)), ""
            why = why or fit.why
    return one, why


def _told(asked: _RatioAsked, found: NearestSets) -> Iterator[tuple[ChangeGearSet, str]]:
    """Every set with what to know of mounting it; on a machine's own bracket all can be mounted."""
    for one in found.sets:
        yield (one, "") if asked.bracket else _on_a_usual_bracket(one)


def _show(asked: _RatioAsked, found: NearestSets) -> None:
    from handlead.viz.streams.outlet import tell

    if asked.where:
        tell(f"for {asked.where}, with {len(asked.drawer)} gears at hand:")
    for one, why in _told(asked, found):
        roomy = f"   fits only a roomy bracket: {why}" if why else ""
        tell(f"{one!s:32} = {float(one.ratio):.9f}   {one.error * 1e6:+.4f} ppm{roomy}")
    for other in found.refused:
        tell(f"nearer, but not to be mounted: {_pairs(other.gears)}, {other.error * 1e6:+.4f} ppm: {other.why}")
    if not found.sets:
        tell("no set of these gears can be mounted")


def _pairs(gears: tuple[int, ...]) -> str:
    return " · ".join(f"{driver}/{driven}" for driver, driven in zip(gears[::2], gears[1::2], strict=True))


def _as_json(asked: _RatioAsked, found: NearestSets) -> Mapping[str, Any]:
    return {
        "ratio": str(asked.target),
        "sets": [
            {
                "gears": list(one.gears),
                "idlers": list(one.idlers),
                "ratio": str(one.ratio),
                "error_ppm": one.error * 1e6,
                "roomy_bracket_only": bool(why),
                "why": why,
            }
            for one, why in _told(asked, found)
        ],
        "refused": [
            {"gears": list(other.gears), "ratio": str(other.ratio), "error_ppm": other.error * 1e6, "why": other.why}
            for other in found.refused
        ],
    }
