"""The tables of an inspection report: values of each tooth, and the greatest of each with what its class allows."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from handlead.kinematics.gauging.flanks import FlankTrace
from handlead.machines.charting.simulated import GearReport, ReportedValue
from handlead.viz.look import look
from handlead.viz.look.paper import MARGIN, Page
from handlead.viz.look.shop import Shop

#: Type size in points of tables, and the height in mm of a line of one.
TABLE, ROW = 9.0, 5.0

#: Room in mm for the words of a table of values, and for the number of a tooth.
_VALUES, _TOOTH = 58.0, 26.0


@dataclass(frozen=True)
class ReportSheet:
    """What every page is drawn with: the report, the paper, and the shop's units and words."""

    report: GearReport
    page: Page
    shop: Shop

    def fine(self, um: float, *, signed: bool = False) -> str:
        """A deviation as a number in the shop's fine unit."""
        digits = 2 if self.shop.units == "in" else 1
        value = round(um / self.shop.fine[1], digits) + 0
        return f"{value:+.{digits}f}" if signed else f"{value:.{digits}f}"


def teeth_table(sheet: ReportSheet, y: float, kind: str) -> float:
    """The values of each tooth traced, left and right flanks side by side."""
    signs = [one.quantity.sign for one in sheet.report.of_page(kind)]
    values = {name: dict(_numbers(sheet, name, kind)) for name in ("left", "right")}
    step = (sheet.page.wide - _TOOTH) / 6
    page = sheet.page
    for side, name in enumerate(values):
        page.text(MARGIN + _TOOTH + step * (3 * side + 1.5), y, f"{name}, {sheet.shop.fine[0]}", TABLE, ha="center")
        for column, sign in enumerate(signs):
            _sign(page, MARGIN + _TOOTH + step * (3 * side + column + 1) - 2, y + ROW, sign)
    page.rule(y + 2 * ROW - 0.5, width=look.THIN)
    y += 0.6
    for row, tooth in enumerate(values["left"], 2):
        page.text(MARGIN, y + row * ROW, f"tooth {tooth}", TABLE)
        for side, name in enumerate(values):
            for column, um in enumerate(values[name].get(tooth, ())):
                told = sheet.fine(um, signed=column == 0)
                page.text(MARGIN + _TOOTH + step * (3 * side + column + 1) - 2, y + row * ROW, told, TABLE, ha="right")
    return y + (2 + len(values["left"])) * ROW


def _numbers(sheet: ReportSheet, flank: str, kind: str) -> Iterator[tuple[int, tuple[float, float, float]]]:
    for tooth, one in sheet.report.flanks(flank):
        trace: FlankTrace = getattr(one.measured, kind)
        yield tooth, (trace.slope_um, trace.form_um, trace.total_um)


def _sign(page: Page, right: float, y: float, sign: str) -> None:
    """A sign of the standard with its index set low, its end at `right`."""
    letter, index = sign.split("_")
    wide = [look.text_size(letter, TABLE)[0], look.text_size(index, TABLE * 0.78)[0]]
    page.text(right - sum(wide), y, letter, TABLE, style="italic")
    page.text(right - wide[1], y + 1.0, index, TABLE * 0.78)


def values_height(sheet: ReportSheet, page: str) -> float:
    """Height in mm that the values of a page take."""
    return (1 + len(sheet.report.of_page(page))) * ROW + 3


def values_table(sheet: ReportSheet, y: float, values: Sequence[ReportedValue]) -> float:
    """The greatest of each, what is allowed, and the class it comes to; of the records too, where they tell it."""
    page, wanted, unit = sheet.page, sheet.report.limits.quality, sheet.shop.fine[0]
    has_records = bool(sheet.report.laid.records)
    heads = [f"greatest, {unit}", f"class {wanted} allows", "class", *(("measured", "class") if has_records else ())]
    step = (sheet.page.wide - _VALUES) / len(heads)
    for column, head in enumerate(heads, 1):
        page.text(MARGIN + _VALUES + step * column, y, head, TABLE, ha="right")
    page.rule(y + ROW - 0.5, width=look.THIN)
    y += 0.6
    for row, one in enumerate(values, 1):
        at = y + row * ROW
        _sign(page, MARGIN + 10, at, one.quantity.sign)
        page.text(MARGIN + 13, at, one.quantity.words, TABLE)
        cells = [sheet.fine(one.um), f"{one.allowed_um / sheet.shop.fine[1]:.3g}", _class(one.quality)]
        if has_records:
            cells += ["–", "–"] if one.measured_um is None else [sheet.fine(one.measured_um), _class(one.measured_quality)]
        over = {0: one.um > one.allowed_um, 3: (one.measured_um or 0.0) > one.allowed_um}
        for column, cell in enumerate(cells):
            page.text(MARGIN + _VALUES + step * (column + 1), at, cell, TABLE, ha="right", bold=over.get(column, False))
    return y + (1 + len(values)) * ROW


def _class(quality: int | None) -> str:
    return "none" if quality is None else str(quality)
