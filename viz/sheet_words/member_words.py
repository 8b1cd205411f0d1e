"""Several members side by side in words: what is changed from one to the next, and what stays."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

from handlead.kinematics.frame.words import angle_text

from .setting_words import EMPTY, FOR_BLANK, BracketWords
from .words import SheetWords


@dataclass(frozen=True)
class MemberLine:
    """One thing for every member: set at the machine, or only read (`is_set` False)."""

    what: str
    each: tuple[str, ...]
    is_set: bool = True

    @property
    def alike(self) -> bool:
        """Whether it stays as it is from member to member."""
        return len(set(self.each)) == 1


def bracket_lines(sheets: Sequence[SheetWords]) -> tuple[MemberLine, ...]:
    """The gears of every bracket, for each member; for a later one, that gears stay where only an idler changes."""
    return tuple(
        MemberLine(brackets[0].name, (_fitted(brackets[0]), *map(_changed, itertools.pairwise(brackets))))
        if len(set(brackets)) > 1
        else MemberLine(brackets[0].name, tuple(map(_fitted, brackets)))
        for brackets in zip(*(words.brackets for words in sheets), strict=True)
    )


def _fitted(bracket: BracketWords) -> str:
    return f"{bracket.gears}   {bracket.idler}".strip()


def _changed(pair: tuple[BracketWords, BracketWords]) -> str:
    before, bracket = pair
    if bracket == before:
        return "as before"
    if bracket.gears != before.gears:
        return _fitted(bracket)
    if not bracket.has_idler:
        return "GEARS STAY: TAKE OUT THE IDLER, SWING THE STUD IN"
    return (
        f"GEARS STAY: SWING THE STUD, {'CHANGE TO' if before.has_idler else 'PUT IN'} {bracket.note.upper()}"
    )


def head_line(sheets: Sequence[SheetWords]) -> MemberLine:
    """The swing of the head for each member."""
    each = [", ".join(filter(None, words.head)) for words in sheets]
    for number, (before, words) in enumerate(itertools.pairwise(sheets), start=1):
        if words.swivel_deg != before.swivel_deg:
            swung = angle_text(abs(words.swivel_deg - before.swivel_deg), "′")
            each[number] += f"; in all {swung} from before"
    return MemberLine("head, seen from behind the hob", tuple(each))


def other_lines(sheets: Sequence[SheetWords]) -> tuple[MemberLine, ...]:
    """Hob, levers, feed, depth and first cut for each member; "" where one has no such thing."""
    lines = [MemberLine("hob", tuple(words.hob_line.removeprefix("HOB: ") for words in sheets))]
    faces = tuple(words.faces.removeprefix("CUTTING FACES LOOK ") for words in sheets)
    if any(faces):
        lines.append(MemberLine("hob's cutting faces look", faces))
    for block in ("levers", "running"):
        # The blank that a depth holds for stands over each member's column.
        rows = [
            {what.partition(FOR_BLANK)[0]: much for what, much in getattr(words, block)} for words in sheets
        ]
        for what in dict.fromkeys(what for row in rows for what in row):
            each = tuple(row.get(what, "") for row in rows)
            lines.append(MemberLine(what, each, not any(what in words.told for words in sheets)))
    marks = (", ".join(much.removeprefix("to the ") for _, much in words.first_cut) for words in sheets)
    return (*lines, MemberLine("light first cut", tuple(marks), False))


def shares_gears(sheets: Sequence[SheetWords]) -> bool:
    """Whether several members are for one machine, and some bracket stays as it is for all of them."""
    if len(sheets) < 2 or len({words.machine for words in sheets}) != 1:
        return False
    brackets = zip(*(words.brackets for words in sheets), strict=True)
    return any(len(set(each)) == 1 and each[0].gears != EMPTY for each in brackets)
