"""What is to be said of a pair that was cut in simulation and rolled together."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

from handlead.machines.job_files.job_file import Job
from handlead.machines.judging_teeth.both_jobs import pair_apart
from handlead.machines.setups.findings import Finding
from handlead.machines.toml.units import height, length

from .members import RolledMember
from .words import AT, DRIVES, at_the_machine, where

#: Less than this over the face, in µm, is no lean to speak of (own choice).
_LEANS = 1.0

#: So much more backlash than drawn, in modules, is told of (own choice).
_LOOSER = 0.02

#: A jerk with every tooth of so many modules is of teeth that don't belong together (own choice).
_KNOCKS = 0.02

#: Teeth left as they were hobbed bear along this share of the face at least (common practice, from memory).
_USUALLY_BEARS = 0.35

#: Where a flank bears that does so in no part of its face more than in the others, and hardly in any.
_HARDLY = "in spots alone"

if TYPE_CHECKING:
    from handlead.kinematics.rolling.roll import Rolled

    from .pair_rolled import PairRolled


def told_mate(job: Job, mate: Job | None) -> Iterator[Finding]:
    """Whether the mate's job is the one that the work's job means, and the other way about."""
    apart = () if mate is None else pair_apart(job, mate)
    if mate is None or not apart:
        return
    told = job.mate.teeth if job.mate else None
    yield Finding(
        "other-mate", "warning", f"The two jobs don't say the same of the pair: {'; '.join(apart)}.",
        "See that they are of one pair, and make them say the same.",
        {"told": told, "teeth": mate.work.teeth, "apart": "; ".join(apart)},
    )  # fmt: skip


def separately(members: tuple[RolledMember, RolledMember]) -> Iterator[Finding]:
    """What is wrong with either by itself, and whether both can be rolled at all."""
    for whose, member in zip(("work", "mate"), members, strict=True):
        found, drawn = member.found, member.work.teeth
        if found is not None and found.teeth is not None and found.teeth != drawn:
            yield Finding(
                "cut-count", "error",
                f"The {whose} comes off with {found.teeth} teeth, and the drawing has {drawn}: the pair would turn at "
                "another ratio.", f"Prove the {whose}'s job: it says what is wrong with its set-up.",
                {"teeth": found.teeth, "wanted": drawn},
            )  # fmt: skip
    hands = [member.hand for member in members]
    cut = any(member.found is not None and member.gear is not None for member in members)
    if cut and _don_t_match(hands):
        words = [_hand(hand) for hand in hands]
        both = (
            f"Both come off {words[0]}"
            if hands[0] == hands[1]
            else f"The work comes off {words[0]}, the mate {words[1]}"
        )
        yield Finding(
            "cut-hands", "error",
            f"{both}: on parallel shafts their teeth cross, and they don't go in.{_on_the_drawing(members)}",
            "Prove both jobs: one has an idler too many or too few, or its differential the wrong way.",
            {"work": hands[0], "mate": hands[1]},
        )  # fmt: skip
        yield not_rolled("their teeth cross")
        return
    if told := _on_the_drawing(members):
        yield Finding(
            "other-hand", "warning", f"They fit each other, but not the drawing.{told}",
            "Prove that job: it has an idler too many or too few, or its differential the wrong way.",
            {"work": hands[0], "mate": hands[1]},
        )  # fmt: skip
    for whose, member in zip(("work", "mate"), members, strict=True):
        if member.gear is None:
            yield not_rolled(f"of the {whose}'s flanks too little is made: {member.why_not}")
            return


def _hand(hand: str) -> str:
    return "straight" if hand == "none" else f"{hand}-hand"


def _on_the_drawing(members: tuple[RolledMember, RolledMember]) -> str:
    """Which of them leans otherwise than its drawing has it."""
    wrong = [
        f" The {whose} is to be {_hand(member.hand_wanted)}, and comes off {_hand(member.hand)}."
        for whose, member in zip(("work", "mate"), members, strict=True)
        if member.hand != member.hand_wanted
    ]
    return "".join(wrong)


def _don_t_match(hands: list[str]) -> bool:
    one, other = hands
    return one != other if "none" in hands else one == other


def not_rolled(why: str) -> Finding:
    """That they can't be rolled, and why."""
    return Finding(
        "not-rolled", "error", f"The pair isn't rolled: {why}.", "See to that first, then roll them again."
    )


def running(found: PairRolled) -> Iterator[Finding]:
    """How they run: whether they go in, keep touch, and where they bear."""
    rolled, units = found.rolled, found.job.units
    play = found.play()
    if rolled is None:
        return
    if play is not None and play[0] < 0:
        yield _binds(found, rolled, play)
    yield from _knocks(found, rolled)
    yield from _loose(found, rolled, play)
    lost = max(side.never_touching for side in rolled.sides.values())
    if lost:
        yield Finding(
            "loses-touch", "error",
            f"For {100 * lost:.0f} % of the way no two flanks touch as involutes do: the pair knocks.",
            "See to the outside diameters, the shifts and the centre distance.", {"out_of_touch": lost},
        )  # fmt: skip
    for side, turning in DRIVES.items():
        yield from _bears(found, side, turning)
    if found.distance_from == "usual backlash" and found.distance is not None:
        yield Finding(
            "usual-backlash", "note",
            "The drawing gives neither centre distance nor thinning: they are rolled at "
            f"{length(found.distance, units)} centres, where the drawn teeth have a common backlash.",
            "Give centre_distance under [mate], or thinning, or --centres.", {"centre_distance_mm": found.distance},
        )  # fmt: skip


def _knocks(found: PairRolled, rolled: Rolled) -> Iterator[Finding]:
    """An error that comes back with every tooth, so large that their pitches can't be alike."""
    jerk = max((wave.um for side in DRIVES for wave in found.waves(side)[2:3]), default=0.0)
    if jerk < 1000 * _KNOCKS * rolled.first.gear.module_n:
        return
    yield Finding(
        "knocks", "error",
        f"With every tooth the one that is driven is jerked by {height(jerk, found.job.units)}: tooth to tooth they "
        "don't measure alike along the line on which they touch, as of a hob of another module or pressure angle.",
        "Prove both jobs, and look at what is marked on their hobs.", {"jerk_um": jerk},
    )  # fmt: skip


def _loose(found: PairRolled, rolled: Rolled, play: tuple[float, float] | None) -> Iterator[Finding]:
    """More backlash than the drawn teeth have at these centres: teeth that came out thin."""
    gear, units = rolled.first.gear, found.job.units
    drawn = rolled.nominal_play * math.cos(math.radians(gear.base_helix_angle_deg))
    if play is None or play[1] - drawn < _LOOSER * gear.module_n:
        return
    yield Finding(
        "teeth-thin", "warning",
        f"They have {length(play[1], units)} of backlash, and the drawn teeth {length(drawn, units)} at these centres: "
        "teeth come out thin, as of a head that doesn't suit its hob.",
        "Prove both jobs: that says which teeth come out thin, and where to swing the head.",
        {"most_backlash_mm": play[1], "drawn_backlash_mm": drawn},
    )  # fmt: skip


def _bears(found: PairRolled, side: int, turning: str) -> Iterator[Finding]:
    """Flanks that don't bear along the whole face."""
    bears = found.bearing(side)
    if bears is None:
        return
    place = where(bears)
    if place not in AT and bears.length >= _USUALLY_BEARS:
        return
    leans, at = ", ".join(_leans(found)), at_the_machine(AT.get(place, _HARDLY), found.job.machine.way)
    one_sided = place in AT and place not in ("both ends", "middle")
    usual = f", where {100 * _USUALLY_BEARS:.0f} % and more is usual of teeth left as they were hobbed"
    yield Finding(
        "bears-in-part", "warning",
        f"With the work turning {turning} and driving, the flanks bear {at}: along {100 * bears.length:.0f} % of it"
        f"{usual if bears.length < _USUALLY_BEARS else ''}.",
        f"Over the face {leans}: prove that job, and cut it again."
        if leans and one_sided else "See to the leads of both and to what stands on their flanks.",
        {"work_turns": turning, "where": place, "face": bears.length},
    )  # fmt: skip


def _leans(found: PairRolled) -> Iterator[str]:
    """Which member leans off its drawing, and by how much."""
    for whose, member in zip(("work", "mate"), found.members, strict=True):
        lean = member.lean_um
        if lean is not None and member.found is not None and abs(lean) > _LEANS:
            way = "right" if lean > 0 else "left"
            yield f"the {whose}'s teeth lean {height(abs(lean), found.job.units)} too far to the {way}"


def _binds(found: PairRolled, rolled: Rolled, play: tuple[float, float]) -> Finding:
    units, leans = found.job.units, list(_leans(found))
    most = max((abs(member.lean_um or 0.0) for member in found.members), default=0.0) / 1000
    why = (
        f" {leans[0][0].upper()}{', '.join(leans)[1:]} over the face."
        if most > -play[0] / 2 and leans
        else ""
    )
    apart = -play[0] / (2 * math.sin(math.radians(rolled.working_angle_deg)))
    remedy = (
        "Prove the job of the one that leans, and cut it again."
        if why
        else f"Go deeper with one of them, or set the shafts {length(apart, units)} further apart if that can be."
    )
    return Finding(
        "binds", "error",
        f"At {length(rolled.distance, units)} centres they don't go in: {length(-play[0], units)} is "
        f"missing between the flanks at the tightest place.{why}", remedy,
        {"least_backlash_mm": play[0], "most_backlash_mm": play[1], "centre_distance_mm": rolled.distance},
    )  # fmt: skip
