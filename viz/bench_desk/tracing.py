"""From what was found on a blank to its cause, as the page asks it: one question at a time."""

from __future__ import annotations

from dataclasses import dataclass

from .work import Source


@dataclass(frozen=True)
class Traced:
    """The verdict, the causes as (share, words, what they leave), and the next question with its answers."""

    verdict: str
    lines: tuple[str, ...]
    causes: tuple[tuple[str, str, str], ...]
    unknown: str
    cure: tuple[str, ...]
    setup: bool
    question: str
    minutes: str
    answers: tuple[tuple[str, str], ...]


#: Causes that are told; the others are in the JSON of the command.
_MOST = 8


def traced(source: Source) -> Traced:
    """What explains what was found. Raises `FileFault` where nothing was, or what was can't all hold."""
    from handlead.machines.tracing.diagnosis import EXPLAINED, trace
    from handlead.viz.reports.trace import LEAST_SHARE, cause_text, leaves_text, verdict_lines

    found = trace(source.job())
    known = 1.0 if found.is_certain else 1 - found.explanation.unknown
    causes = tuple(
        (f"{each.weight * known:.0%}", cause_text(each), leaves_text(each, found.job.units))
        for each in found.suspects[:_MOST]
        if each is found.suspects[0] or each.weight * known >= LEAST_SHARE
    )
    unknown = found.explanation.unknown
    told = found.next
    return Traced(
        found.verdict, tuple(verdict_lines(found)), causes,
        f"{unknown:.0%}" if causes and unknown >= LEAST_SHARE and not found.is_certain else "", found.cure,
        bool(found.cure) and found.verdict == EXPLAINED, told.check.do if told else "",
        f"{told.check.minutes:g}" if told else "",
        tuple((split.outcome, "") for split in told.splits[:9]) if told else (),
    )  # fmt: skip
