"""A train while it is written down: drawn as far as it is known, with its loose ends, locks and missing numbers told.

What isn't known is drawn by stand-ins and said to be "?"; a side of a link that no part is named for yet ends in a
part of its own. Nothing here is ever written.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from handlead.kinematics.frame.words import POSITIVES
from handlead.kinematics.links.link import Link
from handlead.kinematics.train.solution import Solution, solve
from handlead.kinematics.train.train import Drive, End, Train
from handlead.machines.keys.link_keys import LINK
from handlead.machines.keys.machine_keys import DRIVE
from handlead.machines.machine_files.machine_links import link_of
from handlead.machines.tables.tables import Table, TableOf
from handlead.machines.tables.values import Flag, Listing, Name, Number, Span, Text, Value
from handlead.viz.bench_files.entered import shown
from handlead.viz.draw_train.train_words import LinkWords, PartWords, links_in_words, parts_in_words
from handlead.viz.look.shop import Shop
from voluptuous import Invalid

from .entering import FieldsSheet

#: What no part is named for yet is drawn as a part of its own, called so.
_NOBODY = "?"

#: Two sets of stand-ins: what comes out otherwise with the one than with the other isn't known.
_STAND_INS = ((Fraction(20), "same"), (Fraction(33), "opposite"))


@dataclass(frozen=True)
class Note:
    """What a train lacks: of which part or link, and the words. `what` is loose, lock or missing."""

    what: str
    of: str
    words: str


@dataclass(frozen=True)
class Growing:
    """A train as far as it is known, solved; what to say at its parts and links; and what it lacks."""

    solution: Solution
    said: tuple[Mapping[str, PartWords], Mapping[str, LinkWords]]
    notes: tuple[Note, ...]


@dataclass(frozen=True)
class _Row:
    """A link with stand-ins, and the keys that they stand for."""

    link: Link
    open: tuple[str, ...]


def grown(values: Mapping[str, Any], shop: Shop) -> Growing | None:
    """The train that a machine's text describes so far; None where it has no shaft."""
    sheet = FieldsSheet(values, {})
    if not sheet.named("shaft"):
        return None
    trains = [_train(sheet, stand_in) for stand_in in _STAND_INS]
    drive = _drive_of(trains[0][0])
    first, second = (solve(train, drive) for train, _ in trains)
    open_keys = trains[0][1]
    parts = {
        name: _unsure(words, other)
        for (name, words), other in zip(
            parts_in_words(first, shop).items(), parts_in_words(second, shop).values(), strict=True
        )
    }
    links = {
        name: replace(words, lines=(_open_line(sheet, name, open_keys[name]),)) if open_keys[name] else words
        for name, words in as_written(sheet, links_in_words(first, shop)).items()
    }
    return Growing(first, (parts, links), tuple(_notes(sheet, first, open_keys)))


def _unsure(words: PartWords, other: PartWords) -> PartWords:
    """What is said of a part where that hangs on a number nobody knows."""
    if (words.lines, words.sign) == (other.lines, other.sign):
        return words
    return replace(words, lines=(_NOBODY,), sign=words.sign if words.sign == other.sign else 0)


def as_written(sheet: FieldsSheet, links: Mapping[str, LinkWords]) -> dict[str, LinkWords]:
    """What is said at links, the diameters of pulleys as the file has them: a train holds them in millimetres."""
    told = dict(links)
    for row in sheet.rows("link"):
        both, name = row.get("diameters"), str(row.get("name"))
        if isinstance(both, list) and name in told:
            crossed = " crossed" if row.get("crossed") is True else ""
            told[name] = replace(told[name], lines=(f"{row.get('kind')} {'/'.join(map(shown, both))}{crossed}",))
    return told


def _open_line(sheet: FieldsSheet, name: str, keys: tuple[str, ...]) -> str:
    """What stands under a link some of whose numbers aren't known."""
    row = next(row for row in sheet.rows("link") if row.get("name") == name)
    told = []
    for key in LINK[str(row["kind"])].keys:
        if key.name in ("teeth", "diameters", "starts", "lead", "travel", "sun_ratio"):
            value = row.get(key.name)
            if value is not None or key.name in keys:
                told.append("/".join(map(shown, value)) if isinstance(value, list) else shown(value) or _NOBODY)
    line = "/".join(told)
    return f"{line}, sense ?".lstrip(", ") if "sense" in keys else line or _NOBODY


# ---------------------------------------------------------------- stand-ins


def _train(sheet: FieldsSheet, stand_in: tuple[Fraction, str]) -> tuple[Train, dict[str, tuple[str, ...]]]:
    """The train with stand-ins for what isn't known, and for each link the keys that they stand for."""
    shafts, slides = (dict.fromkeys(sheet.named(of), "") for of in ("shaft", "slide"))
    links: list[Link] = []
    opened: dict[str, tuple[str, ...]] = {}
    for row in sheet.rows("link"):
        name = str(row.get("name") or "")
        if not name or name in opened or row.get("kind") not in LINK:
            continue
        filled, keys = _filled(row, sheet, stand_in)
        for part, of in _parts_named(filled):
            (slides if of == "slide" else shafts).setdefault(part, "")
        try:
            link = link_of(LINK[str(row["kind"])].read(filled, str(sheet.values.get("units", "mm"))))
            Train(shafts, slides, (link,), {}, {})
        except (ValueError, KeyError, Invalid):
            # A side joined to itself, or of the wrong kind: told beside its field, and left out of the drawing.
            continue
        opened[name] = keys
        links.append(link)
    train = Train(shafts, slides, tuple(links), dict(_ends(sheet)), dict(_drives(sheet)))
    return _with_levers(train, sheet), opened


def _filled(
    row: Mapping[str, Any], sheet: FieldsSheet, stand_in: tuple[Fraction, str]
) -> tuple[dict[str, Any], tuple[str, ...]]:
    """A link's row with something that can be read at every key that must be there, and the keys that it stands at."""
    table = LINK[str(row["kind"])]
    filled: dict[str, Any] = {}
    opened: list[str] = []
    needed = {key.name for key in table.keys if key.required}
    for choice in table.one_of:
        if choice.required and not any(name in row for name in choice.keys):
            needed.add(choice.keys[0])
    for key in table.keys:
        value = row.get(key.name)
        if value is None and key.name not in needed:
            continue
        if key.name == "bracket" or _reads(key.value, value, sheet):
            filled[key.name] = value
        elif key.name in needed or value is not None:
            filled[key.name] = _stood_in(key.value, value, stand_in, str(row["name"]), sheet)
            opened.append(key.name)
    filled.pop("bracket", None)
    return filled, tuple(name for name in opened if name not in ("from", "to", "carrier", "shaft", "suns"))


def _reads(value: Value, raw: Any, sheet: FieldsSheet) -> bool:
    if isinstance(value, Name) and raw not in sheet.named(value.of):
        return False
    try:
        value.read(raw, str(sheet.values.get("units", "mm")))
    except (Invalid, ValueError):
        return False
    return not (isinstance(value, Listing) and isinstance(value.of, Name) and set(raw) - set(sheet.named(value.of.of)))


def _stood_in(value: Value, raw: Any, stand_in: tuple[Fraction, str], link: str, sheet: FieldsSheet) -> Any:
    """Something that can be read for a kind of value; of a list, what can be read of it stays."""
    number, sense = stand_in
    if isinstance(value, Name):
        return f"{_NOBODY} {link}"
    if isinstance(value, Listing):
        there = raw if isinstance(raw, list) else []
        kept = [each if _reads(value.of, each, sheet) else None for each in there][: value.most]
        kept += [None] * (value.least - len(kept))
        return [
            each if each is not None else _stood_in(value.of, None, (number + at, sense), f"{link} {at + 1}", sheet)
            for at, each in enumerate(kept)
        ]
    if isinstance(value, Text):
        return sense if sense in value.one_of else (*value.one_of, "")[0]
    if isinstance(value, Flag):
        return False
    if isinstance(value, TableOf):
        held = raw if isinstance(raw, Mapping) and raw else {_NOBODY: None}
        return {
            name: each if _reads(value.of, each, sheet) else str(number / 10) for name, each in held.items()
        }
    return int(number) if isinstance(value, Number | Span) else raw if isinstance(value, Table) else str(number)


def _parts_named(row: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """The parts that a filled row names, with what they are."""
    for key in LINK[str(row["kind"])].keys:
        value = row.get(key.name)
        if isinstance(key.value, Name) and isinstance(value, str):
            yield value, key.value.of
        elif isinstance(key.value, Listing) and isinstance(key.value.of, Name) and isinstance(value, list):
            yield from ((str(part), key.value.of.of) for part in value)


def _ends(sheet: FieldsSheet) -> Iterator[tuple[str, End]]:
    held = sheet.values.get("ends")
    taken: set[str] = set()
    for name, ways in POSITIVES.items():
        row = held.get(name) if isinstance(held, Mapping) else None
        part = row.get("part") if isinstance(row, Mapping) else None
        kind = "shaft" if name in ("hob", "table") else "slide"
        if isinstance(row, Mapping) and part in sheet.named(kind) and part not in taken:
            taken.add(str(part))
            yield name, End(str(part), ways.get(str(row.get("positive")), 1))


def _drives(sheet: FieldsSheet) -> Iterator[tuple[str, Drive]]:
    held = sheet.values.get("drives")
    any_there = False
    for name, row in held.items() if isinstance(held, Mapping) else ():
        if isinstance(row, Mapping) and row.get("shaft") in sheet.named("shaft"):
            any_there = True
            rpm = Fraction(DRIVE.key("rpm").value.read(row["rpm"], "")) if _reads_rpm(row.get("rpm")) else None
            yield str(name), Drive(str(row["shaft"]), rpm, row.get("at_rest") == "free")
    if not any_there:
        yield "main", Drive(sheet.named("shaft")[0])


def _reads_rpm(raw: Any) -> bool:
    try:
        DRIVE.key("rpm").value.read(raw, "")
    except (Invalid, ValueError):
        return False
    return True


def _drive_of(train: Train) -> str:
    return "main" if "main" in train.drives else next(iter(train.drives))


def _with_levers(train: Train, sheet: FieldsSheet) -> Train:
    """The levers in their normal positions, as far as they are written."""
    levers = sheet.values.get("levers")
    for lever in levers.values() if isinstance(levers, Mapping) else ():
        positions = lever.get("positions") if isinstance(lever, Mapping) else None
        states = positions.get(lever.get("normal")) if isinstance(positions, Mapping) else None
        for link, state in states.items() if isinstance(states, Mapping) else ():
            try:
                train = train.with_states({str(link): str(state)})
            except (KeyError, ValueError, NotImplementedError):
                continue
    return train


# ---------------------------------------------------------------- what it lacks


def _notes(sheet: FieldsSheet, solution: Solution, opened: Mapping[str, tuple[str, ...]]) -> Iterator[Note]:
    train = solution.train
    touched = {part for link in train.links for part in link.ports}
    for part in train.parts:
        if part.startswith(f"{_NOBODY} "):
            link = next((link.name for link in train.links if part in link.ports), "")
            yield Note("loose", link, f"{link}: its other side isn't joined to anything yet")
        elif part not in touched:
            yield Note("loose", part, f"{part}: no link touches it yet")
    reached = _reached(train)
    for part in train.parts:
        if part in touched and part not in reached and not part.startswith(f"{_NOBODY} "):
            yield Note("loose", part, f"{part}: nothing joins it to a drive")
    for name, keys in opened.items():
        for key in keys:
            word = key.replace("_", " ")
            yield Note("missing", name, f"{name}: {word} not known yet")
    yield from _locks(solution, opened)
    for end in ("hob", "table", "axial"):
        if end not in train.ends:
            yield Note("missing", "", f"no part is said to be the {'axial slide' if end == 'axial' else end} yet")


def _locks(solution: Solution, opened: Mapping[str, tuple[str, ...]]) -> Iterator[Note]:
    if not solution.lock:
        return
    names = ", ".join(solution.lock)
    unsure = [name for name in solution.lock if opened.get(name)]
    why = f" With {', '.join(unsure)} still unknown that may come right." if unsure else ""
    yield Note("lock", solution.lock[0], f"LOCKED, levers normal: {names} hold each other fast.{why}")


def _reached(train: Train) -> set[str]:
    """The parts that hang together with a drive, whatever the levers and brackets do."""
    reached, before = {drive.shaft for drive in train.drives.values()}, 0
    while len(reached) != before:
        before = len(reached)
        for link in train.links:
            if reached & set(link.ports):
                reached |= set(link.ports)
    return reached
