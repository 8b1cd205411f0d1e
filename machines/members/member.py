"""One member of a job: the gears for all its brackets, every choice proved, the best first, or why there are none."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from handlead.kinematics.together.together import Stock
from handlead.kinematics.work.requirement import Work
from handlead.machines.judging.checks import JOB_CHECKS
from handlead.machines.planning.asked import Asked
from handlead.machines.planning.asking import demands, is_shared
from handlead.machines.planning.planned import Planned, best_of
from handlead.machines.planning.wanted import Wanted
from handlead.machines.setups.case import Case
from handlead.machines.setups.findings import Finding, worst_first
from handlead.machines.setups.ways import Needed, Way

from .coupled import coupled_set_ups
from .direct import direct_sets
from .found import GOES_ON, LIMITS, WIDTH, Found, Manner, SearchLog, proved_of, tell_share
from .places import index_list, index_place, loose_places
from .reasons import nearer_refused

#: Set-ups that every way offers at the least, where ways are many.
_LEAST_WIDTH = 3


#: What a search is at, as its share is told.
_WAYS_TRIED = "ways of setting the levers and the feed"

#: Nothing asked but the best.
_AS_USUAL = Manner()


def search_member(wanted: Wanted, work: Work, manner: Manner = _AS_USUAL) -> Found:
    """The set-ups for one member, the best first.

    Loose gears in series with others stay as they are, or at 1 in size, wherever the count can then be indexed; else
    those ratios of theirs are tried with which it can.
    """
    first = _search(wanted, work, manner)
    if first.is_settled or any(planned.is_exact for planned in first.setups):
        return first
    for other in wanted.with_other_loose(work):
        if any(_may_index(other, work, way) for way in other.ways):
            found = _search(other, work, replace(manner, alone=True))
            if found.setups:
                return found
    return first


def _may_index(wanted: Wanted, work: Work, way: Way) -> bool:
    """Whether this way's index gears can be had at all beside its loose ones."""
    assert way.constants.index is not None
    hob = wanted.job.hob
    ratio = way.constants.index.ratio(hob.hand, hob.starts, work.teeth)
    demand = Needed(way, None, ratio, Fraction(0), None, None)
    places = [index_place(wanted, demand), *loose_places(wanted, demand)]
    try:
        stock = Stock.of(places, wanted.gear_sets)
    except ValueError:
        return False
    return all(index_list(place, stock, wanted).items for place in places)


def _search(wanted: Wanted, work: Work, manner: Manner) -> Found:
    """The set-ups with the loose gears as the ways have them."""
    asked = Asked.of(wanted.job, work, wanted.machine)
    result = Found(asked)
    result.of_the_work = _of_the_work(wanted, work)
    settled = _settled(wanted, result.of_the_work)
    if settled:
        result.is_settled, result.none_because = True, settled
        return result
    plain, pair = manner.plain, manner.pair
    log = SearchLog(quick=plain, tell=manner.tell)
    found: list[tuple[int, Planned]] = []
    asks = list(demands(wanted, work, asked))
    # Where many ways serve, fewer of each are enough to choose from.
    width = max(_LEAST_WIDTH, 2 * WIDTH // max(2, len(asks)))
    for number, demand in enumerate(asks):
        if not plain:
            tell_share(_WAYS_TRIED, number, len(asks))
        if pair and not is_shared(demand):
            continue
        sets = direct_sets(wanted, work, demand, asked, log, manner.lead_as)
        sets = sets[: 1 if plain else width if wanted.top <= WIDTH else wanted.top]
        found += proved_of(wanted, work, demand, asked, sets, log)
        if plain and found:
            break
        result.refused = result.refused or nearer_refused(wanted, demand)
    whatever = log.whatever_the_gears
    plain_only = pair or manner.alone or (plain and asks) or work.kind == "worm wheel"
    if not found and not whatever and not plain_only:
        found, whatever = _coupled(wanted, work, asked, log)
    found = [(number, planned) for number, planned in found if wanted.keeps(planned.setup.change)]
    # What lies beyond the usual width comes after it, so that the best is the same however many are listed.
    usual = best_of([one for number, one in found if number < width], asked)
    more = best_of([one for number, one in found if number >= width], asked) if wanted.top > WIDTH else []
    result.setups = usual + more
    if not found and whatever:
        result.none_because, result.is_settled = whatever, True
    elif not found:
        _say_why(result, (log.text() or _no_way(work)) + wanted.held_words, log)
    return result


def _coupled(wanted: Wanted, work: Work, asked: Asked, log: SearchLog) -> tuple[list[tuple[int, Planned]], str]:
    """Set-ups in which ratios hang together, where no others were found; and what no gears mend about them."""
    if log.tell:
        log.tell(Found(asked, none_because=log.text() or _no_way(work), not_searched=GOES_ON))
    of_coupled = SearchLog(tell=log.tell)
    found = coupled_set_ups(wanted, work, asked, of_coupled)
    log.cut_short |= of_coupled.cut_short
    # What stands against the plain way is what a person can do something about.
    too_fast = all(reached >= LIMITS for reached, _ in of_coupled.reasons) and not of_coupled.cut_short
    log.reasons = of_coupled.reasons if of_coupled.reasons and too_fast else log.reasons or of_coupled.reasons
    return found, of_coupled.whatever_the_gears


def _say_why(result: Found, why: str, log: SearchLog) -> None:
    """Say why there is nothing, and whether that is certain."""
    result.none_because = why
    result.is_settled = log.farthest == LIMITS
    if log.cut_short:
        result.not_searched = (
            "not every choice of gears was looked at: there may be a set-up among those that were left out"
        )


def _settled(wanted: Wanted, of_the_work: tuple[Finding, ...]) -> str:
    """What stands against the work whatever gears could be got; empty if nothing does."""
    against = [finding.message.rstrip(".") for finding in of_the_work if finding.severity == "error"]
    if against:
        return "; ".join(against)
    if not wanted.ways:
        return "with no position of its levers does a bracket index the table"
    if not wanted.gear_sets:
        return "the machine file lists no change gears: name those that there are under [[gear_set]]"
    return ""


def _of_the_work(wanted: Wanted, work: Work) -> tuple[Finding, ...]:
    """What is to be said of the work on this machine whatever gears are mounted, worst first."""
    way = wanted.ways[0] if wanted.ways else None
    if way is None:
        return ()
    bare = wanted.setup(work, Needed(way, "axial", Fraction(1), Fraction(1), None, None), {})
    case = Case.of(replace(wanted.job, machine=wanted.machine, work=work, mate=None, setup=bare), bare)
    return worst_first(finding for check in JOB_CHECKS for finding in check(case))


def _no_way(work: Work) -> str:
    if work.kind == "worm wheel":
        return "the machine feeds neither its tangential nor its radial slide for this work"
    if work.is_helical:
        return "no position of the levers lets the table's turning and the axial slide make this lead between them"
    return "no position of the levers feeds the axial slide with the differential out"
