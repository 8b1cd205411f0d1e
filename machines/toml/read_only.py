"""What a file says, as the reader gives it, but so that nobody writes into it."""

from __future__ import annotations

from typing import Any, NoReturn


def _refused(self: Any, *args: Any, **named: Any) -> NoReturn:
    raise TypeError(f"what was read from a file can't be altered; a {self.plain.__name__} made of it can")


class ReadOnlyTable(dict[str, Any]):
    """A table of a file. A copy is one that can be altered."""

    plain = dict
    __setitem__ = __delitem__ = __ior__ = _refused
    clear = pop = popitem = setdefault = update = _refused

    def __reduce__(self) -> tuple[Any, ...]:
        return ReadOnlyTable, (dict(self),)

    def __deepcopy__(self, memo: Any) -> dict[str, Any]:
        return {key: _copied(value) for key, value in self.items()}


class ReadOnlyList(list[Any]):
    """A list in a file. A copy is one that can be altered."""

    plain = list
    __setitem__ = __delitem__ = __iadd__ = __imul__ = _refused
    append = clear = extend = insert = pop = remove = reverse = sort = _refused

    def __reduce__(self) -> tuple[Any, ...]:
        return ReadOnlyList, (list(self),)

    def __deepcopy__(self, memo: Any) -> list[Any]:
        return [_copied(value) for value in self]


def _copied(value: Any) -> Any:
    if isinstance(value, ReadOnlyTable | ReadOnlyList):
        return value.__deepcopy__({})
    return value


def read_only(value: Any) -> Any:
    """`value` with every table and list in it, at any depth, one that can't be written into."""
    if isinstance(value, dict):
        return ReadOnlyTable({key: read_only(each) for key, each in value.items()})
    if isinstance(value, list):
        return ReadOnlyList(read_only(each) for each in value)
    return value
