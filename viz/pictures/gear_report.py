"""The inspection report of a set-up's gear as figures, and into files."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from handlead.viz.draw.gear_report import draw_report
from handlead.viz.look import look

if TYPE_CHECKING:
    from handlead.machines.charting.simulated import GearReport
    from matplotlib.figure import Figure


def report_pages(report: GearReport, paper: str = "A4") -> tuple[Figure, ...]:
    """Its four pages, on paper of this size."""
    return tuple(draw_report(report, paper))


def write_report(report: GearReport, out: Path, paper: str = "A4") -> tuple[list[Path], str]:
    """Write the pages of one PDF, or a file a page; returns the files, and the letters that can't be printed.

    Raises `OSError` where one can't be written; each is written whole or not at all.
    """
    pages = report_pages(report, paper)
    missing = "".join(dict.fromkeys("".join(map(look.spell, pages))))
    title, form = f"Inspection report, simulated: {report.case.job.title}", out.suffix.lower().removeprefix(".")
    if form == "pdf":
        from handlead.viz.sheet.file import write_figures

        write_figures(pages, title, out, paper)
        return [out], missing
    names = [out, *(out.with_name(f"{out.stem}-{number}{out.suffix}") for number in range(2, len(pages) + 1))]
    pictures = [look.picture(page, form, title=title) for page in pages]
    for name, content in zip(names, pictures, strict=True):
        look.put(name, content)
    return names, missing
