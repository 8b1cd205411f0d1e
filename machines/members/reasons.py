"""Why no gears serve a bracket, in feeds and speeds rather than in ratios."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction

from handlead.kinematics.brackets.drawer import Drawer, drawer_for
from handlead.kinematics.search.change_gears import Refused, nearest_sets
from handlead.kinematics.together.filling import listed
from handlead.kinematics.together.together import BracketPlace, Stock, why_none_alone
from handlead.kinematics.train.solution import solve
from handlead.machines.planning.asked import Asked
from handlead.machines.planning.asking import near_ratios
from handlead.machines.planning.wanted import OBTAINABLE, Wanted
from handlead.machines.setups.ways import Needed
from handlead.machines.toml.units import feed as feed_text

from .places import differential_place, ratio_per_mm


def no_feed(wanted: Wanted, demand: Needed, asked: Asked, place: BracketPlace, stock: Stock) -> str:
    """That no feed offered can be had, and the nearest that can."""
    units, feed = wanted.job.units, asked.feed
    words = (
        f"{place.name}: no gears that can be mounted give a feed from {feed_text(feed.least, units)} "
        f"to {feed_text(feed.most, units)}"
    )
    nearest = listed(replace(place, span=None), stock, lambda one: abs(one.error), 1).items
    if not nearest or not demand.feed_ratio:
        return words
    return f"{words}; the nearest is {feed_text(nearest[0].set.ratio / ratio_per_mm(demand), units)}"


def no_speed(wanted: Wanted, demand: Needed, place: BracketPlace, stock: Stock) -> str:
    """That no speed gears keep every part within its speeds, and which part it is."""
    way = demand.way
    drive = way.train.drives[way.drive].rpm
    nearest = listed(replace(place, span=None), stock, lambda one: abs(one.error), 1).items
    if drive is None or not nearest:
        return f"{place.name}: {why_none_alone(replace(place, span=None), stock)}"
    against = beyond(wanted, demand, {place.name: nearest[0].set.ratio})
    if not against:
        return f"{place.name}: {why_none_alone(place, stock)}"
    return f"{place.name}: with the nearest gears that can be mounted {against}"


def speed_obtainable(place: BracketPlace, stock: Stock) -> bool:
    """Whether gears for the hob's speed could be got with which no part overruns its speeds."""
    drawer = stock.drawers[place.name]
    return bool(listed(place, Drawer.of([*drawer.gears, *OBTAINABLE]), lambda one: abs(one.error), 1).items)


def beyond(wanted: Wanted, demand: Needed, speed: Mapping[str, Fraction]) -> str:
    """Which parts run faster, or more slowly, than they may, with these gears for the hob's speed; empty if none."""
    way = demand.way
    drive = way.train.drives[way.drive].rpm
    solution = solve(way.train.with_ratios({**speed, **near_ratios(demand)}), way.drive)
    parts = []
    for part, (slowest, fastest) in wanted.machine.limits.rpm.items():
        rate = solution.rates[part]
        rpm = abs(rate * drive) if rate and drive else None
        if rpm and (rpm > fastest or (slowest and rpm < slowest)):
            allowed = f"at most {float(fastest):g}" if rpm > fastest else f"at least {float(slowest or 0):g}"
            parts.append(f'"{part}" would run at {float(rpm):.4g} rpm, {allowed} being allowed')
    return " and ".join(parts)


def nearer_refused(wanted: Wanted, demand: Needed) -> tuple[Refused, ...]:
    """Nearer sets for the differential that are owned but can't be mounted, with why."""
    place = differential_place(wanted, demand)
    if place is None or place.bracket is None:
        return ()
    try:
        found = nearest_sets(
            place.target, drawer_for(place.name, wanted.gear_sets), pairs=place.pairs, idlers=place.idlers,
            turns_over=place.turns_over, bracket=place.bracket, limit=1, refused=2,
        )  # fmt: skip
    except ValueError:
        return ()
    nearest = abs(found.sets[0].error) if found.sets else 0.0
    return tuple(one for one in found.refused if abs(one.error) < nearest)
