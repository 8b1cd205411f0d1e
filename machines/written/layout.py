"""Tables as the text of a file: what stands on one line, what has a line each, and what is a table of its own."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import tomlkit
from handlead.machines.toml.numbers import Decimal
from tomlkit.items import AoT, Float, InlineTable, Item, Table, Trivia

#: A list with more items than this goes over several lines.
_LONG = 16


#: Tables whose entries are short tables of their own, each on one line.
_ONE_LINE_EACH = frozenset({"ends", "drives", "positions", "change"})
#: What a reading consists of that isn't bare; it stands behind its key too.
_READINGS = ({"value", "within"}, {"value", "sure"})
#: Tables that stand behind their key, on its line.
_ON_THE_LINE = frozenset({"bracket", "ratios", "swivel", "rpm", "travel", "from", "to"})


def document_text(raw: dict[str, Any]) -> tomlkit.TOMLDocument:
    """These tables as a document, laid out as a person would write it."""
    document = tomlkit.document()
    _fill(document, raw)
    return document


def _fill(container: Any, raw: Mapping[str, Any], one_line: bool = False) -> None:
    """Put everything in: what stands on a line of its own first, as TOML needs it, then the tables."""
    later = {}
    for key, value in raw.items():
        if _is_table(key, value) and not one_line:
            later[key] = value
        else:
            container.add(key, _item(value))
    for key, value in later.items():
        container.add(key, _rows(value) if isinstance(value, list) else _table(key, value))


def _is_table(key: str, value: Any) -> bool:
    if isinstance(value, list):
        return bool(value) and isinstance(value[0], dict)
    return isinstance(value, dict) and key not in _ON_THE_LINE and set(value) not in _READINGS


def _table(key: str, raw: Mapping[str, Any]) -> Table:
    table = tomlkit.table(is_super_table=bool(raw) and key in ("levers",))
    _fill(table, raw, key in _ONE_LINE_EACH)
    return table


def _rows(raw: list[dict[str, Any]]) -> AoT:
    array = tomlkit.aot()
    for row in raw:
        table = tomlkit.table()
        _fill(table, row)
        array.append(table)
    return array


def _item(value: Any) -> Item:
    if isinstance(value, Decimal):
        return Float(float(value.text), Trivia(), value.text)
    if isinstance(value, Mapping):
        return _inline(value)
    if isinstance(value, (list, tuple)):
        return _list([_item(each) for each in value])
    item: Item = tomlkit.item(value)
    return item


def _list(items: list[Item]) -> Item:
    array = tomlkit.array()
    if len(items) <= _LONG:
        array.extend(items)
        return array
    for start in range(0, len(items), _LONG):
        array.add_line(*items[start : start + _LONG])
    array.add_line(indent="")
    return array


def _inline(value: Mapping[str, Any]) -> InlineTable:
    table = tomlkit.inline_table()
    for key, each in value.items():
        table.add(key, _item(each))
    return table
