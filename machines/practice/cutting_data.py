"""The table of cutting data, read from the file that ships or from one like it."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterable, Iterator
from functools import cache
from pathlib import Path
from typing import Any

from handlead.kinematics.practice.cutdata import CUTS, CutData, FeedRow, HobRow, SpeedRow, StartsRow
from handlead.machines.toml.errors import HandleadError
from voluptuous import All, In, Invalid, MultipleInvalid, Optional, Required, Schema

SHIPPED = Path(__file__).with_name("cutting_data.toml")


class CuttingDataError(HandleadError, ValueError):
    """A table that can't be used; each line of the message is one fault."""


def read_cutting_data(path: Path = SHIPPED) -> CutData:
    """The table in the file at `path`.

    Raises `CuttingDataError` with every fault found, and `OSError` for a file that can't be read.
    """
    try:
        found = tomllib.loads(path.read_text(encoding="utf-8"))
        table = _SCHEMA(found)
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as fault:
        raise CuttingDataError(f"{path.name}: this is not a TOML file: {fault}") from None
    except MultipleInvalid as faults:
        raise CuttingDataError("\n".join(f"{path.name}: {_told(fault)}" for fault in faults.errors)) from None
    twice = list(_twice(table))
    if twice:
        raise CuttingDataError("\n".join(f"{path.name}: {fault}" for fault in twice))
    return CutData(
        speeds=tuple(SpeedRow(**row) for row in table["speed"]),
        hobs=tuple(HobRow(**row) for row in table["hob"]),
        feeds=tuple(FeedRow(**row) for row in table["feed"]),
        starts=tuple(StartsRow(**row) for row in table["starts"]),
    )


@cache
def shipped_cutting_data() -> CutData:
    """The table that comes with the product, read once."""
    return read_cutting_data()


def _number(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not 0 < value < math.inf:
        raise Invalid(f"is {value!r}; it must be a number above 0")
    return float(value)


def _limits(value: Any) -> tuple[float, float]:
    if not isinstance(value, list) or len(value) != 2:
        raise Invalid(f"is {value!r}; it must be two numbers, the least and the greatest")
    least, greatest = _number(value[0]), _number(value[1])
    if least > greatest:
        raise Invalid(f"is {value!r}; the least must come first")
    return least, greatest


def _count(value: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or value < 1:
        raise Invalid(f"is {value!r}; it must be a whole number of at least 1")
    return value


def _words(value: Any) -> str:
    if not isinstance(value, str) or not value.strip():
        raise Invalid(f"is {value!r}; it must be words in quotes")
    return value


_CUT = All(_words, In(CUTS, msg=f"is no known cut; it must be one of {', '.join(CUTS)}"))


def _flag(value: Any) -> bool:
    if not isinstance(value, bool):
        raise Invalid(f"is {value!r}; it must be true or false")
    return value


def _rows(optional: Any = None, **keys: Any) -> list[Any]:
    needed = {Required(key, msg="is missing"): check for key, check in {**keys, "source": _words}.items()}
    return [needed | {Optional(key): check for key, check in (optional or {}).items()}]


_SCHEMA = Schema(
    {
        Required("speed", msg="is missing"): _rows({"only_named": _flag}, material=_words, speed_m_min=_limits),
        Required("hob", msg="is missing"): _rows(hob_material=_words, speed_factor=_limits),
        Required("feed", msg="is missing"): _rows(cut=_CUT, feed=_limits, modules=_limits),
        Required("starts", msg="is missing"): _rows(starts=_count, feed_divisor=_number),
    }
)


def _told(fault: Invalid) -> str:
    """One fault in words: which row of which table, which key, what is wrong."""
    names: list[str] = []
    for step in fault.path:
        names.append(
            f"row {step + 1}" if isinstance(step, int) else f"[[{step}]]" if not names else str(step)
        )
    what = {"extra keys not allowed": "is no key of this table", "expected a list": "must be rows of a table"}
    return f"{' '.join(names)}: {what.get(fault.msg, fault.msg)}"


def _twice(table: dict[str, Any]) -> Iterator[str]:
    """Rows that say again what an earlier row has said: nobody could tell which of them holds."""
    for name, key in (("speed", "material"), ("hob", "hob_material"), ("starts", "starts")):
        seen = [row[key] for row in table[name]]
        yield from (f"[[{name}]]: {key} {value!r} stands there twice" for value in _repeated(seen))


def _repeated(values: Iterable[Any]) -> list[Any]:
    listed = list(values)
    return [value for value in dict.fromkeys(listed) if listed.count(value) > 1]
