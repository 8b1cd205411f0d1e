"""What the change gears in each bracket decide, told from what stands still without them."""

from __future__ import annotations

from collections.abc import Mapping
from enum import Enum
from fractions import Fraction

from handlead.kinematics.train.solution import SLIDE_ENDS

from .transfer import Transfer, generic


class Role(Enum):
    """What the change gears in a bracket decide."""

    SPEED = "hob speed"
    INDEX = "index"
    FEED = "feed"
    DIFFERENTIAL = "differential"
    IDLE = "nothing with the levers as they stand"


def roles(transfer: Transfer) -> dict[str, Role]:
    """What each open bracket decides with the levers as they stand, found by stopping its driven shaft.

    Stop it, and the hob stands: it sets the speed. The table stands: the index. A slide stands:
    the feed. Only the table's turning changes: the differential.
    """
    filled = generic(transfer.places)
    running = transfer.end_rates(filled)
    return {name: _role(transfer, name, filled, running) for name in filled}


def _role(
    transfer: Transfer, name: str, filled: Mapping[str, Fraction], running: Mapping[str, Fraction | None]
) -> Role:
    parted = {other: ratio for other, ratio in filled.items() if other != name}
    if running["hob"] and not transfer.end_rates(parted)["hob"]:
        return Role.SPEED
    stopped = _stopped(transfer, name, filled)
    if not stopped["hob"]:
        return Role.IDLE  # the train drives this bracket backwards: its gears decide nothing
    if running["table"] and not stopped["table"]:
        return Role.INDEX
    if any(running[end] and not stopped[end] for end in SLIDE_ENDS if end in running):
        return Role.FEED
    changed = running["table"] != stopped["table"]
    return Role.DIFFERENTIAL if changed and running["table"] else Role.IDLE


def fed_slides(transfer: Transfer, name: str) -> tuple[str, ...]:
    """The slides, by end name, whose feed the gears in a bracket decide with the levers as they stand."""
    filled = generic(transfer.places)
    running, stopped = transfer.end_rates(filled), _stopped(transfer, name, filled)
    return tuple(end for end in SLIDE_ENDS if end in running and running[end] and not stopped[end])


def _stopped(transfer: Transfer, name: str, filled: Mapping[str, Fraction]) -> dict[str, Fraction | None]:
    return transfer.end_rates({**filled, name: Fraction(0)})
