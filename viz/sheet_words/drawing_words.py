"""What belongs to the drawing and the hob, in rows and lines: the blank, its sizes, what will be cut."""

from __future__ import annotations

import math
from collections.abc import Iterator
from fractions import Fraction

from handlead.kinematics.frame.words import angle_text
from handlead.kinematics.gears import gear as gears
from handlead.kinematics.other_work.sprocket import over_pins
from handlead.kinematics.practice.cycle import depth_left_by_span
from handlead.kinematics.work.requirement import Work, gear_of
from handlead.kinematics.work.sizes import (
    hob_addendum,
    hob_tip_diameter,
    sizes_of,
    sprocket_of,
)
from handlead.machines.job_files.job_file import Job
from handlead.machines.measuring.part_sizes import ball_text, part_sizes
from handlead.machines.practice.cut_cycle import cut_cycle
from handlead.machines.proving.proof import Proof
from handlead.machines.setups.case import (
    Case,
    face_width_mm,
    helix_slope_limit_um,
    helix_slope_um,
    no_slope_because,
)
from handlead.machines.toml.places import quoted
from handlead.machines.toml.units import deviation, dial, height, length

from .key_words import key_rows, keys_text
from .pair_words import with_mate

Rows = list[tuple[str, str]]


def blank_words(case: Case) -> str:
    """The blank in one line."""
    throat, units = case.sizes.throat, case.job.units
    size = f"{outside_words(case)} × {_face(case.job.work, units)}"
    return f"throated blank {size}, rim {dial(throat.rim_diameter, units)}" if throat else f"blank {size}"


def hob_line_words(job: Job) -> str:
    """The hob in one line."""
    hob, units = job.hob, job.units
    starts = f"{hob.starts} start{'s' if hob.starts > 1 else ''}"
    if _is_sprocket(job.work):
        size = f"{_chain_pitch(hob.module_n, units)} pitch"
    elif job.work.has_keys:
        size = f"made for {job.work.teeth} keys {keys_text(job.work, units)}"
    else:
        size = f"{_pitch(hob.module_n, units)}, {float(hob.pressure_angle_deg):g}°"
    named = f", {quoted(hob.name)}" if hob.name else ""
    return f"HOB: {size}, {starts}, {hob.hand.word.upper()}{named}"


def _is_sprocket(work: Work) -> bool:
    return work.kind == "sprocket"


def _chain_pitch(module_n: Fraction, units: str) -> str:
    return length(math.pi * float(module_n), units)


def summary(work: Work, units: str) -> str:
    """The work in one line."""
    lean = hand_words(work)
    if work.is_helical:
        lean = f"{angle_text(work.beta_deg)} {lean}"
    return f"{work.teeth} teeth, {_size(work, units)}, {lean}"


def hand_words(work: Work) -> str:
    """The hand of the work in capitals, or that its teeth are straight."""
    return work.hand.word.upper() if work.is_helical and work.hand else "straight"


def _size(work: Work, units: str) -> str:
    if _is_sprocket(work):
        return f"sprocket, chain {_chain_pitch(work.module_n, units)}"
    if work.has_keys:
        return f"straight-sided {keys_text(work, units)}"
    return _pitch(work.module_n, units)


def _pitch(module_n: Fraction, units: str) -> str:
    if units == "in":
        return f"{float(gears.diametral_pitch_from_module(module_n)):.6g} DP"
    return f"module {float(module_n):.6g}"


def time_rows(proof: Proof) -> Rows:
    """How long the cut takes, where that is known."""
    time = cut_cycle(proof.case).time_min
    return [("cutting time", f"{time:.0f} min")] if time else []


def work_rows(case: Case) -> Rows:
    """The drawing, and the sizes that follow from it."""
    work, units = case.job.work, case.job.units
    if _is_sprocket(work):
        return _sprocket(case)
    if work.has_keys:
        return key_rows(case)
    pitch = ("diametral pitch", f"{float(gears.diametral_pitch_from_module(work.module_n)):.6g}")
    rows: Rows = [
        ("teeth  z", str(work.teeth)),
        *([] if work.kind in ("spur", "helical") else [("kind", work.kind)]),
        pitch if units == "in" else ("module  m_n", f"{float(work.module_n):.6g} mm"),
        ("pressure angle  α_n", f"{float(work.pressure_angle_deg):g}°"),
        ("hand", hand_words(work)),
    ]
    if work.is_helical:
        rows.append(("helix angle  β", f"{work.beta_deg:.4f}°"))
        rows.append(("lead  p_z", length(work.lead_mm or 0.0, units)))
    rows += [
        ("ref. diameter  d", length(gear_of(work).reference_diameter, units)),
        (f"{'throat' if case.sizes.throat else 'outside'} diameter  d_a", outside_words(case)),
        *[
            (name, length(float(value), units))
            for name, value in (("crown  C_β", work.crown), ("taper", work.taper))
            if value
        ],
        *_throat(case),
        ("face width  b", _face(work, units)),
        ("class, ISO 1328-1", str(work.quality)),
    ]
    if not case.sizes.wanting and case.sizes.depth > 0:
        rows.append(("whole depth  h", dial(case.sizes.depth, units)))
    return rows + list(_measures(case)) + list(with_mate(case))


def _throat(case: Case) -> Rows:
    """What a throated worm wheel's blank is turned to besides its throat; "(taken)" where the drawing doesn't say."""
    throat, work, units = case.sizes.throat, case.job.work, case.job.units
    if throat is None:
        return []
    radius, rim = ("" if given else " (taken)" for given in (work.throat_radius, work.rim_diameter))
    return [
        ("throat radius  r_t", f"{dial(throat.radius, units)}{radius}"),
        ("rim diameter  d_e", f"{dial(throat.rim_diameter, units)}{rim}"),
    ]


def outside_words(case: Case) -> str:
    """The outside diameter as it is turned, or where it is found."""
    size = part_sizes(case).outside_diameter
    return "see the drawing" if size is None else dial(size, case.job.units)


def _sprocket(case: Case) -> Rows:
    """A sprocket's sizes; where the chain's rollers aren't known, only those that don't depend on them."""
    work, units = case.job.work, case.job.units
    rows: Rows = [
        ("teeth  z", str(work.teeth)),
        ("kind", work.kind),
        ("chain pitch  p", _chain_pitch(work.module_n, units)),
        ("face width  b", _face(work, units)),
    ]
    sprocket = sprocket_of(work)
    if sprocket is None:
        return [*rows, ("sizes of the teeth", "see the drawing")]
    least, greatest = sprocket.tip_diameters
    return [
        *rows,
        ("roller  d_1", dial(sprocket.roller_diameter, units)),
        ("pitch diameter  d", length(sprocket.pitch_diameter, units)),
        ("outside diameter  d_a", outside_words(case)),
        ("ISO 606  d_a", f"{dial(least, units).split()[0]} to {dial(greatest, units)}"),
        ("root diameter  d_f", dial(sprocket.root_diameter, units)),
        (f"pins {dial(sprocket.roller_diameter, units)}  M_R", dial(over_pins(sprocket), units)),
    ]


def backlash_words(work: Work, units: str) -> str:
    """What the teeth are thinner by for backlash."""
    if _is_sprocket(work) or work.has_keys:
        return ""
    return f"teeth {length(float(work.thinning), units)} thinner" if work.thinning else "no backlash taken off"


def _face(work: Work, units: str) -> str:
    return dial(face_width_mm(work), units) + ("" if work.face_width else " (taken)")


def _measures(case: Case) -> Iterator[tuple[str, str]]:
    """Span and size over balls, where the work has an involute that can be measured so."""
    sizes, units = part_sizes(case), case.job.units
    if sizes.span:
        yield f"span, {sizes.span.teeth} teeth  W_{sizes.span.teeth}", length(sizes.span.size, units)
        yield _deeper(case.job.work, units)
    if sizes.balls:
        yield f"balls {ball_text(sizes.balls.ball, units)}  M_dK", length(sizes.balls.size, units)


def _deeper(work: Work, units: str) -> tuple[str, str]:
    """How much further to go in for a span that is too much."""
    over = float(gears.MM_PER_INCH) / 1000 if units == "in" else 0.1
    left = depth_left_by_span(over, float(work.pressure_angle_deg))
    digits = 3 if units == "in" else 2
    return f"each {length(over, units, digits - 1)} over", f"go {length(left, units, digits)} deeper"


def hob_rows(job: Job) -> Rows:
    """What is marked on the hob, and what it measures."""
    hob, units = job.hob, job.units
    pitch = float(gears.diametral_pitch_from_module(hob.module_n))
    size = ("diametral pitch", f"{pitch:.6g}") if units == "in" else ("module", f"{float(hob.module_n):.6g} mm")
    if job.work.has_keys:
        size = ("pitch", _chain_pitch(hob.module_n, units))
    rows: Rows = [
        ("pitch", _chain_pitch(hob.module_n, units)) if _is_sprocket(job.work) else size,
        ("starts, hand", f"{hob.starts}, {hob.hand.word.upper()}"),
    ]
    if hob.gamma_deg is not None:
        rows.append(("lead angle  γ", angle_text(hob.gamma_deg)))
    if not _is_sprocket(job.work):
        if not job.work.has_keys:
            rows.append(("pressure angle", f"{float(hob.pressure_angle_deg):g}°"))
        if "addendum" not in sizes_of(job.work, hob).wanting:
            rows.append(("addendum  h_a0", dial(hob_addendum(job.work, hob), units)))
    tip = hob_tip_diameter(job.work, hob)
    if tip is not None:
        rows.append(("over the tips", dial(tip, units)))
    elif hob.diameter is not None:
        rows.append(("ref. diameter", dial(float(hob.diameter), units)))
    if hob.gashes is not None:
        rows.append(("gashes", str(hob.gashes)))
    return rows


def flank_rows(proof: Proof) -> Rows:
    """What the set-up will cut: count, lead, and the simulated flank."""
    work, outcome, units = proof.case.job.work, proof.computed.outcome, proof.case.job.units
    rows: Rows = []
    if outcome and outcome.teeth:
        rows.append(
            ("teeth", f"{outcome.teeth}, {outcome.hand.word.upper() if outcome.hand else 'straight'}")
        )
    if outcome and outcome.teeth == work.teeth and outcome.is_steady and work.kind != "worm wheel":
        lead = "none, straight" if outcome.lead_mm is None else length(outcome.lead_mm, units)
        rows.append(("lead", lead))
        slope, limit = helix_slope_um(work, outcome), helix_slope_limit_um(work)
        wrong = no_slope_because(work, outcome)
        rows.append(("helix slope error", f"none: {wrong}" if wrong else deviation(slope, units)))
        rows.append((f"class {work.quality} allows", f"±{height(limit, units) if units == 'in' else f'{limit:g} µm'}"))
    flanks = proof.cut.flanks if proof.cut else None
    if proof.cut and flanks:
        if proof.cut.marks_are_apart:
            rows.append(("feed marks", height(flanks.feed_mark_um, units)))
            rows.append(("facets", height(flanks.facet_um, units)))
        else:
            rows.append(("marks, whole height", height(flanks.ripple_um, units)))
        reached = f"class {flanks.quality} at best" if flanks.quality else "coarser than any"
        rows.append(("simulated flank", reached))
    return rows
