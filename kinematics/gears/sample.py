"""What system of teeth a gear has, from what can be measured on one that is worn.

A gear that was made to a published rack has few numbers: a module or pitch, a pressure angle, a helix angle that is
mostly whole, and mostly no profile shift. Each system is tried against every reading at once. Wear and backlash
only take metal away: a tooth may be thinner and a tip lower than they were made, so that a reading that is too
small counts for less than one that is too large.

Every thickness reading is turned into the profile shift that it stands for. Spans over different counts of one
gear are worn alike, so that their difference, the base pitch, is not: it is held for itself, and closely.
Source of the relations: ISO 21771 (from memory); of the weighing: own derivation.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

from handlead.kinematics.frame.words import Hand

from . import gear as gears
from . import measures
from .gear import BasicRack, Gear
from .readings import DOUBT, Agreement, Candidate, Identity, NextReading, Sample, Taken, ToothSystem

#: What it costs, in squares of an allowance, that a gear has a profile shift; that its helix angle is a half degree;
#: that it is any angle at all. Own choice: so much better must the readings agree before the rarer thing is believed.
_SHIFTED, _HALF_DEGREE, _ANY_ANGLE = 4.0, 1.0, 4.0

#: Profile shifts are about so large where there are any, in modules, and none is larger than the second (own choice).
_USUAL_SHIFT, _MOST_SHIFT = 0.4, 1.3

#: A pair is set to other centres than its reference circles ask for at this cost, by so many modules.
_OTHER_CENTRES, _CENTRES_OFF = 5.0, 0.4

#: Systems that are worse than the best by more than this are left out.
_WORSE = 25.0

#: A gear of no published system at all, which any readings may fit by chance, counts as one candidate of this cost
#: (own choice, held by gears of such systems): a rare system with a shift of its own is never quite sure.
_UNPUBLISHED = 14.0

#: Readings besides the count without which nobody is sure (spans of two counts are two).
_FEWEST = 3


def identify(sample: Sample, systems: Sequence[ToothSystem], most: int = 12) -> Identity:
    """Hold the sample against every system. Raises `ValueError` where too little was measured to say anything."""
    if sample.readings < 1:
        raise ValueError("nothing but the count is known: measure the outside diameter, or a span")
    found = [candidate for system in systems if (candidate := _best_of(sample, system))]
    found.sort(key=lambda each: (each.cost, each.system.rank, each.system.name))
    if not found:
        return Identity(sample, (), False, None)
    least = found[0].cost
    weights = [math.exp((least - each.cost) / 2) for each in found]
    whole = sum(weights) + math.exp(min((least - _UNPUBLISHED) / 2, 50.0))
    shared = [replace(each, share=weight / whole) for each, weight in zip(found, weights, strict=True)]
    kept = tuple(each for each in shared if each.cost - least <= _WORSE)[:most]
    sure = sample.readings >= _FEWEST and kept[0].fits and 1 - kept[0].share < DOUBT
    return Identity(sample, kept, sure, None if sure else _next(sample, kept))


# ---------------------------------------------------------------- one system


def gear_of(system: ToothSystem, teeth: int, helix_angle_deg: float, shift: float = 0.0) -> Gear:
    """The gear that a system makes of so many teeth; its hand is right where it leans."""
    cosine = math.cos(math.radians(helix_angle_deg)) if system.transverse else 1.0
    pressure = system.pressure_angle_deg
    if system.transverse:
        pressure = gears.normal_pressure_angle_deg(pressure, helix_angle_deg)
    rack = BasicRack(pressure, system.addendum / cosine, system.dedendum / cosine, 0.2)
    hand = Hand.RIGHT if helix_angle_deg else None
    module = float(system.module) * cosine
    return Gear(teeth, module, helix_angle_deg, hand, pressure, shift, rack=rack)


def _best_of(sample: Sample, system: ToothSystem) -> Candidate | None:
    """The likeliest gear of this system; None where none comes near."""
    if not _may_be(sample, system):
        return None
    found = [each for angle, cost in _angles(sample, system) if (each := _at_angle(sample, system, angle, cost))]
    return min(found, key=lambda each: each.cost, default=None)


def _may_be(sample: Sample, system: ToothSystem) -> bool:
    """A quick look: whether base pitch, outside and centres lie anywhere near."""
    module = float(system.module)
    largest = math.cos(math.radians(_STEEPEST)) ** -1 if sample.leans is not False else 1.0
    if sample.outside is not None:
        low = module * (sample.teeth + 2 * (system.addendum - _MOST_SHIFT))
        high = module * (sample.teeth * largest + 2 * (system.addendum + _MOST_SHIFT))
        if not low * 0.9 < sample.outside.value < high * 1.1:
            return False
    pitch = _base_pitch(sample)
    if pitch is None:
        return True
    new = math.pi * module * math.cos(math.radians(system.pressure_angle_deg))
    least = new / largest if system.transverse else new
    return least - 5 * pitch.within < pitch.value < new + 5 * pitch.within


#: No gear of the trade leans more than this, in degrees: crossed pairs of equal helices lie at half a right angle.
_STEEPEST = 50.0


def _base_pitch(sample: Sample) -> Taken | None:
    """The normal base pitch that the spans over the fewest and the most teeth leave between them."""
    if len(sample.spans) < 2:
        return None
    (few, short), *_, (many, long) = sorted(sample.spans, key=lambda each: each[0])
    if many == few:
        return None
    within = math.hypot(short.within, long.within) / (many - few)
    return Taken((long.value - short.value) / (many - few), within)


def _angles(sample: Sample, system: ToothSystem) -> Iterator[tuple[float, float]]:
    """Helix angles to try, in degrees, with what it costs to believe them."""
    if sample.leans is False:
        if not system.transverse:  # straight teeth have one plane
            yield 0.0, 0.0
        return
    near, off = _angle_near(sample, system)
    if near is None:
        if sample.leans is None and sample.hand is None and not system.transverse:
            yield 0.0, 0.0
        low, high = 3.0, 45.0
    else:
        low, high = max(near - 3 * off, 0.5), min(near + 3 * off, _STEEPEST)
        yield from ((near + off * step / 2, _ANY_ANGLE) for step in range(-5, 6) if near + off * step / 2 > 0.5)
    for half in range(math.ceil(2 * low), math.floor(2 * high) + 1):
        yield half / 2, _HALF_DEGREE if half % 2 else 0.0


def _angle_near(sample: Sample, system: ToothSystem) -> tuple[float | None, float]:
    """The helix angle that lead or lean stand for, and how far it may be off, in degrees."""
    if sample.lead is not None:
        off = sample.lead.within / sample.lead.value
        tangent = _of_lead(sample.teeth, system, sample.lead.value)
        return tangent, math.degrees(off * math.tan(math.radians(tangent or 45.0))) + 0.01
    if sample.lean is None:
        return None, 0.0
    if sample.outside is None:
        return sample.lean.value * 0.95, max(sample.lean.within, 1.0)
    lead = math.pi * sample.outside.value / math.tan(math.radians(sample.lean.value))
    return _of_lead(sample.teeth, system, lead), sample.lean.within


def _of_lead(teeth: int, system: ToothSystem, lead: float) -> float | None:
    around = math.pi * float(system.module) * teeth / lead
    if system.transverse:
        return math.degrees(math.atan(around))
    return math.degrees(math.asin(around)) if around < 1 else None


def _at_angle(sample: Sample, system: ToothSystem, angle: float, cost: float) -> Candidate | None:
    """The gear of this system and helix angle whose shift agrees best; None where no such gear can be."""
    try:
        plain = gear_of(system, sample.teeth, angle)
        shifts = list(_shifts(sample, plain))
    except ValueError:
        return None
    cost += system.rank + _cost_of_helix(sample, plain) + _cost_of_pitch(sample, plain)
    cost += _cost_of_centres(sample, plain)
    straight, free = _cost(shifts, 0.0), _best_shift(shifts)
    shift, of_shift = 0.0, straight
    if free is not None and abs(free) <= _MOST_SHIFT:
        shifted = _cost(shifts, free) + _SHIFTED + (free / _USUAL_SHIFT) ** 2
        if shifted < straight:
            shift, of_shift = free, shifted
    try:
        gear = replace(plain, profile_shift=shift)
    except ValueError:
        return None
    thick = [each.value for each, is_thickness in shifts if is_thickness]
    measured = sum(thick) / len(thick) if thick else None
    return Candidate(system, angle, shift, measured, cost + of_shift, tuple(_agreements(sample, gear)))


def _shifts(sample: Sample, plain: Gear) -> Iterator[tuple[Taken, bool]]:
    """The profile shift that each reading of a size stands for, and whether it is a reading of thickness."""
    module = plain.module_n
    if sample.outside is not None:
        yield _scaled(sample.outside, plain.tip_diameter, 2 * module), False
    if sample.root is not None:
        yield _scaled(sample.root, plain.root_diameter, 2 * module), False
    if sample.spans:
        # All spans of a gear are worn alike: the surest of them stands for the thickness.
        count, taken = min(sample.spans, key=lambda each: each[1].within)
        rate = 2 * module * math.sin(math.radians(plain.pressure_angle_n_deg))
        yield _scaled(taken, measures.span(plain, count), rate), True
    for ball, taken in sample.balls:
        new = measures.over_balls(plain, ball)
        step = 0.02
        rate = (measures.over_balls(replace(plain, profile_shift=step), ball) - new) / step
        yield _scaled(taken, new, rate), True


def _scaled(taken: Taken, new: float, rate: float) -> Taken:
    return Taken((taken.value - new) / rate, taken.within / rate, taken.worn / rate)


def _cost(shifts: Sequence[tuple[Taken, bool]], shift: float) -> float:
    return sum(each.off(shift) ** 2 for each, _ in shifts)


def _best_shift(shifts: Sequence[tuple[Taken, bool]]) -> float | None:
    """The shift that agrees best with all: the least of a sum of one-sided squares, found by halving its slope."""
    if not shifts:
        return None
    low, high = min(each.value for each, _ in shifts), max(each.value + 4 * each.worn for each, _ in shifts)
    for _ in range(40):
        middle = (low + high) / 2
        slope = _cost(shifts, middle + 1e-6) - _cost(shifts, middle - 1e-6)
        low, high = (middle, high) if slope < 0 else (low, middle)
    return (low + high) / 2


def _cost_of_helix(sample: Sample, gear: Gear) -> float:
    cost = 0.0
    if sample.lean is not None:
        cost += sample.lean.off(_lean(gear, sample.outside.value if sample.outside else gear.tip_diameter)) ** 2
    if sample.lead is not None:
        cost += _WORSE if gear.lead is None else sample.lead.off(gear.lead) ** 2
    return cost


def _lean(gear: Gear, diameter: float) -> float:
    return gears.helix_angle_at(diameter, gear.lead) if gear.lead else 0.0


def _cost_of_pitch(sample: Sample, gear: Gear) -> float:
    pitch = _base_pitch(sample)
    return 0.0 if pitch is None else pitch.off(gear.normal_base_pitch) ** 2


def _cost_of_centres(sample: Sample, gear: Gear) -> float:
    """At its reference circles the pair lies at standard centres; other centres are believed at a price."""
    if sample.centre_distance is None or sample.mate_teeth is None:
        return 0.0
    standard = _centres(sample, gear)
    miss = (sample.centre_distance.value - standard) / (_CENTRES_OFF * gear.module_n)
    return float(min(sample.centre_distance.off(standard) ** 2, _OTHER_CENTRES + miss**2))


def _centres(sample: Sample, gear: Gear) -> float:
    assert sample.mate_teeth is not None
    return gear.transverse_module * (sample.teeth + sample.mate_teeth) / 2


def _agreements(sample: Sample, gear: Gear) -> Iterator[Agreement]:
    """Every reading beside what this gear would have as it was made."""
    rows: list[tuple[str, Taken | None, float | None]] = [
        ("outside diameter", sample.outside, gear.tip_diameter),
        ("root diameter", sample.root, gear.root_diameter),
        ("lead", sample.lead, gear.lead),
    ]
    if sample.lean is not None:
        outside = sample.outside.value if sample.outside else gear.tip_diameter
        rows.append(("lean at the outside", sample.lean, _lean(gear, outside)))
    rows += [(f"span over {count}", taken, measures.span(gear, count)) for count, taken in sample.spans]
    rows.append(("base pitch from the spans", _base_pitch(sample), gear.normal_base_pitch))
    for what, taken, new in rows:
        if taken is not None and new is not None:
            yield Agreement(what, taken.value, new, taken.off(new))
    for ball, taken in sample.balls:
        over = _over(gear, ball)
        if over is not None:
            yield Agreement("over balls", taken.value, over, taken.off(over), ball=ball)
    if sample.centre_distance is not None and sample.mate_teeth is not None:
        # Shifted pairs run at other centres, so that a miss here refutes nothing.
        standard = _centres(sample, gear)
        miss = sample.centre_distance.off(standard)
        yield Agreement("centres", sample.centre_distance.value, standard, miss, binds=False)


def _over(gear: Gear, ball: float) -> float | None:
    try:
        return measures.over_balls(gear, ball)
    except ValueError:
        return None


# ---------------------------------------------------------------- what to measure next

#: How surely a shop reads each of these, in mm or degrees, where it is done with some care (common practice).
_READ_TO = {"span": 0.02, "outside": 0.15, "root": 0.3, "lean": 0.5, "balls": 0.03}

#: A candidate with less than this share isn't worth telling apart.
_WORTH = 0.005


def _next(sample: Sample, candidates: Sequence[Candidate]) -> NextReading | None:
    """The reading that tells most of the likely candidates apart, or bears out the only one; None where none does."""
    likely = [each for each in candidates if each.share >= _WORTH * candidates[0].share][:6]
    if len(likely) < 2:
        return None if sample.readings >= _FEWEST else next(_offers(sample, likely))[0]
    offered = [(reading, _apart(reading.values, off)) for reading, off in _offers(sample, likely)]
    best = max(offered, key=lambda offer: offer[1], default=None)
    return None if best is None or best[1] <= 0.02 else best[0]


def _apart(values: Sequence[tuple[Candidate, float]], off: float) -> float:
    """How well a reading tells candidates apart: by pairs, weighted with their shares."""
    total = sum(one.share for one, _ in values)
    return 0.0 if len(values) < 2 else sum(
        one.share * other.share * min(abs(first - second) / off, 5.0) / total**2
        for index, (one, first) in enumerate(values)
        for other, second in values[:index]
    )


def _as_thick_as(gear: Gear, shift: float | None) -> Gear:
    """The gear with teeth as thick as a shift would make them; as it is where none was read, or no gear can have it."""
    try:
        return gear if shift is None else replace(gear, profile_shift=shift)
    except ValueError:  # a span over other teeth than were counted, or in another unit
        return gear


def _offers(sample: Sample, likely: Sequence[Candidate]) -> Iterator[tuple[NextReading, float]]:
    """Readings that can be taken on this gear and weren't yet, each with how surely a shop reads it."""
    made = [(each, gear_of(each.system, sample.teeth, each.helix_angle_deg, each.profile_shift)) for each in likely]
    made = [(each, replace(gear, face_width=sample.face_width)) for each, gear in made]
    # What is measured of the thickness next goes by what the thickness is now.
    now = [(each, _as_thick_as(gear, each.measured_shift)) for each, gear in made]

    def offer(what: str, unit: str, kind: str, values: list[tuple[Candidate, float]], ball: float | None = None,
              ) -> tuple[NextReading, float]:  # fmt: skip
        return NextReading(what, unit, tuple(values), ball), _READ_TO[kind]

    usual = measures.measurable_span(made[0][1]) or measures.span_teeth(made[0][1])
    taken = {count for count, _ in sample.spans}
    for count in (usual, usual + 1, usual - 1):
        # A span that runs off the face or over the tips can't be taken.
        if count not in taken and 1 < count <= sample.teeth and measures.span_fits(made[0][1], count) is not False:
            yield offer(f"the span over {count} teeth", "mm", "span", [(c, measures.span(g, count)) for c, g in now])
    if sample.outside is None:
        yield offer("the outside diameter", "mm", "outside", [(c, g.tip_diameter) for c, g in made])
    if sample.root is None:
        yield offer("the diameter at the roots", "mm", "root", [(c, g.root_diameter) for c, g in made])
    if sample.lean is None and sample.lead is None and sample.leans is not False:
        lean = [(c, _lean(g, g.tip_diameter)) for c, g in made]
        yield offer("the lean of a tooth at the outside", "°", "lean", lean)
    if not sample.balls:
        ball = measures.default_ball(made[0][1], inch=sample.in_inches)
        over = [(c, value) for c, g in now if (value := _over(g, ball)) is not None]
        yield offer("the size over two balls", "mm", "balls", over, ball)
