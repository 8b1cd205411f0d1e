"""Where everything stands in a train diagram, worked out for any train; nothing is drawn here.

Shafts are level lines. Shafts on one axis (joined by a clutch, a screw or the suns of a differential)
share a line; every other link is an upright between two lines. The axes form a tree that hangs from
the drive; links that close a loop are threaded through it afterwards. The order in which the
branches hang, and the way round of each axis, are tried out until nothing is gained: the fewest
crossings first, then the smallest sheet. Lengths are millimetres on paper, y upwards.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping

from handlead.kinematics.train.solution import Solution
from handlead.kinematics.train.train import Train
from handlead.viz.look.shop import PLAIN, Shop

from .train_picture import TrainPicture, push_apart
from .train_placer import Placer
from .train_router import Router
from .train_shapes import TrainLayout
from .train_tree import Branch, axes_of, orders_of, tree_of
from .train_words import LinkWords, PartWords, links_in_words, parts_in_words

# ---------------------------------------------------------------- the search


#: No branch's order is tried in more ways than this, and no more rounds of trying are made.
_MOST_ORDERS, _ROUNDS = 24, 3


def lay_out(
    solution: Solution, shop: Shop = PLAIN,
    said: tuple[Mapping[str, PartWords], Mapping[str, LinkWords]] | None = None,
) -> TrainLayout:
    """The diagram of a solved train; `said` is what stands at its parts and links, where not all that it has is
    known."""
    train = solution.train
    parts, links = said or (parts_in_words(solution, shop), links_in_words(solution, shop))
    roots, loops = tree_of(train, solution.drive)
    axis, _ = axes_of(train)
    dropped = frozenset(edge.link.name for edge in loops if edge.carrier)
    placer = Placer(train, parts, links, dropped)

    def attempt() -> tuple[float, TrainPicture]:
        picture = TrainPicture()
        for root in roots:
            placed = placer.place(root)
            x = push_apart(picture.solid, placed.solid, 6.0) if picture.solid else 0.0
            picture.add(placed.shifted(x, 0.0))
        picture.solid = [box for box in picture.solid if box[1] > -900]
        router = Router(picture, links, axis)
        for edge in loops:
            router.route(edge)
        x0, y0, x1, y1 = picture.bounds
        width, height = x1 - x0, y1 - y0
        return router.hits * 10_000 + width * height / 100 + 2 * max(0, width - 1.5 * height) + height, picture

    best, picture = attempt()
    for _ in range(_ROUNDS):
        before = best
        for branch in [b for root in roots for b in root.every()]:
            best, picture = _improve(placer, branch, attempt, best, picture)
        if best == before:
            break
    return _finished(train, parts, links, picture)


def _improve(placer: Placer, branch: Branch, attempt, best: float, picture: TrainPicture):  # type: ignore[no-untyped-def]
    """Try the other orders of a branch's own branches, and its axis the other way round."""
    count = len(branch.branches)
    orders = list(itertools.islice(orders_of(branch), _MOST_ORDERS))
    ways = [False, True] if len(branch.axis.members) > 1 else [False]
    if len(orders) * len(ways) == 1:
        return best, picture
    chosen = (placer.orders.get(id(branch), tuple(range(count))), id(branch) in placer.turned)
    kept = chosen
    for way in ways:
        for order in orders:
            if (order, way) == chosen:
                continue
            placer.choose(branch, order, way)
            cost, tried = attempt()
            if cost < best - 1e-9:
                best, picture, kept = cost, tried, (order, way)
    placer.choose(branch, *kept)
    return best, picture


def _finished(
    train: Train, parts: Mapping[str, PartWords], links: Mapping[str, LinkWords], picture: TrainPicture
) -> TrainLayout:
    """The picture moved to its corner, with a margin."""
    margin = 5.0
    x0, y0, x1, y1 = picture.bounds
    moved = picture.shifted(margin - x0, margin - y0)
    return TrainLayout(
        parts,
        links,
        tuple(moved.runs[part] for part in train.parts),
        tuple(moved.uprights),
        tuple(moved.couplings),
        tuple(moved.signs),
        tuple(moved.labels),
        x1 - x0 + 2 * margin,
        y1 - y0 + 2 * margin,
    )
