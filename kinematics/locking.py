"""The shortest chain of links that lets a drive only stand still."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

import rustworkx as rx

from .elimination import reduce_relations
from .links import Relation

#: Above this many candidates the exact search for the shortest chain gives way to leaving links out.
_MOST_CANDIDATES = 5000

Labelled = Sequence[tuple[str, Relation]]
Combination = dict[str, Fraction]


def shortest_lock(shaft: str, relations: Labelled) -> tuple[str, ...]:
    """Names of the fewest relations that together hold `shaft` at 0, nearest to it first.

    Certain to be the fewest where the train has few redundant loops; otherwise a chain from
    which no link can be left out. Empty if the shaft can turn.
    """
    proof, spare = _proofs(shaft, relations)
    if proof is None:
        return ()
    if len(relations) ** len(spare) <= _MOST_CANDIDATES:
        fewest = min(_variants(proof, spare), key=lambda variant: (len(variant), sorted(variant)))
        names = set(fewest)
    else:
        names = _irreducible(shaft, relations, set(proof))
    return tuple(_nearest_first(shaft, [item for item in relations if item[0] in names]))


@dataclass(frozen=True)
class _Proof:
    """A combination of the relations: what is left of the parts, and how much of each went in."""

    left: Combination
    used: Combination

    def minus(self, other: _Proof, times: Fraction) -> _Proof:
        return _Proof(_minus(self.left, other.left, times), _minus(self.used, other.used, times))


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
    """One combination of relations that leaves `shaft` = 0, and a basis of those that leave nothing."""
    rows = [_Proof(dict(relation), {name: Fraction(1)}) for name, relation in relations]
    for part in sorted({part for _, relation in relations for part in relation} - {shaft}):
        rows = _clear(rows, part)
    holding = [row for row in rows if row.left]
    if not holding:
        return None, []
    first, *others = holding
    spare = [row for row in rows if not row.left]
    spare += [row.minus(first, row.left[shaft] / first.left[shaft]) for row in others]
    return first.used, [row.used for row in spare]


def _clear(rows: list[_Proof], part: str) -> list[_Proof]:
    """The rows with `part` eliminated, less the row that was used for it."""
    pivot = min((row for row in rows if part in row.left), key=lambda row: len(row.left), default=None)
    if pivot is None:
        return rows
    return [
        row.minus(pivot, row.left[part] / pivot.left[part]) if part in row.left else row
        for row in rows
        if row is not pivot
    ]


def _variants(proof: Combination, spare: list[Combination]) -> Iterator[Combination]:
    """Every way to say the same with as many relations as possible struck out by the spare ones."""
    if not spare:
        yield proof
        return
    first, *others = spare
    for name in first:
        struck = _minus(proof, first, proof.get(name, Fraction(0)) / first[name])
        yield from _variants(
            struck, [_minus(other, first, other.get(name, Fraction(0)) / first[name]) for other in others]
        )


def _irreducible(shaft: str, relations: Labelled, names: set[str]) -> set[str]:
    """`names` less every relation that the lock doesn't need."""
    for candidate in sorted(names):
        rest = [relation for name, relation in relations if name in names and name != candidate]
        parts = sorted({part for relation in rest for part in relation} | {shaft})
        if not reduce_relations(parts, rest, keep=(shaft,)).of[shaft]:
            names = names - {candidate}
    return names


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
