"""What a proof says of the teeth themselves and of the pair: undercut, points, hands, centres, backlash, clearance."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from handlead.kinematics.gears.gear import diametral_pitch_from_module, least_profile_shift
from handlead.kinematics.gears.pair import (
    PairRunning,
    crossed_distance,
    crossing_angle,
    distance_without_backlash,
    is_undercut,
    run_together,
    sliding_share,
    tip_thickness,
    usual_least_backlash,
)
from handlead.kinematics.work.requirement import Work, gear_of, gear_to_cut
from handlead.kinematics.work.sizes import gear_on_blank, outside_diameter, root_diameter
from handlead.machines.job_files.job_file import Job
from handlead.machines.setups.case import Case
from handlead.machines.setups.findings import Fact, Finding
from handlead.machines.toml.units import length

#: A tip thinner than this many modules breaks or chips (common practice; case-hardened teeth want twice as much).
LEAST_TIP = 0.2

#: Clearance of tips from roots and contact ratio below which a pair is warned of (common practice).
LEAST_CLEARANCE, LEAST_CONTACT = 0.1, 1.2

#: Least thickness of a rim under the teeth, in whole depths of them (common practice for steel; from memory).
LEAST_RIM = 1.2

#: Backlash beyond this many modules is more than any pair is meant to have (own choice).
LOOSE = 0.2

#: A crossed pair's angles may be off by this much, in degrees.
_CROSSING_OFF = 0.02


@dataclass(frozen=True)
class PairSizes:
    """A pair on parallel shafts as it will run, the work first; `given` says whether the drawing gives its centres.

    `least_backlash` is what it ought to have at least: `asked` for by the drawing, or common practice.
    """

    running: PairRunning
    given: bool
    least_backlash: float
    asked: bool

    def as_json(self) -> dict[str, Any]:
        """The `pair` object of a proof: mm, degrees and bare numbers."""
        run = self.running
        return {
            "centre_distance": run.centre_distance,
            "reference_centre_distance": run.reference_distance,
            "working_pressure_angle_deg": run.working_pressure_angle_deg,
            "shift_sum_without_backlash": run.shift_sum,
            "backlash": run.backlash,
            "least_backlash": self.least_backlash,
            "least_backlash_from": "drawing" if self.asked else "common practice",
            "transverse_contact_ratio": run.transverse_contact_ratio,
            "overlap_ratio": run.overlap_ratio,
            "tip_clearance": run.clearances[0],
            "mate_tip_clearance": run.clearances[1],
        }


def pair_sizes(job: Job) -> PairSizes | None:
    """How work and mate will run; None without a mate, for a crossed pair, for work that isn't a gear, and where hands,
    helices or racks don't go together.

    Raises `ValueError` where they can't run at all.
    """
    if job.mate is None or job.crossing_angle_deg or not _is_gear(job.work) or not _is_gear(job.mate):
        return None
    if any(_unsuited(job, job.mate)):
        return None
    first, second = gear_to_cut(job.work), gear_to_cut(job.mate)
    tips = (outside_diameter(job.work), outside_diameter(job.mate))
    roots = (root_diameter(job.work, job.hob), root_diameter(job.mate, job.hob))
    given = job.centre_distance is not None
    # A thinning belongs to the backlash, not to the centres that the drawing means.
    if job.centre_distance is None:
        distance = distance_without_backlash(gear_of(job.work), gear_of(job.mate))
    else:
        distance = float(job.centre_distance)
    asked = job.least_backlash is not None
    least = float(job.least_backlash or 0) if asked else usual_least_backlash(distance, first.module_n)
    return PairSizes(run_together(first, second, tips, roots, distance), given, least, asked)


@dataclass(frozen=True)
class CrossedSizes:
    """A pair of helical gears on crossed shafts, which touch at a point: angle in degrees, distance in mm.

    `sliding` is that along the teeth at the pitch point, as a share of the work's speed there.
    """

    crossing_deg: float
    centre_distance: float
    sliding: float

    def as_json(self) -> dict[str, Any]:
        """The `crossed_pair` object of a proof."""
        return {
            "crossing_angle_deg": self.crossing_deg,
            "centre_distance_without_backlash": self.centre_distance,
            "sliding": self.sliding,
        }


def crossed_sizes(job: Job) -> CrossedSizes | None:
    """How work and mate stand on crossed shafts; None for any other pair, and where their angles don't go together."""
    if job.mate is None or not job.crossing_angle_deg or not _is_gear(job.work) or not _is_gear(job.mate):
        return None
    if any(_unsuited(job, job.mate)):
        return None
    first, second = gear_of(job.work), gear_of(job.mate)
    return CrossedSizes(float(job.crossing_angle_deg), crossed_distance(first, second), sliding_share(first, second))


def _is_gear(work: Work) -> bool:
    return work.kind in ("spur", "helical")


def check_teeth(case: Case) -> Iterator[Finding]:
    """Teeth that the hob undercuts, tips that come to a point, and a rim that is too thin under them."""
    work = case.job.work
    if not _is_gear(work):
        return
    yield from _rim(case)
    gear = gear_to_cut(work)
    least = least_profile_shift(gear)
    if is_undercut(gear):
        yield Finding(
            "undercut",
            "warning",
            f"The hob undercuts the teeth: with {work.teeth} teeth the profile shift must be {least:.3f} or more, "
            f"and it is {gear.profile_shift:.3f}.",
            "Ask whoever drew it: a shift of that size, and as much less on the mate, keeps the centre distance.",
            {"teeth": work.teeth, "least_shift": least, "shift": gear.profile_shift},
        )
    tip = outside_diameter(work)
    thick = tip_thickness(gear, tip) if tip > gear.base_diameter else None
    if thick is not None and thick < LEAST_TIP * gear.module_n:
        units = case.job.units
        state = "come to a point below their tips" if thick <= 0 else f"are {length(thick, units)} thick at their tips"
        yield Finding(
            "pointed-tips",
            "warning",
            f"The teeth {state}; {length(LEAST_TIP * gear.module_n, units)} is the least that doesn't chip.",
            "Turn the blank smaller, or ask whoever drew it for less profile shift.",
            {"tip_thickness_mm": thick, "least_mm": LEAST_TIP * gear.module_n, "outside_diameter_mm": tip},
        )


def _rim(case: Case) -> Iterator[Finding]:
    """What is left between the roots and the bore."""
    work, units = case.job.work, case.job.units
    if work.bore is None or case.sizes.wanting or case.sizes.depth <= 0:
        return
    rim = (case.sizes.root_diameter - float(work.bore)) / 2
    least = LEAST_RIM * case.sizes.depth
    if rim >= least:
        return
    facts: dict[str, Fact] = {"rim_mm": rim, "least_mm": least, "bore_mm": float(work.bore)}
    if rim <= 0:
        message = (
            f"The teeth go through to the bore: it is {length(float(work.bore), units)} across, and the roots stand at "
            f"{length(case.sizes.root_diameter, units)}."
        )
        yield Finding("thin-rim", "error", message, "See to the bore, the count and the module of the drawing.", facts)
        return
    message = (
        f"Between roots and bore {length(rim, units)} of rim is left, less with a keyway; {LEAST_RIM:g} whole depths, "
        f"{length(least, units)}, is the least that is usual."
    )
    remedy = "Ask whoever drew it: teeth break out through a thin rim. Support it well while it is cut."
    yield Finding("thin-rim", "warning", message, remedy, facts)


def check_pair(case: Case) -> Iterator[Finding]:
    """Hands and angles that go together, and how the pair runs at its centres."""
    yield from judge_pair(case.job)


def judge_pair(job: Job) -> Iterator[Finding]:
    """The same of a job, whatever its set-up."""
    if job.mate is None or not _is_gear(job.work) or not _is_gear(job.mate):
        return
    stopped = next(_unsuited(job, job.mate), None)
    if stopped:
        yield stopped
        return
    if gear_on_blank(job.work) is None or gear_on_blank(job.mate) is None:
        return  # a blank that is too small for its teeth is told of by itself
    if job.centre_distance is not None and not job.crossing_angle_deg:
        bases = (gear_to_cut(job.work).base_diameter + gear_to_cut(job.mate).base_diameter) / 2
        if float(job.centre_distance) <= bases:
            yield _too_near(job, float(job.centre_distance), bases)
            return
    try:
        sizes = pair_sizes(job)
    except ValueError as why:
        yield Finding("pair-cant-run", "error", f"The pair can't run: {why}.", "See to its shifts and its centres.")
        return
    if sizes is not None:
        yield from _running(job, sizes)


def _unsuited(job: Job, mate: Work) -> Iterator[Finding]:
    """Why work and mate don't go together at all, whatever their centres."""
    # Racks first: where they are unlike, no crossing of the shafts helps.
    modules = (job.work.module_n, mate.module_n)
    if abs(modules[0] - modules[1]) > modules[0] / 10**6:
        inches = job.units == "in"
        one, other = (float(diametral_pitch_from_module(each) if inches else each) for each in modules)
        yield _unlike("diametral pitches" if inches else "modules", one, other)
    if abs(job.work.pressure_angle_deg - mate.pressure_angle_deg) > 1e-6:
        yield _unlike("pressure angles", float(job.work.pressure_angle_deg), float(mate.pressure_angle_deg))
    yield from _shafts(job, mate)


def _too_near(job: Job, there: float, least: float) -> Finding:
    return Finding(
        "pair-cant-run",
        "error",
        f"The pair can't run: at {length(there, job.units)} centres the circles that its involutes start from overlap; "
        f"they need more than {length(least, job.units)}.",
        "See to the centre distance, the counts and the units of the drawing.",
        {"centre_distance_mm": there, "least_mm": least},
    )


def _unlike(what: str, one: float, other: float) -> Finding:
    return Finding(
        "pair-unlike",
        "error",
        f"Work and mate have unlike {what}, {one:g} and {other:g}: they can't run together.",
        "Both are cut with one rack: see to the drawing.",
        {"work": one, "mate": other},
    )


def _shafts(job: Job, mate: Work) -> Iterator[Finding]:
    """Whether the helices go with shafts that are parallel, or that cross at the angle that the drawing has."""
    work = job.work
    crosses = crossing_angle(work.beta_deg, work.hand if work.is_helical else None,
                             mate.beta_deg, mate.hand if mate.is_helical else None)  # fmt: skip
    wanted = float(job.crossing_angle_deg or 0)
    if abs(crosses - wanted) <= _CROSSING_OFF:
        return
    if not wanted and work.is_helical and mate.is_helical and work.hand is mate.hand and work.hand:
        message = f"Both members are {work.hand.word}-hand: on parallel shafts one must be right, the other left."
    elif not wanted:
        message = f"The helix angles {work.beta_deg:.4g}° and {mate.beta_deg:.4g}° don't run on parallel shafts."
    else:
        message = (
            f"Helix angles {work.beta_deg:.4g}° and {mate.beta_deg:.4g}° of these hands run on shafts that cross at "
            f"{crosses:.4g}°; the drawing has {wanted:.4g}°."
        )
    yield Finding(
        "pair-shafts",
        "error",
        message,
        f"See to hand and helix of both; a crossed pair says so: crossing_angle = {crosses:.4g} under [mate]."
        if not wanted
        else "See to hand and helix of both, or to the crossing angle.",
        {"crossing_deg": crosses, "wanted_deg": wanted},
    )


def _shared(transverse: float, total: float, leans: bool) -> str:
    """How many pairs of teeth share the work; below none they never meet."""
    if transverse <= 0:
        return "At these centres no tooth reaches the flanks of the other's"
    words = f"{transverse:.2f} pairs of teeth share the work across the axis"
    return words + (f", {total:.2f} with the overlap" if leans else "")


def _running(job: Job, sizes: PairSizes) -> Iterator[Finding]:
    run, units, module = sizes.running, job.units, float(job.work.module_n)
    yield from _centres(job, sizes)
    if run.backlash < -1e-6 * module:
        return  # teeth that don't go in have no contact, clearance or fouling to speak of
    if run.transverse_contact_ratio < LEAST_CONTACT:
        short = run.total_contact_ratio < 1
        yield Finding(
            "contact-ratio",
            "error" if short else "warning",
            _shared(run.transverse_contact_ratio, run.total_contact_ratio, bool(run.overlap_ratio))
            + ("; below 1 the pair knocks from tooth to tooth." if short else f"; {LEAST_CONTACT:g} is usual."),
            "See to the outside diameters, the shifts and the centre distance.",
            {"transverse": run.transverse_contact_ratio, "total": run.total_contact_ratio},
        )
    least = min(run.clearances)
    if least < LEAST_CLEARANCE * module:
        whose = "the mate's" if run.clearances[1] == least else "the work's"
        yield Finding(
            "tip-clearance",
            "error" if least < 0 else "warning",
            f"Between {whose} tips and the other's roots {length(least, units)} is left; "
            f"{length(LEAST_CLEARANCE * module, units)} is the least that is usual.",
            f"Turn {whose} blank down by {length(2 * (0.25 * module - least), units, 2)} in diameter, or see to the "
            "centre distance.",
            {"clearance_mm": least, "least_mm": LEAST_CLEARANCE * module},
        )
    for fouled, whose, other in zip(run.interferes, ("work's", "mate's"), ("mate's", "work's"), strict=True):
        if fouled:
            yield Finding(
                "root-fouled",
                "warning",
                f"The {other} tips reach flank near the {whose} roots that the hob doesn't finish as an involute.",
                f"Turn the {other} blank down, or give the {whose[:-2]} more profile shift.",
            )


def _centres(job: Job, sizes: PairSizes) -> Iterator[Finding]:
    """Backlash at the centres that the drawing gives."""
    run, units, module = sizes.running, job.units, float(job.work.module_n)
    assert job.mate is not None
    if not sizes.given:
        if sizes.asked:
            yield from _little(sizes, units)
        return
    share = run.shift_sum * job.mate.teeth / (job.work.teeth + job.mate.teeth)
    facts = {
        "centre_distance_mm": run.centre_distance,
        "shift_sum_without_backlash": run.shift_sum,
        "backlash_mm": run.backlash,
        "working_pressure_angle_deg": run.working_pressure_angle_deg,
    }
    wanted = (
        f"At {length(run.centre_distance, units)} centres the profile shifts must sum to {run.shift_sum:.4f} for no "
        f"backlash (by the teeth {share:.3f} on the work and {run.shift_sum - share:.3f} on the mate), or less"
    )
    if run.backlash < -1e-6 * module:
        yield Finding(
            "no-backlash", "error",
            f"{wanted}; as they are the teeth are {length(-run.backlash, units)} too thick to go in.",
            "Take up the shifts with whoever drew it, or thin the teeth.", facts,
        )  # fmt: skip
    elif run.backlash > LOOSE * module:
        yield Finding(
            "loose-pair", "warning",
            f"{wanted}; as they are the pair has {length(run.backlash, units)} of backlash.",
            "Take up the shifts with whoever drew it: more of them takes the backlash out.", facts,
        )  # fmt: skip
    else:
        yield from _little(sizes, units)


def _little(sizes: PairSizes, units: str) -> Iterator[Finding]:
    """Less backlash than the drawing asks for, or than is usual."""
    there, least = sizes.running.backlash, sizes.least_backlash
    if there >= least - 1e-4:
        return
    whose = "the drawing asks for" if sizes.asked else "common practice for such a pair is"
    yield Finding(
        "little-backlash", "warning" if sizes.asked else "note",
        f"The pair has {length(max(there, 0.0), units)} of backlash as drawn; {whose} {length(least, units)} or more.",
        "Give thinning under [work] and [mate], together as much as is missing: the hob then goes deeper for it.",
        {"backlash_mm": there, "least_mm": least, "asked": sizes.asked},
    )  # fmt: skip
