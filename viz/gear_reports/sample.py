"""What a sample may be, as a person at the bench reads it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from handlead.kinematics.frame.words import angle_text
from handlead.kinematics.gears.readings import Agreement, Candidate
from handlead.machines.documents.sample import Named
from handlead.machines.measuring.part_sizes import ball_text
from handlead.machines.toml.units import length
from handlead.viz.streams.terminal import console
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

#: Candidates that are told with all their readings, and those that are named.
MOST_TOLD, MOST_NAMED = 3, 6

_LEAD = "measure the lead (a lean at the outside is no closer than half a degree), and "

_TO_DO = (
    "Before a mate or a copy is cut: {lead}count the first marks. A worn gear tells what it is now; whether it was "
    "made with a shift or worn to it, only the pair can say."
)

_AGAIN = (
    "Take the readings again, burrs off, and see to the count and the units: they don't go together with any published "
    "system. The nearest above are no advice to cut."
)


def show_sample(named: Named, written: Path | None = None, out: Console | None = None) -> None:
    """Print what fits, likeliest first, what agrees how well, and what to measure next."""
    out = out or console()
    mark, words, style = _verdict(named)
    out.print(Text.assemble((f"{mark} {words}", style), "  ", (named.title, "bold")))
    out.print(f"  {named.path}, {named.identity.sample.teeth} teeth", style="dim")
    for number, candidate in enumerate(named.identity.candidates[:MOST_NAMED], 1):
        _show_candidate(number, candidate, named, out, in_full=number <= MOST_TOLD)
    if not named.identity.candidates:
        out.print(Padding("No published system comes near. Count the teeth again, and see to the units.", (1, 0, 0, 2)))
    _show_next(named, out)
    if written is not None:
        out.print(Padding(f"Written: {written}. Look at its hob and its helix angle, then plan it.", (1, 0, 0, 2)))
    to_do = _TO_DO.format(lead="" if named.identity.sample.leans is False else _LEAD)
    out.print(Padding(Text(to_do, style="dim"), (1, 0, 1, 2)))


def _verdict(named: Named) -> tuple[str, str, str]:
    if named.is_one:
        return "✓", "ONE FITS", "bold green"
    if named.fitting:
        return "!", "NOT SURE" if len(named.fitting) == 1 else "SEVERAL FIT", "bold yellow"
    return "✗", "NONE FITS", "bold red"


def _show_candidate(number: int, candidate: Candidate, named: Named, out: Console, *, in_full: bool) -> None:
    words = f"{number}  {candidate.system.name}; {_rest(candidate, named)}"
    share = f"{100 * candidate.share:.0f} of 100" if candidate.share >= 0.005 else "hardly"
    out.print(Padding(Text.assemble((words, "bold" if number == 1 else ""), f"   {share}"), (1, 0, 0, 2)))
    if not in_full:
        return
    table = Table(box=None, pad_edge=False, padding=(0, 3, 0, 0), header_style="dim")
    for heading in ("", "measured", "made new", "", ""):
        table.add_column(heading)
    for each in candidate.agreements:
        table.add_row(*_row(each, named.units))
    out.print(Padding(table, (0, 0, 0, 5)))


def _rest(candidate: Candidate, named: Named) -> str:
    hand = f" {named.hand.word}" if named.hand and candidate.helix_angle_deg else ""
    helix = f"helix {angle_text(candidate.helix_angle_deg)}{hand}" if candidate.helix_angle_deg else "straight teeth"
    shift = f"shift {candidate.profile_shift:+.2f}" if candidate.profile_shift else "no shift"
    measured = candidate.measured_shift
    if measured is not None and abs(measured - candidate.profile_shift) > 0.005:
        shift += f" (teeth now as thick as with {measured:+.2f})"
    return f"{helix}, {shift}"


def _row(each: Agreement, units: str) -> tuple[str, ...]:
    angle = "lean" in each.what
    what = each.what if each.ball is None else f"{each.what} of {ball_text(each.ball, units)}"
    taken, new = (f"{value:.2f}°" if angle else length(value, units) for value in (each.taken, each.new))
    miss = each.taken - each.new
    size = f"{abs(miss):.2f}°" if angle else length(abs(miss), units)
    far = "" if abs(each.off) <= 1 else f"{abs(each.off):.1f} times what it may be off"
    if far and not each.binds:
        far = "other than of an unshifted pair"
    return what, taken, new, f"{size} {'less' if miss < 0 else 'more'}", far


def _show_next(named: Named, out: Console) -> None:
    following = named.identity.next_reading
    if named.identity.candidates and not named.fitting:
        out.print(Padding(_AGAIN, (1, 0, 0, 2)))
        return
    if following is None:
        if not named.is_one and named.identity.candidates:
            out.print(Padding("Measure on: more readings of any kind would make it surer.", (1, 0, 0, 2)))
        return
    over = "" if following.ball is None else f" of {ball_text(following.ball, named.units)}"
    out.print(Padding(Text(f"Measure next: {following.what}{over}. It would read", style="bold"), (1, 0, 0, 2)))
    for line in _values(named):
        out.print(Padding(line, (0, 0, 0, 5)))


def _values(named: Named) -> Iterator[str]:
    following = named.identity.next_reading
    assert following is not None
    for candidate, value in following.values:
        size = f"{value:.2f}°" if following.unit == "°" else length(value, named.units)
        leans = f", {angle_text(candidate.helix_angle_deg)}" if candidate.helix_angle_deg else ""
        yield f"{size}  for {candidate.system.name}{leans}"
