"""One look for every picture: line weights, type sizes, hatches, colours; and figures without a window.

Nothing is told by colour alone: each colour goes with a weight, a dash or a word of its own, and
all of them stay apart in grey. The colours are from M. Okabe and K. Ito's set for colour-blind
readers (from memory). Lengths are millimetres on paper, type sizes and line weights points.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from handlead.machines.toml import filing
from handlead.machines.toml.visible import visible

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.ft2font import FT2Font

MM_PER_INCH = 25.4
POINTS_PER_MM = 72 / MM_PER_INCH

INK = "#000000"
POWER = "#0072B2"
PALE = "#99C6E1"  # the same, thinned with paper
FAULT = "#B34700"
FAINT = "#6E6E6E"
PAPER = "#FFFFFF"
SHADE = "#ECECEC"

#: Line weights in points: what carries power or is looked at first, outlines, and thin lines.
HEAVY, OUTLINE, THIN, HAIR = 2.4, 1.3, 0.8, 0.45

#: Type sizes in points.
TITLE, LARGE, TEXT, SMALL = 13.0, 10.5, 8.5, 7.0

DASHED = (0, (4, 2.2))
DOTTED = (0, (1, 1.6))
CHAIN = (0, (8, 2, 1.5, 2))

#: Hatches: the fixed ground, what is cut away, and what collides.
CUT_AWAY, CLASH = "....", "xxx"

FONT = "DejaVu Sans"


def new_figure(width_mm: float, height_mm: float) -> Figure:
    """An empty figure of this size that draws without any window."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width_mm / MM_PER_INCH, height_mm / MM_PER_INCH), facecolor=PAPER)
    FigureCanvasAgg(figure)
    return figure


def new_axes(width_mm: float, height_mm: float) -> Axes:
    """Axes that fill a new figure of this size, one unit a millimetre, with nothing drawn round them."""
    axes = new_figure(width_mm, height_mm).add_axes((0, 0, 1, 1))
    bare(axes, (0, width_mm), (0, height_mm))
    return axes


def bare(axes: Axes, x: tuple[float, float], y: tuple[float, float]) -> None:
    """Make the axes a plain sheet of paper over these limits, to one scale both ways."""
    axes.set_axis_off()
    axes.set_aspect("equal", adjustable="box")
    axes.set_xlim(*x)
    axes.set_ylim(*y)


def paper_size(axes: Axes) -> tuple[float, float]:
    """Width and height in mm of the paper that these axes take up."""
    figure = axes.get_figure(root=True)
    assert figure is not None
    place = axes.get_position(original=True)
    return (
        figure.get_figwidth() * MM_PER_INCH * place.width,
        figure.get_figheight() * MM_PER_INCH * place.height,
    )


def type_scale(axes: Axes) -> float:
    """Millimetres on paper to a unit of these axes: what a type size of 1:1 is multiplied by."""
    width_mm, height_mm = paper_size(axes)
    (x0, x1), (y0, y1) = axes.get_xlim(), axes.get_ylim()
    return min(width_mm / abs(x1 - x0), height_mm / abs(y1 - y0))


@dataclass(frozen=True)
class ScaledAxes:
    """A drawing to scale within its axes: `scale` mm of paper to a unit; `left`, `right`, `top` and `bottom`
    are the edges of the paper in units, beyond the strips kept for words."""

    scale: float
    left: float
    right: float
    top: float
    bottom: float

    def mm(self, paper_mm: float) -> float:
        """A length on paper in units of the drawing."""
        return paper_mm / self.scale


def fit(axes: Axes, box: tuple[float, float, float, float], *, head: float = 0.0, foot: float = 0.0,
        side: float = 1.0) -> ScaledAxes:  # fmt: skip
    """Bring the drawing in `box` (x0, y0, x1, y1, in its own units) into the axes, as large as may be.

    Strips of `head` and `foot` mm of paper over and under it, and of `side` mm beside it, are kept
    free for words.
    """
    found = fit_paper(paper_size(axes), box, head=head, foot=foot, side=side)
    bare(axes, (found.left, found.right), (found.bottom, found.top))
    return found


def fit_paper(paper: tuple[float, float], box: tuple[float, float, float, float], *, head: float = 0.0,
              foot: float = 0.0, side: float = 1.0) -> ScaledAxes:  # fmt: skip
    """As `fit`, for paper of this width and height in mm."""
    width_mm, height_mm = paper
    x0, y0, x1, y1 = box
    wide, high = max(x1 - x0, 1e-9), max(y1 - y0, 1e-9)
    scale = min((width_mm - 2 * side) / wide, (height_mm - head - foot) / high)
    width, height = width_mm / scale, height_mm / scale
    left = (x0 + x1) / 2 - width / 2
    slack = height - high - (head + foot) / scale
    bottom = y0 - foot / scale - slack / 2
    return ScaledAxes(scale, left, left + width, bottom + height, bottom)


@cache
def _face(bold: bool) -> FT2Font:
    import matplotlib
    from matplotlib.ft2font import FT2Font

    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return FT2Font(str(Path(matplotlib.get_data_path()) / "fonts" / "ttf" / name))


def on_one_line(text: str) -> str:
    """The text as it can be written, in one line."""
    return " ".join(spelt(text).split())


#: What stands for a letter that the font lacks.
INSTEAD = "?"


def without_letter(text: str) -> str:
    """The letters of the text that the font lacks, each once."""
    if text.isascii():
        return ""
    known = _face(False)
    return "".join(dict.fromkeys(c for c in text if ord(c) > 127 and not known.get_char_index(ord(c))))


def spelt(text: str) -> str:
    """The text as it can be written: what shows nothing is written out, letters that the font lacks are replaced."""
    text = visible(text, "\n")
    for letter in without_letter(text):
        text = text.replace(letter, INSTEAD)
    return text


def spell(figure: Figure) -> str:
    """Make all words of a figure stand as they are: what shows nothing is written out, letters that the font lacks
    are replaced, and no sign in a name is taken for a formula. Returns what was replaced, each letter once."""
    from matplotlib.text import Text

    missing = ""
    for words in figure.findobj(Text):
        assert isinstance(words, Text)
        missing += without_letter(visible(words.get_text(), "\n"))
        words.set_text(spelt(words.get_text()))
        words.set_parse_math(False)
    return "".join(dict.fromkeys(missing))


def misspelt(letters: str) -> str:
    """What to tell of letters that were replaced."""
    return f"these letters can't be printed, {INSTEAD} stands for each: {' '.join(letters)}"


@cache
def text_size(text: str, points: float, bold: bool = False) -> tuple[float, float]:
    """Width and height in mm that a text of one or more lines takes on paper."""
    from matplotlib.ft2font import LoadFlags

    face = _face(bold)
    face.set_size(points, 72)
    widest = 0.0
    lines = spelt(text).split("\n")
    for line in lines:
        face.set_text(line, 0.0, flags=LoadFlags.NO_HINTING)
        widest = max(widest, face.get_width_height()[0] / 64)
    return widest / POINTS_PER_MM, len(lines) * points * 1.2 / POINTS_PER_MM


def wrapped(text: str, points: float, width_mm: float, bold: bool = False) -> list[str]:
    """The text in lines that are no wider than `width_mm`, as far as its words allow."""
    lines, line = [], ""
    for word in text.split():
        longer = f"{line} {word}".strip()
        if line and text_size(longer, points, bold)[0] > width_mm:
            lines.append(line)
            longer = word
        line = longer
    return [*lines, line] if line else lines


def save(figure: Figure, path: Path | str, *, dpi: float = 150, title: str = "") -> None:
    """Write the figure as its path's ending says: .png, .pdf or .svg.

    Nothing in a PDF but its date differs from run to run. Raises `ValueError` for another ending,
    `OSError` where the file can't be written; no file is left half written.
    """
    path = Path(path)
    if path.suffix.lower() not in ENDINGS:
        raise ValueError(f"{path}: a picture's name must end in {', '.join(ENDINGS)}")
    put(path, picture(figure, path.suffix.lower().removeprefix("."), dpi=dpi, title=title))


ENDINGS = (".png", ".pdf", ".svg")


def picture(figure: Figure, form: str, *, dpi: float = 150, title: str = "") -> bytes:
    """The figure as the bytes of a "png", "pdf" or "svg" file."""
    import matplotlib

    metadata: dict[str, str | None] = {"Title": on_one_line(title)} if title else {}
    if form == "svg":
        metadata["Date"] = None
    out = io.BytesIO()
    with matplotlib.rc_context(WRITING):
        figure.savefig(out, format=form, dpi=dpi, metadata=metadata, facecolor=PAPER)
    return out.getvalue()


#: Type stays type in PDF and SVG; in PDF as outlines, since cutting TrueType faces down takes a quarter of the whole
#: time of a diagram. Letters aren't moved to whole pixels, so that they take the room reckoned with.
WRITING: Any = {
    "pdf.fonttype": 3,
    "svg.fonttype": "none",
    "svg.hashsalt": "handlead",
    "text.hinting": "no_hinting",
    "font.family": FONT,
}


def put(path: Path, content: bytes) -> None:
    """Write a file whole or not at all. Raises `OSError` where it can't be written."""
    filing.put(content, path)
