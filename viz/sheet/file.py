"""Sheets into a file: PDF with a page a member, or an HTML page that holds all it needs and prints the same."""

from __future__ import annotations

import datetime
import io
import itertools
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from handlead.machines.proving.proof import Proof
from handlead.viz.look import look
from handlead.viz.look.lettering import faces
from handlead.viz.look.paper import PAPERS
from handlead.viz.sheet_words.member_words import shares_gears
from handlead.viz.sheet_words.words import sheet_words

from .page import draw_sheet
from .together import draw_together

if TYPE_CHECKING:
    from matplotlib.figure import Figure

Pages = Sequence[tuple[str, Proof]]


def write_sheet(pages: Pages, out: Path, paper: str = "A4") -> tuple[int, str]:
    """Write the sheet of these members, each a name and a proof, as the ending of `out` says; whole or not at all.

    Returns the number of pages, and the letters that had to be replaced since the font lacks them. Raises
    `OSError` where the file can't be written.
    """
    figures = list(drawn(pages, paper))
    missing = "".join(dict.fromkeys("".join(map(look.spell, figures))))
    write_figures(figures, f"Set-up sheet: {pages[0][1].case.job.title}", out, paper)
    return len(figures), missing


def write_figures(figures: Sequence[Figure], title: str, out: Path, paper: str = "A4") -> None:
    """Write drawn pages as the ending of `out` says, whole or not at all. Raises `OSError` where that can't be."""
    title = look.on_one_line(title)
    html = out.suffix.lower() == ".html"
    look.put(out, _html(figures, title, paper).encode() if html else _pdf(figures, title))


def drawn(pages: Pages, paper: str = "A4", today: datetime.date | None = None) -> Iterator[Figure]:
    """Every page: changing over from each member to the next where they share gears, then one page for each member."""
    day = today or datetime.date.today()
    for pair in itertools.pairwise(pages):
        if shares_gears([sheet_words(proof, day) for _, proof in pair]):
            yield from draw_together(pair, paper, day)
    for member, proof in pages:
        yield from draw_sheet(proof, paper, day, member)


def _pdf(figures: Sequence[Figure], title: str) -> bytes:
    import matplotlib
    from matplotlib.backends.backend_pdf import PdfPages

    out = io.BytesIO()
    with matplotlib.rc_context(look.WRITING), PdfPages(out, metadata={"Title": title}) as file:
        for figure in figures:
            file.savefig(figure)
    return out.getvalue()


def _html(figures: Sequence[Figure], title: str, paper: str) -> str:
    """The drawn pages as pictures in the text, one to a sheet of paper, with the letters that they are written in."""
    import jinja2
    from markupsafe import Markup

    width, height = PAPERS[paper]
    pictures = [look.picture(figure, "svg").decode() for figure in figures]
    drawings = [Markup(picture[picture.index("<svg") :]) for picture in pictures]
    shelf = jinja2.Environment(
        loader=jinja2.PackageLoader("handlead.viz.sheet", "."), autoescape=True, undefined=jinja2.StrictUndefined
    )
    return shelf.get_template("sheet.html").render(
        title=title, width=width, height=height, pages=drawings, faces=faces("".join(pictures))
    )
