"""What a bracket would have to give: its two shafts' rates as the ends of the train demand them.

Found by solving the train with the bracket taken out; no formula for any machine stands here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from fractions import Fraction

from handlead.kinematics.train.elimination import reduce_relations
from handlead.kinematics.train.links import ChangeGears, Ratio
from handlead.kinematics.train.solution import SLIDE_ENDS, held_relations, link_relations
from handlead.kinematics.train.train import Train

#: Ratios with no prime in common, put into the brackets that aren't under study: with these, nothing
#: in a sound train cancels by accident.
_GENERIC = tuple(Fraction(a, b) for a, b in ((7, 5), (11, 13), (17, 19), (29, 23), (31, 37), (43, 41)))


@dataclass(frozen=True)
class Need:
    """The driving and the driven shaft of a bracket as combinations of the rates of the ends.

    `driving` and `driven` map end names (`hob`, `table`, `axial`, …, signed in the frame) to
    coefficients, in turns of the shaft per turn or millimetre of the end.
    """

    bracket: str
    driving: Mapping[str, Fraction]
    driven: Mapping[str, Fraction]

    def ratio(self, ends: Mapping[str, Fraction]) -> Fraction | None:
        """Signed ratio that the bracket must have for the ends to move so; None where none would do.

        Ends that aren't mentioned stand still.
        """
        driving = sum((value * ends.get(end, 0) for end, value in self.driving.items()), Fraction(0))
        driven = sum((value * ends.get(end, 0) for end, value in self.driven.items()), Fraction(0))
        return driven / driving if driving and driven else None


def need(train: Train, bracket: str, drive: str, still: Sequence[str] = ()) -> Need | None:
    """What `bracket` must give, all other links as they are in `train`, the parts in `still` held.

    None where the ends alone don't settle the bracket's shafts. Raises `KeyError` for an unknown
    bracket or drive, `ValueError` for a link that takes no change gears.
    """
    link = _bracket(train, bracket)
    parted = train.without(bracket)
    ends = [name for name in ("hob", "table", *SLIDE_ENDS) if name in parted.ends]
    keep = [parted.ends[name].part for name in ends]
    relations = [relation for _, relation in link_relations(parted) + held_relations(parted, drive)]
    relations += [{part: Fraction(1)} for part in still]
    expressions = reduce_relations(parted.parts, relations, keep)
    names = {parted.ends[name].part: name for name in ends}
    sides = [expressions.of[part] for part in link.ports]
    if any(part not in names for side in sides for part in side):
        return None
    driving, driven = (
        {names[part]: value * parted.ends[names[part]].sign for part, value in side.items()} for side in sides
    )
    return Need(bracket, driving, driven)


class Role(Enum):
    """What the change gears in a bracket decide."""

    SPEED = "hob speed"
    INDEX = "index"
    FEED = "feed"
    DIFFERENTIAL = "differential"
    IDLE = "nothing with the levers as they stand"


def roles(train: Train, drive: str) -> dict[str, Role]:
    """What each bracket decides with the levers as they stand, found by stopping its driven shaft.

    Stop it, and the hob stands: it sets the speed. The table stands: the index. A slide stands:
    the feed. Only the table's turning changes: the differential.
    """
    filled = with_generic_gears(train)
    running = _end_rates(filled, drive)
    return {link.name: _role(filled, link, drive, running) for link in train.brackets}


def with_generic_gears(train: Train, besides: Sequence[str] = ()) -> Train:
    """The train with a fixed odd ratio in every bracket except those named in `besides`."""
    ratios = {}
    for rank, link in enumerate(train.brackets):
        if link.name not in besides:
            times, value = divmod(rank, len(_GENERIC))
            ratios[link.name] = Ratio(link.name, link.from_part, link.to_part, _GENERIC[value] + times)
    return train.replacing(*ratios.values())


def _bracket(train: Train, name: str) -> ChangeGears | Ratio:
    link = train.link(name)
    if not isinstance(link, ChangeGears | Ratio):
        raise ValueError(f"link {name!r} is a {link.kind}: it takes no change gears")
    return link


def _end_rates(train: Train, drive: str, still: Sequence[str] = ()) -> dict[str, Fraction | None]:
    shaft = train.drives[drive].shaft
    relations = [relation for _, relation in link_relations(train) + held_relations(train, drive)]
    relations += [{part: Fraction(1)} for part in still]
    expressions = reduce_relations(train.parts, relations, keep=(shaft,))
    turn = {shaft: Fraction(1)} if shaft in expressions.free else {}
    return {name: expressions.value(end.part, turn) for name, end in train.ends.items()}


def _role(train: Train, link: ChangeGears, drive: str, running: Mapping[str, Fraction | None]) -> Role:
    parted = train.without(link.name)
    if running["hob"] and not _end_rates(parted, drive)["hob"]:
        return Role.SPEED
    stopped = _end_rates(parted, drive, still=(link.to_part,))
    if not stopped["hob"]:
        return Role.IDLE  # the train drives this bracket backwards: its gears decide nothing
    if running["table"] and not stopped["table"]:
        return Role.INDEX
    if any(running[name] and not stopped[name] for name in SLIDE_ENDS if name in running):
        return Role.FEED
    changed = running["table"] != stopped["table"]
    return Role.DIFFERENTIAL if changed and running["table"] else Role.IDLE


def fed_slides(train: Train, bracket: str, drive: str) -> tuple[str, ...]:
    """The slides, by end name, whose feed the gears in `bracket` decide with the levers as they stand."""
    filled = with_generic_gears(train)
    link = _bracket(filled, bracket)
    running = _end_rates(filled, drive)
    stopped = _end_rates(filled.without(bracket), drive, still=(link.to_part,))
    return tuple(name for name in SLIDE_ENDS if name in running and running[name] and not stopped[name])

