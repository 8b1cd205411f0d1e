"""A machine written down by answering: the answers that a page would send for everything that a file says."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from handlead.viz.bench_files.entered import shown
from handlead.viz.bench_machine.editing import edited
from handlead.viz.bench_machine.machine_desk import BARE

#: What is asked for when a link is added; the rest has fields of its own.
_AFTERWARDS = ("name", "kind", "bracket", "ratios", "points")


def written(values: Mapping[str, Any]) -> str:
    """The text that the answers make, from a machine with nothing in it."""
    text = BARE.format(name='"begun"', units=values.get("units", "mm"))
    for what in answers(values):
        text, _ = edited(text, what)
    return text


def answers(values: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    """What is tapped and typed, in the order of the page."""
    yield {"do": "set", "path": ["name"], "value": values["name"]}
    if "summary" in values:
        yield {"do": "set", "path": ["summary"], "value": values["summary"]}
    yield from _train(values)
    for end, row in values["ends"].items():
        yield from _fields(["ends", end], row)
    for name, row in values["drives"].items():
        if name != "main":
            yield {"do": "named", "path": ["drives"], "name": name}
        yield from _fields(["drives", name], row)
    for lever, row in values.get("levers", {}).items():
        for position, states in row["positions"].items():
            yield {"do": "position", "lever": lever, "position": position}
            yield from _fields(["levers", lever, "positions", position], states)
        yield from _fields(["levers", lever], {"normal": row["normal"]})
    for number, row in enumerate(values.get("gear_set", ())):
        yield {"do": "row", "table": "gear_set", "kind": "", "name": row["name"], "teeth": shown(row["teeth"])}
        if "fits" in row:
            yield {"do": "fits", "number": number, "fits": row["fits"]}
    for table in ("limits", "change_over", "head"):
        yield from _fields([table], values.get(table, {}))
    for table in ("imperfection", "looseness"):
        for number, row in enumerate(values.get(table, ())):
            yield {"do": "row", "table": table, "kind": row["kind"]}
            yield from _fields([table, number], {key: value for key, value in row.items() if key != "kind"})
    # What the bare machine has, and this one calls otherwise.
    if "main" not in values["drives"]:
        yield {"do": "out", "path": ["drives", "main"]}
    for name in ("motor", "hob", "table"):
        if name not in values["shafts"]:
            yield {"do": "out", "path": ["shafts", name]}


def _train(values: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    there = {"motor", "hob", "table"}
    for kind, table in (("shaft", "shafts"), ("slide", "slides")):
        for name, where in values.get(table, {}).items():
            if name in there:
                yield {"do": "set", "path": [table, name], "value": where}
            else:
                yield {"do": "add", "kind": kind, "name": name, "where": where}
    for number, row in enumerate(values["link"]):
        asked = {"do": "add", "kind": row["kind"], "name": row["name"]}
        for key, value in row.items():
            if key in _AFTERWARDS:
                continue
            if isinstance(value, list) and len(value) == 2 and key in ("teeth", "diameters", "suns"):
                asked |= {f"{key}.{at}": shown(one) for at, one in enumerate(value)}
            else:
                asked[key] = shown(value)
        yield asked
        for key in ("bracket", "ratios", "points"):
            if key in row:
                yield from _fields(["link", number], {key: row[key]})


def _fields(path: list[Any], value: Any) -> Iterator[dict[str, Any]]:
    if not isinstance(value, Mapping):
        yield {"do": "set", "path": path, "value": shown(value)}
        return
    named = path[-1] in ("rpm", "travel", "ratios")
    for key, each in value.items():
        if named:
            yield {"do": "named", "path": path, "name": key, "value": shown(each)}
        else:
            yield from _fields([*path, key], each)
