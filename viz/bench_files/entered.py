"""What is typed into a field, as a file has it, and back."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from typing import Any

import tomlkit
from handlead.machines.tables.tables import TableOf
from handlead.machines.tables.values import Flag, Listing, Span, Text, Value
from handlead.machines.toml.errors import HandleadError
from handlead.machines.toml.numbers import Decimal
from tomlkit.items import Float, Trivia


class NotEntered(HandleadError, ValueError):
    """Something that can't stand in a file of the folder; the message says why."""


def asked_of(body: bytes) -> dict[str, Any]:
    """What a page asked for, key by key. Raises `NotEntered` for what no page of this program sends."""
    try:
        what = json.loads(body)
    except ValueError:
        what = None
    if not isinstance(what, dict):
        raise NotEntered("the page asked for something that isn't known here. Load it again")
    return what


def typed(value: Value, text: str) -> Any:
    """What is typed for a kind of value, as the file has it: "?" stays, several numbers are a list. None takes it out.

    Raises `NotEntered` for a table that isn't typed as one.
    """
    text = text.strip()
    if not text:
        return None
    if isinstance(value, Listing):
        return [typed(value.of, part) for part in _parts(value, text)]
    if isinstance(value, Flag):
        return {"yes": True, "no": False}.get(text, text)
    if isinstance(value, Span):
        both = _span(text)
        return [one_value(part) for part in both] if len(both) == 2 else one_value(text)
    if isinstance(value, TableOf):
        return _table(value, text)
    return text if isinstance(value, Text) else one_value(text)


def _parts(value: Listing, text: str) -> list[str]:
    """The parts of a list: names have blanks in them, numbers stand one after the other."""
    if isinstance(value.of, Listing):
        return [part for part in re.split(r"[;\n]", text) if part.strip()]
    if isinstance(value.of, Text):
        return re.split(r"\s*,\s*", text)
    return re.split(r"\s*,\s*", text) if "," in text else text.split()


def _span(text: str) -> list[str]:
    """A greatest alone, or a least and a greatest: with a comma, "to", or two plain numbers."""
    for mark in (",", " to "):
        if mark in text:
            return [part.strip() for part in text.split(mark)]
    parts = text.split()
    return parts if len(parts) == 2 and all(_NUMBER.fullmatch(part) for part in parts) else [text]


def _table(value: TableOf, text: str) -> Any:
    table = tomlkit.inline_table()
    for part in re.split(r"[;,]", text):
        name, sign, each = part.partition("=")
        if not sign or not name.strip():
            raise NotEntered("write each as NAME = VALUE, commas between")
        table[name.strip().strip('"')] = typed(value.of, each.strip().strip('"'))
    return table


_NUMBER = re.compile(r"[+-]?\d{1,12}(\.\d{1,40})?")


def one_value(text: str) -> Any:
    """A number where it is one, else the text, a "?" among them."""
    if re.fullmatch(r"[+-]?(0|[1-9]\d{0,12})", text):
        return int(text)
    if re.fullmatch(r"[+-]?\d{1,12}\.\d{1,40}", text):
        return Float(float(text), Trivia(), text)
    return text


def shown(value: Any) -> str:
    """A value of the file as it is typed."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return (
            ", ".join(map(shown, value))
            if any(isinstance(one, str) and re.search("[A-Za-z ]", one) for one in value)
            else "; ".join(map(shown, value))
            if any(isinstance(one, list) for one in value)
            else " ".join(map(shown, value))
        )
    if isinstance(value, Mapping):
        return ", ".join(f"{key} = {shown(each)}" for key, each in value.items())
    return "" if value is None else value.text.replace("_", "") if isinstance(value, Decimal) else str(value)
