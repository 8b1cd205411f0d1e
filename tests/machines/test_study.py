"""How sure a set-up is: drawn variances against closed formulas, and waves against what is measured on a cut flank."""

from __future__ import annotations

import json
import math
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from fractions import Fraction as F
from pathlib import Path

import numpy as np
import pytest
from handlead.kinematics.flank_cutting.flank_passages import FlankCut, active_rolls
from handlead.kinematics.flank_cutting.flanks import deviations
from handlead.kinematics.frame.motion import Ripple
from handlead.machines.blanks.flanks import Flanks
from handlead.machines.job_files.job_file import read_job
from handlead.machines.machine_files.machine_file import Imperfection, Looseness, read_machine
from handlead.machines.setups.case import Case
from handlead.machines.studying.draws import EVALUATED, _total, amounts, draw, traced_teeth
from handlead.machines.studying.flank_draws import cut_draw
from handlead.machines.studying.study import model_of, study
from handlead.machines.studying.waves import UM, slope_of_wave
from handlead.machines.toml.errors import HandleadError, NoSetup
from handlead.machines.written.writing import machine_text
from handlead.viz.command import main

SCENARIOS = Path(__file__).parents[2] / "scenarios"
HELICAL = SCENARIOS / "01-fly-winch-pair" / "pinion.toml"
SPUR = SCENARIOS / "02-left-hand-hob" / "job.toml"


def loose(path: Path, *rows: Looseness):
    job = read_job(path)
    return replace(job, machine=replace(job.machine, looseness=rows))


def row(kind: str, spread: str = "normal", **amount):
    return Looseness(kind, "known", spread, Imperfection(kind, **amount))


WHEEL = row("once per turn", link="index worm", angle_deg=F(20, 3600))
WORM = row("once per turn", "even", link="index worm", angle_deg=F(20, 3600), turn_of="driving")
PITCH = row("pitch", "even", link="slide screw", length=F(1, 50), over=F(300))
SWIVEL = row("swivel", "even", angle_deg=F(1, 4))


def quantity(found, name):
    return next(one for one in found.quantities if one.name == name)


def close(found, formula):
    return found == pytest.approx(formula, rel=0.02)


def test_an_error_of_the_table_wheel_tells_on_the_pitch_as_its_formula_says():
    job = loose(SPUR, WHEEL)
    pitch = quantity(study(job), "pitch")
    # Of a wave whose parts have half the amount as their deviation, along the reference circle of 43 teeth, module 2.5.
    amount = math.radians(20 / 3600) * 43 * 2.5 / 2 * 1000
    assert close(pitch.drawn_variance, (amount / 2) ** 2)
    assert close(pitch.variance, (amount / 2) ** 2)


def test_an_error_of_the_table_worm_tells_on_the_profile_as_its_formula_says():
    job = loose(SPUR, WORM)
    case = Case.of(job)
    model = model_of(case)
    profile = quantity(study(job), "profile")
    # So many waves while a flank is rolled off, seen by numbers instead of the formula.
    waves = model.sources[0].wave.per_turn * model.shape.rolled
    u = np.linspace(-0.5, 0.5, 20_001)
    phases = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    slopes = [np.polyfit(u, np.sin(2 * np.pi * waves * u + phase), 1)[0] for phase in phases[::20]]
    height = math.radians(20 / 3600) * model.shape.base_radius * 1000
    # Every facet stands as the wave does at its passage: of the wave so much is left as its mean over a facet.
    height *= np.sinc(model.sources[0].wave.per_turn / (job.work.teeth * job.hob.gashes))
    assert close(profile.drawn_variance, height**2 / 3 * float(np.mean(np.square(slopes))))


@pytest.mark.parametrize("per_turn", [5, 20, F(152, 5), 40], ids=str)
@pytest.mark.parametrize("side", [1, -1], ids=["right flank", "left flank"])
def test_a_wave_leaves_the_slope_that_the_cut_flank_shows_however_often_it_comes_back(per_turn, side):
    case = Case.of(loose(HELICAL, WHEEL))
    flanks, model = Flanks.of(case), model_of(case)
    teeth = traced_teeth(model.shape.teeth)
    high = 2e-4 / (2 * math.pi * model.shape.base_radius)
    waves = [Ripple("table", "table", F(per_turn), high, phase) for phase in (0.0, 0.25)]
    for at, tooth in list(enumerate(teeth))[::2]:
        flat, *tilted = [slopes_cut(replace(flanks, ripples=one), side, tooth) for one in ((), *((wave,) for wave in waves))]
        found = [abs(complex(*(one[which] - flat[which] for one in tilted))) / 2e-4 for which in (0, 1)]
        moments = (model.moments.profile[side < 0], model.moments.face[side < 0])
        told = [abs(one.slope(float(per_turn))[at]) for one in moments]
        assert found == pytest.approx(told, rel=0.06, abs=0.12)


def slopes_cut(flanks, side, tooth):
    """Slopes of profile and helix of one tooth, in mm along the base tangent, by the line laid through their traces."""
    cut = FlankCut.of(flanks.motion, flanks.setting, flanks.gear, side=side)
    face, rolls = flanks.gear.face_width, np.linspace(*active_rolls(cut), 121)
    heights = np.linspace(face * 0.05, face * 0.95, 241)
    profile = deviations(cut, rolls, np.full(rolls.size, face / 2), float(tooth)) / cut.flank.base_cosine
    helix = deviations(cut, np.full(heights.size, rolls.mean()), heights, float(tooth)) / cut.flank.base_cosine
    return np.polyfit(rolls, profile, 1)[0] * np.ptp(rolls), np.polyfit(heights, helix, 1)[0] * face


def test_a_screw_out_of_pitch_takes_the_lead_off_by_its_share():
    job = loose(HELICAL, PITCH)
    helix = quantity(study(job), "helix")
    work = job.work
    slope = (
        1000 * math.pi * model_of(Case.of(job)).shape.base_radius * 2 * float(work.face_width) / work.lead_mm
    )
    assert close(helix.drawn_variance, (slope * 0.02 / 300) ** 2 / 3)
    assert quantity(study(loose(SPUR, PITCH), 100), "helix").variance == 0


def test_an_eccentric_change_gear_tells_by_its_own_turns():
    job = loose(HELICAL, row("gear runout", "fixed", runout=F(1, 10), module_n=F(2)))
    found = study(job)
    model = found.model
    # The last driven gear of the index: off by 0.05 on a base circle of 23 teeth, through the worm behind it.
    at = next(n for n, one in enumerate(model.sources) if one.name == "gear of 23, index gears")
    worm = next(link for link in job.machine.train.links if link.name == "index worm")
    turned = 0.05 / (23 * 2 * math.cos(math.radians(20)) / 2) * worm.starts / worm.teeth
    assert abs(model.sources[at].wave.right) == pytest.approx(
        1000 * turned * model.shape.base_radius, rel=1e-6
    )
    assert model.sources[at].wave.per_turn == pytest.approx(worm.teeth / worm.starts)
    alone = replace(model, sources=(model.sources[at],))
    drawn = np.concatenate([draw((alone, 1, number, 500)).linear["helix"] for number in range(20)])
    (share,) = (one for one in quantity(found, "helix").contributions if one.source == model.sources[at])
    assert close(drawn.var(), share.variance)


def test_a_head_read_to_its_vernier_tells_on_the_thickness_by_its_square():
    job = loose(SPUR, SWIVEL)
    found = study(job)
    model = found.model
    hob = model.shape.hob_radius * 1000 / math.tan(math.radians(20))
    straight, off = 2 * model.off, math.radians(0.25)
    formula = hob**2 * (straight**2 * off**2 / 3 + off**4 * (1 / 5 - 1 / 9))
    assert close(found.thickness.drawn_variance, formula)
    assert close(found.thickness.variance, formula)
    assert all(one.variance == 0 for one in found.quantities)


def test_shares_add_up_and_the_greatest_comes_first():
    found = study(loose(HELICAL, WHEEL, WORM, PITCH), 2000)
    for one in found.quantities:
        assert sum(each.share for each in one.contributions) == pytest.approx(1)
        assert [each.share for each in one.contributions] == sorted(
            (each.share for each in one.contributions), reverse=True
        )
        assert one.drawn_variance == pytest.approx(one.variance, rel=0.1)
        assert one.draws == found.draws == 2000


def test_the_answer_is_the_same_on_any_number_of_workers():
    job = loose(HELICAL, WHEEL, PITCH)
    alone = study(job, 1700).as_json()
    with ThreadPoolExecutor(3) as pool:
        assert study(job, 1700, executor=pool).as_json() == alone
    assert study(job, 1700, seed=2).as_json() != alone


@pytest.mark.parametrize(
    "source",
    [
        WHEEL,
        PITCH,
        row("work runout", runout=F(1, 50)),
        row("work tilt", runout=F(1, 50), over=F(60)),
        row("table wobble", runout=F(1, 50), over=F(200), waves=3, below=F(80)),
        row("slide not parallel", length=F(1, 50), over=F(100), way="in"),
        row("slide not parallel", length=F(1, 50), over=F(100), way="left"),
    ],
    ids=lambda one: f"{one.kind} {one.amount.way or ''}",
)
def test_a_draw_is_what_is_measured_on_the_flank_cut_with_it(source):
    case = Case.of(
        loose(
            HELICAL,
            replace(
                source,
                spread="fixed",
                amount=replace(source.amount, length=F(1, 5)) if source.kind == "pitch" else source.amount,
            ),
        )
    )
    model = model_of(case)
    found = draw((model, 5, 0, 1)).deviations
    measured = cut_draw(case, model, amounts(model, 5, 0, 1)[0])
    # The cut flank has its own marks, and its pitch is told from all of a tooth.
    assert measured.helix_slope == pytest.approx(found["helix_slope"][0], rel=0.08, abs=0.4)
    assert measured.cumulative_pitch == pytest.approx(found["cumulative_pitch"][0], abs=0.4)
    assert measured.runout == pytest.approx(found["runout"][0], abs=0.5)


@pytest.mark.parametrize("way", ["in", "away", "left", "right"])
@pytest.mark.parametrize("job", [SPUR, HELICAL], ids=["spur", "helical"])
def test_a_bowed_slide_leaves_the_hollow_that_is_measured_on_the_flank_cut_with_it(job, way):
    case = Case.of(loose(job, row("slide bow", "fixed", length=F(1, 10), over=F(60), way=way)))
    model = model_of(case)
    found = draw((model, 5, 0, 1)).deviations
    # An arc 0.1 mm hollow over 60 mm, over nine tenths of the face.
    across = UM * 0.1 * (0.9 * model.shape.face / 60) ** 2
    alpha = model.shape.pressure
    assert found["helix_form"][0] == pytest.approx(across * (math.sin(alpha) if way in ("in", "away") else math.cos(alpha)))
    drawn = amounts(model, 5, 0, 1)[0]
    cut, plain = cut_draw(case, model, drawn), cut_draw(case, model, 0 * drawn)
    # The cut flank has its own feed marks besides.
    assert cut.helix_form == pytest.approx(found["helix_form"][0], abs=plain.helix_form + 0.3)
    assert cut.helix_form > found["helix_form"][0] - 0.3
    # On leaning teeth it is cut a little beside where the hob's middle stands, and so leans as well.
    assert cut.helix_total == pytest.approx(found["helix_total"][0], rel=0.05, abs=plain.helix_total + 0.3 + 0.1 * across)


def test_a_bow_and_a_lean_together_reach_from_the_lowest_place_to_the_highest():
    along = np.linspace(-1, 1, 20_001)
    for hollow, slope in [(4.0, 0.0), (4.0, 3.0), (4.0, 17.0), (4.0, 40.0), (0.0, 5.0)]:
        told = float(_total(np.array([hollow]), np.array([slope]))[0])
        assert told == pytest.approx(np.ptp(hollow * along**2 + 0.9 * slope / 2 * along), abs=1e-3)


def test_a_bowed_slide_holds_the_class_back_without_a_flank_being_cut_and_is_named():
    bow = row("slide bow", length=F(4, 10), over=F(60), way="in")
    alone, both = study(loose(SPUR, WHEEL)), study(loose(SPUR, WHEEL, bow))
    assert "helix form" not in [one.name for one in alone.quantities]
    form = quantity(both, "helix form")
    assert [one.source.name for one in form.contributions] == ["the slide's way, bowed"]
    assert close(form.variance, form.drawn_variance)
    assert both.within(6) < alone.within(6) - 0.1
    assert form.as_json()["from"][0]["share"] == 1


def test_a_hobs_thread_out_of_lead_tells_on_the_profile_as_measured_on_the_flank():
    case = Case.of(loose(HELICAL, row("hob thread", "fixed", length=F(1, 100))))
    model = model_of(case)
    found = draw((model, 5, 0, 1)).deviations["profile_slope"][0]
    measured = cut_draw(case, model, amounts(model, 5, 0, 1)[0])
    # The hob's own facets lean a trace by a part of them.
    assert measured.profile_slope == pytest.approx(found, rel=0.1)


def test_gashes_out_of_their_places_tell_on_the_profile_by_the_relief():
    # Off by 0.05 to either side, lower by tan 10 degrees of that: as of a hob that runs out by twice as much.
    gashes, out = (
        quantity(study(loose(SPUR, each)), "profile").variance
        for each in (
            row("hob gashes", length=F(5, 100)),
            row("hob runout", runout=2 * F(5, 100) * F(math.tan(math.radians(10)))),
        )
    )
    assert close(gashes, out)


def test_the_slope_of_a_wave_is_that_of_the_line_through_it():
    u = np.linspace(-0.5, 0.5, 200_001)
    for waves in (1e-5, 0.2, 1.0, 2.7):
        assert slope_of_wave(waves) == pytest.approx(
            np.polyfit(u, np.sin(2 * np.pi * waves * u), 1)[0], rel=1e-4
        )


def test_the_command_says_in_how_many_of_100_and_what_most_comes_from(tmp_path, capsys):
    job = tmp_path / "job.toml"
    machine = replace(read_machine(read_job(SPUR).machine.path), looseness=(WHEEL, SWIVEL))
    (tmp_path / "loose.toml").write_text(machine_text(machine), encoding="utf-8")
    job.write_text(SPUR.read_text(encoding="utf-8").replace("tesmore-d2", "loose.toml"), encoding="utf-8")
    assert main(["study", str(job), "--draws", "300", "--flank", "1"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "of 100; most of the pitch from index worm, once per turn of the table: 100 %" in said
    assert "1 draws cut in simulation" in said
    assert main(["study", str(job), "--draws", "300", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["quantities"][2]["from"][0]["comes_from"] == "known"


def test_play_of_the_screw_takes_the_lead_off_by_as_much_as_it_lets_the_slide_go():
    job = loose(HELICAL, row("play", "even", link="slide screw", length=F(1, 50)))
    per_mm = 1000 * 2 * math.pi * model_of(Case.of(job)).shape.base_radius / job.work.lead_mm
    assert close(quantity(study(job), "helix").drawn_variance, (per_mm * 0.02) ** 2 / 3)


def test_the_machine_that_ships_with_what_is_loose_in_it_is_studied(capsys):
    assert main(["study", str(HELICAL), "--draws", "100"]) == 0
    assert "of 100; most of the" in capsys.readouterr().out


def test_what_cannot_be_studied_is_told(tmp_path, capsys):
    job = read_job(SPUR)
    with pytest.raises(HandleadError, match="says nothing of what is loose"):
        study(replace(job, machine=replace(job.machine, looseness=())))
    with pytest.raises(NoSetup):
        study(loose(SPUR, WHEEL).with_setup(None))
    assert main(["study", str(SPUR), "--draws", "1"]) == 2
    assert "--draws is 1" in capsys.readouterr().err


def test_a_slide_that_is_not_bowed_leaves_the_lean_alone_however_large_it_is():
    assert _total(np.array([0.0, 1e-310, 2.0]), np.array([1e5, 1e5, 0.0])) == pytest.approx([EVALUATED * 1e5, EVALUATED * 1e5, 2.0])


@pytest.mark.parametrize(
    ("order", "why"),
    [("21-idler-left-out", "wrong hand"), ("24-differential-out", "they are straight")],
)
def test_a_set_up_that_cuts_another_gear_is_not_studied(order, why, capsys):
    """Its lean would be millimetres over the face, and tell nothing of what is loose."""
    path = SCENARIOS / order / "job.toml"
    assert main(["study", str(path), "--draws", "10"]) == 2
    out, err = capsys.readouterr()
    assert f"({why})" in err and "handlead prove says what to change" in err and not out


def test_a_set_up_of_another_count_is_not_studied():
    with pytest.raises(HandleadError, match="another count"):
        study(read_job(HELICAL).with_gears("index gears", (25, 40, 48, 24)), 10)


def test_a_lead_that_is_a_little_off_is_studied_all_the_same():
    job = read_job(HELICAL).with_gears("differential gears", (45, 41, 50, 45))
    assert quantity(study(job, 50), "helix").within(7) == 0
