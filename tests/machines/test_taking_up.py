"""Work that is toothed already: what each flank has to cut, how far the setting may be off, and what a miss leaves."""

import datetime
import math
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import handlead.scenarios
import pytest
from handlead.machines.job_files.job_file import read_job, read_job_text
from handlead.machines.job_files.toothed import Toothed
from handlead.machines.judging_teeth.taking_up import gear_steps, taking_up
from handlead.machines.proving.proof import prove
from handlead.machines.setups.case import Case
from handlead.machines.toml.errors import FileFault
from handlead.machines.written.writing import job_text
from handlead.viz.sheet_words.words import sheet_words

ORDERS = Path(handlead.scenarios.__file__).parent
WORN, INCH, PINION, BARE = (
    ORDERS / name / "job.toml" for name in ("75-worn-trap-wheel", "08-inch-winch", "05-two-start-hob", "03-no-differential")
)


def worn(path=WORN, **changes):
    job = read_job(path)
    before = job.toothed or Toothed("gashed", Fraction(3, 10))
    return replace(job, toothed=replace(before, **changes))


def found(job):
    return taking_up(Case.of(job))


def codes(job, cut=None):
    return {finding.code for finding in prove(job, cut=cut).judged}


@pytest.mark.parametrize("path", [WORN, INCH, PINION, BARE], ids=lambda path: path.parent.name)
@pytest.mark.parametrize("clean", ["both", "clockwise", "counter-clockwise"])
def test_the_swept_work_loses_on_each_flank_what_is_reckoned(path, clean):
    one = found(worn(path, clean=clean, worn=Fraction(1, 10), worn_flank="counter-clockwise"))
    left = one.swept(one.meant_arc)
    assert left.lands == one.case.job.work.teeth
    for flank, arc in (("clockwise", left.clockwise), ("counter-clockwise", left.counter_clockwise)):
        assert arc * one.per_arc == pytest.approx(one.nominal(flank) + one.worn(flank), abs=0.003)


def test_wear_is_shared_so_that_both_flanks_have_as_much_to_give():
    one = found(worn())
    assert one.nominal("clockwise") == pytest.approx(one.nominal("counter-clockwise"))
    assert sum(map(one.nominal, ("clockwise", "counter-clockwise"))) == pytest.approx(2 * one.stock - 0.12)


def test_a_flank_that_is_kept_loses_nothing_and_the_other_all():
    one = found(worn(clean="counter-clockwise"))
    assert one.nominal("counter-clockwise") == pytest.approx(2 * one.stock)
    assert one.nominal("clockwise") == pytest.approx(-0.12)
    assert "take-up" in codes(worn(clean="counter-clockwise"))


def test_what_is_measured_and_what_is_said_to_be_left_come_to_the_same():
    assert found(worn()).stock == pytest.approx(found(worn(stock=Fraction("0.13266"))).stock, abs=1e-6)


def test_too_little_is_said_with_how_much_deeper_and_too_coarse_with_how_truly():
    deep = next(each for each in prove(worn(worn=Fraction(3, 10))).findings if each.code == "flank-not-cleaned")
    short = (0.3 - 2 * found(worn()).stock) / 2
    assert f"{short / math.sin(math.radians(20)):.3f} mm deeper" in deep.remedy
    coarse = next(each for each in prove(worn(set_within=Fraction(1, 10))).findings if each.code == "take-up-too-coarse")
    assert coarse.severity == "warning"
    assert "within 0.080 mm" in coarse.remedy
    assert "take-up" in codes(worn(set_within=Fraction(2, 25)))


def test_a_lead_that_isn_t_the_one_there_eats_stock_at_the_ends_of_the_face():
    job = worn()
    lead = Fraction(job.work.lead_mm)
    assert found(worn(lead=lead)).lead_off == pytest.approx(0, abs=1e-3)
    off = found(worn(lead=lead * Fraction(101, 100)))
    # Two helices over half the face of 36: pi d 18 (1/L - 1/1.01 L) along the circle.
    apart = math.pi * off.gear.reference_diameter * 18 * (1 - 1 / 1.01) / float(lead)
    assert off.lead_off == pytest.approx(apart * off.per_arc, rel=1e-3)
    assert "flank-not-cleaned" in codes(worn(lead=lead * Fraction(103, 100)))


def test_nobody_measured_it_so_it_is_asked_for():
    job = replace(worn(), measured=())
    assert found(job) is None
    assert "stock-not-measured" in codes(job)
    words = sheet_words(prove(job), datetime.date(2001, 2, 3))
    assert "Stock not known" in next(block.told for block in words.blocks if block.title.startswith("TAKING UP"))


def test_the_simulated_work_bears_it_out():
    assert "take-up-measured" in codes(worn(), cut="scratch")


def test_half_a_pitch_off_no_tooth_is_left_and_a_quarter_leaves_thin_ones():
    quarter, half = found(worn()).missed[-2:]
    assert half[1].lands == 0 or half[1].thinnest < 0.2
    assert 0.3 < quarter[1].thinnest / found(worn()).gear.transverse_thickness < 0.6


@pytest.mark.parametrize("path", [WORN, INCH, BARE], ids=lambda path: path.parent.name)
def test_a_gear_meshed_a_tooth_further_turns_the_table_by_what_is_said(path):
    case = Case.of(read_job(path))
    (step,) = gear_steps(case)
    assert step.gear == case.setup.change[step.bracket].gears[-1]
    around = math.pi * found(worn(path)).gear.reference_diameter
    share = step.mm * step.gear / around
    # Worm and wheel, and whatever stands between, take a whole number of turns.
    assert 1 / share == pytest.approx(round(1 / share))


def test_the_sheet_tells_the_steps_with_this_machine_s_levers_in_its_units():
    def said(job):
        blocks = sheet_words(prove(job), datetime.date(2001, 2, 3)).blocks
        block = next(block for block in blocks if block.title.startswith("TAKING UP"))
        return " ".join([block.told, *(step.text for step in block.steps)])

    mm = said(worn())
    assert "lever feed clutch at OUT, and put it back to IN" in mm
    assert "turn the work 0.066 mm along the reference circle CLOCKWISE" in mm
    inches = said(worn(INCH))
    assert " mm " not in inches
    assert " in " in inches
    assert "by the drive" in said(worn(BARE))


TEXT = WORN.read_text()


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (TEXT.replace('worn_flank = "clockwise"\n', ""), "go together"),
        (TEXT.replace('because = "worn"', 'because = "old"'), "gears were out"),
        (TEXT.replace("set_within = 0.04", 'clean = "none"'), "both"),
        (TEXT.replace('kind   = "helical"', 'kind   = "spline"'), "only spur and helical gears"),
    ],
)  # fmt: skip
def test_what_no_toothed_work_can_be_is_sent_back(text, says):
    with pytest.raises(FileFault, match=says):
        read_job_text(text, "job.toml")


def test_what_is_written_of_toothed_work_reads_the_same():
    for changes in ({}, {"clean": "clockwise", "lead": Fraction(1600), "stock": Fraction(1, 5), "set_within": Fraction(1, 50)}):
        job = worn(**changes)
        assert read_job_text(job_text(job), "job.toml").toothed == job.toothed
