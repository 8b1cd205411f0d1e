"""A machine run move by move: from trains, drives and places to go to, exact phases of all its ends.

Each move's train is solved for the drive that runs; its ends' exact rates carry the machine to where it
is ordered. Lost motion is followed link by link: when a driving part turns back, its driven part stands
still until the play is taken up, and so does all that hangs on it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from handlead.kinematics.frame.motion import Phase, Position
from handlead.kinematics.links.link import TwoPort
from handlead.kinematics.links.links import Brake

from .solution import Solution, solve
from .train import Drive, End, Train

#: The drive that a handwheel is, in the train of a move by hand, and the slide of an end that the train lacks.
_HAND, _LOOSE = "by hand", "slide moved by hand"


@dataclass(frozen=True)
class Order:
    """One order to the machine: `train`, its levers set, run by `drive` until it is where it should be.

    With `place`, until the slide at `end` stands there, in mm; else for `turns` of the part at `end`, or
    of the drive where `end` is blank. A drive that leaves the hob still runs whichever way the slide has to
    go; one that turns the hob runs its own way, or the other where `backwards`. With `by_hand` the slide's own
    handwheel takes it to its place, every drive at rest and `drive` blank; what hangs together with the slide
    moves with it. A slide that the train doesn't have moves alone.
    """

    name: str
    train: Train
    drive: str
    end: str = ""
    place: Fraction | None = None
    turns: Fraction | None = None
    backwards: bool = False
    by_hand: bool = False


@dataclass(frozen=True)
class Play:
    """Lost motion of a link: how far its driven part can go while the driving one is held, in turns or mm."""

    link: str
    width: Fraction


@dataclass(frozen=True)
class Run:
    """A move that was made: its phases, one unless play was taken up, and which of hob and table were free."""

    order: Order
    phases: tuple[Phase, ...]
    free: tuple[str, ...] = ()

    @property
    def start(self) -> Position:
        """Where everything stood before."""
        return self.phases[0].start

    @property
    def end(self) -> Position:
        """Where everything stands after it."""
        return self.phases[-1].end


@dataclass(frozen=True)
class Stop:
    """A move that can't be made: `code` is a word for programs, `why` the rest of a sentence about the move."""

    order: Order
    code: str
    why: str


@dataclass(frozen=True)
class MovesMade:
    """The moves that were made, and what stopped the next one, if anything did."""

    runs: tuple[Run, ...]
    stop: Stop | None = None


class _Stopped(Exception):
    """Carries a `Stop` outwards."""

    def __init__(self, stop: Stop) -> None:
        super().__init__(stop.why)
        self.stop = stop


def run(orders: Iterable[Order], start: Position | None = None, plays: Iterable[Play] = ()) -> MovesMade:
    """Make the moves in their order, from `start` on.

    What can't be made ends the passage and is told in its `stop`. The play of each link is taken to be
    taken up already in the sense in which the link first moves. Raises `KeyError` for a drive or link
    that a train doesn't have, `ValueError` for an order that says neither where to go nor how far.
    """
    slack = _Slack({play.link: Fraction(play.width) for play in plays if play.width})
    position, runs = start or Position(), list[Run]()
    for order in orders:
        try:
            made = _made(order, position, slack)
        except _Stopped as stopped:
            return MovesMade(tuple(runs), stopped.stop)
        runs.append(made)
        position = made.end
    return MovesMade(tuple(runs))


# ---------------------------------------------------------------- one move


def _made(order: Order, start: Position, slack: _Slack) -> Run:
    if (order.place is None) == (order.turns is None):
        raise ValueError(f"move {order.name!r} must have either a place to go to or turns to run for")
    if order.by_hand and order.place is None:
        raise ValueError(f"move {order.name!r} is made by hand: it must have a place to go to")
    solution = solve_by_hand(order.train, order.end) if order.by_hand else running(order.train, order.drive)
    if solution.is_locked:
        raise _Stopped(Stop(order, "locked-train", _held(order, solution)))
    # A handwheel may stand ahead of the slide's own worm.
    if solution.backdriven and not order.by_hand:
        why = f"the wheel of {_listed(solution.backdriven)} would have to drive its worm"
        raise _Stopped(Stop(order, "worm-driven-backwards", why))
    # What is free while nothing runs stays where it is.
    free = tuple(end for end in ("hob", "table") if solution.end_rate(end) is None and not order.by_hand)
    sense = _sense(order, solution, start)
    phases: list[Phase] = []
    position, done = start, Fraction(0)
    while True:
        waiting, solved = slack.waiting(solution, sense)
        per_turn = solved.per_turn.times(Fraction(sense))
        left = _left(order, per_turn, start, position, done)
        if left is None and not waiting:
            raise _Stopped(Stop(order, "never-gets-there", _never(order, position, solution)))
        turns = min(turns for turns in (left, *waiting.values()) if turns is not None)
        slack.wear(solution.train, waiting, solved, sense, turns)
        phases.append(Phase(position, per_turn, turns, order.name))
        position, done = phases[-1].end, done + turns
        if turns == left:
            return Run(order, tuple(phase for phase in phases if phase.turns) or tuple(phases[:1]), free)


def solve_by_hand(train: Train, end: str) -> Solution:
    """The train solved for a mm of this end's slide, moved by its handwheel with every drive at rest.

    A slide that the train doesn't have is added to it, and hangs together with nothing.
    """
    slides, ends = train.slides, train.ends
    if end not in ends:
        slides, ends = {**slides, _LOOSE: ""}, {**ends, end: End(_LOOSE)}
    drives = {**train.drives, _HAND: Drive(ends[end].part)}
    return running(replace(train, slides=slides, ends=ends, drives=drives), _HAND)


def _held(order: Order, solution: Solution) -> str:
    """Why nothing turns."""
    if order.by_hand:
        return f"the {order.end} slide is held by {_listed(solution.lock)} with the levers so"
    return f"the train is locked by {_listed(solution.lock)}"


def running(train: Train, drive: str) -> Solution:
    """The train solved; a motor that is merely free to be turned stands still where nothing turns it."""
    solution = solve(train, drive)
    if None not in (solution.end_rate("hob"), solution.end_rate("table")) or solution.is_locked:
        return solution
    held = {
        name: replace(other, free_at_rest=False) if name != drive else other
        for name, other in train.drives.items()
    }
    still = solve(replace(train, drives=held), drive)
    return solution if still.is_locked or still.backdriven else still


def _sense(order: Order, solution: Solution, start: Position) -> int:
    """Which way the drive runs: 1 its own positive way, -1 the other."""
    if order.place is not None and (order.by_hand or not solution.end_rate("hob")):
        rate, way = solution.end_rate(order.end), order.place - getattr(start, order.end)
        if rate and way:
            return 1 if way / rate > 0 else -1
    return -1 if order.backwards else 1


def _left(
    order: Order, per_turn: Position, start: Position, position: Position, done: Fraction
) -> Fraction | None:
    """Turns of the drive still to run at these rates; None where they never bring the machine there."""
    if not order.end:
        assert order.turns is not None
        return Fraction(order.turns - done)
    rate: Fraction = getattr(per_turn, order.end)
    if order.place is not None:
        way = Fraction(order.place - getattr(position, order.end))
    else:
        assert order.turns is not None
        gone = abs(getattr(position, order.end) - getattr(start, order.end))
        way = (order.turns - gone) * (1 if rate > 0 else -1)
    if not way:
        return Fraction(0)
    return way / rate if rate and way / rate > 0 else None


def _never(order: Order, position: Position, solution: Solution) -> str:
    what = order.end if order.end in ("hob", "table") else f"{order.end} slide"
    rate = solution.end_rate(order.end)
    if not rate:
        return f'the {what} isn\'t moved by the drive "{order.drive}" with the levers so'
    assert order.place is not None
    here = getattr(position, order.end)
    return f"the {what} stands at {float(here):g} mm and is to go to {float(order.place):g} mm, but runs the other way"


def _listed(names: Iterable[str]) -> str:
    return " and ".join(f'"{name}"' for name in names)


# ---------------------------------------------------------------- lost motion


class _Slack:
    """How far each link's driven part stands ahead of where a positive push has it, from 0 to its play."""

    def __init__(self, widths: Mapping[str, Fraction]) -> None:
        self._widths = dict(widths)
        self._ahead: dict[str, Fraction] = {}

    def waiting(self, solution: Solution, sense: int) -> tuple[dict[str, Fraction], Solution]:
        """Turns of the drive until each link's play is taken up, and the train solved with those links parted.

        A driven part that something else turns as well can't stand still: its play counts as taken up.
        """
        parted: list[str] = []
        solved = solution
        while (name := self._next(solution.train, solved, sense, parted)) is not None:
            trial = running(_parted(solution.train, (*parted, name)), solution.drive)
            if trial.is_locked:
                self._ahead[name] = self._aim(name, _push(solution.train, solved, name) * sense)
            else:
                parted.append(name)
                solved = trial
        pushes = {name: _push(solution.train, solved, name) * sense for name in parted}
        return {
            name: abs((self._aim(name, push) - self._ahead[name]) / push)
            for name, push in pushes.items()
            if push
        }, solved

    def wear(self, train: Train, waiting: Iterable[str], solved: Solution, sense: int, turns: Fraction) -> None:
        """Take up play for `turns` of the drive."""
        for name in waiting:
            self._ahead[name] -= _push(train, solved, name) * sense * turns

    def _next(self, train: Train, solved: Solution, sense: int, parted: list[str]) -> str | None:
        """The first link, not parted yet, whose driving part has turned back."""
        for name in self._widths:
            push = _push(train, solved, name) * sense
            behind = push and self._ahead.setdefault(name, self._aim(name, push)) != self._aim(name, push)
            if behind and name not in parted:
                return name
        return None

    def _aim(self, name: str, push: Fraction) -> Fraction:
        """Where the driven part stands once it is pushed this way."""
        return Fraction(0) if push > 0 else self._widths[name]


def _push(train: Train, solved: Solution, name: str) -> Fraction:
    """How far the driving part of a link would push its driven one over a turn of the drive."""
    link = train.link(name)
    if not isinstance(link, TwoPort):
        raise ValueError(f"link {name!r} is a {link.kind}: it has no driving and driven part, so no play")
    return (solved.rates[link.from_part] or Fraction(0)) * (link.ratio or 0)


def _parted(train: Train, names: Iterable[str]) -> Train:
    """The train with these links out and their driven parts at rest, as friction keeps them."""
    links = []
    for link in train.links:
        if link.name not in names:
            links.append(link)
        elif isinstance(link, TwoPort):
            links.append(Brake(link.name, link.to_part))
    return replace(train, links=tuple(links))
