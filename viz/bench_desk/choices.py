"""What a tapped gear could be exchanged for: the gears of the drawer, each with what the set-up would then cut."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from handlead.kinematics.law.outcome import Outcome
from handlead.kinematics.links.mounted import ChangeGears, Mounted
from handlead.kinematics.train.setup import Setup
from handlead.machines.setups.case import Case, cuts_wanted, helix_slope_um, no_slope_because
from handlead.machines.setups.drawers import gears_left
from handlead.machines.setups.mending import refusal
from handlead.machines.toml.errors import FileFault
from handlead.machines.toml.units import deviation, lengths_in

#: Gears that are offered where the machine file lists no drawer for the bracket.
_USUAL = range(20, 101)


@dataclass(frozen=True)
class Choice:
    """One gear for a place: what it makes, and why it can't stand there ("" where it can)."""

    teeth: int
    count: str
    hand: str
    slope: str
    refusal: str
    stands: bool
    as_wanted: bool


@dataclass(frozen=True)
class PlaceOffer:
    """The gears for one place of a bracket, those that can stand there first.

    `listed` says whether the machine's drawer is known, `letter` what a gear there is called; "" for an idler.
    """

    bracket: str
    place: str
    letter: str
    choices: tuple[Choice, ...]
    listed: bool

    @property
    def is_idler(self) -> bool:
        """Whether an idler stands there, or is to."""
        return self.place.startswith("idler")

    @property
    def what(self) -> str:
        """The place in words."""
        if self.is_idler:
            return f"idler in {self.bracket}"
        return f"gear {self.letter} in {self.bracket}"

    @property
    def stands(self) -> int | None:
        """The gear that stands there."""
        return next((one.teeth for one in self.choices if one.stands), None)


def at_place(setup: Setup, bracket: str, place: str, teeth: int | None) -> Setup:
    """The set-up with a gear of so many teeth at a place of a bracket: "2", or "idler 0"; None takes an idler out.

    Raises `ValueError` for a place that isn't there.
    """
    mounted = setup.change.get(bracket)
    if mounted is None:
        raise ValueError(f"no gears are mounted in {bracket!r}. Type the whole set first")
    row = list(mounted.idlers if place.startswith("idler") else mounted.gears)
    number = int(place.removeprefix("idler").strip() or len(row))
    if place.startswith("idler") and teeth is None:
        del row[number : number + 1]
    elif teeth is None or not 0 <= number <= (len(row) if place.startswith("idler") else len(row) - 1):
        raise ValueError(f"{bracket!r} has no such place")
    else:
        row[number : number + 1] = [teeth]
    changed = (
        Mounted(mounted.gears, tuple(row))
        if place.startswith("idler")
        else Mounted(tuple(row), mounted.idlers)
    )
    return replace(setup, change={**setup.change, bracket: changed})


def offer(case: Case, bracket: str, place: str) -> PlaceOffer:
    """The gears that could stand at a place, smallest first, with what each would make. Raises `ValueError`."""
    link = next((one for one in case.train.brackets if one.name == bracket), None)
    if link is None or link.mounted is None:
        raise ValueError(f"no gears are mounted in {bracket!r}")
    left = gears_left(case.job.machine, case.setup.change, bracket)
    now = _stands(link.mounted, place)
    teeth = sorted({*(_USUAL if left is None else left), *(() if now is None else (now,))})
    made = sorted(_choices(case, link, place, now, teeth), key=lambda one: bool(one.refusal) and not one.stands)
    letter = "" if place.startswith("idler") else case.letters(bracket)[int(place)]
    return PlaceOffer(bracket, place, letter, tuple(made), left is not None)


def _stands(mounted: Mounted, place: str) -> int | None:
    row = mounted.idlers if place.startswith("idler") else mounted.gears
    number = int(place.removeprefix("idler").strip() or len(row))
    return row[number] if 0 <= number < len(row) else None


def _choices(
    case: Case, link: ChangeGears, place: str, now: int | None, teeth: list[int]
) -> Iterator[Choice]:
    units = case.job.units
    for count in teeth:
        setup = at_place(case.setup, link.name, place, count)
        refused = refusal(link, setup.change[link.name])
        try:
            made = Case.of(case.job, setup)
        except FileFault:
            continue
        outcome = made.outcome
        yield Choice(
            count, *told(outcome, units, made), lengths_in(refused.why, units) if refused else "", count == now,
            refused is None and cuts_wanted(case.job.work, outcome),
        )  # fmt: skip


def told(outcome: Outcome | None, units: str, case: Case) -> tuple[str, str, str]:
    """Count, hand and deviation over the face, in the words of a list."""
    if outcome is None or outcome.teeth is None:
        return "no count", "", ""
    if not outcome.is_steady:
        return f"about {outcome.teeth}, spaces don't meet", "", ""
    hand = outcome.hand.word if outcome.hand else "straight"
    work = case.job.work
    if work.kind == "worm wheel":
        return f"{outcome.teeth} teeth", hand, ""
    apart = no_slope_because(work, outcome)
    slope = f"{apart}: no deviation to tell" if apart else deviation(helix_slope_um(work, outcome), units)
    return f"{outcome.teeth} teeth", hand, slope
