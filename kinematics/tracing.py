"""A finger along the train: the links between two parts, in order, with the ratio after each."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import rustworkx as rx

from .solution import Solution


@dataclass(frozen=True)
class Touch:
    """One link on the way: the part reached, and its rate per unit of the part started from."""

    link: str
    part: str
    ratio: Fraction | None


def follow(solution: Solution, start: str, end: str) -> tuple[Touch, ...]:
    """The fewest links from part `start` to part `end` that pass something, with the ratio after each.

    Empty where nothing joins the two. The ratio is None for a part that nothing drives or where
    `start` stands still. Raises `KeyError` for an unknown part.
    """
    for part in (start, end):
        if part not in solution.train:
            raise KeyError(part)
    graph: rx.PyGraph[str, str] = rx.PyGraph()
    nodes = {part: graph.add_node(part) for part in solution.train.parts}
    for link in solution.train.links:
        if link.relation() is not None and len(link.ports) > 1:
            first, *others = link.ports
            graph.add_edges_from([(nodes[first], nodes[other], link.name) for other in others])
            if len(link.ports) == 3:
                graph.add_edge(nodes[link.ports[1]], nodes[link.ports[2]], link.name)
    paths = rx.dijkstra_shortest_paths(graph, nodes[start], nodes[end], default_weight=1.0)
    if nodes[end] not in paths:
        return ()
    path = list(paths[nodes[end]])
    return tuple(
        Touch(graph.get_edge_data(before, after), graph[after], _ratio(solution, graph[after], start))
        for before, after in zip(path, path[1:], strict=False)
    )


def _ratio(solution: Solution, part: str, start: str) -> Fraction | None:
    rate, base = solution.rates[part], solution.rates[start]
    return rate / base if rate is not None and base else None
