"""What a machine file says of its imperfections, as errors of the train that a set-up makes."""

from __future__ import annotations

import math
from collections.abc import Iterator
from fractions import Fraction

from handlead.kinematics.frame.motion import Ripple
from handlead.kinematics.train.imperfections import PeriodicError, ripples
from handlead.kinematics.train.link import Link, TwoPort
from handlead.kinematics.train.links import BevelGears, GearPair, WormGear
from handlead.kinematics.train.mounted import ChangeGears
from handlead.kinematics.train.moves import Play
from handlead.kinematics.train.train import Train
from handlead.machines.machine_files.machine_file import Imperfection

from .case import Case


def ripples_of(case: Case) -> tuple[Ripple, ...]:
    """The periodic errors that come through to table and slides in this set-up."""
    if case.solution.is_locked:
        return ()
    return tuple(
        ripple
        for error in periodic_errors(case)
        for ripple in ripples(case.train, case.setup.drive, error)
    )


def plays_of(case: Case) -> tuple[Play, ...]:
    """The lost motion of links, in turns or mm of their driven parts."""
    return tuple(
        Play(one.link, _amount(one))
        for one in case.job.machine.imperfections
        if one.kind == "backlash" and one.link is not None
    )


def periodic_errors(case: Case) -> Iterator[PeriodicError]:
    """Every periodic error of a link, those of change gears where they are mounted."""
    for one in case.job.machine.imperfections:
        if one.kind != "backlash":
            yield from errors_of(case.train, one)


def errors_of(train: Train, one: Imperfection) -> Iterator[PeriodicError]:
    """What a periodic imperfection makes of the links of a train: one error, or none where its gear isn't mounted."""
    if one.kind == "gear runout":
        yield from _runout(train, one)
    elif one.link is not None:
        link = train.link(one.link)
        assert isinstance(link, TwoPort)
        part, waves = _comes_back(train, link, one)
        yield PeriodicError(link.name, part, waves, float(_amount(one)), float(one.phase_deg / 360))


def _amount(one: Imperfection) -> Fraction:
    """At the driven part: turns of a shaft, or mm of a slide."""
    return Fraction(one.length) if one.length is not None else Fraction(one.angle_deg or 0) / 360


def _comes_back(train: Train, link: TwoPort, one: Imperfection) -> tuple[str, Fraction]:
    """The part in whose turn the error comes back, and how often it does."""
    if one.kind == "tooth by tooth":
        return link.to_part, Fraction(_teeth(link))
    turn_of = one.turn_of or ("driving" if link.to_part in train.slides else "driven")
    return (link.from_part if turn_of == "driving" else link.to_part), Fraction(1)


def _teeth(link: Link) -> int:
    """Teeth of the driven gear."""
    if isinstance(link, WormGear):
        return link.teeth
    assert isinstance(link, GearPair | BevelGears)
    return link.teeth[1]


def _runout(train: Train, one: Imperfection) -> Iterator[PeriodicError]:
    """A gear off its centre, where it is mounted as driver or driven gear; idlers aren't looked at.

    Off by e it carries its flanks to and fro along the line of action by e·sin of its angle, and the base circle
    of the driven gear of its mesh, whose radius is r·cos α, is turned by so much too far or not far enough (own
    derivation, first order in e).
    """
    for link in train.brackets:
        for index, gear in enumerate(link.mounted.gears if link.mounted else ()):
            if gear == one.gear and (error := runout_at(link, index, one)):
                yield error
                return


def runout_at(link: ChangeGears, index: int, one: Imperfection) -> PeriodicError | None:
    """What the gear at this place of a bracket does where it runs out; None where nobody knows its module."""
    module = one.module_n or (link.bracket or {}).get("module")
    if not module or one.runout is None:
        return None
    base = float(module) * math.cos(math.radians(one.pressure_angle_deg))
    return _of_gear(link, index, base, float(one.runout) / 2, float(one.phase_deg / 360))


def _of_gear(link: ChangeGears, index: int, base: float, eccentricity: float, phase: float) -> PeriodicError:
    """`base` is a tooth's share of the base circle's diameter, in mm."""
    assert link.mounted is not None
    pairs = [Fraction(driver, driven) for driver, driven in link.mounted.pairs]
    mesh, is_driven = divmod(index, 2)
    turned = math.prod(pairs[: mesh + is_driven], start=Fraction(1))
    beyond = math.prod(pairs[mesh + 1 :], start=Fraction(1))
    driven_radius = base * link.mounted.pairs[mesh][1] / 2
    amplitude = eccentricity / (2 * math.pi * driven_radius) * float(beyond)
    return PeriodicError(link.name, link.from_part, turned, amplitude, phase)
