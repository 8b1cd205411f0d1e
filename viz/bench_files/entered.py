"""What is typed into a field, as a file has it, and back."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

import tomlkit
from handlead.machines.toml.errors import HandleadError
from handlead.machines.toml.tables import Key, TableOf
from handlead.machines.toml.values import Flag, Listing
from tomlkit.items import Float, Trivia


class NotEntered(HandleadError, ValueError):
    """Something that can't stand in a file of the folder; the message says why."""


def typed(key: Key, text: str) -> Any:
    """What is typed for a key, as the file has it: "?" stays, several numbers are a list. None takes it out."""
    text = text.strip()
    if not text:
        return None
    if isinstance(key.value, Listing):
        one = one_value if key.name != "fits" else str
        parts = re.split(r"\s*,\s*", text) if "," in text else text.split()
        return [one(part) for part in parts]
    if isinstance(key.value, Flag):
        return text == "yes"
    if isinstance(key.value, TableOf):
        table = tomlkit.inline_table()
        for part in re.split(r"[;,]", text):
            name, sign, value = part.partition("=")
            if not sign or not name.strip():
                raise NotEntered(f"{key.name}: write each as NAME = VALUE, commas between")
            table[name.strip().strip('"')] = one_value(value.strip().strip('"'))
        return table
    return one_value(text)


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
            ", ".join(map(str, value))
            if any(isinstance(one, str) and " " in one for one in value)
            else " ".join(map(str, value))
        )
    if isinstance(value, Mapping):
        return ", ".join(f"{key} = {shown(each)}" for key, each in value.items())
    return "" if value is None else str(value)
