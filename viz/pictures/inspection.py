"""Charts of an inspected gear, a page a record: on axes, and into files."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from handlead.machines.toml.errors import FileFault, Place, Unwritable
from handlead.viz.draw import inspection
from handlead.viz.look import look
from handlead.viz.look.shop import Shop

if TYPE_CHECKING:
    from handlead.machines.inspecting.answer import InspectedGear
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


def plot_inspection(found: InspectedGear, ax: Axes | None = None, *, record: int = 0) -> Axes:
    """One record of an inspected gear, by its number from 0: what was read, what each part left, what is left, orders.

    Wants axes of about 190 by 252 mm. Raises `IndexError` for a record that isn't there.
    """
    if not 0 <= record < len(found.records):
        raise IndexError(f"record {record} isn't there; there are {len(found.records)}, from 0")
    ax = look.new_figure(*inspection.SIZE).add_axes((0, 0, 1, 1)) if ax is None else ax
    ax.set_axis_off()
    return inspection.plot_record(found, record, ax, shop=Shop.of(found.case))


def write_charts(found: InspectedGear, out: Path) -> list[Path]:
    """Write the charts of all records: pages of one PDF, or a file a record. Returns the files.

    Raises `FileFault` where one can't be written; each is written whole or not at all.
    """
    figures = [_page(found, number) for number in range(len(found.records))]
    title, form = f"Inspection: {found.case.job.title}", out.suffix.lower().removeprefix(".")
    names = [
        out,
        *(out.with_name(f"{out.stem}-{number}{out.suffix}") for number in range(2, len(figures) + 1)),
    ]
    try:
        if form == "pdf":
            from handlead.viz.sheet.file import write_figures

            write_figures(figures, title, out)
            return [out]
        pictures = [look.picture(figure, form, title=title) for figure in figures]
        for name, content in zip(names, pictures, strict=True):
            look.put(name, content)
    except OSError as fault:
        reason = (fault.strerror or str(fault)).lower()
        raise FileFault([Unwritable(Place(str(out), 1), "", f"it can't be written ({reason})")]) from None
    return names


def _page(found: InspectedGear, number: int) -> Figure:
    figure = plot_inspection(found, record=number).get_figure(root=True)
    assert figure is not None
    look.spell(figure)
    return figure
