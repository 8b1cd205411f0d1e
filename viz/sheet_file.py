"""Sheets into a file: PDF with a page a member, or an HTML page that holds all it needs and prints the same."""

from __future__ import annotations

import io
from collections.abc import Sequence
from html import escape
from pathlib import Path

from handlead.machines.proof import Proof

from . import look
from .sheet import PAPERS, draw_sheet

Pages = Sequence[tuple[str, Proof]]


def write_sheet(pages: Pages, out: Path, paper: str = "A4") -> None:
    """Write the pages, each a member's name and proof, as the ending of `out` says; whole or not at all."""
    content = _html(pages, paper).encode() if out.suffix.lower() == ".html" else _pdf(pages, paper)
    look.put(out, content)


def _pdf(pages: Pages, paper: str) -> bytes:
    import matplotlib
    from matplotlib.backends.backend_pdf import PdfPages

    out = io.BytesIO()
    with (
        matplotlib.rc_context(look.WRITING),
        PdfPages(out, metadata={"Title": f"Set-up sheet: {pages[0][1].case.job.title}"}) as file,
    ):
        for member, proof in pages:
            file.savefig(draw_sheet(proof, paper, member=member))
    return out.getvalue()


def _html(pages: Pages, paper: str) -> str:
    """The drawn pages as pictures in the text, one to a sheet of paper."""
    width, height = PAPERS[paper]
    drawn = []
    for member, proof in pages:
        picture = look.picture(draw_sheet(proof, paper, member=member), "svg").decode()
        drawn.append(f'<div class="page">{picture[picture.index("<svg"):]}</div>')
    return _PAGE.format(
        title=escape(f"Set-up sheet: {pages[0][1].case.job.title}"),
        width=width,
        height=height,
        pages="\n".join(drawn),
    )


_PAGE = """<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<title>{title}</title>
<style>
@page {{ size: {width}mm {height}mm; margin: 0 }}
body {{ margin: 0; background: #fff }}
.page {{ width: {width}mm; height: {height}mm; break-after: page }}
.page svg {{ width: 100%; height: 100% }}
</style>
</head>
<body>
{pages}
</body>
</html>
"""
