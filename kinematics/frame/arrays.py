"""Results that hold arrays: they can't be written into, are equal where all they hold is, and are told in a line."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

import numpy as np
import numpy.typing as npt


class HoldsArrays:
    """A frozen dataclass, made with ``eq=False, repr=False``, some of whose fields are arrays."""

    def __post_init__(self) -> None:
        self._protect()

    def __setstate__(self, state: dict[str, Any]) -> None:
        self.__dict__.update(state)
        self._protect()  # what comes out of a pickle could be written into again

    def _protect(self) -> None:
        """Hold every array as a view that can't be written into, whoever else goes on working with it."""
        for name, value in self._held().items():
            if isinstance(value, np.ndarray) and value.flags.writeable:
                seen = value.view()
                seen.flags.writeable = False
                object.__setattr__(self, name, seen)

    def __eq__(self, other: object) -> bool:
        if type(other) is not type(self):
            return NotImplemented
        mine, its = self._held(), other._held()
        return all(_same(value, its[name]) for name, value in mine.items())

    def __hash__(self) -> int:
        # The bytes of the first array and the shapes of all: enough to keep unlike ones apart.
        first, *rest = (value for value in self._held().values() if isinstance(value, np.ndarray))
        return hash((type(self), first.tobytes(), *(each.shape for each in rest)))

    def __repr__(self) -> str:
        first = next(value for value in self._held().values() if isinstance(value, np.ndarray))
        return f"<{type(self).__name__} of {' x '.join(map(str, first.shape))}>"

    def _held(self) -> dict[str, Any]:
        return {field.name: getattr(self, field.name) for field in fields(self)}  # type: ignore[arg-type]


def _same(one: Any, other: Any) -> bool:
    """Whether two fields are equal, NaN like NaN."""
    if isinstance(one, np.ndarray | float):
        return _equal(one, other)
    return bool(one == other)


def _equal(one: npt.NDArray[Any] | float, other: Any) -> bool:
    return bool(np.array_equal(one, other, equal_nan=np.asarray(one).dtype.kind == "f"))
