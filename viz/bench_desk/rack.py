"""The rack of hobs as the page changes it: its file's text, hobs hung in it and taken out, whole or not at all."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import tomlkit
from handlead.machines.job_files.hob_rack import RACK, read_rack_text
from handlead.machines.job_keys.work_keys import RACK_HOB
from handlead.machines.toml import places
from handlead.machines.toml.filing import as_it_came, plain, write_text
from handlead.viz.bench_files.shelf import Shelf
from handlead.viz.bench_files.versions import text_or_none

from . import fields

#: The sizes of a hob's teeth, of which one is given.
SIZES = ("module", "diametral_pitch", "pitch")

#: The figures of a hob in the order in which they are mostly marked on it.
KEYS = ("name", "size", "starts", "hand", "lead_angle", "diameter", "outside_diameter", "gashes", "length", "ground_to",
        "material", "pressure_angle", "rack", "addendum", "dedendum", "tip_radius")  # fmt: skip

_EMPTY = 'format = "hobs/1"\nunits = "{}"\n'


@dataclass(frozen=True)
class Hung:
    """A hob in the rack: its place there, None for one that is to be hung; what stands in its fields, what is wrong."""

    place: int | None
    typed: Mapping[str, str]
    wrong: tuple[str, ...] = ()


@dataclass(frozen=True)
class RackFile:
    """A rack's file: `text` is what it holds, or would begin with."""

    shelf: Shelf
    name: str
    text: str
    exists: bool

    @classmethod
    def at(cls, shelf: Shelf, name: str, units: str = "mm") -> RackFile:
        """The rack of this name. Raises `FileFault` for a name that no rack can have."""
        if name.rsplit("/", 1)[-1] != RACK:
            raise shelf.no_such(name[:100])
        text = text_or_none(shelf.path(name))
        return cls(shelf, name, _EMPTY.format(units) if text is None else text, text is not None)

    @property
    def document(self) -> Any:
        """The file, to be changed. Raises `FileFault` where it is no TOML at all."""
        if self.exists:
            places.parse(plain(self.text), self.name)
        return tomlkit.parse(plain(self.text))

    @property
    def units(self) -> str:
        """The file's own."""
        return "in" if fields.values_in(self.text, self.name).get("units") == "in" else "mm"

    @property
    def hobs(self) -> tuple[Hung, ...]:
        """What hangs there, as it is typed."""
        rows = fields.values_in(self.text, self.name).get("hob", ())
        listed = rows if isinstance(rows, list) else ()
        return tuple(Hung(at, typed_of(row)) for at, row in enumerate(listed) if isinstance(row, Mapping))

    def hang(self, place: int | None, given: Mapping[str, str]) -> str:
        """The text with a hob's figures put in at a place, or hung at the end. Raises `FileFault`."""
        document = self.document
        rows: Any = document.get("hob")
        if rows is None:
            rows = document["hob"] = tomlkit.aot()
            rows = document["hob"]
        if place is None:
            rows.append(tomlkit.table())
            place = len(rows) - 1
        row, size = rows[place], given.get("size_key", "module")
        for key in RACK_HOB.names:
            told = given.get("size", "") if key == size else "" if key in SIZES else given.get(key, "")
            value = fields.value_typed(RACK_HOB, key, told.strip()) if told.strip() else None
            if value is None:
                if key in row:
                    del row[key]
            elif key not in row or fields.shown_value(row[key]) != told.strip():
                row[key] = value
        return self._whole(tomlkit.dumps(document))

    def take_out(self, place: int) -> str:
        """The text without a hob. Raises `FileFault`."""
        document = self.document
        del document["hob"][place]
        return self._whole(tomlkit.dumps(document))

    def _whole(self, text: str) -> str:
        read_rack_text(text, self.name)
        return as_it_came(text, self.text)

    def write(self, text: str, what: str) -> None:
        """Keep what the file was, and write it."""
        versions = self.shelf.versions(self.name)
        versions.keep(text, what, versions.found(self.text) if self.exists else None)
        write_text(text, self.shelf.path(self.name), overwrite=True)


def typed_of(row: Mapping[str, Any]) -> dict[str, str]:
    """A hob's keys as they are typed into fields: its size under "size", what gives that under "size_key"."""
    size = next((key for key in SIZES if key in row), "module")
    told = {key: fields.shown_value(value) for key, value in row.items() if key not in SIZES}
    return {**told, "size": fields.shown_value(row.get(size)), "size_key": size}
