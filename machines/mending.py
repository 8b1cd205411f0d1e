"""Single changes at the machine that would make a wrong set-up right, each proved before it is advised."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace

from handlead.kinematics.bracket import Bracket, Refusal
from handlead.kinematics.links import ChangeGears, Mounted
from handlead.kinematics.needs import Role

from .case import Case, is_right
from .errors import FileFault
from .job_file import Setup


def find_mend(case: Case, is_right: Callable[[Case], bool]) -> str | None:
    """What to do, in the words of the trade, so that `is_right` holds; None if no single change does it.

    Tried in the order of the work they take: a lever, an idler, two gears of a bracket exchanged, a bracket turned
    end for end; and two levers, which often go together.
    """
    return next((words for words, changed in _changed(case) if is_right(changed)), None)


def _changed(case: Case) -> Iterator[tuple[str, Case]]:
    """Every change in words, with the machine after it; levers that would fight are left out."""
    ways = (_levers(case), _idlers(case), _exchanged(case), _turned_round(case), _two_levers(case))
    for words, setup in itertools.chain(*ways):
        try:
            yield words, Case.of(case.job, setup)
        except FileFault:
            continue


def best_mend(case: Case) -> str | None:
    """The single change after which all is wanted; first one that keeps the slide that feeds, and its way as meant."""
    meant, feeds = case.setup.feed, case.outcome and case.outcome.feed_slide

    def strays(changed: Case) -> int:
        outcome = changed.outcome
        if feeds is not None and (outcome is None or outcome.feed_slide != feeds):
            return 2
        return int(meant is not None and (outcome is None or outcome.feed is not meant))

    best: tuple[int, str] | None = None
    for words, changed in _changed(case):
        if not is_right(changed) or changed.solution.backdriven:
            continue
        if best is None or strays(changed) < best[0]:
            best = strays(changed), words
        if not best[0]:
            break
    return best[1] if best else None


def missing_gears(case: Case, ends: Iterable[str]) -> str | None:
    """The empty brackets without which one of the ends isn't driven, in words; None where it isn't for them."""
    missed = [
        f'"{link.name}"'
        for link in case.train.brackets
        if link.mounted is None and any(_drives(case, link, end) for end in ends)
    ]
    return f"No change gears are mounted in {' and '.join(missed)}." if missed else None


def _drives(case: Case, link: ChangeGears, end: str) -> bool:
    """Whether any gears in the bracket would drive the end."""
    anything = Mounted((30, 30) * min(link.pairs), (_ANY_IDLER,) * min(link.idlers))
    return bool(Case.of(case.job, _with(case, link.name, anything)).solution.end_rate(end))


def _levers(case: Case) -> Iterator[tuple[str, Setup]]:
    for name, lever in case.job.machine.levers.items():
        now = case.setup.levers.get(name, lever.normal)
        for position in lever.positions:
            if position != now:
                levers: Mapping[str, str] = {**case.setup.levers, name: position}
                yield (
                    f'Put lever "{name}" to "{position}" (it stands at "{now}").',
                    replace(case.setup, levers=levers),
                )


def _two_levers(case: Case) -> Iterator[tuple[str, Setup]]:
    stand = case.job.machine.positions(case.setup)
    moves = [
        (name, position)
        for name, lever in case.job.machine.levers.items()
        for position in lever.positions
        if position != stand[name]
    ]
    for (one, here), (other, there) in itertools.combinations(moves, 2):
        if one != other:
            yield (
                f'Put lever "{one}" to "{here}" and "{other}" to "{there}" (they stand at "{stand[one]}" and '
                f'"{stand[other]}").',
                replace(case.setup, levers={**case.setup.levers, one: here, other: there}),
            )


def _mounted(case: Case) -> Iterator[tuple[ChangeGears, Mounted]]:
    """The filled brackets that bear on the cut; those for the hob's speed don't."""
    for link in case.train.brackets:
        if link.mounted and case.roles[link.name] not in (Role.SPEED, Role.IDLE):
            yield link, link.mounted


def _with(case: Case, bracket: str, mounted: Mounted) -> Setup:
    return replace(case.setup, change={**case.setup.change, bracket: mounted})


#: A tooth count for an idler that is yet to be chosen: the ratio doesn't depend on it.
_ANY_IDLER = 30


def _idlers(case: Case) -> Iterator[tuple[str, Setup]]:
    for link, mounted in _mounted(case):
        count = len(mounted.idlers)
        for number in link.idlers:
            if (number - count) % 2 == 0:
                continue
            idlers = (*mounted.idlers, *[_ANY_IDLER] * number)[:number]
            yield (
                _idler_words(link.name, count, number),
                _with(case, link.name, replace(mounted, idlers=idlers)),
            )


def _idler_words(bracket: str, now: int, then: int) -> str:
    how = {1: "an idler", 2: "two idlers"}
    if now == 0:
        return f'Add {how.get(then, f"{then} idlers")} in "{bracket}".'
    if then == 0:
        return f'Take the {"idler" if now == 1 else "idlers"} out of "{bracket}".'
    return f'Mount {how.get(then, f"{then} idlers")} in "{bracket}" (there are {now}).'


def _exchanged(case: Case) -> Iterator[tuple[str, Setup]]:
    """Two gears of a bracket that stand on each other's shafts; only what the bracket can take."""
    for link, mounted in _mounted(case):
        for one, other in itertools.combinations(range(len(mounted.gears)), 2):
            gears = list(mounted.gears)
            gears[one], gears[other] = gears[other], gears[one]
            swapped = replace(mounted, gears=tuple(gears))
            # Two drivers or two driven gears may change places without changing anything.
            if swapped.ratio != mounted.ratio and refusal(link, swapped) is None:
                yield (
                    f'Exchange {mounted.gears[one]} and {mounted.gears[other]} in "{link.name}": it should read '
                    f"{gears_text(swapped)}.",
                    _with(case, link.name, swapped),
                )


def refusal(link: ChangeGears, mounted: Mounted) -> Refusal | None:
    """Why the bracket can't take the gears; None where it can, as far as its measures are known."""
    if link.bracket is None or len(mounted.pairs) > 3:
        return None
    fit = Bracket.of(link.bracket).mount(mounted.gears, mounted.idlers)
    return fit if isinstance(fit, Refusal) else None


def _turned_round(case: Case) -> Iterator[tuple[str, Setup]]:
    for link, mounted in _mounted(case):
        turned = replace(mounted, gears=mounted.gears[::-1])
        yield (
            f'Turn "{link.name}" end for end: drivers and driven gears are exchanged, it should read '
            f"{gears_text(turned)}.",
            _with(case, link.name, turned),
        )


def gears_text(mounted: Mounted) -> str:
    """The gears as people write them: ``24/58 · 48/40``, with the idlers behind."""
    text = " · ".join(f"{driver}/{driven}" for driver, driven in mounted.pairs)
    return text + "".join(f" + idler {teeth}" for teeth in mounted.idlers)
