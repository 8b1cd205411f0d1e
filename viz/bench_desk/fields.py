"""The figures of a job's drawing, hob and cutting as fields: their keys come from the table of keys, and what is typed
goes into the file's text at its place, every comment kept."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import tomlkit
from handlead.machines.job_keys.job_keys import CUTTING
from handlead.machines.job_keys.seen_keys import SEEN
from handlead.machines.job_keys.work_keys import HOB, MATE, TOOTH_SIZES, WORK
from handlead.machines.tables.tables import Table
from handlead.machines.toml.errors import Complaint, FileFault
from handlead.machines.toml.filing import as_it_came, plain
from handlead.machines.toml.numbers import Decimal
from handlead.machines.toml.places import parse, statements
from tomlkit.items import Float, Trivia

#: The tables whose keys are fields.
TABLES: Mapping[str, Table] = {"work": WORK, "mate": MATE, "hob": HOB, "cutting": CUTTING, "seen": SEEN}

#: The keys that a field shows, by table: those that a drawing or a plate mostly gives, and those that it may give.
SHOWN: Mapping[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "work": (
        ("kind", "teeth", "helix_angle", "lead", "hand", "face_width", "quality"),
        ("pressure_angle", "transverse_pressure_angle", "profile_shift", "outside_diameter", "thinning", "bore",
         "roller_diameter", "blank", "throat_radius", "rim_diameter"),
    ),
    "mate": (
        ("teeth", "profile_shift", "face_width", "hand", "centre_distance", "crossing_angle"),
        ("least_backlash", "bore"),
    ),
    "hob": (
        ("starts", "hand", "lead_angle", "diameter", "outside_diameter", "gashes", "length"),
        ("pressure_angle", "rack", "addendum", "dedendum", "tip_radius", "ground_to"),
    ),
    "cutting": (("material", "hob_material", "feed", "hob_rpm", "mark", "cuts"), ()),
    "seen": (
        ("teeth", "hand", "helix_angle", "outside_helix_angle", "lead", "spaces_meet", "marks"),
        ("table_turned", "slide_moved", "hob_turns", "feed_marks", "second_cut_miss", "thickness_miss", "span_miss",
         "depth_miss", "meshes", "runs_out", "one_tooth_out"),
    ),
}  # fmt: skip

#: Keys of which one stands for another: giving one takes the others out.
_INSTEAD: Mapping[str, tuple[tuple[str, ...], ...]] = {
    "work": (TOOTH_SIZES, ("helix_angle", "lead"), ("pressure_angle", "transverse_pressure_angle")),
    "mate": (TOOTH_SIZES, ("helix_angle", "lead")),
    "hob": (("module", "diametral_pitch", "pitch"),),
}

#: Words that a key's name doesn't say by itself.
_NAMES = {
    "quality": "class", "hob_rpm": "hob speed", "helix_angle": "helix angle", "mark": "mark height",
    "hob.diameter": "reference diameter", "hob.outside_diameter": "over the tips, new",
    "hob.ground_to": "over the tips now",
}  # fmt: skip

#: What lengths are in beside the field; the rest is a bare number, an angle or a word.
_LENGTHS = frozenset({
    "lead", "face_width", "outside_diameter", "thinning", "bore", "least_backlash", "roller_diameter", "throat_radius",
    "rim_diameter",
    "diameter", "length", "ground_to", "feed", "centre_distance", "feed_marks", "thickness_miss", "span_miss",
    "depth_miss",
})  # fmt: skip
_UNITS = {"hob_rpm": "rpm", "mark": "µm", "profile_shift": "× module"}

#: Keys that take words even if they look like numbers.
_WORDS = frozenset({"title", "name", "material", "hob_material"})


#: So many letters of what holds where a field is left empty have room in it.
_SHORT = 22


@dataclass(frozen=True)
class FormField:
    """One field: its path in the file (``work.teeth``), what stands in it, and what is wrong with that.

    `usual` is what holds where it is left empty, if that is a word or two.
    """

    path: str
    name: str
    value: str
    meaning: str
    choices: tuple[str, ...] = ()
    unit: str = ""
    errors: tuple[str, ...] = ()
    is_draft: bool = False
    usual: str = ""

    @property
    def mark(self) -> str:
        """An id for the page."""
        return "f-" + self.path.replace(".", "-").replace("_", "-")


def name_of(path: str) -> str:
    """What the page calls a key."""
    key = path.rpartition(".")[2]
    return _NAMES.get(path, _NAMES.get(key, key.replace("_", " ")))


def shown_value(value: Any) -> str:
    """A value of the file as it is typed."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Mapping):
        return shown_value(value.get("value"))
    return value.text if isinstance(value, Decimal) else str(value)


def fields_of(
    table: str,
    values: Mapping[str, Any],
    drafts: Mapping[str, str],
    errors: Mapping[str, tuple[str, ...]],
    units: str,
) -> tuple[tuple[FormField, ...], tuple[FormField, ...]]:
    """The fields of a table that a drawing mostly gives, and the others: with what the file or a draft has."""
    here = values.get(table)
    given = here if isinstance(here, Mapping) else {}

    def one(key: str) -> FormField:
        path = f"{table}.{key}"
        known = TABLES[table].key(key)
        unit = units if key in _LENGTHS else _UNITS.get(key, "")
        told = drafts.get(path, shown_value(given.get(key)))
        default = f" Left out: {known.default}." if known.default else ""
        name = name_of(path)
        usual = known.default if len(known.default) <= _SHORT and "[" not in known.default else ""
        return FormField(path, name, told, known.meaning + default, choices_of(known.value), unit, errors.get(path, ()),
                         path in drafts, usual)  # fmt: skip

    first, more = SHOWN[table]
    return tuple(map(one, first)), tuple(map(one, more))


def size_field(
    table: str,
    values: Mapping[str, Any],
    drafts: Mapping[str, str],
    errors: Mapping[str, tuple[str, ...]],
    units: str,
) -> FormField:
    """The size of the teeth: whichever key gives it."""
    here = values.get(table)
    given = here if isinstance(here, Mapping) else {}
    keys = _INSTEAD[table][0]
    key = next((key for key in keys if f"{table}.{key}" in drafts), None) or next(
        (key for key in keys if key in given), None
    )
    key = key or ("diametral_pitch" if units == "in" else "module")
    told = drafts.get(f"{table}.{key}", shown_value(given.get(key)))
    wrong = tuple(
        dict.fromkeys(said for each in (*keys, "") for said in errors.get(f"{table}.{each}".rstrip("."), ()))
    )
    return FormField(f"{table}.{key}", key.replace("_", " "), told, TABLES[table].key(key).meaning, keys, "", wrong,
                 f"{table}.{key}" in drafts)  # fmt: skip


def choices_of(value: Any) -> tuple[str, ...]:
    """The words that a key takes, where the choice is closed."""
    inner = getattr(value, "value", getattr(value, "of", value))
    words = getattr(value, "one_of", None) or getattr(inner, "one_of", None)
    if words:
        return tuple(words)
    return ("yes", "no") if type(inner).__name__ == "Flag" else ()


# ---------------------------------------------------------------- into the text


def with_fields(text: str, fields: Mapping[str, str]) -> str:
    """The text of a file with these fields in it, each at its key; one that is empty goes out."""
    document = tomlkit.parse(plain(text))
    for path, typed in fields.items():
        *tables, key = path.split(".")
        _set(document, tables, key, typed.strip())
    return as_it_came(tomlkit.dumps(document), text)


def _set(document: Any, tables: list[str], key: str, typed: str) -> None:
    here = document
    for name in tables:
        if not isinstance(here.get(name), Mapping):
            if not typed:
                return
            if name in here:
                del here[name]
            here[name] = tomlkit.table()
        here = here[name]
    if not typed:
        if key in here:
            del here[key]
        if tables and not here:
            del document[tables[0]]
        return
    for group in _INSTEAD.get(".".join(tables), ()):
        for other in group if key in group else ():
            if other != key and other in here:
                del here[other]
    here[key] = value_typed(TABLES.get(".".join(tables)), key, typed)


def rivals(table: str, key: str) -> tuple[tuple[str, ...], ...]:
    """The groups of keys of which only one is given, as far as this key is in them."""
    return tuple(group for group in _INSTEAD.get(table, ()) if key in group)


def value_typed(table: Table | None, key: str, typed: str) -> Any:
    """What is typed as the file has it: a number where it is one, yes and no where they are asked for, else a text."""
    known = next((one for one in table.keys if one.name == key), None) if table else None
    if known is not None and choices_of(known.value) == ("yes", "no") and typed in ("yes", "no"):
        return typed == "yes"
    typed = typed.replace(",", ".") if re.fullmatch(r"\d+,\d+", typed) else typed
    if key in _WORDS:
        return typed
    if re.fullmatch(r"[+-]?(0|[1-9]\d{0,17})", typed):
        return int(typed)
    if re.fullmatch(r"[+-]?\d{1,30}\.\d{1,60}", typed):
        return Float(float(typed), Trivia(), typed)
    return typed


# ---------------------------------------------------------------- out of complaints


def told_beside(fault: FileFault, text: str) -> dict[str, tuple[str, ...]]:
    """What is wrong, by the path of the key that it stands at: in the words of the files' errors.

    What stands at no key of this file is under "".
    """
    ends = list(statements(plain(text)))
    told: dict[str, list[str]] = {}
    for complaint in fault.complaints:
        told.setdefault(_path_of(complaint, ends), []).append(complaint.message)
    return {path: tuple(dict.fromkeys(words)) for path, words in told.items()}


def _path_of(complaint: Complaint, ends: Iterable[Any]) -> str:
    """The path that a complaint is about: of the key in its words if it names one, else of the line where it stands."""
    named = _named(complaint)
    if named:
        return named
    at = next((one for one in ends if one.first <= complaint.line - 1 <= one.last), None)
    return ".".join(map(str, at.path)) if at else ""


def _named(complaint: Complaint) -> str:
    """``[work] teeth`` as a path; a key that is missing is the first word of what is said of its table."""
    match = re.fullmatch(r"\[(\w+)\](?: (\w+))?", complaint.key)
    if match is None or match[1] not in TABLES:
        return ""
    named = [match[2]] if match[2] else re.findall(r'"(\w+)"', complaint.message)[:1]
    return f"{match[1]}.{named[0]}" if named and named[0] in TABLES[match[1]].names else match[1]


def values_in(text: str, name: str) -> Mapping[str, Any]:
    """What a text says, as far as it is TOML at all."""
    try:
        return parse(plain(text), name).values
    except FileFault:
        return {}
