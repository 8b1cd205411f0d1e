"""A plan as a person reads it on a terminal: the best set-up of each member whole, the runners-up in a line."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from handlead.kinematics.links.mounted import Mounted
from handlead.machines.planning.carrying import carried_over
from handlead.machines.planning.planned import Planned
from handlead.machines.planning.planning import Member, Plan
from handlead.machines.practice.cut_cycle import CutCycle
from handlead.machines.setups.case import feeding_slide_goes
from handlead.machines.toml.places import quoted
from handlead.machines.toml.units import dial, feed, length, surface_speed
from handlead.viz.streams.terminal import CAUTION, console
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from .proof import show_finding


def show_plan(plan: Plan, out: Console | None = None) -> None:
    """Print the plan on one screen."""
    out = out or console()
    out.print(Text.assemble((plan.job.title, "bold"), f"  on {plan.machine.name}"))
    if plan.job.hob.name:
        out.print(f"with the hob {quoted(plan.job.hob.name)}")
    for member in plan.members:
        _show_member(member, plan, out)
    for finding in plan.of_the_pair:
        show_finding(finding, out)
    _show_before(plan, out)
    _show_change(plan, out)
    _show_carried(plan, out)
    out.print(Padding(Text(CAUTION, style="dim"), (1, 0, 1, 0)))


def _show_member(member: Member, plan: Plan, out: Console) -> None:
    work = member.work
    hand = f"{work.hand.word}-hand, " if work.is_helical and work.hand else ""
    out.print(Text.assemble((f"\n{member.name}", "bold"), f": {hand}{work.teeth} teeth"))
    if not member.setups:
        out.print(Text(f"  ✗ no set-up: {member.none_because}", style="bold red"))
        for more in (member.not_searched, member.gears_to_get):
            if more:
                out.print(f"  {more}")
        for finding in member.warnings:
            show_finding(finding, out)
        return
    best, *others = member.setups
    out.print(Padding(_whole(best, plan), (0, 0, 0, 2)))
    if others:
        out.print(Padding(_runners_up(others), (0, 0, 0, 2)))
    for one in member.refused:
        gears = str(Mounted(one.gears))
        out.print(f"  {gears} would be nearer ({one.error * 1e6:+.2f} ppm), but {one.why}", style="dim")
    if isinstance(member.proposal, str):
        out.print(f"  {member.proposal}", style="dim")
    else:
        for warning in member.proposal.warnings:
            out.print(f"  ! {warning}", style="dim")
        for reason in member.proposal.reasons:
            if reason.source:
                out.print(f"  starting value: {reason.text} ({reason.source})", style="dim")


def _whole(planned: Planned, plan: Plan) -> Table:
    setup, gear = planned.setup, planned.proof.computed.outcome
    units = planned.proof.case.job.units
    grid = Table.grid(padding=(0, 3, 0, 0))
    for name, mounted in setup.change.items():
        grid.add_row(name, f"{mounted}{mounted.without_idler}")
    machine = planned.proof.case.job.machine
    levers = {name: setup.levers.get(name, lever.normal) for name, lever in machine.levers.items()}
    if levers:
        grid.add_row("levers", "; ".join(f"{name}: {position}" for name, position in levers.items()))
    grid.add_row("swivel", machine.swivel_text(float(setup.swivel_deg or 0)))
    if gear and gear.sliding_feed:
        grid.add_row("feed", f"{feed(gear.sliding_feed, units)}, {feeding_slide_goes(planned.proof.case)}")
        if gear.feed:
            grid.add_row("", plan.feed_way_because)
    grid.add_row("to start from", _cycle(planned.cycle, units))
    grid.add_row("on the flank", _flank(planned))
    for words in planned.against:
        grid.add_row("not as meant", words)
    for finding in planned.proof.findings:
        grid.add_row(finding.severity, f"{finding.message} {finding.remedy}".strip())
    return grid


def _cycle(cycle: CutCycle, units: str) -> str:
    parts = []
    if cycle.hob_rpm:
        speed = f" ({surface_speed(cycle.cutting_speed_m_min, units)})" if cycle.cutting_speed_m_min else ""
        parts.append(f"hob {cycle.hob_rpm:.0f} rpm{speed}")
    depths = " + ".join(dial(depth, units) for depth in cycle.depths)
    if cycle.centres is not None and not depths:
        parts.append(f"full depth at centres {dial(cycle.centres, units)}")
    else:
        parts.append(f"depth {depths or 'as the drawing has it'}")
    if cycle.travel:
        parts.append(f"travel {length(cycle.travel, units, 1)}")
    if cycle.time_min:
        parts.append(f"{cycle.time_min:.0f} min")
    return ", ".join(parts)


def _flank(planned: Planned) -> str:
    quality = f"class {planned.quality}" if planned.quality else "no class"
    if planned.lead_error_ppm is None and not planned.helix_slope_um:
        return "exact"
    lead = "" if planned.lead_error_ppm is None else f"lead {planned.lead_error_ppm:+.2f} ppm, "
    inches = planned.proof.case.job.units == "in"
    slope = f"{planned.helix_slope_um / 25400:+.6f} in" if inches else f"{planned.helix_slope_um:+.2f} µm"
    return f"{lead}{slope} over the face ({quality})"


def gears_of(planned: Planned) -> str:
    """The gears of every bracket, in a line."""
    return "; ".join(f"{name}: {mounted}" for name, mounted in planned.setup.change.items())


def _runners_up(others: list[Planned]) -> Table:
    grid = Table.grid(padding=(0, 2, 0, 0))
    for planned in others:
        fed = feed(planned.feed, planned.proof.case.job.units) if planned.feed else ""
        grid.add_row("or", gears_of(planned), fed, _flank(planned))
    return grid


def _changed(one: Mounted, other: Mounted) -> str:
    """What is done on a bracket between two members: gears that stay are said to stay."""
    if one.gears != other.gears:
        return f"{one} → {other}"
    out, into = (", ".join(map(str, mounted.idlers)) for mounted in (one, other))
    if not into:
        return f"the gears stay; take out the idler {out}"
    return f"the gears stay; put in the idler {into}" + (f" in place of {out}" if out else "")


def _gears_changed(before: Mapping[str, Mounted], after: Mapping[str, Mounted]) -> Iterator[str]:
    """What is done on each bracket that is filled before and after, and not alike."""
    for name, mounted in before.items():
        if name in after and mounted != after[name]:
            yield f"{name}: {_changed(mounted, after[name])}"


def _show_before(plan: Plan, out: Console) -> None:
    """What is changed from what the job before left on the brackets."""
    first = plan.members[0]
    if not plan.lying or not first.setups:
        return
    after = first.setups[0].setup.change
    out.print(Text(f"\nFrom the job before to {first.name}", style="bold"))
    for line in _gears_changed(plan.lying, after):
        out.print(f"  {line}")
    for name in plan.lying:
        if after.get(name) == plan.lying[name]:
            out.print(f"  {name}: stays as it is")


def _show_change(plan: Plan, out: Console) -> None:
    """What is changed at the machine from one member to the other."""
    if len(plan.members) < 2 or not all(member.setups for member in plan.members):
        return
    one, other = (member.setups[0] for member in plan.members[:2])
    lines = list(_gears_changed(one.setup.change, other.setup.change))
    lines += [
        f"lever {name}: {one.setup.levers.get(name, lever.normal)} → {other.setup.levers.get(name, lever.normal)}"
        for name, lever in plan.machine.levers.items()
        if one.setup.levers.get(name) != other.setup.levers.get(name)
    ]
    swivel_text = plan.machine.swivel_text
    lines.append(f"swivel: {swivel_text(float(one.setup.swivel_deg or 0), seen=False)} → "
                 f"{swivel_text(float(other.setup.swivel_deg or 0), seen=False)}")  # fmt: skip
    out.print(Text(f"\nFrom {plan.members[0].name} to {plan.members[1].name}", style="bold"))
    for line in lines:
        out.print(f"  {line}")
    if plan.lead_difference_ppm is not None:
        out.print(f"  Their lead errors differ by {plan.lead_difference_ppm:.2f} ppm.")
    if plan.shares_differential:
        mates = ", and the pair still mates" if plan.can_run else ""
        out.print(f"  Both have one ratio on the differential: their lead errors match{mates}.")


def _show_carried(plan: Plan, out: Console) -> None:
    """What is different on the other machine, and so in the set-up, where the job was carried over to one."""
    if plan.machine is plan.job.machine:
        return
    out.print(Text(f"\nFrom {plan.job.machine.name} to {plan.machine.name}", style="bold"))
    for line in carried_over(plan):
        out.print(f"  {line}")
