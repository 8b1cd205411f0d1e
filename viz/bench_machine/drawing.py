"""A machine's train drawn on its page, whole or growing, with what it lacks marked where it lacks it."""

from __future__ import annotations

from dataclasses import dataclass

from handlead.kinematics.train.solution import Solution, solve
from handlead.machines.machine_files.machine_file import Machine, read_machine_text
from handlead.machines.toml.errors import FileFault
from handlead.machines.toml.filing import plain
from handlead.machines.toml.places import parse
from handlead.viz.bench_drawn.train import Drawn, Explained, TapLine, draw, told_of
from handlead.viz.draw_train.train_layout import lay_out
from handlead.viz.draw_train.train_words import links_in_words, parts_in_words
from handlead.viz.look.shop import Shop

from .entering import FieldsSheet
from .growing import Note, as_written, grown

#: The sign of a mark in the drawing, by what is lacking.
SIGNS = {"loose": "○", "missing": "?", "lock": "✕"}


@dataclass(frozen=True)
class Mark:
    """A sign in the drawing, and what it means."""

    x: float
    y: float
    sign: str
    words: str


@dataclass(frozen=True)
class DrawnMachine:
    """The drawing, its marks, and all that the train lacks."""

    drawn: Drawn
    marks: tuple[Mark, ...]
    notes: tuple[Note, ...]

    @property
    def lines(self) -> tuple[str, ...]:
        """What the train lacks, a line for all that lack the same."""
        found: dict[str, list[str]] = {}
        for note in self.notes:
            of, colon, words = note.words.partition(": ")
            found.setdefault(words if colon and note.what != "lock" else note.words, []).append(of)
        return tuple(
            words if len(of) == 1 and words.startswith(of[0]) else f"{', '.join(of)}: {words}"
            for words, of in found.items()
        )


def draw_machine(text: str, name: str) -> DrawnMachine | None:
    """The train of a machine's text, as far as it is known; None where nothing can be drawn yet."""
    text = plain(text)
    try:
        machine = read_machine_text(text, name)
    except FileFault:
        return _draw_growing(text, name)
    solution = solve(machine.set_up(), machine.normal_drive)
    shop = Shop(machine.units, machine.way)
    links = as_written(FieldsSheet(machine.document.values, {}), links_in_words(solution, shop))
    layout = lay_out(solution, shop, (parts_in_words(solution, shop), links))
    drawn = draw(solution, layout, shop, machine.name, machine.normal_positions)
    growing = grown(machine.document.values, shop)
    return _marked(drawn, growing.notes if growing else ())


def _draw_growing(text: str, name: str) -> DrawnMachine | None:
    try:
        values = parse(text, name).values
    except FileFault:
        return None
    shop = Shop("in" if values.get("units") == "in" else "mm")
    growing = grown(values, shop)
    if growing is None:
        return None
    layout = lay_out(growing.solution, shop, growing.said)
    title = str(values.get("name") or name)
    return _marked(draw(growing.solution, layout, shop, title, {}), growing.notes)


def _marked(drawn: Drawn, notes: tuple[Note, ...]) -> DrawnMachine:
    lines = {(line.kind, line.name): line for line in drawn.lines}
    marks: dict[tuple[float, float], Mark] = {}
    for note in notes:
        line = lines.get(("part", note.of)) or lines.get(("link", note.of))
        if line is not None:
            x, y = _spot(line)
            before = marks.get((x, y))
            words = f"{before.words}; {note.words}" if before else note.words
            marks[x, y] = Mark(x, y, before.sign if before else SIGNS[note.what], words)
    return DrawnMachine(drawn, tuple(marks.values()), notes)


def _spot(line: TapLine) -> tuple[float, float]:
    """The far end of a shaft, the middle of a link."""
    points = [tuple(map(float, point.split(","))) for point in line.points.split()]
    if line.kind == "part":
        return points[-1][0], points[-1][1]
    (x0, y0), (x1, y1) = points[0][:2], points[-1][:2]
    return round((x0 + x1) / 2, 2), round((y0 + y1) / 2, 2)


def explained(text: str, name: str, part: str, link: str) -> Explained:
    """The way from the drive to a part, or what a link is, levers normal. Raises `ValueError`."""
    solution, machine = _solved(text, name)
    if machine is not None:
        return told_of(solution, machine.units, part, link, Shop(machine.units, machine.way))
    return told_of(solution, "mm", part, link)


def _solved(text: str, name: str) -> tuple[Solution, Machine | None]:
    text = plain(text)
    try:
        machine = read_machine_text(text, name)
    except FileFault:
        growing = grown(parse(text, name).values, Shop())
        if growing is None:
            raise ValueError("there is no shaft yet") from None
        return growing.solution, None
    return solve(machine.set_up(), machine.normal_drive), machine
