"""A finger along the train: the links between two parts, in order, with the ratio after each."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise, permutations

import rustworkx as rx

from .solution import Solution

#: What a step against the flow of power costs, in steps with it: a finger goes back only to a fork.
_AGAINST_THE_FLOW = 20.0


@dataclass(frozen=True)
class PathStep:
    """One link on the way: the part reached, and its rate per unit of the part started from."""

    link: str
    part: str
    ratio: Fraction | None


def follow(solution: Solution, start: str, end: str) -> tuple[PathStep, ...]:
    """The links from part `start` to part `end`, with the flow of power where it goes that way.

    Empty where nothing joins the two. The ratio is None for a part that nothing drives or where
    `start` stands still. Raises `KeyError` for an unknown part.
    """
    graph: rx.PyDiGraph[str, tuple[str, float]] = rx.PyDiGraph()
    nodes = {part: graph.add_node(part) for part in solution.train.parts}
    for link, source, target, cost in _ways(solution):
        graph.add_edge(nodes[source], nodes[target], (link, cost))
    first, last = nodes[start], nodes[end]
    paths = rx.dijkstra_shortest_paths(graph, first, last, weight_fn=lambda way: way[1])
    path = list(paths[last]) if last in paths else []
    return tuple(
        PathStep(graph.get_edge_data(before, after)[0], graph[after], _ratio(solution, graph[after], start))
        for before, after in pairwise(path)
    )


def _ways(solution: Solution) -> Iterator[tuple[str, str, str, float]]:
    """Each link as steps from part to part; those that carry no power count as against the flow."""
    carrying = {step.link for step in solution.flow.steps}
    for step in solution.flow.steps:
        for source in step.sources:
            yield step.link, source, step.target, 1.0
            yield step.link, step.target, source, _AGAINST_THE_FLOW
    for link in solution.train.links:
        if link.name not in carrying and link.relation() is not None:
            for source, target in permutations(link.ports, 2):
                yield link.name, source, target, _AGAINST_THE_FLOW


def _ratio(solution: Solution, part: str, start: str) -> Fraction | None:
    rate, base = solution.rates[part], solution.rates[start]
    return rate / base if rate is not None and base else None
