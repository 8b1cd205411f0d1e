"""The letters that a drawn page is written in, cut down to those it uses, for pages that hold all they need."""

from __future__ import annotations

import base64
import html
import io
import logging
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from . import look

#: Weight and style of a face, and the file that holds it among the drawing library's own fonts.
_FACES = {
    ("400", "normal"): "DejaVuSans.ttf",
    ("700", "normal"): "DejaVuSans-Bold.ttf",
    ("400", "italic"): "DejaVuSans-Oblique.ttf",
}

_WRITTEN = re.compile(r"<(?:text|tspan)\b[^>]*>([^<]*)")


@dataclass(frozen=True)
class Face:
    """A face for a page: its family, weight and style in the words of CSS, and the font, in base64."""

    family: str
    weight: str
    style: str
    woff: str


def faces(svg: str) -> Iterator[Face]:
    """The faces that drawings are written in, with no more letters than stand in them."""
    letters = "".join(html.unescape(words) for words in _WRITTEN.findall(svg))
    for (weight, style), name in _FACES.items():
        yield Face(look.FONT, weight, style, base64.b64encode(_cut_down(name, letters)).decode())


def _cut_down(name: str, letters: str) -> bytes:
    import matplotlib
    from fontTools import subset

    # It tells of every table that it leaves out.
    logging.getLogger("fontTools.subset").setLevel(logging.ERROR)
    options = subset.Options()
    options.flavor = "woff"
    options.drop_tables += ["FFTM"]
    path = Path(matplotlib.get_data_path()) / "fonts" / "ttf" / name
    out = io.BytesIO()
    with subset.load_font(str(path), options) as font:
        cutter = subset.Subsetter(options)
        cutter.populate(text=letters or " ")
        cutter.subset(font)
        subset.save_font(font, out, options)
    return out.getvalue()
