"""Which end of each link drives the other, and whether a worm would have to be driven by its wheel."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction

import rustworkx as rx

from .links import Differential, Link
from .train import Train


@dataclass(frozen=True)
class Step:
    """Power passing through `link` from the parts `sources` into the part `target`."""

    link: str
    sources: tuple[str, ...]
    target: str


@dataclass(frozen=True)
class Flow:
    """Power through a train, in the order in which it spreads from the drive.

    `backdriven` names the worm gears whose worm turns only by way of its wheel.
    """

    steps: tuple[Step, ...] = ()
    backdriven: tuple[str, ...] = ()

    def upstream(self, part: str) -> tuple[Step, ...]:
        """The steps through which power has come to `part`, nearest the drive first."""
        graph: rx.PyDiGraph[int, None] = rx.PyDiGraph()
        nodes = {index: graph.add_node(index) for index in range(len(self.steps))}
        into = {step.target: index for index, step in enumerate(self.steps)}
        for index, step in enumerate(self.steps):
            for source in step.sources:
                if source in into:
                    graph.add_edge(nodes[into[source]], nodes[index], None)
        if part not in into:
            return ()
        last = nodes[into[part]]
        return tuple(self.steps[index] for index in sorted({last, *rx.ancestors(graph, last)}))


@dataclass(frozen=True)
class _Spread:
    """A state of the spreading of power: parts reached, steps taken, outputs of differentials assumed."""

    reached: frozenset[str]
    steps: tuple[Step, ...]
    assumed: tuple[str, ...] = ()
    backdriven: tuple[str, ...] = ()


def trace_power(train: Train, drive: str, rates: Mapping[str, Fraction | None]) -> Flow:
    """Spread power from the drive through every link that passes something.

    A differential passes power to its third part once two are driven or held. Where its own
    output comes back to it through a loop, either of the open parts is tried as the output, and
    the way with the fewest back-driven worms is kept; a worm is driven backwards only where no
    other way reaches it.
    """
    links = [link for link in train.links if link.relation() is not None]
    moving = {part for part, rate in rates.items() if rate}
    still = frozenset(part for part, rate in rates.items() if rate == 0)
    start = _Spread(frozenset({train.drives[drive].shaft}) | still, ())
    best = _best(start, links, moving)
    return Flow(best.steps, best.backdriven)


def _best(state: _Spread, links: list[Link], moving: set[str]) -> _Spread:
    """The end state with the fewest worms driven backwards, depth first over the open choices."""
    state = _spread_forward(state, links, moving)
    ends = [_best(choice, links, moving) for choice in _assumptions(state, links, moving)]
    closed = [end for end in ends if moving <= end.reached and _is_closed(end, links)]
    if not closed:
        backwards = next(_backward_steps(state, links, moving), None)
        closed = [_best(backwards, links, moving)] if backwards else []
    return min(closed, key=lambda end: len(end.backdriven), default=state)


def _spread_forward(state: _Spread, links: Iterable[Link], moving: set[str]) -> _Spread:
    reached, steps = set(state.reached), list(state.steps)
    waiting = [link for link in links if link.name not in state.assumed]
    progress = True
    while progress:
        progress = False
        for link in tuple(waiting):
            unreached = [part for part in link.ports if part not in reached]
            if not unreached:
                waiting.remove(link)
                continue
            target = unreached[0]
            if len(unreached) > 1 or target not in moving or _is_backward(link, target):
                continue
            steps.append(Step(link.name, tuple(part for part in link.ports if part != target), target))
            reached.add(target)
            waiting.remove(link)
            progress = True
    return _Spread(frozenset(reached), tuple(steps), state.assumed, state.backdriven)


def _is_backward(link: Link, target: str) -> bool:
    return link.self_locking and target == link.ports[0]


def _assumptions(state: _Spread, links: Iterable[Link], moving: set[str]) -> Iterator[_Spread]:
    """Take each open part of one half-driven differential as its output; the loop must then close."""
    for link in links:
        unreached = [part for part in link.ports if part not in state.reached]
        if isinstance(link, Differential) and len(unreached) == 2 and moving.issuperset(unreached):
            for target in unreached:
                sources = tuple(part for part in link.ports if part != target)
                step = Step(link.name, sources, target)
                yield _Spread(
                    state.reached | {target},
                    (*state.steps, step),
                    (*state.assumed, link.name),
                    state.backdriven,
                )
            return


def _is_closed(state: _Spread, links: Iterable[Link]) -> bool:
    """Whether each differential whose output was assumed had its other parts driven by other links."""
    driven_by = {step.target: step.link for step in state.steps}
    ports = {link.name: link.ports for link in links}
    return all(sum(driven_by.get(part) == name for part in ports[name]) == 1 for name in state.assumed)


def _backward_steps(state: _Spread, links: Iterable[Link], moving: set[str]) -> Iterator[_Spread]:
    for link in links:
        if not link.self_locking:
            continue
        worm, wheel = link.ports
        if wheel in state.reached and worm not in state.reached and worm in moving:
            yield _Spread(
                state.reached | {worm},
                (*state.steps, Step(link.name, (wheel,), worm)),
                state.assumed,
                (*state.backdriven, link.name),
            )
