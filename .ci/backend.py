"""The build, by setuptools; an editable install also names the folder through which type checkers find the packages.

An editable install of mapped folders works by an import hook, which no type checker can follow. One line more in its
path file leads them, by the links in `.ci/names`, to the same folders.
"""

from __future__ import annotations

import base64
import hashlib
import zipfile
from pathlib import Path
from typing import Any

from setuptools import build_meta
from setuptools.build_meta import (
    build_sdist,
    build_wheel,
    get_requires_for_build_editable,
    get_requires_for_build_sdist,
    get_requires_for_build_wheel,
    prepare_metadata_for_build_editable,
    prepare_metadata_for_build_wheel,
)

__all__ = [
    "build_editable",
    "build_sdist",
    "build_wheel",
    "get_requires_for_build_editable",
    "get_requires_for_build_sdist",
    "get_requires_for_build_wheel",
    "prepare_metadata_for_build_editable",
    "prepare_metadata_for_build_wheel",
]

_NAMES = Path(__file__).parent / "names"


def build_editable(directory: str, settings: Any = None, metadata: str | None = None) -> str:
    """As setuptools builds it, with the line for type checkers. Returns the wheel's name."""
    name: str = build_meta.build_editable(directory, settings, metadata)
    wheel = Path(directory) / name
    if all(link.is_dir() for link in _NAMES.glob("*/*")):  # not where links were checked out as plain files
        with zipfile.ZipFile(wheel) as packed:
            files = {each: packed.read(each) for each in packed.namelist()}
        _add_line(files)
        with zipfile.ZipFile(wheel, "w", zipfile.ZIP_DEFLATED) as packed:
            for each, content in files.items():
                packed.writestr(each, content)
    return name


def _add_line(files: dict[str, bytes]) -> None:
    """The folder of names in the path file, whose new digest goes into the record."""
    (paths,) = (each for each in files if each.endswith(".pth"))
    (record,) = (each for each in files if each.endswith(".dist-info/RECORD"))
    files[paths] = files[paths].rstrip() + f"\n{_NAMES}\n".encode()
    digest = base64.urlsafe_b64encode(hashlib.sha256(files[paths]).digest()).rstrip(b"=").decode()
    lines = (line for line in files[record].decode().splitlines() if not line.startswith(f"{paths},"))
    files[record] = "\n".join([*lines, f"{paths},sha256={digest},{len(files[paths])}", ""]).encode()
