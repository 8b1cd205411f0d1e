"""Which observation would settle most: tried in simulation on every answer that is still possible."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import product

from handlead.kinematics.gears.gear import MM_PER_INCH
from handlead.kinematics.train.setup import Setup
from handlead.kinematics.unknowns.identification import Identified
from handlead.kinematics.unknowns.observations import HandTurn
from handlead.machines.documents.observations_file import Observations
from handlead.machines.job_keys.observation_keys import USUAL_TURNS
from handlead.machines.machine_files.machine_file import Machine
from handlead.machines.machine_files.unfitted import Figure, Unfitted, open_train
from handlead.machines.toml.errors import FileFault

from .trials import FINE_TRAVEL, Answer, TurningTrial, trials_on

_MOST_ANSWERS = 8
_MOST_TRIED = 5


@dataclass(frozen=True)
class Advice:
    """What to do next, in words, and the unknowns that it would settle, as it was tried on a possible answer."""

    do: str
    settles: tuple[str, ...] = ()
    trial: TurningTrial | None = None


def find_advice(
    unfitted: Unfitted,
    observations: Observations,
    identified: Identified,
    settle: Callable[[HandTurn], Identified],
) -> Advice:
    """The observation that would settle most unknowns, in words; the least troublesome of equals.

    `settle` says what would be known after one more turning.
    """
    answers = _told_apart(unfitted, identified)[:_MOST_ANSWERS]
    if len(answers) < 2:
        return _across_one(unfitted, identified)
    best: TurningTrial | None = None
    settles: tuple[str, ...] = ()
    open_figures = _open(unfitted, identified)
    for trial in _shortlist(trials_on(unfitted, observations, answers), len(answers)):
        keys = tuple(each.key for each in open_figures)
        for answer in (0, 1):
            after = settle(_as_turning(unfitted, trial, answer))
            values = {each.key: each.value(after.values) for each in open_figures}
            keys = tuple(key for key in keys if values[key] is not None)
        if best is None or (-len(keys), trial.left, trial.trouble) < (-len(settles), best.left, best.trouble):
            best, settles = trial, keys
    if best is None:
        return Advice(_count_directly(unfitted, identified))
    return Advice(_words(unfitted, best), settles, best)


def _shortlist(trials: Iterator[TurningTrial], answers: int) -> list[TurningTrial]:
    """For each two parts the least trouble that tells most apart, and the surest count; the less troublesome first."""
    least: dict[tuple[str, str], TurningTrial] = {}
    surest: dict[tuple[str, str], TurningTrial] = {}
    for trial in trials:
        pair = (trial.turned, trial.moved)
        if trial.left >= answers:
            continue
        if pair not in least or trial.rank < least[pair].rank:
            least[pair] = trial
        if pair not in surest or (trial.fineness, trial.trouble) < (
            surest[pair].fineness,
            surest[pair].trouble,
        ):
            surest[pair] = trial
    pairs = sorted(least, key=lambda pair: (least[pair].trouble, least[pair].left))[:_MOST_TRIED]
    both = ((least[pair], surest[pair]) for pair in pairs)
    return [trial for one, other in both for trial in ((one,) if one is other else (one, other))]


def _as_turning(unfitted: Unfitted, trial: TurningTrial, answer: int) -> HandTurn:
    """The trial as it would come out if that answer, by number, were right."""
    machine = unfitted.machine
    train = machine.set_up(trial.setup)
    by_hand = next((name for name, drive in train.drives.items() if drive.shaft == trial.turned), None)
    through = trial.rates[answer] * trial.turns
    return HandTurn(
        open_train(machine, train, unfitted.figures),
        by_hand or trial.setup.drive,
        trial.turned,
        (trial.turns, trial.turns),
        trial.moved,
        (through - trial.within, through + trial.within),
    )


def _open(unfitted: Unfitted, identified: Identified) -> list[Figure]:
    return [each for each in unfitted.figures if each.value(identified.values) is None]


def _told_apart(unfitted: Unfitted, identified: Identified) -> list[Answer]:
    """Answers that give some unknown another value, those with the simplest numbers first."""
    figures = unfitted.figures
    found = {
        tuple(figure.value(answer) for figure in figures): answer
        for answer in identified.examples
        if all(figure.value(answer) is not None for figure in figures)
    }
    return [found[values] for values in sorted(found, key=_odd)]


def _odd(values: tuple[Fraction | None, ...]) -> int:
    """How little like the numbers on a machine these are."""
    return sum(value.denominator for value in values if value is not None)


def _across_one(unfitted: Unfitted, identified: Identified) -> Advice:
    """For want of answers to compare: a count across the first link of which something is unknown."""
    machine = unfitted.machine
    figure = _open(unfitted, identified)[0]
    link = machine.train.link(figure.link)
    state = {figure.link: figure.state} if figure.state else {}
    levers = next(
        (
            dict(zip(machine.levers, positions, strict=True))
            for positions in product(*(lever.positions for lever in machine.levers.values()))
            if state.items() <= _states(machine, positions).items()
        ),
        {},
    )
    setup = Setup(machine.normal_drive, levers=levers)
    turned, moved, held = link.ports[0], link.ports[1], link.ports[2:]
    turns, within = Fraction(40), USUAL_TURNS
    if moved in machine.train.slides:
        turns, within = Fraction(5), FINE_TRAVEL
    elif link.self_locking:
        # The wheel from mark to mark is the surer count, though it is the worm that is turned.
        turned, moved, turns = moved, turned, Fraction(1)
    trial = TurningTrial(setup, turned, turns, moved, within, held=held)
    return Advice(_words(unfitted, trial), tuple(each.key for each in [figure]), trial)


def _states(machine: Machine, positions: Sequence[str]) -> Mapping[str, str]:
    try:
        return machine.states(dict(zip(machine.levers, positions, strict=True)))
    except FileFault:
        return {}


def _count_directly(unfitted: Unfitted, identified: Identified) -> str:
    """Where nothing that turns tells the answers apart."""
    figure = _open(unfitted, identified)[0]
    what = {"teeth": "Count the teeth", "starts": "Count the starts", "sense": "Look at the sense"}
    return (
        f'{what.get(figure.sort, "Measure it")} of "{figure.link}" itself ({figure.key}): turning other parts '
        "can't tell what is still possible apart"
    )


# ---------------------------------------------------------------- in words


def _words(unfitted: Unfitted, trial: TurningTrial) -> str:
    machine = unfitted.machine
    turns = f"{trial.turns} turn{'s' if trial.turns != 1 else ''}"
    worm = next(
        (
            link
            for link in machine.train.links
            if link.self_locking and link.ports == (trial.moved, trial.turned)
        ),
        None,
    )
    turned, moved = _part(machine, trial.turned), _part(machine, trial.moved)
    if worm is None:
        words = [f"Turn {turned} {turns} its positive way"]
    else:
        words = [f"Turn {moved} until {turned} has made {turns} its positive way"]
    if trial.held:
        words.append(f"with {' and '.join(_part(machine, part) for part in trial.held)} held")
    levers = ", ".join(f"{name} {position}" for name, position in machine.positions(trial.setup).items())
    if levers:
        words.append(f"with the levers at {levers}")
    change = trial.setup.change
    if change:
        gears = "; ".join(f"{name}: {each.spoken}" for name, each in change.items())
        words.append(f"and in the brackets {gears}")
    elif machine.train.brackets:
        words.append("and the brackets empty")
    is_slide = trial.moved in machine.train.slides
    size = _length(trial.within, machine.units) if is_slide else f"{trial.within} turn"
    seen = (
        f"see how far and which way {moved} goes"
        if worm is None
        else "count how far and which way that takes"
    )
    return f"{' '.join(words)}; {seen}, to {size}"


def _length(mm: Fraction, units: str) -> str:
    """How closely a slide is read, in the machine's own units."""
    return f"{float(mm / MM_PER_INCH):.1g} in" if units == "in" else f"{float(mm):g} mm"


def _part(machine: Machine, part: str) -> str:
    where = {**machine.train.shafts, **machine.train.slides}[part]
    return f'"{part}" ({where})' if where else f'"{part}"'
