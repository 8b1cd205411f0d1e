"""What a proof says of crown and taper: what the templates make of the teeth, against what the drawing wants."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from handlead.machines.setups.case import Case, face_width_mm, stroke_of, with_lever_moved
from handlead.machines.setups.findings import Finding
from handlead.machines.setups.templates import guides, relief_limits, relief_of, suits, wanted_relief
from handlead.machines.toml.units import height, length, quoted


def check_relief(case: Case) -> Iterator[Finding]:
    """Crown and taper as the templates and slides make them."""
    work, units = case.job.work, case.job.units
    if not work.has_involutes or case.rates is None or not case.rates.axial:
        return
    wanted, made = wanted_relief(work), relief_of(case)
    if not wanted and not made:
        return
    limits = relief_limits(work)
    for name, asked, found, limit in (
        ("crown", wanted.crown, made.crown, limits[0]),
        ("taper", wanted.taper, made.taper, limits[1]),
    ):
        if abs(found - asked) > limit:
            yield Finding(
                f"{name}-differs", "error",
                f"The teeth get a {name} of {_um(found, units)}; the drawing wants {_um(asked, units)}, and class "
                f"{work.quality} takes {_um(limit, units)} either way.",
                _other_lever(case),
                {f"{name}_um": 1000 * found, f"wanted_{name}_um": 1000 * asked, "allowed_um": 1000 * limit},
            )  # fmt: skip


def _um(mm: float, units: str) -> str:
    sign = "-" if mm < 0 else ""
    return f"{sign}{height(abs(1000 * mm), units)}"


def _other_lever(case: Case) -> str:
    """The lever position with which crown and taper come out as wanted, tried; else what can be said."""
    for name in case.job.machine.levers:
        for position, moved in with_lever_moved(case, name):
            if moved.rates == case.rates and suits(relief_of(moved), case.job.work):
                return f"Put lever {quoted(name)} to {quoted(position)}."
    if any(True for _ in guides(case.train, face_width_mm(case.job.work))):
        return "Take the template out, or one that was made for this crown; compare its points with the drawing."
    return "It takes a template that was made for it, or another way of finishing the flanks."


def check_template_reach(case: Case) -> Iterator[Finding]:
    """A template shorter than the way that the slide cuts over: past its end nothing leads the hob."""
    led = guides(case.train, face_width_mm(case.job.work))
    rates, units = case.rates, case.job.units
    if not led or rates is None or not rates.axial:
        return
    try:
        stroke = stroke_of(case)
    except ValueError:
        return
    below, above = (stroke.before, stroke.after) if rates.axial > 0 else (stroke.after, stroke.before)
    low, high = Fraction(-below), Fraction(stroke.face + above)
    for guide in led:
        if guide.covers(low, high):
            continue
        middle = face_width_mm(case.job.work) / 2
        first, last = (float(place) - middle for place in (guide.points[0][0], guide.points[-1][0]))
        yield Finding(
            "template-too-short", "error",
            f"The template leads the hob from {length(first, units, 1)} to {length(last, units, 1)} of mid-face, and "
            f"the cut runs from {length(float(low) - middle, units, 1)} to {length(float(high) - middle, units, 1)}.",
            "Take a longer template: past its end nothing leads the hob.",
            {"from_mm": first, "to_mm": last, "cut_from_mm": float(low) - middle, "cut_to_mm": float(high) - middle},
        )  # fmt: skip
