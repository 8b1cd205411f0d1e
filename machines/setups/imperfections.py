"""What a machine file says of its imperfections, as errors of the train that a set-up makes, and of what it carries."""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterable, Iterator
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING

from handlead.kinematics.brackets.bracket import Bracket
from handlead.kinematics.brackets.mounting import Mounting
from handlead.kinematics.frame.guide import Guide
from handlead.kinematics.frame.motion import Led, Ripple, Tilt
from handlead.kinematics.frame.words import POSITIVES
from handlead.kinematics.links.link import Link, TwoPort
from handlead.kinematics.links.links import BevelGears, GearPair, WormGear
from handlead.kinematics.links.mounted import ChangeGears
from handlead.kinematics.train.imperfections import PeriodicError, ends_ahead, ripples
from handlead.kinematics.train.moves import Play
from handlead.kinematics.train.train import Train
from handlead.machines.machine_files.machine_file import Imperfection

from .case import Case, face_width_mm

if TYPE_CHECKING:
    from handlead.kinematics.cutting.hob import Hob

#: Kinds that are periodic errors of a link, kinds that are its lost motion, and kinds of the hob on its arbor.
_PERIODIC = ("once per turn", "tooth by tooth", "gear runout", "worm float")
_PLAY = ("backlash", "worm end play")
_OF_HOB = ("hob runout", "hob wobble")

#: So far to either side of its zero, in mm, a straight error of a slide is told; it goes on straight beyond.
_FAR = Fraction(1000)


def ripples_of(case: Case) -> tuple[Led, ...]:
    """The errors that come through to table and slides in this set-up, and how the work leans."""
    if case.solution.is_locked:
        return ()
    found: list[Led] = []
    for one in case.job.machine.imperfections:
        if one.kind in _PERIODIC:
            for error in errors_of(case.train, one):
                found += ripples(case.train, case.setup.drive, error)
        elif one.kind == "pitch":
            found += progressive(case, one)
        elif one.kind not in _PLAY and one.kind not in _OF_HOB:
            found += carried(one, Fraction(face_width_mm(case.job.work)) / 2)
    return tuple(found)


def plays_of(case: Case) -> tuple[Play, ...]:
    """The lost motion of links, in turns or mm of their driven parts."""
    return tuple(
        Play(one.link, lost_motion(case.train, one))
        for one in case.job.machine.imperfections
        if one.kind in _PLAY and one.link is not None
    )


def lost_motion(train: Train, one: Imperfection) -> Fraction:
    """How far a link's driven part can go over: a worm pushed along carries its wheel with it on their pitch circle."""
    if one.kind != "worm end play":
        return _amount(one)
    return Fraction(wheel_turned(train, one, float(one.length or 0))).limit_denominator(10**12)


def wheel_turned(train: Train, one: Imperfection, along: float) -> float:
    """Turns of a worm's wheel where the worm goes so many mm along: that part of its pitch circle, pi times m z."""
    assert one.link is not None
    link = train.link(one.link)
    assert isinstance(link, WormGear)
    module = one.module_n or link.module_n
    return along / (math.pi * float(module) * link.teeth) if module else 0.0


def progressive(case: Case, one: Imperfection) -> Iterator[Guide]:
    """A screw or rack that moves its slide a share too far: so do the ends behind it, by the travel of that slide."""
    assert one.link is not None and one.length is not None and one.over is not None
    link = case.train.link(one.link)
    assert isinstance(link, TwoPort)
    own = next((name for name, end in case.train.ends.items() if end.part == link.to_part), None)
    if own is None or not link.ratio or not case.solution.end_rate(own):
        return
    share = one.length / one.over * case.train.ends[own].sign
    for end, ahead in ends_ahead(case.train, case.setup.drive, link.name).items():
        if end != "hob" and ahead:
            yield _straight(end, own, ahead * share)


def _straight(end: str, over: str, slope: Fraction, zero: Fraction = Fraction(0)) -> Guide:
    return Guide(end, over, tuple((zero + place, slope * place) for place in (-_FAR, _FAR)))


def carried(one: Imperfection, middle: Fraction) -> tuple[Led, ...]:
    """What the blank, its table and the axial slide's way do wrong; `middle` is the height of mid-face.

    A blank that is off by e goes in and out and to and fro with the table: so does the hob, seen from it.
    """
    turned = float(one.phase_deg / 360)
    if one.kind == "work runout":
        off = float(one.runout or 0) / 2
        return (
            Ripple("radial", "table", Fraction(1), -off, turned + 0.25),
            Ripple("tangential", "table", Fraction(1), -off, turned),
        )
    assert one.over is not None
    if one.kind in ("work tilt", "table wobble"):
        return (Tilt(float((one.runout or 0) / 2 / one.over), one.waves, turned, -float(one.below)),)
    assert one.way is not None and one.length is not None
    end = "radial" if one.way in POSITIVES["radial"] else "tangential"
    off_way = POSITIVES[end][one.way] * one.length
    if one.kind == "slide not parallel":
        return (_straight(end, "axial", off_way / one.over, middle),)
    half = one.over / 2
    points = ((middle - half, -off_way), (middle, Fraction(0)), (middle + half, -off_way))
    return (Guide(end, "axial", points, smooth=True),)


def about_mid_face(errors: Iterable[Led], middle: float, radius: float) -> tuple[Led, ...]:
    """Errors of which one number tells all of a tooth: what leans is taken to run out by what it does at mid-face.

    There it dips as well, where it leans to, by the lean times the radius in mm: so much higher stands the hob.
    """
    found: list[Led] = []
    for one in errors:
        if isinstance(one, Tilt):
            off, waves = one.slope * (middle - one.pivot), Fraction(one.waves)
            found.append(Ripple("radial", "table", waves, -off, one.phase_turn + 0.25))
            found.append(Ripple("tangential", "table", waves, -off, one.phase_turn))
            found.append(Ripple("axial", "table", waves, one.slope * radius, one.phase_turn + 0.25))
        else:
            found.append(one)
    return tuple(found)


def on_its_arbor(hob: Hob, imperfections: Iterable[Imperfection]) -> Hob:
    """The hob as it runs on the machine's arbor; several errors of one kind add up by their directions."""
    off = dict.fromkeys(_OF_HOB, 0j)
    for one in imperfections:
        if one.kind in _OF_HOB:
            size = float((one.runout or 0) / 2 / (one.over or 1))
            off[one.kind] += cmath.rect(size, math.radians(float(one.phase_deg)))
    (out, out_at), (lean, lean_at) = (cmath.polar(off[kind]) for kind in _OF_HOB)
    per_radian = hob.gashes / (2 * math.pi)
    return replace(
        hob, runout=out, runout_gash=out_at * per_radian, wobble=lean, wobble_gash=lean_at * per_radian
    )


def errors_of(train: Train, one: Imperfection) -> Iterator[PeriodicError]:
    """What a periodic imperfection makes of the links of a train: one error, or none where its gear isn't mounted."""
    if one.kind == "gear runout":
        yield from _runout(train, one)
    elif one.kind == "worm float":
        assert one.link is not None
        worm = train.link(one.link)
        assert isinstance(worm, WormGear)
        size = wheel_turned(train, one, float(one.runout or 0) / 2)
        yield PeriodicError(worm.name, worm.from_part, Fraction(1), size, float(one.phase_deg / 360))
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
    """A gear off its centre, where it is mounted as driver or driven gear, or else as an idler.

    Off by e it carries its flanks to and fro along the line of action by e·sin of its angle, and the base circle
    of the driven gear of its mesh, whose radius is r·cos α, is turned by so much too far or not far enough (own
    derivation, first order in e).
    """
    where = mounted_at(train, one)
    if where is None:
        return
    link, place = where
    assert link.mounted is not None
    count = len(link.mounted.gears)
    error = runout_at(link, place, one) if place < count else idler_at(link, place - count, one)
    if error:
        yield error


def mounted_at(train: Train, one: Imperfection) -> tuple[ChangeGears, int] | None:
    """The bracket in which a change gear that runs out is mounted, and where in it, from 0 and idlers last.

    Of gears alike that is the one where the file says it was, else the first of those whose runout is known to tell, an
    idler last. None where none is mounted.
    """
    at = [
        (link, place)
        for link in train.brackets
        for place, teeth in enumerate(link.mounted.every if link.mounted else ())
        if teeth == one.gear
    ]
    said = [(link, place) for link, place in at if link.name == one.link and one.place in (None, place + 1)]
    here = [(link, place) for link, place in at if link.name == one.link]

    def rank(where: tuple[ChangeGears, int]) -> tuple[bool, bool]:
        link, place = where
        assert link.mounted is not None
        known = bool(one.module_n or (link.bracket or {}).get("module"))
        return not known, place >= len(link.mounted.gears)

    return next(iter(said or sorted(here or at, key=rank)), None)


def runout_at(link: ChangeGears, index: int, one: Imperfection) -> PeriodicError | None:
    """What the gear at this place of a bracket does where it runs out; None where nobody knows its module."""
    module = one.module_n or (link.bracket or {}).get("module")
    if not module or one.runout is None:
        return None
    base = float(module) * math.cos(math.radians(one.pressure_angle_deg))
    return _of_gear(link, index, base, float(one.runout) / 2, float(one.phase_deg / 360))


def idler_at(link: ChangeGears, index: int, one: Imperfection) -> PeriodicError | None:
    """What an idler of a bracket does where it runs out; None where nobody knows its module.

    Off by e, its flanks are carried along both lines of action: it stands ahead against the gear before it by e along
    the one, and the gear after it ahead of it by e along the other. Both together turn the base circle of the driven
    gear by 2e·sin(h − α) of a wave, h being half the angle from the gear before it to the one after it, the way it
    turns: most where the three stand nearly in line (own derivation, first order in e).
    """
    module = one.module_n or (link.bracket or {}).get("module")
    if not module or one.runout is None or link.mounted is None or not link.mounted.every:
        return None
    mesh = _meshes_of_idlers(link)[index]
    pairs = [Fraction(driver, driven) for driver, driven in link.mounted.pairs]
    pressure = math.radians(one.pressure_angle_deg)
    carried = float(one.runout) * math.sin(math.radians(one.between_deg / 2) - pressure)
    driver, driven = link.mounted.pairs[mesh]
    turned = math.prod(pairs[:mesh], start=Fraction(1)) * Fraction(driver, link.mounted.idlers[index])
    beyond = float(math.prod(pairs[mesh + 1 :], start=Fraction(1)))
    radius = float(module) * driven / 2 * math.cos(pressure)
    amplitude = carried / (2 * math.pi * radius) * beyond
    return PeriodicError(link.name, link.from_part, turned, amplitude, float(one.phase_deg / 360))


def _meshes_of_idlers(link: ChangeGears) -> tuple[int, ...]:
    """In which mesh each idler stands: where the bracket takes it, the first where that isn't known."""
    assert link.mounted is not None
    idlers = list(link.mounted.idlers)
    placed = Bracket.of(link.bracket or {}).mount(link.mounted.gears, link.mounted.idlers)
    found, mesh = dict.fromkeys(range(len(idlers)), 0), 0
    for axis in placed.studs if isinstance(placed, Mounting) else ():
        if axis.name != "idler's stud":
            mesh += 1
            continue
        at = idlers.index(axis.gears[0][1])
        idlers[at] = -1
        found[at] = mesh
    return tuple(found.values())


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
