"""Solve a train: every rate exactly, what is loose, what locks, and which way power flows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

import rustworkx as rx
from handlead.kinematics.frame.motion import ENDS, Position, Rates
from handlead.kinematics.links.link import Relation

from .elimination import Expressions, reduce_relations
from .locking import shortest_lock
from .powerflow import Flow, trace_power
from .train import Train

#: Relations by the name of the link (or the words for the constraint) that they come from.
Labelled = list[tuple[str, Relation]]


@dataclass(frozen=True)
class Solution:
    """What a train does when one drive turns and the others stand as they do at rest.

    `rates` gives each part's turns (slides: millimetres) per turn of the drive's shaft, by the
    part's own positive; None where nothing drives the part. `freedom` is the number of motions
    that levers and change gears leave the whole train. `lock` names the shortest chain of links
    that lets the drive only stand still, in order from the drive; empty when it turns.
    """

    train: Train
    drive: str
    rates: Mapping[str, Fraction | None]
    freedom: int
    lock: tuple[str, ...]
    flow: Flow

    @property
    def is_locked(self) -> bool:
        """Whether the drive can't turn at all."""
        return bool(self.lock)

    @property
    def loose(self) -> tuple[str, ...]:
        """The parts that nothing drives."""
        return tuple(part for part in self.train.parts if self.rates[part] is None)

    @property
    def backdriven(self) -> tuple[str, ...]:
        """Worm gears that could turn only if the wheel drove the worm."""
        return self.flow.backdriven

    def end_rate(self, name: str) -> Fraction | None:
        """Rate of an end, signed in the frame; None where the train has no such end or nothing drives it."""
        end = self.train.ends.get(name)
        rate = None if end is None else self.rates[end.part]
        return None if end is None or rate is None else rate * end.sign

    @property
    def per_turn(self) -> Position:
        """What the ends do over a turn of the drive; one that the train lacks or doesn't drive stands still."""
        return Position(*(self.end_rate(name) or Fraction(0) for name in ENDS))


def solve(train: Train, drive: str) -> Solution:
    """Solve the train for one turn of the drive called `drive`, in exact rationals.

    Raises `KeyError` if the train has no such drive.
    """
    shaft = train.drives[drive].shaft
    relations = link_relations(train)
    running = reduce_relations(train.parts, (relation for _, relation in relations), keep=(shaft,))
    freedom = len(running.free)
    held = held_relations(train, drive)
    relations += held
    expressions = running.with_still([part for _, relation in held for part in relation], keep=(shaft,))
    if not expressions.of[shaft]:
        still: dict[str, Fraction | None] = {
            part: (Fraction(0) if not of else None) for part, of in expressions.of.items()
        }
        return Solution(train, drive, still, freedom, shortest_lock(shaft, relations), Flow())
    turn = {shaft: Fraction(1)}
    rates = {part: expressions.value(part, turn) for part in train.parts}
    return Solution(train, drive, rates, freedom, (), trace_power(train, drive, rates))


def link_relations(train: Train) -> Labelled:
    """The relation of every link that passes something as it stands, by the link's name."""
    stated = ((link.name, link.relation()) for link in train.links)
    return [(name, relation) for name, relation in stated if relation is not None]


def held_relations(train: Train, drive: str | None) -> Labelled:
    """One relation for each drive that stands still while `drive` turns (None: while all rest)."""
    running = None if drive is None else train.drives[drive].shaft
    return [
        (f"drive {name} at rest", {other.shaft: Fraction(1)})
        for name, other in train.drives.items()
        if name != drive and not other.free_at_rest and other.shaft != running
    ]


@dataclass(frozen=True)
class HandQuestions:
    """The two questions a machinist asks by hand, with the feed train parted at `opened`.

    `table_per_hob`: table turns per hob turn with every slide still. `table_per_axial` (and
    `table_per_tangential`): table turns per mm of the slide with the hob still. Signed in the frame;
    None where the train doesn't answer. `opened` is () where the slides weren't tied to the hob.
    """

    table_per_hob: Fraction | None
    table_per_axial: Fraction | None
    table_per_tangential: Fraction | None
    opened: tuple[str, ...]


SLIDE_ENDS = ("axial", "tangential", "radial")


def ask_by_hand(train: Train, drive: str) -> HandQuestions:
    """Turn the hob with the slides still, then each slide with the hob still, and watch the table.

    Each slide that the hob drives is parted from it at the link nearest the drive after which the
    hob still turns the table, as a machinist would pull the feed gears; what hangs on the slide
    stays on it. Drives that don't run stand as they do at rest. Raises `KeyError` if the train
    has no such drive, or neither hob nor table among its ends.
    """
    slides = [train.ends[name].part for name in SLIDE_ENDS if name in train.ends]
    opened: list[str] = []
    for slide in slides:
        cut = _feed_cut(train.without(*opened), drive, slide)
        opened += [cut] if cut else []
    expressions = _by_ends(train.without(*opened), drive)
    # A slide that can't be parted from the hob moves with it: then the first question can't be asked.
    tied = any(train.ends["hob"].part in expressions.of[slide] for slide in slides)
    return HandQuestions(
        None if tied else _table_per(train, expressions, "hob"),
        _table_per(train, expressions, "axial"),
        _table_per(train, expressions, "tangential"),
        tuple(opened),
    )


def _feed_cut(train: Train, drive: str, slide: str) -> str | None:
    """The link to open so that `slide` is free of the hob, while the hob still turns the table."""
    solution = solve(train, drive)
    if solution.is_locked or not solution.rates[slide]:
        return None
    before_hob = {step.link for step in solution.flow.upstream(train.ends["hob"].part)}
    for step in solution.flow.upstream(slide):
        parted = train.without(step.link)
        if step.link in before_hob or not _hang_together(parted, "hob", "table"):
            continue
        expressions = _by_ends(parted, drive)
        if slide in expressions.free and _table_per(parted, expressions, "hob"):
            return step.link
    return None


def _hang_together(train: Train, one: str, other: str) -> bool:
    """Whether any chain of links joins the two ends: far quicker to tell than what passes along it."""
    graph: rx.PyGraph[str, None] = rx.PyGraph()
    nodes = {part: graph.add_node(part) for part in train.parts}
    for link in train.links:
        if link.relation() is not None:
            first, *others = (nodes[part] for part in link.ports)
            graph.add_edges_from_no_data([(first, port) for port in others])
    return rx.has_path(graph, nodes[train.ends[one].part], nodes[train.ends[other].part])


def _by_ends(train: Train, drive: str) -> Expressions:
    """Every part by the hob and the slides, as far as they are free of each other."""
    relations = link_relations(train) + held_relations(train, drive)
    return reduce_relations(train.parts, (relation for _, relation in relations), keep=_inputs(train))


def _inputs(train: Train) -> tuple[str, ...]:
    return tuple(train.ends[name].part for name in ("hob", *SLIDE_ENDS) if name in train.ends)


def _table_per(train: Train, expressions: Expressions, name: str) -> Fraction | None:
    """Table per unit of the end called `name`, the other ends still; None if the train doesn't say."""
    if name not in train.ends:
        return None
    end, table = train.ends[name], train.ends["table"]
    of_table = expressions.of[table.part]
    if end.part not in expressions.free or not set(of_table) <= set(_inputs(train)):
        return None
    return end.sign * table.sign * of_table.get(end.part, Fraction(0))


def hob_rates(solution: Solution) -> Rates | None:
    """The ends' rates per turn of the hob; a slide that the train lacks or doesn't drive stands still.

    None where the hob or the table isn't driven, or the train is locked.
    """
    return None if solution.end_rate("table") is None else solution.per_turn.rates
