"""A machine by its name: a file beside the job first, then those that ship."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping
from functools import lru_cache
from itertools import islice
from pathlib import Path

from handlead.machines.toml.errors import FileFault, Place, Unknown
from handlead.machines.toml.guesses import guess
from handlead.machines.toml.places import quoted

from .machine_file import Machine, read_machine


@lru_cache(maxsize=1)
def shipped_machines() -> Mapping[str, Path]:
    """The machines that ship: their files, by the names under which a job asks for them."""
    # Not by importlib.resources: its import costs more than reading a job, and files need paths here.
    folder = Path(__file__).parents[1] / "shipped"
    return {path.stem: path for path in sorted(folder.glob("*.toml"))}


def find_machine(name: str, beside: str | os.PathLike[str] = "") -> Machine:
    """The machine called `name`: the path of a file in the folder `beside`, or else one that ships.

    A machine that ships answers to its file's name and to the name on the machine alike. Raises
    `FileFault` if there is none, or if its file can't be used.
    """
    found = locate(name, beside)
    if found is None:
        shown = name if name.isprintable() else "machine"
        raise FileFault([Unknown(Place(shown, 1), "", no_such_machine(name, beside))])
    return read_machine(*found)


def locate(name: str, beside: str | os.PathLike[str] = "") -> tuple[str, str] | None:
    """The file of the machine called `name`, and how to call it in complaints; None if there is none."""
    beside = os.fspath(beside)
    for path in (Path(beside, name), Path(beside, f"{name}.toml")):
        if _is_file(path):
            return os.fspath(path), os.fspath(path)
    shipped = shipped_machines()
    stem = _plain(name)
    found = shipped.get(stem) or next((p for p in shipped.values() if _plain(_name_in(p)) == stem), None)
    return None if found is None else (os.fspath(found), _short(found))


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except (OSError, ValueError):  # a name that is too long, or with a null character in it
        return False


def _plain(name: str) -> str:
    return re.sub(r"[\W_]+", "-", name[:200].casefold()).strip("-")


@lru_cache(maxsize=128)
def _name_in(path: Path) -> str:
    try:
        return read_machine(path).name
    except FileFault:
        return ""


def no_such_machine(name: str, beside: str | os.PathLike[str] = "") -> str:
    """The complaint that no machine is called `name`, with a guess at the one that was meant."""
    folder, _, _ = name.rpartition("/")
    files = [f"{folder}/{file}" if folder else file for file in _machines_in(Path(beside, folder))]
    known = files if folder else [*shipped_machines(), *files]
    if folder:
        return f"there is no file {quoted(name)} next to this one. {guess(name, known)}"
    return f"there is no machine {quoted(name)}, neither next to this file nor shipped. {guess(name, known)}"


def _machines_in(folder: Path) -> list[str]:
    """The names of the machine files in a folder, as far as their first lines tell."""
    try:
        files = sorted(islice((path for path in folder.iterdir() if path.suffix == ".toml"), 200))
        return [path.name for path in files if _is_machine(path)]
    except (OSError, ValueError):
        return []


def _is_machine(path: Path) -> bool:
    if not _is_file(path):
        return False
    with path.open("rb") as stream:
        return b'"machine/' in stream.read(4096)


def _short(path: Path) -> str:
    """The path as a person here would give it: from the working folder on, if it lies in there."""
    here = os.fspath(Path.cwd()) + os.sep
    return os.fspath(path).removeprefix(here)
