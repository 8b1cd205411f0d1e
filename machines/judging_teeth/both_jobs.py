"""Whether the two jobs of a pair say the same of it: each has the other's gear under [mate]."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from handlead.kinematics.work.requirement import Work
from handlead.machines.job_files.job_file import Job
from handlead.machines.toml.units import length

#: Modules (in mm) and shifts, angles (in degrees) and lengths (in mm) nearer to each other than this are alike: a lead
#: to the hundredth of a millimetre, or a size in inches, says the same as an angle or a size in millimetres but for its
#: last digits. Over 100 mm of face such an angle leaves 1 µm. What is further apart looks so in the words as well.
_ALIKE, _ALIKE_DEG, _ALIKE_MM = 2e-5, 5e-4, 0.0026


def drawn_apart(told: Work, own: Work, units: str, *, face: bool = False) -> tuple[str, ...]:
    """In what a gear as `told` in one place isn't its `own` drawing, in words, its `face` width only where asked for.

    What one of them leaves open is alike.
    """
    apart = [*_apart(told, own, units)]
    if face and _differ(told.face_width, own.face_width):
        wide, own_wide = (length(float(one.face_width or 0), units) for one in (told, own))
        apart.append(("face width", wide, own_wide))
    return tuple(f"{what} {one} against {other}" for what, one, other in apart)


def _apart(told: Work, own: Work, units: str) -> Iterator[tuple[str, str, str]]:
    if told.kind != own.kind:
        yield "kind", told.kind, own.kind
    if told.teeth != own.teeth:
        yield "teeth", str(told.teeth), str(own.teeth)
    if told.is_helical and own.is_helical and told.hand is not own.hand:
        yield "hand", _hand(told), _hand(own)
    for what, one, other in (
        ("module", float(told.module_n), float(own.module_n)),
        ("pressure angle", float(told.pressure_angle_deg), float(own.pressure_angle_deg)),
        ("helix angle", told.beta_deg, own.beta_deg),
        ("profile shift", float(told.profile_shift), float(own.profile_shift)),
    ):
        if what.endswith("angle") and abs(one - other) > _ALIKE_DEG:
            yield what, f"{one:.7g}°", f"{other:.7g}°"
        elif abs(one - other) > _ALIKE and not what.endswith("angle"):
            yield what, f"{one:.7g}", f"{other:.7g}"
    for what, size, own_size in (
        ("outside diameter", told.outside_diameter, own.outside_diameter),
        ("thinning", told.thinning, own.thinning),
    ):
        if _differ(size, own_size):
            yield what, length(float(size or 0), units), length(float(own_size or 0), units)


def _hand(work: Work) -> str:
    return work.hand.word if work.hand else "none"


def pair_apart(job: Job, mate: Job) -> tuple[str, ...]:
    """In what the two jobs don't agree about the pair: what each says of the other's gear, and how they stand."""
    units, found = job.units, []
    for one, other in ((job, mate), (mate, job)):
        if one.mate is not None:
            where = f"[mate] of {one.path} against {other.path}"
            found += [f"{each}, {where}" for each in drawn_apart(one.mate, other.work, units)]
    if mate.mate is None:
        return tuple(found)
    for what, size, other_size in (
        ("centre distance", job.centre_distance, mate.centre_distance),
        ("least backlash", job.least_backlash, mate.least_backlash),
    ):
        if _differ(size, other_size):
            found.append(f"{what} {length(float(size or 0), units)} against {length(float(other_size or 0), units)}")
    crossed, mate_crossed = (float(one.crossing_angle_deg or 0) for one in (job, mate))
    if None not in (job.crossing_angle_deg, mate.crossing_angle_deg) and abs(crossed - mate_crossed) > _ALIKE_DEG:
        found.append(f"crossing angle {crossed:g}° against {mate_crossed:g}°")
    return tuple(found)


def _differ(one: Fraction | None, other: Fraction | None) -> bool:
    return one is not None and other is not None and abs(one - other) > _ALIKE_MM
