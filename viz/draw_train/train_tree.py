"""A train as a tree of axes that hangs from the drive, and the orders in which its branches can hang."""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Iterator
from dataclasses import dataclass, field

from handlead.kinematics.links.link import Link
from handlead.kinematics.links.links import Clutch, Differential, Screw
from handlead.kinematics.train.train import Train


@dataclass
class TreeAxis:
    """Parts on one line, left to right, and the links between neighbours."""

    members: list[str]
    joins: list[Link] = field(default_factory=list)

    def turned(self) -> TreeAxis:
        """The same axis the other way round."""
        return TreeAxis(self.members[::-1], self.joins[::-1])


@dataclass(frozen=True)
class TreeEdge:
    """A link that is an upright; `carrier` where it is a differential's frame, hung from its suns."""

    link: Link
    first: str
    second: str
    carrier: bool = False


def axes_of(train: Train) -> tuple[dict[str, TreeAxis], list[TreeEdge]]:
    """The parts gathered into axes, and the links left over as uprights."""
    axis = {part: TreeAxis([part]) for part in train.parts}
    differentials = [link for link in train.links if isinstance(link, Differential)]
    joined: set[str] = set()
    for kind in (Differential, Clutch, Screw):
        for link in train.links:
            if isinstance(link, kind) and _join(axis, link, differentials):
                joined.add(link.name)
    edges = []
    for link in train.links:
        if isinstance(link, Differential):
            if link.name not in joined:
                edges.append(TreeEdge(link, *link.suns))
            edges.append(TreeEdge(link, link.suns[1], link.carrier, carrier=link.name in joined))
        elif link.name not in joined and len(link.ports) == 2:
            edges.append(TreeEdge(link, *link.ports))
    return axis, edges


def _join(axis: dict[str, TreeAxis], link: Link, differentials: list[Differential]) -> bool:
    """Bring the first two ports of `link` onto one line, if both stand at an end of theirs."""
    first, second = link.ports[:2]
    one, other = axis[first], axis[second]
    members = {*one.members, *other.members}
    if one is other or any(d.carrier in members and members & set(d.suns) for d in differentials):
        return False
    if first not in (one.members[0], one.members[-1]) or second not in (other.members[0], other.members[-1]):
        return False
    left = one if one.members[-1] == first else one.turned()
    right = other if other.members[0] == second else other.turned()
    whole = TreeAxis(left.members + right.members, [*left.joins, link, *right.joins])
    for part in whole.members:
        axis[part] = whole
    return True


@dataclass
class Branch:
    """An axis in the tree: the edge that it hangs from, the part of its own that takes it, its branches."""

    axis: TreeAxis
    edge: TreeEdge | None = None
    entry: str | None = None
    branches: list[Branch] = field(default_factory=list)
    parent: Branch | None = None

    def every(self) -> Iterator[Branch]:
        """This branch and all that hang from it."""
        yield self
        for branch in self.branches:
            yield from branch.every()


#: What an upright costs from the driving part to the driven one, back again, and as a carrier.
_ALONG, _BACK, _CARRIER = 1, 60, 400


def tree_of(train: Train, drive: str) -> tuple[list[Branch], list[TreeEdge]]:
    """The trees of axes, the drive's first, and the edges that close loops."""
    axis, edges = axes_of(train)
    ways: dict[int, list[tuple[int, int, TreeEdge, str, str]]] = {}
    for number, edge in enumerate(edges):
        for near, far, back in ((edge.first, edge.second, False), (edge.second, edge.first, True)):
            cost = _CARRIER if edge.carrier else _BACK if back else _ALONG
            ways.setdefault(id(axis[near]), []).append((cost, number, edge, near, far))
    roots: list[Branch] = []
    reached: dict[int, Branch] = {}
    used: set[int] = set()
    starts = [train.drives[drive].shaft, *(d.shaft for d in train.drives.values()), *train.parts]
    for start in starts:
        if id(axis[start]) in reached:
            continue
        root = Branch(axis[start])
        roots.append(root)
        reached[id(axis[start])] = root
        tie = itertools.count()
        queue: list[tuple[int, int, Branch, int, TreeEdge, str, str]] = []

        def offer(branch: Branch, paid: int, queue: list = queue, tie: itertools.count = tie) -> None:  # type: ignore[type-arg]
            for cost, number, edge, near, far in ways.get(id(branch.axis), ()):
                heapq.heappush(queue, (paid + cost, next(tie), branch, number, edge, near, far))

        offer(root, 0)
        while queue:
            paid, _, parent, number, edge, _near, far = heapq.heappop(queue)
            if number in used or id(axis[far]) in reached:
                continue
            used.add(number)
            branch = Branch(axis[far], edge, far, parent=parent)
            parent.branches.append(branch)
            reached[id(axis[far])] = branch
            offer(branch, paid)
    return roots, [edge for number, edge in enumerate(edges) if number not in used]


def orders_of(branch: Branch) -> Iterator[tuple[int, ...]]:
    """The orders in which the branches can hang that look different: those of one part among themselves."""
    groups: dict[str, list[int]] = {}
    for number, hung in enumerate(branch.branches):
        edge = hung.edge
        assert edge is not None
        near = edge.second if hung.entry == edge.first else edge.first
        groups.setdefault(near, []).append(number)
    for ways in itertools.product(*(itertools.permutations(group) for group in groups.values())):
        yield tuple(itertools.chain.from_iterable(ways))
