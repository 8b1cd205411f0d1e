"""A diagnosis as a person at the machine reads it: what explains the cut, and what to look at next."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import replace

from handlead.kinematics.slips.evidence import SYMPTOMS
from handlead.kinematics.suspects.next_checks import NextCheck
from handlead.kinematics.suspects.suspects import SAME_LEAN_DEG, SAME_MISS, NearMiss, Suspect
from handlead.machines.job_files.job_file import Job
from handlead.machines.toml.units import length
from handlead.machines.tracing.diagnosis import AS_WANTED, EXPLAINED, NOT_EXPLAINED, Diagnosis, trace
from handlead.machines.tracing.seen_on_blank import USUAL_DEG
from handlead.viz.streams.terminal import CAUTION, console
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

#: Causes and outcomes that fit on one screen.
MOST_GROUPS, MOST_IN_GROUP, MOST_OUTCOMES, MOST_NUMBERS = 6, 5, 9, 6

_MARKS = {AS_WANTED: ("✓", "bold green"), EXPLAINED: ("→", "bold yellow")}

#: What was seen, by its key, in words.
_SEEN = {
    "teeth": "the count", "hand": "the hand", "lead": "the lead", "helix_angle": "the helix angle",
    "spaces_meet": "whether the spaces meet", "second_cut_miss": "how the second cut falls in",
    "table_turned": "which way the table turned", "slide_moved": "which way the slide moved",
    "hob_turns": "the hob turns counted", "feed_marks": "the feed marks", "marks": "how the teeth look",
    "outside_helix_angle": "the lean at the outside", "thickness": "how thick the teeth are",
    "meshes": "whether it runs with its mate", "runs_out": "whether it runs true",
    "one_tooth_out": "whether one tooth is out of pitch",
}  # fmt: skip


def show_diagnosis(found: Diagnosis, out: Console | None = None, *, brief: bool = False) -> None:
    """Print the verdict, the causes with what each leaves, and the next check; `brief` leaves the head out."""
    out = out or console()
    mark, style = _MARKS.get(found.verdict, ("✗", "bold red"))
    if not brief:
        out.print(Text.assemble((f"{mark} {found.verdict.upper()}", style), "  ", (found.job.title, "bold")))
        out.print(f"  {found.job.path}, on {found.job.machine.name}", style="dim")
    for line in verdict_lines(found):
        out.print(Padding(Text(line), (1 if not brief else 0, 0, 0, 2)))
    _show_causes(found, out)
    for line in _after_causes(found):
        out.print(Padding(Text(line), (1, 0, 0, 2)))
    for miss in found.explanation.nearest:
        _show_miss(miss, found.job.units, out)
    if found.next is not None and not brief:
        _show_check(found.next, out)
    if not brief:
        out.print(Padding(Text(CAUTION, style="dim"), (1, 0, 1, 2)))


def _leans_right_outside(found: Diagnosis) -> bool:
    """Whether the angle that is given at the reference cylinder would be right if it was read at the outside."""
    from handlead.viz.draw.marks import wanted_marks

    seen = found.job.seen
    if seen is None or seen.helix_angle_deg is None or seen.outside_helix_angle_deg is not None or seen.checks:
        return False
    if abs(wanted_marks(found.job.work).lean_deg - float(seen.helix_angle_deg)) > USUAL_DEG:
        return False
    moved = replace(seen, helix_angle_deg=None, outside_helix_angle_deg=seen.helix_angle_deg)
    return trace(found.job.with_seen(moved)).verdict == AS_WANTED


def verdict_lines(found: Diagnosis) -> Iterator[str]:
    """What is to be said before the causes are told."""
    if found.verdict == AS_WANTED:
        yield "What was seen is what the drawing asks for, as far as it was looked at: nothing is to be traced."
        if found.unseen:
            yield f"Not looked at: {', '.join(found.unseen)}. Of that nothing is said."
        return
    errors = [finding for finding in found.proof.findings if finding.severity == "error"]
    if errors:
        more = f" (and {len(errors) - 1} more)" if len(errors) > 1 else ""
        yield f"The set-up as it is written isn't as wanted{more}: {errors[0].message}"
    seen = found.job.seen
    if seen and seen.helix_angle_deg is not None and _leans_right_outside(found):
        yield (
            f"{float(seen.helix_angle_deg):g}° is what a protractor reads on the outside of a good blank: "
            "if the lean was taken there, write outside_helix_angle in place of helix_angle. Tried: all that was seen "
            "is then as the drawing asks."
        )
    if not found.suspects:
        yield (
            f"None of {found.explanation.tried} faults and pairs of faults leaves what was seen. Look again at "
            "what was counted, and at what no file holds: a slipping clutch or belt, a loose arbor, a key gone."
        )
        if found.explanation.nearest:
            yield "Nearest to it:"
    elif found.verdict == NOT_EXPLAINED:
        yield (
            "Nothing that is met at all often leaves what was seen. Look again at what was counted, and at what no "
            "file holds: a slipping clutch or belt, a loose arbor, a key gone. Far-fetched, but possible:"
        )
    elif len(found.suspects) == 1:
        yield "One cause is left:" + (" it was found where it is." if found.is_certain else "")
    elif found.next is None:
        yield "No check that is known here tells these causes apart:"
    else:
        blanks = len(found.explanation.groups)
        kinds = f"which leave {blanks} kinds of blank" if blanks > 1 else "which leave the same blank"
        yield f"{len(found.suspects)} causes explain it, {kinds}; likeliest first:"


def _after_causes(found: Diagnosis) -> Iterator[str]:
    """The share of none of them, and what to do about the likeliest where it is nearly sure."""
    unknown = found.explanation.unknown
    if found.suspects and unknown >= LEAST_SHARE and not found.is_certain:
        words = f"{unknown:4.0%}  none of the known slips: a wrong number in the machine file, or what no file holds."
        yield words if unknown < 0.5 else f"{words} That is likelier than all of these together."
    if found.cure and found.verdict == EXPLAINED:
        yield f"If so: {' '.join(found.cure)}"


def _alike(group: Sequence[Suspect]) -> str:
    if len(group) == 1:
        return ""
    if len({suspect.leaves for suspect in group}) == 1:
        return " (these leave the same teeth)"
    if group[0].view.spaces_meet:
        return f" (these leave the same teeth, to {60 * SAME_LEAN_DEG:.0f}' of lean)"
    return f" (these leave the same teeth, to {SAME_MISS:g} of a pitch)"


def _share(group: Sequence[Suspect]) -> float:
    return sum(suspect.weight for suspect in group)


#: A share below this isn't worth a line.
LEAST_SHARE = 0.005


def _show_causes(found: Diagnosis, out: Console) -> None:
    known = 1.0 if found.is_certain else 1 - found.explanation.unknown
    number = 0
    groups = found.explanation.groups
    # What is next to nothing stands in the count of the others; the likeliest always stands there.
    shown = [group for group in groups if group is groups[0] or _share(group) >= LEAST_SHARE][:MOST_GROUPS]
    for group in shown:
        share = _share(group) * known
        alike = _alike(group)
        out.print(
            Padding(
                Text.assemble((f"{share:4.0%}", "bold"), f"  leaves {leaves_text(group[0], found.job.units)}{alike}"),
                (1, 0, 0, 2),
            )
        )
        grid = Table.grid(padding=(0, 1))
        for suspect in group[:MOST_IN_GROUP]:
            number += 1
            grid.add_row(f"{number}.", Text(cause_text(suspect)))
        if len(group) > MOST_IN_GROUP:
            number += len(group) - MOST_IN_GROUP
            grid.add_row("", Text(f"and {len(group) - MOST_IN_GROUP} more", style="dim"))
        out.print(Padding(grid, (0, 0, 0, 8)))
    if len(groups) > len(shown):
        left = sum(len(group) for group in groups[len(shown) :])
        out.print(
            Padding(Text(f"and {left} less likely ones (--json lists them)", style="dim"), (1, 0, 0, 8))
        )


def cause_text(suspect: Suspect) -> str:
    """What was done, where: ``idler-left-out in differential gears: no idlers where there should be 1``."""
    texts = []
    for fault in suspect.faults:
        kind = fault.kind.kind.replace("-", " ")
        where = f", {fault.where}" if fault.where else ""
        texts.append(f"{kind}{where}: {fault.detail}")
    return ", and ".join(texts)


def leaves_text(suspect: Suspect, units: str = "mm") -> str:
    """What comes out, in a few words, lengths in the job's units."""
    shown = ", ".join(word for word in SYMPTOMS if word in suspect.view.symptoms)
    left = _teeth_text(suspect, units)
    return f"{left}, {shown}" if shown else left


def _teeth_text(suspect: Suspect, units: str) -> str:
    view, outcome = suspect.view, suspect.outcome
    if suspect.standing.slips:
        return "no two turns of the table alike"
    if suspect.running.stuck:
        return f"nothing: the machine can't be turned ({suspect.running.stuck})"
    if view.teeth is None:
        return {
            "one notch": "one notch, the table standing still",
            "cut away": "no teeth: the table runs against the hob",
        }.get(next(iter(view.marks), ""), "nothing: the hob stands")
    if not view.spaces_meet and view.lead_mm is None:
        real = f"{float(outcome.real_teeth):.3f}" if outcome and outcome.real_teeth else "no whole number of"
        return f"{real} teeth a turn: the spaces don't meet"
    hand = "straight" if view.hand == "none" else f"{view.hand}-hand"
    lead = "" if view.lead_mm is None else f", lead {length(view.lead_mm, units, 2)}{_lean_text(suspect)}"
    return f"{view.teeth} teeth, {hand}{lead}"


def _lean_text(suspect: Suspect) -> str:
    view = suspect.view
    if view.helix_deg is not None:
        return f" ({view.helix_deg:.2f}°)"
    return "" if view.outside_deg is None else f" ({view.outside_deg:.2f}° at the outside)"


def _show_miss(miss: NearMiss, units: str, out: Console) -> None:
    against = ", ".join(_SEEN.get(name, f"what was found ({name})") for name, _ in miss.against)
    grid = Table.grid(padding=(0, 1))
    grid.add_row("·", Text(f"{cause_text(miss.suspect)}; leaves {leaves_text(miss.suspect, units)}"))
    grid.add_row("", Text(f"against it: {against}", style="dim"))
    out.print(Padding(grid, (0, 0, 0, 4)))


def _show_check(found: NextCheck, out: Console) -> None:
    out.print(
        Padding(
            Text.assemble(("Next: ", "bold"), found.check.do, f" ({found.check.minutes:g} min)."),
            (1, 0, 0, 2),
        )
    )
    out.print(Padding(_outcomes(found), (0, 0, 0, 4)))


def show_question(found: NextCheck, out: Console | None = None) -> None:
    """Print a check with its outcomes, numbered for an answer."""
    out = out or console()
    out.print(
        Text.assemble(("Now ", "bold"), found.check.do, f" ({found.check.minutes:g} min). What was found?")
    )
    out.print(Padding(_outcomes(found, len(found.splits)), (0, 0, 0, 2)))
    out.print(Text('Or "other", "not sure", or "count again" and the teeth.', style="dim"))


def _outcomes(found: NextCheck, most: int = MOST_OUTCOMES) -> Table:
    grid = Table.grid(padding=(0, 2, 0, 0))
    for number, split in enumerate(found.splits[:most], 1):
        grid.add_row(f"{number})", Text(split.outcome), Text(f"then {_numbers(split.suspects)}", style="dim"))
    if len(found.splits) > most:
        grid.add_row("", Text(f"and {len(found.splits) - most} other outcomes", style="dim"), "")
    return grid


def _numbers(suspects: Sequence[int]) -> str:
    if not suspects:
        return "none of these causes"
    named = ", ".join(str(number + 1) for number in suspects[:MOST_NUMBERS])
    more = len(suspects) - MOST_NUMBERS
    return f"cause{'' if len(suspects) == 1 else 's'} {named}{f' and {more} more' if more > 0 else ''}"


def show_answers(job: Job, out: Console | None = None) -> None:
    """Print what was answered, as lines for the job file, so that it needn't be asked again."""
    if job.seen is None or not job.seen.checks:
        return
    out = out or console()
    out.print(Text("To keep these answers, put into the job file:", style="dim"))
    for check in job.seen.checks:
        out.print(
            Text(f"[[seen.check]]\ndo    = {_toml(check.do)}\nfound = {_toml(check.found)}"), soft_wrap=True
        )


def _toml(text: str) -> str:
    """A text as a TOML string, whole: JSON's strings are TOML's too."""
    return json.dumps(text, ensure_ascii=False)
