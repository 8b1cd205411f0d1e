"""The shortest chain of links that lets a drive only stand still."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction

import rustworkx as rx
from handlead.kinematics.links.link import Relation

from .elimination import reduce_relations

#: Above this many candidates the exact search for the shortest chain gives way to leaving links out.
_MOST_CANDIDATES = 5000

Labelled = Sequence[tuple[str, Relation]]
Combination = dict[str, Fraction]


def shortest_lock(shaft: str, relations: Labelled) -> tuple[str, ...]:
    """Names of the fewest relations that together hold `shaft` at 0, nearest to it first.

    Certain to be the fewest where the train has few redundant loops (five or so); otherwise a
    chain from which no link can be left out. Empty if the shaft can turn.
    """
    proof, spare = _proofs(shaft, relations)
    if proof is None:
        return ()
    groups = _inseparable([name for name, _ in relations], [proof, *spare])
    if math.comb(len(groups), len(spare)) <= _MOST_CANDIDATES:
        proof, *spare = ({name: row[name] for name in groups if name in row} for row in (proof, *spare))
        names = min(
            ({name for group in variant for name in groups[group]} for variant in _variants(proof, spare)),
            key=lambda chain: (len(chain), sorted(chain)),
        )
    else:
        names = _irreducible(shaft, relations)
    return tuple(_nearest_first(shaft, [item for item in relations if item[0] in names]))


def _inseparable(names: Sequence[str], rows: Sequence[Combination]) -> dict[str, list[str]]:
    """Names that every combination of `rows` holds together or not at all, under the first of them.

    Links in a row are inseparable; what is left to choose from are the rows of links.
    """
    groups: dict[tuple[Fraction, ...], list[str]] = {}
    for name in names:
        column = [row.get(name, Fraction(0)) for row in rows]
        scale = next((value for value in column if value), None)
        if scale is not None:
            groups.setdefault(tuple(value / scale for value in column), []).append(name)
    return {group[0]: group for group in groups.values()}


def _minus(row: Mapping[str, Fraction], other: Mapping[str, Fraction], times: Fraction) -> Combination:
    result = dict(row)
    for key, value in other.items():
        total = result.get(key, Fraction(0)) - times * value
        if total:
            result[key] = total
        else:
            result.pop(key, None)
    return result


def _proofs(shaft: str, relations: Labelled) -> tuple[Combination | None, list[Combination]]:
    """One combination of relations that leaves `shaft` = 0, and a basis of those that leave nothing.

    Each relation is given an unknown of its own that it amounts to; eliminated like any train, what is left tells
    which of these go together.
    """
    amounts = {f"\0{name}": name for name, _ in relations}
    rows = [
        {**relation, amount: Fraction(-1)} for amount, (_, relation) in zip(amounts, relations, strict=True)
    ]
    keep = (shaft, *amounts)
    of = reduce_relations(sorted({part for row in rows for part in row} | {shaft}), rows, keep).of
    left = [{name: Fraction(-1), **of[name]} for name in keep if name not in of[name]]
    holding = [row for row in left if shaft in row]
    if not holding:
        return None, []
    first, *others = holding
    spare = [row for row in left if shaft not in row]
    spare += [_minus(row, first, row[shaft] / first[shaft]) for row in others]
    proof, *rest = ({amounts[each]: share for each, share in row.items() if each != shaft} for row in (first, *spare))
    return proof, rest


def _variants(proof: Combination, spare: list[Combination]) -> Iterator[Combination]:
    """Every way to say the same with as many relations as possible struck out by the spare ones.

    What is left depends on which relations were struck out, not on their order.
    """
    level = {frozenset[str](): (proof, spare)}
    for _ in spare:
        following: dict[frozenset[str], tuple[Combination, list[Combination]]] = {}
        for struck, (combination, (first, *others)) in level.items():
            for name, share in first.items():
                if struck | {name} not in following:
                    left = [
                        _minus(row, first, row.get(name, Fraction(0)) / share)
                        for row in (combination, *others)
                    ]
                    following[struck | {name}] = (left[0], left[1:])
        level = following
    return (combination for combination, _ in level.values())


def _irreducible(shaft: str, relations: Labelled) -> set[str]:
    """The relations less, farthest from the shaft first, every one that the lock can do without."""
    kept = dict(sorted(relations))
    for candidate in reversed(_nearest_first(shaft, list(kept.items()))):
        rest = [relation for name, relation in kept.items() if name != candidate]
        parts = sorted({part for relation in rest for part in relation} | {shaft})
        if not reduce_relations(parts, rest, keep=(shaft,)).of[shaft]:
            del kept[candidate]
    return set(kept)


def _nearest_first(shaft: str, relations: Labelled) -> list[str]:
    """The relations' names by how many links lie between each and the shaft."""
    graph: rx.PyGraph[str, None] = rx.PyGraph()
    parts = {shaft, *(part for _, relation in relations for part in relation)}
    nodes = {part: graph.add_node(part) for part in parts}
    hubs = {}
    for name, relation in relations:
        hubs[name] = graph.add_node(name)
        graph.add_edges_from([(hubs[name], nodes[part], None) for part in relation])
    steps = dict(rx.dijkstra_shortest_path_lengths(graph, nodes[shaft], lambda _: 1.0))
    return sorted(hubs, key=lambda name: steps.get(hubs[name], float("inf")))
