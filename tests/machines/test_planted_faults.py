"""Each imperfection planted in a machine's or a hob's file, the gear cut and gauged, and held against a closed formula.

What is gauged knows nothing of the formulas: it is taken up on the flanks that the hob's edges leave.
"""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction as F
from pathlib import Path

import numpy as np
import pytest
from handlead.machines.charting.simulated import GearReport
from handlead.machines.job_files.job_file import read_job, read_job_text
from handlead.machines.machine_files.machine_file import Imperfection, read_machine, read_machine_text
from handlead.machines.setups.case import Case
from handlead.machines.setups.imperfections import errors_of, plays_of, ripples_of
from handlead.machines.written.writing import job_text, machine_text

SCENARIOS = Path(__file__).parents[2] / "scenarios"
GOOD = Path(__file__).parent / "good"
SPUR = read_job(SCENARIOS / "02-left-hand-hob" / "job.toml")
RIGHT = read_job(SCENARIOS / "01-fly-winch-pair" / "pinion.toml")
LEFT_IN_INCHES = read_job(SCENARIOS / "08-inch-winch" / "job.toml")
JOBS = pytest.mark.parametrize("job", [SPUR, RIGHT, LEFT_IN_INCHES], ids=["spur", "right hand", "left hand, inches"])

UM = 1000


def taken_up(job, *rows, **hob):
    """The job's gear with these imperfections of its machine and its hob, by way of the text of their files."""
    machine = read_machine_text(machine_text(replace(job.machine, imperfections=rows)))
    job = replace(job, machine=machine, hob=replace(job.hob, **hob))
    return GearReport.of(Case.of(job)).traced


class Shape:
    """What of a drawing the formulas ask for, reckoned from it alone: angles in radians."""

    def __init__(self, job):
        work, beta = job.work, math.radians(job.work.beta_deg)
        self.teeth, self.face = work.teeth, float(work.face_width)
        self.hand = work.hand.value if work.is_helical else 0
        self.alpha_n = math.radians(float(work.pressure_angle_deg))
        self.alpha = math.atan(math.tan(self.alpha_n) / math.cos(beta))
        self.base_tan = math.tan(beta) * math.cos(self.alpha)
        self.half_space = math.pi / 2 / self.teeth
        # Along the line of contacts a thread comes after a normal base pitch; of the roll, at one height, that is times
        # the cosine of the base helix angle.
        self.thread = math.pi * float(work.module_n) * math.cos(self.alpha_n) / math.hypot(1, self.base_tan)


def harmonic(values, order):
    """Amplitude of this many waves round the gear."""
    turn = np.exp(-2j * np.pi * order * np.arange(len(values)) / len(values))
    return 2 * abs(np.mean(np.asarray(values) * turn))


def slopes(traced, flank):
    """Helix slopes of the teeth traced on one flank, as a tooth leans: to the right hand positive."""
    # What stands proud going up on a left flank, counter-clockwise of its tooth, leans to the left.
    way = 1 if flank == "left" else -1
    return np.array([way * one.measured.helix.slope_um for one in traced.flanks if one.flank == flank])


@JOBS
def test_work_that_runs_out_reads_its_runout_on_a_ball_and_that_over_cos_alpha_in_the_pitch(job):
    shape, off = Shape(job), 10
    traced = taken_up(job, Imperfection("work runout", runout=F(2 * off, UM)))
    assert traced.deviations.runout == pytest.approx(2 * off, abs=0.5)
    assert harmonic(traced.ball_um, 1) == pytest.approx(off, rel=0.02)
    for um in traced.pitch_um.values():
        assert harmonic(um, 1) == pytest.approx(off / math.cos(shape.alpha), rel=0.02)
        assert harmonic(um, 2) < 0.03 * off


def test_work_that_points_elsewhere_has_its_wave_begin_elsewhere():
    one, other = (
        np.fft.fft(taken_up(SPUR, Imperfection("work runout", runout=F(2, 100), phase_deg=F(phase))).ball_um)[1]
        for phase in (0, 90)
    )
    turned = math.degrees(np.angle(other / one))
    # A quarter of the gear; which way is how the teeth are numbered, counter-clockwise as the phase is.
    assert turned == pytest.approx(-90, abs=2)


@JOBS
def test_work_askew_leans_its_teeth_by_the_lean_over_the_face_and_runs_out_as_at_mid_face(job):
    shape = Shape(job)
    lean = 0.03 / 2 / 60
    traced = taken_up(job, Imperfection("work tilt", runout=F(3, 100), over=F(60)))
    assert harmonic(traced.ball_um, 1) == pytest.approx(UM * lean * shape.face / 2, rel=0.05)
    # Slopes go round with the gear once: a sine through the four teeth, on spur work of just that height. Where teeth
    # lean the runout at mid-face and the dip at the rim come in by the twist over the face.
    most = UM * lean * shape.face
    for flank in ("right", "left"):
        found = slopes(traced, flank)
        turn = 2 * np.pi * np.array([one.tooth for one in traced.flanks if one.flank == flank]) / shape.teeth
        terms = np.stack([np.cos(turn), np.sin(turn), np.ones_like(turn)], axis=1)
        size = np.hypot(*np.linalg.lstsq(terms, found, rcond=None)[0][:2])
        assert size == pytest.approx(most, rel=0.08 if not shape.hand else 0.25)


@JOBS
@pytest.mark.parametrize("waves", [2, 3])
def test_a_table_that_wobbles_runs_out_as_often_as_it_does(job, waves):
    # Off by e at mid-face, to where the lean points as each flank is cut: e·sin(α + kη)/sin(α + η) on a ball between
    # flanks that stand η to either side of a space's middle. Own derivation.
    shape = Shape(job)
    off = UM * 0.02 / 2 / 100 * (shape.face / 2 + 50)
    row = Imperfection("table wobble", runout=F(2, 100), over=F(100), waves=waves, below=F(50))
    traced = taken_up(job, row)
    ball = off * math.sin(shape.alpha + waves * shape.half_space) / math.sin(shape.alpha + shape.half_space)
    assert harmonic(traced.ball_um, waves) == pytest.approx(ball, rel=0.05)
    assert harmonic(traced.ball_um, 1) < 0.05 * ball


@JOBS
@pytest.mark.parametrize("way", ["away", "in", "left", "right"])
def test_a_slide_beside_the_axis_tapers_the_teeth_or_leans_them_towards_where_it_goes(job, way):
    shape = Shape(job)
    off = UM * 0.02 / 100 * shape.face
    true = taken_up(job)
    traced = taken_up(job, Imperfection("slide not parallel", length=F(2, 100), over=F(100), way=way))
    right, left = (slopes(traced, flank).mean() - slopes(true, flank).mean() for flank in ("right", "left"))
    if way in ("left", "right"):
        # The hob goes to the right going up: spaces and teeth lean to the right.
        leans = off * math.cos(shape.alpha) * (1 if way == "right" else -1)
        assert [right, left] == pytest.approx([leans, leans], abs=0.25)
    else:
        # The hob goes away going up: both flanks stand proud there, which on a left flank is leaning to the right.
        thicker = off * math.sin(shape.alpha) * (1 if way == "away" else -1)
        assert [right, left] == pytest.approx([-thicker, thicker], abs=0.25)


@pytest.mark.parametrize(("way", "sign"), [("away", 1), ("in", -1)])
def test_a_bowed_slide_leaves_a_hollow_or_a_crown(way, sign):
    # 0.05 mm over 100 bows by 0.05·(b/100)² over the face, of which a flank takes sin α.
    shape = Shape(SPUR)
    true = taken_up(SPUR)
    traced = taken_up(SPUR, Imperfection("slide bow", length=F(5, 100), over=F(100), way=way))
    for one, plain in zip(traced.flanks, true.flanks, strict=True):
        z = one.height - shape.face / 2
        bend = np.polyfit(z, one.helix_um - plain.helix_um, 2)[0]
        assert bend == pytest.approx(-sign * UM * 0.05 / 50**2 * math.sin(shape.alpha), rel=0.03)


@pytest.mark.parametrize("job", [RIGHT, LEFT_IN_INCHES], ids=["right hand", "left hand, inches"])
@pytest.mark.parametrize("too_far", [F(1, 10), F(-1, 10)])
def test_a_screw_out_of_pitch_lengthens_the_lead_or_shortens_it(job, too_far):
    # A lead longer by a share: πd_b·b/L of slope less by that share, which is b·tan β_b.
    shape = Shape(job)
    true, traced = taken_up(job), taken_up(job, Imperfection("pitch", "slide screw", length=too_far, over=F(100)))
    leans = -shape.hand * UM * float(too_far) / 100 * shape.face * shape.base_tan
    for flank in ("right", "left"):
        assert (slopes(traced, flank) - slopes(true, flank)).mean() == pytest.approx(leans, rel=0.03)


def test_a_screw_out_of_pitch_does_nothing_to_teeth_that_are_straight():
    true, traced = taken_up(SPUR), taken_up(SPUR, Imperfection("pitch", "slide screw", length=F(1, 10), over=F(100)))
    assert traced.deviations.helix_slope == pytest.approx(true.deviations.helix_slope, abs=0.3)


_GASHES = 30


def over_roll(job, flank, *rows, **hob):
    """What is left over the length of roll of the first tooth, of what a true hob leaves there."""
    # With many gashes what the deepest of them leaves is nearly the hob's thread itself.
    true, off = taken_up(job, gashes=_GASHES), taken_up(job, *rows, **{"gashes": _GASHES, **hob})
    first, other = (next(one for one in each.flanks if one.flank == flank) for each in (true, off))
    return first.roll, other.profile_um - first.profile_um


def wave(along, um, length):
    angle = 2 * np.pi * along / length
    terms = np.stack([np.cos(angle), np.sin(angle), np.ones_like(angle), along], axis=1)
    found = np.linalg.lstsq(terms, um, rcond=None)[0]
    return float(np.hypot(*found[:2])), float(found[3])


@pytest.mark.parametrize("flank", ["right", "left"])
@JOBS
def test_a_hob_that_runs_out_waves_up_the_tooth_once_a_turn_of_it(job, flank):
    # e·sin α_n normal to the flank, over cos β_b in the transverse section; once for the starts' base pitches.
    shape = Shape(job)
    along, um = over_roll(job, flank, Imperfection("hob runout", runout=F(4, 100)))
    size, _ = wave(along, um, job.hob.starts * shape.thread)
    formula = 20 * math.sin(shape.alpha_n) * math.hypot(1, shape.base_tan)
    assert size == pytest.approx(formula, rel=0.1)


@pytest.mark.parametrize("flank", ["right", "left"])
@JOBS
def test_a_hob_that_leans_waves_up_the_tooth_by_the_lean_at_its_reference_radius(job, flank):
    shape = Shape(job)
    along, um = over_roll(job, flank, Imperfection("hob wobble", runout=F(3, 100), over=F(50)))
    size, _ = wave(along, um, job.hob.starts * shape.thread)
    radius = job.hob.diameter
    if radius is None:
        radius = job.hob.starts * job.hob.module_n / F(math.sin(math.radians(job.hob.gamma_deg)))
    to_and_fro = UM * 0.03 / 2 / 50 * float(radius) / 2 * math.cos(math.radians(job.hob.gamma_deg))
    # To either side of the middle it runs out as well, by the lean times some mm, which the formula leaves out.
    assert size == pytest.approx(to_and_fro * math.cos(shape.alpha_n) * math.hypot(1, shape.base_tan), rel=0.16)


@pytest.mark.parametrize("error", [F(1, 100), F(-1, 100)])
@pytest.mark.parametrize("flank", ["right", "left"])
@JOBS
def test_a_hobs_thread_out_of_lead_takes_the_slope_of_the_profile_off(job, flank, error):
    # Each turn of the hob, the starts' base pitches of roll, is cut further on by the error: its share along the rack.
    shape = Shape(job)
    along, um = over_roll(job, flank, thread_error=error)
    lead = job.hob.starts * math.pi * float(job.hob.module_n) / math.cos(math.radians(job.hob.gamma_deg))
    _, slope = wave(along, um, job.hob.starts * shape.thread)
    # On the roll and off it at once: twice the cosine of the base helix angle.
    assert slope == pytest.approx(UM * float(error) / lead * (1 + shape.base_tan**2), rel=0.03)


@pytest.mark.parametrize("flank", ["right", "left"])
def test_gashes_ground_out_of_their_places_tell_by_the_relief(flank):
    shape, gashes = Shape(SPUR), _GASHES
    late = tuple(F(round(60 * math.sin(2 * math.pi * at / gashes)), UM) for at in range(gashes))
    along, um = over_roll(SPUR, flank, gash_index=late, relief_angle_deg=F(12))
    size, _ = wave(along, um, SPUR.hob.starts * shape.thread)
    assert size == pytest.approx(60 * math.tan(math.radians(12)) * math.sin(shape.alpha_n), rel=0.1)


def test_a_worm_that_floats_turns_its_wheel_by_that_on_their_pitch_circle():
    # 0.02 mm on the dial is 0.01 to either side; a wheel of module 5 and its teeth has so long a pitch circle.
    worm = RIGHT.machine.train.link("index worm")
    row = Imperfection("worm float", "index worm", runout=F(2, 100), module_n=F(5))
    case = Case.of(replace(RIGHT, machine=replace(RIGHT.machine, imperfections=(row,))))
    (error,) = errors_of(case.train, row)
    assert error.amplitude == pytest.approx(0.01 / (math.pi * 5 * worm.teeth))
    ripple = next(one for one in ripples_of(case) if one.end == "table")
    assert abs(ripple.per_unit) == F(worm.teeth, worm.starts)
    # On the gear: as many waves as are left of the worm's turns beside whole teeth, and no higher than the whole.
    teeth = RIGHT.work.teeth
    folded = min(worm.teeth % teeth, -worm.teeth % teeth)
    radius = 3 * teeth / 2 / math.cos(math.radians(22))
    whole = UM * 2 * math.pi * radius * ripple.amplitude
    found = harmonic(taken_up(RIGHT, row).pitch_um["right"], folded)
    assert 0.3 * abs(whole) < found < abs(whole)


def test_a_worm_that_can_be_pushed_along_is_lost_motion_of_its_wheel():
    worm = RIGHT.machine.train.link("index worm")
    row = Imperfection("worm end play", "index worm", length=F(3, 100), module_n=F(5))
    (play,) = plays_of(Case.of(replace(RIGHT, machine=replace(RIGHT.machine, imperfections=(row,)))))
    assert float(play.width) == pytest.approx(0.03 / (math.pi * 5 * worm.teeth))
    assert ripples_of(Case.of(replace(RIGHT, machine=replace(RIGHT.machine, imperfections=(row,))))) == ()


IDLER = read_job(SCENARIOS / "03-no-differential" / "job.toml")


@pytest.mark.parametrize("between", [60, 140, 180, 250])
def test_an_idler_off_its_centre_turns_the_gear_behind_it_as_involutes_in_mesh_do(between):
    # Three base circles with tangents between them, the middle one's centre going round with it: what the last one is
    # turned beside even running, worked out from where the tangents touch. Nothing of the formula enters.
    link = next(one for one in IDLER.machine.set_up(IDLER.setup).brackets if one.mounted and one.mounted.idlers)
    teeth, e, alpha, module = link.mounted.idlers[0], 0.05, math.radians(20), 2.0
    row = Imperfection("gear runout", gear=teeth, runout=2 * F(e), module_n=F(2), between_deg=F(between))
    (error,) = (
        one
        for one in errors_of(IDLER.machine.set_up(IDLER.setup), row)
        if one.link == link.name
    )
    # It stands in the mesh in which it turns as often as the error comes.
    pairs = [F(*pair) for pair in link.mounted.pairs]
    turns = [math.prod(pairs[:mesh], start=F(1)) * F(pair[0], teeth) for mesh, pair in enumerate(link.mounted.pairs)]
    mesh = turns.index(error.waves)
    driver, driven = link.mounted.pairs[mesh]
    radius = [z * module / 2 for z in (driver, teeth, driven)]
    base = [one * math.cos(alpha) for one in radius]
    # The idler turns counter-clockwise; the driven gear's centre lies `between` on from the driver's.
    at = [math.radians(0), math.radians(between)]
    centres = [
        np.array([math.cos(angle), math.sin(angle)]) * (one + radius[1] + 0.2)
        for angle, one in zip(at, (radius[0], radius[2]), strict=True)
    ]
    off = []
    for step in range(720):
        turned = math.radians(step / 2)
        middle = e * np.array([math.cos(turned), math.sin(turned)])
        touched = []
        for centre, other, side in ((centres[0], base[0], -1), (centres[1], base[2], 1)):
            apart = float(np.hypot(*(centre - middle)))
            aim = math.atan2(*(centre - middle)[::-1]) % (2 * math.pi)
            aim -= 2 * math.pi * (side < 0 and aim > math.pi)
            angle = math.acos((other + base[1]) / apart)
            # The tangent that crosses between the two touches the idler here, and is so long between both circles;
            # what unwinds from the one winds up on the other, each from where its own involute begins.
            touched.append((other + base[1]) * (aim - side * angle + side * math.tan(angle)))
        off.append(touched[0] - touched[1])
    wanted = float(np.ptp(off)) / 2 / base[2]
    beyond = float(math.prod(pairs[mesh + 1 :], start=F(1)))
    assert abs(2 * math.pi * error.amplitude) == pytest.approx(wanted * beyond, rel=0.05)


@pytest.mark.parametrize("units", ["mm", "in"])
def test_all_of_them_are_written_and_read_again_in_either_unit(units):
    machine = read_machine(GOOD / "imperfect.toml")
    again = read_machine_text(machine_text(replace(machine, units=units)))
    assert again.imperfections == machine.imperfections
    assert again.looseness == machine.looseness
    assert {one.kind for one in again.imperfections} >= {"work tilt", "hob wobble", "slide bow", "worm float", "pitch"}


def test_a_hobs_errors_are_written_and_read_again():
    hob = replace(SPUR.hob, gash_index=tuple(F(at, 1000) for at in range(SPUR.hob.gashes)), relief_angle_deg=F(11), thread_error=F(-1, 100))
    again = read_job_text(job_text(replace(SPUR, hob=hob)), "job.toml", SCENARIOS / "02-left-hand-hob")
    assert again.hob == hob
