"""What a person can do to a set-up at the machine, a step each: levers, idlers, gears, the head, the drive.

Nothing here says whether a step helps; `trials` carries steps out on the machine and proves what comes of them.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from handlead.kinematics.brackets.bracket import Bracket
from handlead.kinematics.brackets.mounting import Refusal
from handlead.kinematics.frame.frozen import freeze
from handlead.kinematics.links.mounted import ChangeGears, Dialled, Mounted, SetRatio
from handlead.kinematics.search.ratios import nearest_fraction
from handlead.kinematics.slips.standing import ANY_IDLER
from handlead.kinematics.train.setup import NOTHING, Change, Setup
from handlead.kinematics.train.solution import SLIDE_ENDS

from .case import Case, with_lever_moved
from .clearing import draw_clear
from .drawers import gears_left, nearest_mounted

#: How much work a step is, beside moving a lever. Own judgement: what is touched, and how easily it goes wrong again.
LEVER, IDLER, EXCHANGE, TURN_ROUND, OTHER_GEAR, ANEW = 1, 2, 3, 4, 5, 9

#: Up to this denominator a ratio is written as a fraction.
_PLAIN = 10_000

#: Idlers that are tried on a bracket whose measures are known and whose gears aren't listed.
_USUAL_IDLERS = range(20, 81)


@dataclass(frozen=True)
class Step:
    """One thing to do at the machine, in `words`, and what it changes of a set-up.

    `ratios` are signed ratios that brackets must come to where no gears are named; `effort` orders steps by the
    work that they are.
    """

    words: str
    change: Change = NOTHING
    ratios: Mapping[str, Fraction] = field(default_factory=dict)
    effort: int = LEVER

    def __post_init__(self) -> None:
        freeze(self, "ratios")

    @property
    def touches(self) -> frozenset[str]:
        """What the step lays hand on; two steps that lay hand on the same thing don't go together."""
        return self.change.touches | self.ratios.keys()

    def as_json(self) -> dict[str, object]:
        """The step as plain values: its words, and what it changes, as the keys of [setup] have it."""
        swivel = self.change.get(("swivel",))
        return {
            "words": self.words,
            "drive": self.change.get(("drive",)),
            "levers": dict(self.change.levers),
            "swivel_deg": None if swivel is None else float(swivel),
            "change": {
                name: {"gears": list(mounted.gears), "idlers": list(mounted.idlers)}
                for name, mounted in self.change.mounted.items()
            },
            "ratios": {name: str(ratio) for name, ratio in self.ratios.items()},
        }

    def on(self, setup: Setup) -> Setup:
        """The set-up after the step; a bracket that must come to a ratio is left out of it."""
        then = self.change.on(setup)
        if not self.ratios:
            return then
        return replace(then, change={name: gears for name, gears in then.change.items() if name not in self.ratios})


def carried_out(case: Case, steps: Iterable[Step]) -> Case:
    """The machine after these steps. Raises `FileFault` where levers then fight over a link."""
    setup = case.setup
    ratios: dict[str, Fraction] = {}
    for step in steps:
        setup, ratios = step.on(setup), {**ratios, **step.ratios}
    changed = Case.of(case.job, setup)
    return replace(changed, train=changed.train.with_ratios(ratios)) if ratios else changed


# ---------------------------------------------------------------- levers, drive, head


def lever_steps(case: Case) -> Iterator[Step]:
    """Every lever to each of its other positions."""
    for name, now in case.job.machine.positions(case.setup).items():
        for position in case.job.machine.levers[name].positions:
            if position != now:
                words = f'Put lever "{name}" to "{position}" (it stands at "{now}").'
                yield Step(words, Change.to(levers={name: position}))


def drive_step(case: Case) -> Step | None:
    """The drive that turns the machine for a cut, where the set-up runs it by another."""
    drive, other = case.job.machine.normal_drive, case.setup.drive
    if other == drive:
        return None
    stands = case.job.machine.positions(case.setup)
    for name in stands:
        for position, moved in with_lever_moved(case, name):
            if _runs_alone(moved):
                clear = draw_clear(case)
                return Step(
                    f'{clear[0].upper()}{clear[1:]}, and put lever "{name}" to "{position}" (it stands at '
                    f'"{stands[name]}") before "{other}" runs; put it back for the cut, which "{drive}" drives.',
                    Change.to(drive=drive),
                )
    return Step(f'Cut with the drive "{drive}", not with "{other}".', Change.to(drive=drive))


def _runs_alone(case: Case) -> bool:
    """Whether the drive moves a slide and leaves the hob at rest, nothing locked and no worm driven backwards."""
    run = case.solution
    moves = any(run.end_rate(end) for end in SLIDE_ENDS if end in case.train.ends)
    return moves and not run.is_locked and not run.backdriven and not run.end_rate("hob")


def swing_step(case: Case, limit_deg: float) -> Step | None:
    """The head swung to where the work asks for it, to the minute; None where it stands there within `limit_deg`."""
    wanted = case.swivel_wanted_deg
    if abs(case.swivel_deg - wanted) <= limit_deg:
        return None
    words = f"Swing the head to {case.job.machine.swivel_text(wanted)}."
    return Step(words, Change.to(swivel_deg=Fraction(round(60 * wanted), 60)), effort=0)


# ---------------------------------------------------------------- change gears


def idler_steps(case: Case, link: ChangeGears, mounted: Mounted) -> Iterator[Step]:
    """Idlers in or out so that the bracket turns the sense over; named where they must fit."""
    count = len(mounted.idlers)
    for number in link.idlers:
        if (number - count) % 2 == 0:
            continue
        idlers = with_idlers(case, link, mounted, number)
        if idlers is not None:
            then = replace(mounted, idlers=idlers)
            yield Step(_idler_words(case, link, mounted, then), change=Change.to({link.name: then}), effort=IDLER)


def with_idlers(case: Case, link: ChangeGears, mounted: Mounted, number: int) -> tuple[int, ...] | None:
    """So many idlers, those that are there among them, that are at hand and fit; None where none do."""
    kept = mounted.idlers[:number]
    more = number - len(kept)
    if more == 0:
        return kept if refusal(link, replace(mounted, idlers=kept)) is None else None
    for chosen in itertools.combinations(_idlers_at_hand(case, link), more):
        if refusal(link, replace(mounted, idlers=(*kept, *chosen))) is None:
            return (*kept, *chosen)
    return None


def _idlers_at_hand(case: Case, link: ChangeGears) -> Sequence[int]:
    free = free_gears(case, link.name)
    if free is not None:
        return free
    return (ANY_IDLER, ANY_IDLER) if link.bracket is None else _USUAL_IDLERS


def free_gears(case: Case, bracket: str) -> tuple[int, ...] | None:
    """The gears at hand for the bracket that are mounted nowhere; None where the machine file lists none for it."""
    return gears_left(case.job.machine, case.setup.change, bracket)


def _idler_words(case: Case, link: ChangeGears, now: Mounted, then: Mounted) -> str:
    before, after = len(now.idlers), len(then.idlers)
    if after == 0:
        return f'Take the {"idler" if before == 1 else "idlers"} out of "{link.name}".'
    if after < before:
        return f'Take {_idlers(before - after)} out of "{link.name}"; {then} stays.'
    unlisted = link.bracket is None and free_gears(case, link.name) is None
    teeth = " and ".join(str(each) for each in then.idlers[before:])
    will_do = "" if unlisted else f" ({teeth} teeth will do)"
    return f'Add {_idlers(after - before)} in "{link.name}"{will_do}.'


def _idlers(number: int) -> str:
    return {1: "an idler", 2: "two idlers"}.get(number, f"{number} idlers")


def other_idler_steps(case: Case, link: ChangeGears, mounted: Mounted) -> Iterator[Step]:
    """One idler against another that is at hand, the first that fits."""
    for place, teeth in enumerate(mounted.idlers):
        for other in _idlers_at_hand(case, link):
            then = replace(mounted, idlers=(*mounted.idlers[:place], other, *mounted.idlers[place + 1 :]))
            if other != teeth and refusal(link, then) is None:
                words = f'In "{link.name}" mount {other} in place of the idler {teeth}.'
                yield Step(words, change=Change.to({link.name: then}), effort=IDLER)
                break


def exchange_steps(link: ChangeGears, mounted: Mounted, *, same_ratio: bool) -> Iterator[Step]:
    """Two gears of a bracket on each other's shafts; whether the bracket takes it is for the proof to say.

    Two drivers or two driven gears may change places without changing the ratio: offered with `same_ratio`,
    as where the gears can't be mounted as they are.
    """
    for one, other in itertools.combinations(range(len(mounted.gears)), 2):
        then = mounted.exchanged(one, other)
        if then == mounted or (then.ratio == mounted.ratio and not same_ratio):
            continue
        words = f'Exchange {mounted.gears[one]} and {mounted.gears[other]} in "{link.name}": it should read '
        yield Step(f"{words}{then}.", change=Change.to({link.name: then}), effort=EXCHANGE)


def turned_round_steps(link: ChangeGears, mounted: Mounted) -> Iterator[Step]:
    """The bracket end for end."""
    then = mounted.turned_round()
    if then != mounted:
        words = f'Turn "{link.name}" end for end: drivers and driven gears are exchanged, it should read '
        yield Step(f"{words}{then}.", change=Change.to({link.name: then}), effort=TURN_ROUND)


def crossed_steps(one: ChangeGears, other: ChangeGears) -> Iterator[Step]:
    """A gear of one bracket against one of another."""
    if one.mounted is None or other.mounted is None:
        return
    for here, there in itertools.product(range(len(one.mounted.gears)), range(len(other.mounted.gears))):
        a, b = one.mounted.gears[here], other.mounted.gears[there]
        first, second = one.mounted.with_gear(here, b), other.mounted.with_gear(there, a)
        if a != b:
            yield Step(
                f'Exchange {a} in "{one.name}" and {b} in "{other.name}": they should read {first} '
                f"and {second}.",
                change=Change.to({one.name: first, other.name: second}),
                effort=EXCHANGE + 1,
            )


def other_gear_steps(case: Case, link: ChangeGears, mounted: Mounted, target: Fraction, near: float) -> Iterator[Step]:
    """One gear of the bracket against one out of the drawer, for a ratio within the part `near` of `target`."""
    for place, teeth in itertools.product(range(len(mounted.gears)), sorted(set(free_gears(case, link.name) or ()))):
        then = mounted.with_gear(place, teeth)
        if then == mounted or then.ratio * target <= 0 or abs(then.ratio / target - 1) > near:
            continue
        yield Step(
            f'In "{link.name}" mount {teeth} in place of {mounted.gears[place]}: it should read {then}.',
            change=Change.to({link.name: then}),
            # The nearer the counts, the likelier one was taken for the other.
            effort=OTHER_GEAR + abs(teeth - mounted.gears[place]),
        )


def anew_steps(
    case: Case, link: ChangeGears, target: Fraction, near: float | None = None, most: int = 3
) -> Iterator[Step]:
    """Gears out of the drawer for the whole bracket, nearest to a signed ratio first.

    With `near`, those of fewest pairs that come within that part of the ratio, where any so near will do.
    """
    if isinstance(link, SetRatio):
        yield from entry_steps(case, link, target)
        return
    for gears in _sets_near(case, link, target, near, most):
        now = case.setup.change.get(link.name)
        if gears == now:
            continue
        words = (
            f'Mount {gears} in "{link.name}" in place of {now}.'
            if now
            else f'No change gears are mounted in "{link.name}": mount {gears}.'
        )
        yield Step(words, change=Change.to({link.name: gears}), effort=ANEW)


def entry_steps(case: Case, link: SetRatio, target: Fraction) -> Iterator[Step]:
    """The ratio that is to be entered: this one, signed, or the nearest that goes in."""
    size = nearest_fraction(abs(target), link.largest)
    then, now = Dialled.of(size if target > 0 else -size), case.setup.change.get(link.name)
    if then != now:
        place = f" in place of {now}" if now else ""
        yield Step(f'Enter {then} at "{link.name}"{place}.', change=Change.to({link.name: then}), effort=IDLER)


def _sets_near(
    case: Case, link: ChangeGears, target: Fraction, near: float | None, most: int
) -> Iterator[Mounted]:
    others = {name: mounted for name, mounted in case.setup.change.items() if name != link.name}
    gears = gears_left(case.job.machine, others, link.name) or ()
    for pairs in [None] if near is None else sorted(link.pairs):
        found = nearest_mounted(link, target, gears, pairs=pairs, limit=most)
        yield from (each.mounted for each in found if near is None or abs(each.error) <= near)


def ratio_step(link: ChangeGears, now: Mounted | None, ratio: Fraction) -> Step:
    """The ratio that a bracket must come to, where no gears for it are at hand."""
    if ratio.denominator >= _PLAIN:
        ratio = Fraction(f"{float(ratio):.7g}")  # as it is said, so it is proved
    there = f"it stands at {now}" if now else "nothing is mounted"
    sense = "" if now is None or now.ratio * ratio > 0 else ", and turn the sense over"
    return Step(
        f'"{link.name}" must come to {ratio_text(abs(ratio))}{sense} ({there}); no gears for it are at hand.',
        ratios={link.name: ratio},
        effort=ANEW,
    )


def ratio_text(ratio: Fraction) -> str:
    """A ratio as people write it: whole numbers where they are small, else seven figures."""
    return str(ratio) if ratio.denominator < _PLAIN else f"{float(ratio):.7g}"


def refusal(link: ChangeGears, mounted: Mounted) -> Refusal | None:
    """Why the bracket can't take the gears; None where it can, as far as its measures are known."""
    if link.bracket is None or len(mounted.pairs) > 3:
        return None
    fit = Bracket.of(link.bracket).mount(mounted.gears, mounted.idlers)
    return fit if isinstance(fit, Refusal) else None
