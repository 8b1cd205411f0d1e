"""The pictures of a job: from its set-up to the arguments of each drawing. One function a picture."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from typing import TYPE_CHECKING

from handlead.machines.setups.case import Case, face_width_mm, stroke_of
from handlead.machines.toml.errors import HandleadError

if TYPE_CHECKING:
    from handlead.kinematics.frame.blank import FlankMap
    from handlead.kinematics.frame.motion import Motion
    from handlead.viz.draw.head import SwivelLayout
    from handlead.viz.draw.witness import WitnessLayout
    from matplotlib.figure import Figure


class NoPicture(HandleadError, ValueError):
    """This picture can't be made of this job; the message says why."""


def train_picture(case: Case) -> Figure:
    """The train diagram, levers and change gears as the job has them."""
    from .plots import plot_train

    return _figure(plot_train(case))


def bracket_picture(case: Case) -> Figure:
    """Every bracket of the machine to scale, two to a row."""
    from .plots import plot_brackets

    return _figure(plot_brackets(case))


def swivel_of(case: Case) -> SwivelLayout:
    """The head as the set-up was proved: level where the job doesn't say."""
    from handlead.viz.draw.head import swivel_layout

    job = case.job
    return swivel_layout(
        case.swivel_deg,
        hob_hand=job.hob.hand,
        lead_angle_deg=job.hob.gamma_deg or 0.0,
        work_hand=job.work.hand if job.work.is_helical else None,
        helix_angle_deg=job.work.beta_deg,
    )


def swivel_picture(case: Case) -> Figure:
    """The head from behind the hob."""
    from .plots import plot_head

    return _figure(plot_head(case))


def witness_of(case: Case) -> WitnessLayout:
    """What is wanted on the blank after the light first cut, and what the rates would leave there."""
    from handlead.kinematics.law.light_cut import light_marks
    from handlead.viz.draw.marks import predicted_marks, touched, wanted_marks
    from handlead.viz.draw.witness import witness_layout

    work, hob = case.job.work, case.job.hob
    light = light_marks(case.rates, work, hob, case.swivel_deg) if case.rates else None
    marks = (wanted_marks(work), predicted_marks(work, case.outcome, hob, case.swivel_deg, light))
    return witness_layout(marks, case.sizes.outside_diameter, face_width_mm(work), touched(work, case.job.hob))


def witness_picture(case: Case) -> Figure:
    """The blank after the light first cut, unrolled: wanted over predicted."""
    from .plots import plot_marks

    return _figure(plot_marks(case))


def flank_picture(case: Case) -> Figure:
    """Lead and profile charts of the simulated flank, and the map of its marks."""
    from .plots import plot_flanks

    return _figure(plot_flanks(case))


def flanks_of(case: Case) -> dict[str, FlankMap]:
    """Both flanks of one space, cut as for the proof. Raises `NoPicture` where nothing can be cut."""
    from handlead.machines.blanks.flanks import Flanks
    from handlead.machines.blanks.witness import NotCut

    try:
        return Flanks.of(case).maps()
    except (NotCut, ValueError) as fault:
        raise NoPicture(str(fault)) from fault


def motion_of(case: Case) -> Motion:
    """To depth, the cut, out again, and back through the same gears with the drive reversed."""
    from handlead.kinematics.frame.motion import Motion, Move, Position, follow

    rates = case.rates
    if rates is None or case.solution.is_locked or not rates.axial:
        raise NoPicture("hob, table and axial slide must all move")
    try:
        stroke = stroke_of(case)
    except ValueError as fault:
        raise NoPicture(str(fault)) from fault
    face = Fraction(stroke.face)
    before, after = (Fraction(round(part * 1000), 1000) for part in (stroke.before, stroke.after))
    # Rates are per turn of a hob cutting up; this one may turn the other way.
    sense = 1 if (case.solution.end_rate("hob") or 0) > 0 else -1
    up = rates.axial * sense > 0
    start, end = (-before, face + after) if up else (face + before, -after)
    depth = Fraction(round(case.sizes.depth * 1000), 1000)
    turning = rates.per_turn.times(Fraction(sense))
    infeed = Position(radial=Fraction(-1))
    moves = [
        Move(infeed, "radial", Fraction(0), name="to depth"),
        Move(turning, "axial", end, name="cut"),
        Move(infeed.times(Fraction(-1)), "radial", depth + _CLEAR_MM, name="out"),
        Move(turning.times(Fraction(-1)), "axial", start, name="back, drive reversed"),
    ]
    if rates.radial:
        moves = [moves[1]]
    return Motion(follow(moves, Position(axial=start, radial=Fraction(0) if rates.radial else depth)))


#: How far from the blank the hob is drawn after a cut. Own choice.
_CLEAR_MM = Fraction(2)


def motion_picture(case: Case) -> Figure:
    """Hob, table and slides through the moves."""
    from .plots import plot_motion

    return _figure(plot_motion(case))


def worm_wheel_motion(case: Case) -> Motion:
    """The feed of a worm wheel at mid-face, in to depth or across at depth, and then out."""
    from handlead.kinematics.frame.motion import Motion, Phase, Position
    from handlead.machines.blanks.witness import NotCut
    from handlead.viz.solids.cut_stages import PlungeStages
    from handlead.viz.solids.scene import staged_of

    try:
        phases = PlungeStages(staged_of(case)).phases
    except (NotCut, ValueError) as fault:
        raise NoPicture(str(fault)) from fault
    depth = Fraction(round(case.sizes.depth * 1000), 1000)
    return Motion((*phases, Phase(phases[-1].end, Position(radial=Fraction(1)), depth, "out")))


def _figure(axes: object) -> Figure:
    figure: Figure = axes.get_figure(root=True)  # type: ignore[attr-defined]
    return figure


#: Every picture, by the name that the command line has for it.
PICTURES: dict[str, Callable[[Case], Figure]] = {
    "train": train_picture,
    "bracket": bracket_picture,
    "swivel": swivel_picture,
    "witness": witness_picture,
    "flank": flank_picture,
    "motion": motion_picture,
}
