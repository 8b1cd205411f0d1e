"""Values frozen to the bottom, so that what holds them can be hashed, pickled and handed round unaltered."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Any

from immutabledict import immutabledict

#: What is as it is and holds nothing that could be altered; asking first whether it is a mapping takes long.
_PLAIN = frozenset({tuple, str, int, bool, float, Fraction, type(None)})


def frozen(value: Any) -> Any:
    """`value` with every mapping and list in it, at any depth, replaced by one that can't be altered."""
    if type(value) in _PLAIN or isinstance(value, immutabledict):
        return value
    if isinstance(value, Mapping):
        return immutabledict({key: frozen(each) for key, each in value.items()})
    if isinstance(value, list):
        return tuple(frozen(each) for each in value)
    return value


def freeze(owner: object, *names: str) -> None:
    """Freeze these fields of a frozen dataclass that is being made."""
    for name in names:
        object.__setattr__(owner, name, frozen(getattr(owner, name)))
