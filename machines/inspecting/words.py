"""Parts at fault in the words of the shop: what each is, how often it comes back, and how big its fault must be."""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction

from handlead.kinematics.links.link import TwoPort
from handlead.kinematics.links.links import WormGear
from handlead.kinematics.links.mounted import ChangeGears
from handlead.machines.at_fault.finding import FoundWave, PartAtFault
from handlead.machines.at_fault.parts import FAR_BELOW, TurningPart
from handlead.machines.gear_records.records import Record
from handlead.machines.machine_files.machine_file import Imperfection
from handlead.machines.setups.case import Case
from handlead.machines.toml.units import decimal, height, length

#: What an old machine has of each kind without anybody being surprised: degrees at a worm's and at another link's
#: driven part, mm of a slide, mm of the dial. Own judgement; it orders what to look at first, and nothing else.
_USUAL_WORM, _USUAL = 0.01, {"deg": 0.05, "mm": 0.01, "dial mm": 0.05}

#: So many times the usual and more is hardly ever met with on a machine that still runs.
_FAR = 20

#: Seconds of arc up to which an angle is told in them.
_SECONDS = 120

#: What a ± of a report holds in 95 of 100: so many standard errors.
BOUND = 2


def part_name(case: Case, part: TurningPart) -> str:
    """What a part is, and with what it comes back."""
    fault = part.fault
    match fault.kind:
        case "gear runout" if is_idler(case, part):
            return f"idler of {fault.gear} in {fault.link}"
        case "gear runout":
            return f"change gear of {fault.gear} in {fault.link}, {_shaft_of(case, part)}"
        case "once per turn" if fault.link is not None:
            return f"{fault.link}, once a turn of the {_turning(case, fault)}"
        case "tooth by tooth":
            return f"{fault.link}, with every tooth"
        case _:
            return part.name


def is_idler(case: Case, part: TurningPart) -> bool:
    """Whether a change gear that runs out only stands between two others."""
    mounted = bracket_of(case, part).mounted
    return mounted is not None and part.place >= len(mounted.gears)


def bracket_of(case: Case, part: TurningPart) -> ChangeGears:
    """The bracket in which a change gear is mounted."""
    return next(one for one in case.train.brackets if one.name == part.fault.link)


def _shaft_of(case: Case, part: TurningPart) -> str:
    """On which shaft a change gear turns."""
    link = bracket_of(case, part)
    last = len(link.mounted.gears) - 1 if link.mounted else 0
    if part.place in (0, last):
        return f"on the {link.from_part if part.place == 0 else link.to_part}"
    return "on the stud" if last <= 3 else f"on stud {(part.place + 1) // 2}"


def _turning(case: Case, fault: Imperfection) -> str:
    link = case.train.link(fault.link or "")
    assert isinstance(link, TwoPort)
    return link.from_part if fault.turn_of == "driving" else link.to_part


def where_told(case: Case, part: TurningPart) -> str:
    """Where at the machine the part is that turns, in the machine file's own words; "" where it has none."""
    fault = part.fault
    if fault.link is None:
        return ""
    if fault.kind == "gear runout":
        link = bracket_of(case, part)
        last = len(link.mounted.gears) - 1 if link.mounted else 0
        name = {0: link.from_part, last: link.to_part}.get(part.place, "")
    else:
        name = _turning(case, fault)
    where = {**case.train.shafts, **case.train.slides}.get(name, "")
    return f"{name}: {where}" if where else ""


def table_name(case: Case) -> str:
    """What carries the work, by the machine's own name for it."""
    return case.train.ends["table"].part


def is_upright(case: Case) -> bool:
    """Whether up and down are the machine's own words for the ways along the work's axis."""
    return case.job.machine.way("axial", 1) == "up"


def face_told(case: Case, sign: int) -> str:
    """The upper (1) or lower (-1) face of the blank, in the machine's own words for up and down."""
    if is_upright(case):
        return "upper face" if sign > 0 else "lower face"
    return f"face {case.job.machine.way('axial', sign)}"


def turns_told(case: Case, order: Fraction) -> str:
    """How often a wave comes back."""
    table = table_name(case)
    if order == 1:
        return f"once a turn of the {table}"
    feed = abs(case.rates.axial / case.rates.table) if case.rates else Fraction(0)
    if order < Fraction(1, 2) and feed:
        far = length(float(feed / order), case.job.units, 1)
        return f"once in {decimal(1 / order, 3)} turns of the {table}, every {far} of the slide"
    return f"{decimal(order, 4)} times a turn of the {table}"


def size_told(case: Case, found: PartAtFault) -> str:
    """How big the fault of a part must be, as it would be measured at the machine."""
    units, bound = case.job.units, BOUND * found.error
    if found.unit == "dial mm":
        return f"it runs out by {_pair(found.size, bound, units)} as a dial reads over its turn{_read_at(case, found)}"
    link = case.train.link(found.part.fault.link) if found.part.fault.link else None
    if not isinstance(link, TwoPort):
        return f"{found.size:.2g} ± {bound:.1g} {found.unit}"
    if found.unit == "mm":
        return f"that is the {link.to_part} {_pair(found.size, bound, units)} to either side"
    said = f"that is the {link.to_part} {_angles(found.size, bound)} to either side"
    if isinstance(link, WormGear):
        share = found.size * link.teeth / 360
        along = f"{share:.2g} of the pitch" if link.pitch is None else length(share * link.pitch, units, 3)
        said += f", {along} along the worm"
    return said


def _read_at(case: Case, found: PartAtFault) -> str:
    """Where the dial is set to what leans."""
    fault = found.part.fault
    if fault.over is None:
        return ""
    far = length(float(fault.over - fault.below), case.job.units, 0 if case.job.units == "mm" else 1)
    if fault.below >= FAR_BELOW:
        return " at any height"
    if fault.kind == "hob wobble":
        return f", {far} beside its middle"
    return f", {far} {'over' if is_upright(case) else 'from'} the blank's {face_told(case, -1)}"


def _pair(size: float, bound: float, units: str) -> str:
    shown, unit = length(size, units, 3).split()
    # Never told as if it were known to nothing.
    least = 0.00254 if units == "in" else 0.001
    return f"{shown} ± {length(max(bound, least), units, 3).split()[0]} {unit}"


def _angles(size: float, bound: float) -> str:
    if size * 3600 <= _SECONDS:
        return f"{_figures(size * 3600, bound * 3600)} seconds of arc"
    return f"{_figures(size, bound)} degrees"


def _figures(size: float, bound: float) -> str:
    """A size with as many decimals as its bound is worth."""
    digits = min(max(0, math.ceil(-math.log10(max(bound, 1e-9)))), 4)
    return f"{size:.{digits}f} ± {bound:.{digits}f}"


def on_flank_um(found: PartAtFault) -> float:
    """What a part leaves on the flank, and at the end of the face, where it is biggest, along the base tangent."""
    return found.size * found.part.on_flank


def um_told(found: PartAtFault, units: str) -> str:
    """The same in words, with its ±."""
    um = on_flank_um(found)
    bound = BOUND * um * found.error / found.size if found.size else 0.0
    if units == "in":
        return f"{height(um, units).split()[0]} ± {height(bound, units)}"
    return f"{um:.1f} ± {bound:.1f} µm"


def candidates(case: Case, wave: FoundWave) -> tuple[tuple[PartAtFault, ...], tuple[PartAtFault, ...]]:
    """The parts of the order that left a wave, those first that need least out of the ordinary; and their rivals.

    Where all of the order that fits best would have to be worse than is met with, a rival's that needn't be is taken.
    """
    alike = wave.parts
    sane = [one for one in (*wave.parts, *wave.rivals) if not is_far_fetched(case, one)]
    if sane and all(is_far_fetched(case, one) for one in wave.parts):
        order = min(sane, key=lambda one: strangeness(case, one)).order
        alike = tuple(one for one in wave.rivals if one.order == order)
    rest = [one for one in (*wave.parts, *wave.rivals) if one not in alike]
    return _likeliest_first(case, alike), _likeliest_first(case, rest)


def _likeliest_first(case: Case, parts: Sequence[PartAtFault]) -> tuple[PartAtFault, ...]:
    return tuple(sorted(parts, key=lambda one: strangeness(case, one)))


def strangeness(case: Case, found: PartAtFault) -> float:
    """How many times what is usual a part's fault must be."""
    fault = found.part.fault
    worm = (
        found.unit == "deg" and fault.link is not None and isinstance(case.train.link(fault.link), WormGear)
    )
    return found.size / (_USUAL_WORM if worm else _USUAL.get(found.unit, 1.0))


def is_far_fetched(case: Case, found: PartAtFault) -> bool:
    """Whether a part would have to be worse than is met with."""
    return strangeness(case, found) > _FAR


def record_name(record: Record, units: str = "mm") -> str:
    """What a record is of."""
    said = f"{record.kind}, {record.flank} flank" if record.flank else record.kind
    if not record.at_height:
        return said
    way = "above" if record.at_height > 0 else "below"
    return f"{said}, {length(abs(record.at_height), units, 1)} {way} mid-face"
