"""Which end of each link drives the other, and whether a worm would have to be driven by its wheel."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

import rustworkx as rx
from handlead.kinematics.links.link import Link
from handlead.kinematics.links.links import Differential

from .train import Train


@dataclass(frozen=True)
class PowerStep:
    """Power passing through `link` from the parts `sources` into the part `target`."""

    link: str
    sources: tuple[str, ...]
    target: str


@dataclass(frozen=True)
class Flow:
    """Power through a train, in the order in which it spreads from the drive.

    `backdriven` names the worm gears whose worm turns only by way of its wheel.
    """

    steps: tuple[PowerStep, ...] = ()
    backdriven: tuple[str, ...] = ()

    def upstream(self, part: str) -> tuple[PowerStep, ...]:
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


#: Assumptions tried for loops that close only through each other; past them power is spread no further.
_MOST_ASSUMPTIONS = 200


@dataclass(frozen=True)
class _Spread:
    """A state of the spreading of power: parts reached, steps taken, outputs of differentials assumed."""

    reached: frozenset[str]
    steps: tuple[PowerStep, ...] = ()
    assumed: frozenset[str] = frozenset()
    backdriven: tuple[str, ...] = ()

    def through(self, link: Link, target: str) -> _Spread:
        """Power passed on through `link` into `target`."""
        sources = tuple(part for part in link.ports if part != target)
        return replace(
            self, reached=self.reached | {target}, steps=(*self.steps, PowerStep(link.name, sources, target))
        )


def trace_power(train: Train, drive: str, rates: Mapping[str, Fraction | None]) -> Flow:
    """Spread power from the drive through every link that passes something.

    A differential passes power to its third part once two are driven or held. Where its own
    output comes back to it through a loop, either of the open parts is tried as the output, and
    the way with the fewest back-driven worms is kept; a worm is driven backwards only where no
    other way reaches it.
    """
    moving = {part for part, rate in rates.items() if rate}
    still = {part for part, rate in rates.items() if rate == 0}
    tracer = _Tracer([link for link in train.links if link.relation() is not None], moving)
    best = tracer.finish(tracer.forward(_Spread(frozenset({train.drives[drive].shaft, *still}))))
    return Flow(best.steps, best.backdriven)


class _Tracer:
    """Spreads power through `links` into the parts that are `moving`."""

    def __init__(self, links: Sequence[Link], moving: set[str]) -> None:
        self.links, self.moving = links, moving
        self.at: dict[str, list[Link]] = {}
        for link in links:
            for part in link.ports:
                self.at.setdefault(part, []).append(link)
        self.assumptions_left = _MOST_ASSUMPTIONS

    def forward(self, state: _Spread, start: str | None = None) -> _Spread:
        """Power spread as far as it goes by itself, from `start` or from all that is reached."""
        reached, steps = set(state.reached), list(state.steps)
        waiting = deque(self.links if start is None else self.at[start])
        while waiting:
            link = waiting.popleft()
            unreached = [part for part in link.ports if part not in reached]
            if len(unreached) != 1 or link.name in state.assumed:
                continue
            target = unreached[0]
            if target in self.moving and not _is_backward(link, target):
                steps.append(PowerStep(link.name, tuple(part for part in link.ports if part != target), target))
                reached.add(target)
                waiting.extend(self.at[target])
        return replace(state, reached=frozenset(reached), steps=tuple(steps))

    def finish(self, state: _Spread) -> _Spread:
        """The end state with the fewest worms driven backwards."""
        state = self._close_loops(state)
        if self.moving <= state.reached:
            return state
        ends = [self.finish(choice) for choice in self._assumptions(state)]
        complete = [end for end in ends if self.moving <= end.reached]
        if not complete:
            backwards = self._backward(state)
            return state if backwards is None else self.finish(backwards)
        return min(complete, key=lambda end: len(end.backdriven))

    def _close_loops(self, state: _Spread) -> _Spread:
        """Power through every loop that closes by itself.

        Which of the two open parts is the output then makes no difference to what is reached.
        """
        progress = True
        while progress:
            progress = False
            for link, unreached in self._half_driven(state):
                closed = (self._assume(state, link, target) for target in unreached)
                found = next((end for end in closed if end.reached.issuperset(unreached)), None)
                if found is not None:
                    state, progress = found, True
                    break
        return state

    def _half_driven(self, state: _Spread) -> Iterator[tuple[Link, list[str]]]:
        """Differentials of which one part is driven or held, with the two that are still open."""
        for link in self.links:
            unreached = [part for part in link.ports if part not in state.reached]
            if isinstance(link, Differential) and len(unreached) == 2 and self.moving.issuperset(unreached):
                yield link, unreached

    def _assume(self, state: _Spread, link: Link, target: str) -> _Spread:
        assumed = replace(state.through(link, target), assumed=state.assumed | {link.name})
        return self.forward(assumed, target)

    def _assumptions(self, state: _Spread) -> Iterator[_Spread]:
        """Each open part of one half-driven differential taken as its output, its loop still open."""
        for link, unreached in self._half_driven(state):
            for target in unreached:
                if self.assumptions_left > 0:
                    self.assumptions_left -= 1
                    yield self._assume(state, link, target)
            return

    def _backward(self, state: _Spread) -> _Spread | None:
        """Power through one worm gear from its wheel, where nothing else moves the worm."""
        for link in self.links:
            if not link.self_locking:
                continue
            worm, wheel = link.ports
            if wheel in state.reached and worm not in state.reached and worm in self.moving:
                driven = replace(state.through(link, worm), backdriven=(*state.backdriven, link.name))
                return self.forward(driven, worm)
        return None


def _is_backward(link: Link, target: str) -> bool:
    return link.self_locking and target == link.ports[0]
