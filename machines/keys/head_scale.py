"""The scale by which a head is swung: where it is read from, and what it calls the two ways."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from handlead.kinematics.frame.frozen import freeze
from handlead.kinematics.frame.words import SWIVEL_TURNS, swing

#: Where a scale may be read from: the other side turns its ways over.
READ_FROM = ("from behind the hob", "from the front")


@dataclass(frozen=True)
class HeadScale:
    """`read` is one of `READ_FROM`; `called` has the scale's words by the frame's, as seen from behind the hob."""

    read: str = READ_FROM[0]
    called: Mapping[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        freeze(self, "called")

    @classmethod
    def of(cls, values: Mapping[str, Any] | None) -> HeadScale:
        """From the keys of [head]."""
        given = values or {}
        return cls(given.get("read", READ_FROM[0]), given.get("called", {}))

    @property
    def values(self) -> dict[str, Any] | None:
        """The keys of [head]; None where there is nothing to say."""
        if self == HeadScale():
            return None
        return {"read": None if self.read == READ_FROM[0] else self.read, "called": dict(self.called) or None}

    def words(self, swivel_deg: float) -> str:
        """Which way the head goes as its scale says it; "" where that is what is said anyhow, or the head is level."""
        turn = swing(swivel_deg)
        if not turn:
            return ""
        if turn in self.called:
            return self.called[turn]
        if self.read == READ_FROM[0]:
            return ""
        return f"{next(other for other in SWIVEL_TURNS if other != turn)} seen {self.read}"
