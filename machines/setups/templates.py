"""Templates of a set-up: how they lead the radial slide over the face, and what crown and taper the teeth get."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from fractions import Fraction

from handlead.kinematics.frame.guide import Guide
from handlead.kinematics.frame.motion import Led
from handlead.kinematics.gears.gear import Gear
from handlead.kinematics.gears.relief import Relief
from handlead.kinematics.gears.tolerance import flank_tolerances
from handlead.kinematics.links.links import Template
from handlead.kinematics.train.train import Train
from handlead.kinematics.work.requirement import Work, gear_of
from handlead.machines.machine_files.machine_file import Machine

from .case import Case, face_width_mm
from .imperfections import ripples_of


def wanted_relief(work: Work) -> Relief:
    """The drawing's crown and taper."""
    return Relief(float(work.crown), float(work.taper))


def guides(train: Train, face_width: float) -> tuple[Guide, ...]:
    """The templates that are in, in the frame: heights over the lower face, and how far off the hob is then led.

    The middle of the template stands at mid-face, where the depth is taken with it in: there it displaces nothing.
    """
    return tuple(_in_frame(link, train, Fraction(face_width) / 2) for link in engaged(train))


def engaged(train: Train) -> Iterator[Template]:
    """The templates that lead the radial slide as the levers stand."""
    return (link for link in train.links if isinstance(link, Template) and link.state == "in")


def _in_frame(link: Template, train: Train, middle: Fraction) -> Guide:
    along, away = train.ends["axial"].sign, train.ends["radial"].sign
    points = sorted((along * place, away * off) for place, off in link.points)
    level = Guide("radial", "axial", tuple(points), link.smooth).at(Fraction(0))
    return Guide("radial", "axial", tuple((middle + place, off - level) for place, off in points), link.smooth)


def displacements_of(case: Case) -> tuple[Led, ...]:
    """All that displaces an end of this set-up from where the train has it: periodic errors and templates."""
    return (*ripples_of(case), *guides(case.train, face_width_mm(case.job.work)))


def relief_of(case: Case) -> Relief:
    """The crown and taper that templates, and a radial slide geared to the axial one, leave on the teeth: computed."""
    rates = case.rates
    geared = rates.radial / rates.axial if rates and rates.axial else Fraction(0)
    return _relief(case.train, case.job.work, geared)


def _relief(train: Train, work: Work, geared: Fraction = Fraction(0)) -> Relief:
    gear = _gear(work)
    led = guides(train, face_width_mm(work))
    if not led and not geared:
        return Relief()
    middle = Fraction(face_width_mm(work)) / 2

    def away(height: float) -> float:
        place = Fraction(height)
        return float(sum((one.at(place) for one in led), geared * (place - middle)))

    return Relief.of_displacement(away, gear)


def relief_limits(work: Work) -> tuple[float, float]:
    """How far crown and taper may be off, in mm: the helix form tolerance of the class, and its slope on both flanks.

    Never more than a third of what the drawing wants, or none of it would do. Own choice: a class limits neither by
    name, and these are what it has for a flank's shape and lean over the face.
    """
    limits = flank_tolerances(_gear(work), work.quality)
    by_class = limits.helix_form.um / 1000, 2 * limits.helix_slope.um / 1000
    crown, taper = (
        min(limit, abs(float(asked)) / 3) if asked else limit
        for limit, asked in zip(by_class, (work.crown, work.taper), strict=True)
    )
    return crown, taper


def _gear(work: Work) -> Gear:
    return replace(gear_of(work), face_width=face_width_mm(work))


def relief_to_measure(case: Case) -> Relief | None:
    """The drawing's crown and taper where there are any to measure: wanted, or made; None where neither."""
    wanted, made = wanted_relief(case.job.work), bool(guides(case.train, face_width_mm(case.job.work)))
    rates = case.rates
    geared = bool(rates and rates.axial and rates.radial)
    return wanted if wanted or made or geared else None


def levers_for_relief(machine: Machine, work: Work) -> Mapping[str, str]:
    """Where the levers that put templates in must stand for the drawing's crown and taper; normal ones are left out.

    Empty where the normal positions do, and where none does.
    """
    moved = [
        name
        for name, lever in machine.levers.items()
        if any(
            isinstance(machine.train.link(link), Template) for states in lever.positions.values() for link in states
        )
    ]
    if not moved or not work.has_involutes:
        return {}
    for positions in machine.lever_combinations():
        others = {name: at for name, at in positions.items() if name not in moved}
        if any(at != machine.levers[name].normal for name, at in others.items()) or not machine.can_stand(positions):
            continue
        train = machine.train.with_states(machine.states(positions))
        if suits(_relief(train, work), work):
            return {name: positions[name] for name in moved if positions[name] != machine.levers[name].normal}
    return {}


def suits(found: Relief, work: Work) -> bool:
    """Whether crown and taper are the drawing's, within what its class takes."""
    wanted, (crown, taper) = wanted_relief(work), relief_limits(work)
    return abs(found.crown - wanted.crown) <= crown and abs(found.taper - wanted.taper) <= taper
