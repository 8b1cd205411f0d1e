"""Parts that every page of a sheet has: its heading, its foot with the cautions, and the drawings set into it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from handlead.kinematics.links.mounted import ChangeGears, SetRatio
from handlead.machines.proving.proof import Proof
from handlead.machines.setups.case import face_width_mm
from handlead.viz.look import look
from handlead.viz.look.paper import LINE, MARGIN, Page, largest, trimmed
from handlead.viz.sheet_words.words import SheetWords

if TYPE_CHECKING:
    from matplotlib.axes import Axes

#: Type sizes in points: what is read beside the setting, and what stands at the foot.
READ, FOOT = 8.5, 6.5

#: Smallest type of a title, in points; what is longer is cut short.
_TITLE_LEAST = 9.0

#: What the verdict doesn't cover.
_ONLY_SIMULATED = (
    "in simulation. Not looked at: blank, clamping, room for head and hob.",
    "The light first cut decides.",
)



def see_further(count: int) -> str:
    """What stands for findings that have no room on the first page."""
    return f"and {count} more that {'was' if count == 1 else 'were'} found: see page 2"


def cautions(said: Sequence[str], width: float) -> list[str]:
    """Cautions in lines, each begun with a sign."""
    return [line for caution in said for line in look.wrapped(f"! {caution}", READ, width, bold=True)]


def heading(page: Page, words: SheetWords, machine: str, member: str) -> float:
    """Title, work and verdict. Returns the height below."""
    title(page, f"{words.title}{f' ({member})' if member else ''}")
    page.text(page.right, 13.5, machine, 10, ha="right")
    if words.up:
        page.text(page.right, 18.5, f"top of this sheet: {words.up}", 9, ha="right")
    beside = look.text_size(f"top of this sheet: {words.up}", 9, False)[0] if words.up else 27
    room = page.wide - beside - 3
    page.text(MARGIN, 16, words.summary, largest(words.summary, room, 12.5), bold=True)
    size = 14.0
    wide = look.text_size(words.verdict, size, True)[0]
    page.box(MARGIN, 23, wide + 6, 8, filled=not words.is_right)
    page.text(
        MARGIN + 3, 24.2, words.verdict, size, bold=True, color=look.INK if words.is_right else look.PAPER
    )
    if words.is_right:
        page.lines(MARGIN + wide + 9, 23.4, _ONLY_SIMULATED, 9)
    return 33.0


def title(page: Page, words: str) -> None:
    """The title of a page, beside what stands in its right corner."""
    room = page.wide - 48
    words = trimmed(words, room, _TITLE_LEAST)
    page.text(MARGIN, 8, words, largest(words, room, 16), bold=True)


def draw_bracket(axes: Axes, link: ChangeGears, letters: str) -> None:
    """The gears alone, called by their `letters`: what the full drawing says in words stands beneath, or in `show`."""
    from handlead.viz.draw_brackets.bracket import plot_bracket
    from handlead.viz.draw_brackets.set_ratio import plot_set_ratio

    if isinstance(link, SetRatio):
        plot_set_ratio(link, axes)
        return
    plot_bracket(link, axes, words=False, letters=letters)


def draw_head(page: Page, proof: Proof, x: float, y: float, size: float) -> None:
    """The head from behind the hob, without words."""
    from handlead.viz.draw.head import plot_swivel
    from handlead.viz.pictures.pictures import swivel_of

    plot_swivel(swivel_of(proof.case), page.panel(x, y, size, size), words=False)


def draw_marks(page: Page, proof: Proof, x: float, y: float, width: float, height: float) -> None:
    """The outside of the blank after the light first cut, unrolled, as the drawing wants it."""
    from handlead.viz.draw.marks import touched, wanted_marks
    from handlead.viz.draw.witness import witness_layout

    job, outside = proof.case.job, proof.case.sizes.outside_diameter
    bands = touched(job.work, job.hob)
    layout = witness_layout((wanted_marks(job.work),), outside, face_width_mm(job.work), bands)
    (lines,) = layout.lines
    scale = min(width / layout.width, height / layout.height)
    left, low = x, y + layout.height * scale
    frame = ((0.0, 0.0), (layout.width, 0.0), (layout.width, layout.height), (0.0, layout.height), (0.0, 0.0))
    page.line([(left + dx * scale, low - dy * scale) for dx, dy in frame], 0.8)
    for start, end in lines:
        page.line([(left + dx * scale, low - dy * scale) for dx, dy in (start, end)], 2.2)


# ---------------------------------------------------------------- the foot


def foot_height(page: Page, said: Sequence[str], sources: int = 1) -> float:
    """What the foot of a page takes, in mm, with these cautions and so many lines of sources."""
    lines = len(cautions(said, page.wide))
    return 7.75 + lines * READ * LINE + sources * FOOT * LINE


def foot(page: Page, said: Sequence[str], *sources: str) -> None:
    """The last cautions, and what the sheet was made from."""
    y = page.height - foot_height(page, said, len(sources))
    page.rule(y, width=1.6)
    y = page.lines(MARGIN, y + 1.8, cautions(said, page.wide), READ, bold=True)
    for source in sources:
        page.text(MARGIN, y + 1, source, largest(source, page.wide, FOOT), color=look.FAINT)
        y += FOOT * LINE
