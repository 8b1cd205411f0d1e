"""Set-ups in which the count or the lead rests on the feed gears."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

from handlead.kinematics.together.small import is_small
from handlead.kinematics.together.together import Steps, Stock
from handlead.kinematics.train.solution import solve
from handlead.kinematics.work.requirement import Work, gear_of
from handlead.machines.planning.asked import Asked
from handlead.machines.planning.asking import at_best_speed, near_ratios, speed_limits
from handlead.machines.planning.planned import Planned, slope_limit_um, tenths
from handlead.machines.planning.wanted import Wanted
from handlead.machines.setups.case import face_width_mm
from handlead.machines.setups.ways import Needed

from .found import LIMITS, RATIOS, SPEED, WIDTH, SearchLog, proved_of
from .leftover import filled_beside
from .places import feed_place, slope_um, speed_list, speed_place
from .reasons import beyond, no_feed, no_speed, speed_obtainable
from .tied import Tying, coupled_demands, coupled_sets, small_sets

#: Combinations that are tried on the brackets in all, where ratios hang together.
_TRIES = 1_500


def coupled_set_ups(wanted: Wanted, work: Work, asked: Asked, log: SearchLog) -> list[tuple[int, Planned]]:
    """Set-ups in which the count or the lead rests on the feed gears, where no other kind exists."""
    found: list[tuple[int, Planned]] = []
    spans = asked.feed.spans()
    tying = Tying(
        lambda them: _not_too_fast(wanted, them, asked, log),
        lambda demand: filled_beside(wanted, demand, asked, log),
        _useless(work),
        Steps(_TRIES),
    )
    for number, ways in enumerate(coupled_sets(wanted, work, asked, spans, tying)):
        for demand, some, complete, why in ways:
            # The last span holds all others.
            log.cut_short |= number == len(spans) - 1 and not complete
            if why:
                log.add(RATIOS, _coupled_why(wanted, work, demand, asked, why))
            found += proved_of(wanted, work, demand, asked, some, log)
        if log.whatever_the_gears:
            return []
        if any(not tenths(planned.helix_slope_um, work) for _, planned in found):
            break
    if not found and is_small(wanted.gear_sets):
        return _all_of_small(wanted, work, asked, log, tying)
    return found


#: Combinations out of a small drawer that are tried on the brackets for each way, and set-ups of it that are proved.
_SMALL_TRIES, _PROOFS = 600, 60


def _all_of_small(wanted: Wanted, work: Work, asked: Asked, log: SearchLog, tying: Tying) -> list[tuple[int, Planned]]:
    """Where the drawers are small, every set-up that serves is looked for: if there is none that is certain."""
    log.cut_short = False
    found: list[tuple[int, Planned]] = []
    for demand in coupled_demands(wanted, work, asked):
        if _overruns(wanted, demand, asked)[1]:
            continue
        every = small_sets(wanted, work, asked, demand, replace(tying, tries=Steps(_SMALL_TRIES)))
        for number, sets in enumerate(every):
            if sets is None or number >= _PROOFS:
                log.cut_short = True
                break
            if wanted.keeps({name: one.mounted for name, one in sets.items()}):
                found += proved_of(wanted, work, demand, asked, [sets], log)
            if len(found) >= WIDTH:
                return found
    return found


#: So many times the error that the class allows, a lead as reckoned while it is searched for is of no use.
_LIBERAL = 2


#: What feeds that differ from the one asked for cost at most.
_FEEDS_SHARE = 1e-5


def _useless(work: Work) -> float:
    """The error of the lead, relatively, or in a metre of straight teeth, from which on it is of no use."""
    per_lead = abs(slope_um(work, 1.0)) or 1000 * math.pi * gear_of(work).base_diameter * face_width_mm(work) / 1000
    return _LIBERAL * slope_limit_um(work) / per_lead + _FEEDS_SHARE


#: A neighbouring count's index gears, or a feed beside, change no shaft's speed by more than this part of it.
_NEAR_ENOUGH = Fraction(1, 20)


def _not_too_fast(wanted: Wanted, them: list[Needed], asked: Asked, log: SearchLog) -> Iterator[Needed]:
    """The ways at their best speed, without those in which some part overruns its speeds whatever is mounted."""
    for demand in at_best_speed(wanted, them, asked):
        limit, against = _overruns(wanted, demand, asked)
        if against:
            log.add(limit, against)
        else:
            yield demand


def _overruns(wanted: Wanted, demand: Needed, asked: Asked) -> tuple[int, str]:
    """That some part runs too fast, or too slowly, with whatever gears, or with all that there are; empty if not."""
    speed, way = speed_place(wanted, demand, asked), demand.way
    if speed is not None:
        try:
            stock = Stock.of([speed], wanted.gear_sets)
        except ValueError as fault:
            return SPEED, str(fault)
        if speed_list(speed, stock, wanted, demand, asked).items:
            return LIMITS, ""
        return SPEED if speed_obtainable(speed, stock) else LIMITS, no_speed(wanted, demand, speed, stock)
    drive = way.train.drives[way.drive].rpm
    if drive is None or way.constants.speed:
        return LIMITS, ""
    rates = solve(way.train.with_ratios(near_ratios(demand)), way.drive).rates
    least, most = speed_limits(wanted, rates, drive)
    if least <= 1 + _NEAR_ENOUGH and most >= 1 - _NEAR_ENOUGH:
        return LIMITS, ""
    return LIMITS, f"whatever is mounted {beyond(wanted, demand, {})}"


def _coupled_why(wanted: Wanted, work: Work, demand: Needed, asked: Asked, why: str) -> str:
    """Why nothing was found where ratios hang together, in feeds rather than in a span of ratios."""
    place = feed_place(wanted, demand, asked)
    if place is not None and why.startswith(f"{place.name}: no gears"):
        return no_feed(wanted, demand, asked, place, Stock.of([place], wanted.gear_sets))
    return why.replace("a ratio within the span", f"a ratio near {float(abs(demand.index)):.6g}")
