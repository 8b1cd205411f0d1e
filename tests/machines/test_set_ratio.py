"""Ratios that are entered instead of mounted: read, planned, proved, corrected, traced, written, on the sheet."""

import datetime
from fractions import Fraction
from pathlib import Path

import pytest
from handlead.kinematics.links.mounted import Dialled, Mounted, SetRatio
from handlead.kinematics.search.ratios import nearest_fraction
from handlead.machines.job_files.job_file import read_job, read_job_text
from handlead.machines.machine_files.machine_file import read_machine_text
from handlead.machines.planning.planning import plan
from handlead.machines.proving.proof import prove
from handlead.machines.toml.errors import FileFault
from handlead.machines.tracing.diagnosis import trace
from handlead.machines.written.writing import job_text, machine_text
from handlead.viz.command import main
from handlead.viz.sheet_words.words import sheet_words
from hypothesis import given
from hypothesis import strategies as st

ROOT = Path(__file__).parents[2]
JOB = (ROOT / "scenarios" / "84-rebuilt-winch" / "job.toml").read_text("utf-8")
MACHINE = (ROOT / "machines" / "shipped" / "quernby-6.toml").read_text("utf-8")


def job(*pairs):
    text = JOB
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new)
    return read_job_text(text)


def errors(proof):
    return {finding.code: finding for finding in proof.findings if finding.severity == "error"}


@given(st.fractions(Fraction(1, 900), 900, max_denominator=2000), st.integers(2, 40))
def test_no_other_fraction_of_such_numbers_lies_nearer(target, largest):
    found = nearest_fraction(target, largest)
    assert max(found.numerator, found.denominator) <= largest
    every = {Fraction(p, q) for p in range(1, largest + 1) for q in range(1, largest + 1)}
    if target <= 1:
        assert abs(found - target) == min(abs(one - target) for one in every if one <= 1)
    else:
        # Above 1 the nearest by turns of the driving side: what counts is the part, and it is as near.
        assert abs(1 / found - 1 / target) == min(abs(1 / one - 1 / target) for one in every if one >= 1)


@given(st.fractions(max_denominator=10**6).filter(bool))
def test_what_is_entered_is_the_ratio_with_its_sign(ratio):
    entered = Dialled.of(ratio)
    assert entered.ratio == ratio
    assert str(entered) == f"{ratio.numerator}/{ratio.denominator}"
    assert entered.every == ()
    assert SetRatio("box", "one", "other").with_gears(Mounted((20, 30))).ratio == Fraction(-2, 3)


def test_a_prime_count_is_entered_as_it_is_and_the_lead_as_near_as_the_numbers_go():
    found = plan(job().with_setup(None), top=1).members[0].setups[0]
    change = found.setup.change
    assert change["index box"].ratio == Fraction(40, 127)
    lead = change["lead box"]
    assert max(lead.gears) <= 9999
    assert abs(found.proof.computed.outcome.lead_mm / 3262.9457 - 1) < 1e-6
    note = next(one for one in found.proof.findings if one.code == "ratio-entered")
    assert abs(note.facts["helix_slope_um"]) < 0.1


def test_a_box_of_small_numbers_loses_more_and_says_so(tmp_path):
    path = tmp_path / "small.toml"
    path.write_text(MACHINE.replace("largest = 9999\n\n[[link]]\nname = \"carrier worm\"", "largest = 300\n\n[[link]]\nname = \"carrier worm\""))
    (tmp_path / "job.toml").write_text(JOB[: JOB.index("[setup]")].replace('"quernby-6"', '"small.toml"'))
    found = plan(read_job(tmp_path / "job.toml"), top=1).members[0].setups[0]
    assert max(found.setup.change["lead box"].gears) <= 300
    note = next(one for one in found.proof.findings if one.code == "ratio-entered")
    assert 0.001 < abs(note.facts["helix_slope_um"]) < 20


def test_a_count_too_great_for_the_index_box_has_no_set_up(tmp_path):
    path = tmp_path / "small.toml"
    path.write_text(MACHINE.replace("largest = 9999", "largest = 50", 1))
    (tmp_path / "job.toml").write_text(JOB[: JOB.index("[setup]")].replace('"quernby-6"', '"small.toml"'))
    member = plan(read_job(tmp_path / "job.toml"), top=1).members[0]
    assert not member.setups
    assert member.none_because


@pytest.mark.parametrize(
    ("old", "new", "remedy"),
    [
        ('"4125/3338"', '"-4125/3338"', 'Enter 4125/3338 at "lead box" in place of -4125/3338.'),
        ('"40/127"', '"127/40"', 'Enter 40/127 at "index box" in place of 127/40.'),
        ('"40/127"', '"40/172"', 'Enter 40/127 at "index box" in place of 10/43.'),
    ],
)
def test_a_wrong_entry_is_put_right_by_entering_the_right_one(old, new, remedy):
    proof = prove(job((old, new)))
    assert not proof.is_as_wanted
    assert remedy in {finding.remedy for finding in errors(proof).values()}


@pytest.mark.parametrize(
    ("seen", "kind", "where", "detail"),
    [
        ('teeth = 127\nhand = "right"\n', "sign-wrong", "lead box", "-4125/3338 in place of 4125/3338"),
        ("teeth = 172\n", "figure-wrong", "index box", "10/43 in place of 40/127"),
    ],
)
def test_what_is_seen_leads_to_the_wrong_entry(seen, kind, where, detail):
    found = trace(read_job_text(f"{JOB}\n[seen]\n{seen}"))
    (fault,) = found.suspects[0].faults
    assert (fault.kind.kind, fault.where, fault.detail) == (kind, where, detail)


def test_nobody_is_sent_to_read_stamps_at_a_box(capsys, tmp_path):
    path = tmp_path / "job.toml"
    path.write_text(f'{JOB}\n[seen]\nteeth = 127\nhand = "right"\n')
    main(["trace", str(path)])
    said = " ".join(capsys.readouterr().out.split())
    assert "read back from its display what is entered at lead box" in said
    assert "stamps of the gears in lead box" not in said
    assert "Enter plus 4125/3338" in said


def test_the_rules_say_plus_and_minus_for_a_box_and_idlers_for_gears(capsys):
    assert main(["constants", "quernby-6"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "index box entered = 40 · k/z" in said
    assert "right-hand hob: plus left-hand hob: minus" in said
    assert "feed gears a/b · c/d = f / 0.0625" in said


def test_the_sheet_has_what_to_enter_with_its_sign():
    words = sheet_words(prove(job()), datetime.date(2026, 1, 1))
    index, lead = (one for one in words.brackets if "box" in one.name)
    assert (index.gears, index.idler) == ("40/127", "ENTERED, PLUS")
    assert lead.gears == "4125/3338"
    minus = sheet_words(prove(job(('"4125/3338"', '"-4125/3338"'))), datetime.date(2026, 1, 1))
    assert [one.idler for one in minus.brackets if one.name == "lead box"] == ["ENTERED, MINUS"]


def test_machine_and_job_are_written_as_they_were_read():
    machine = read_machine_text(MACHINE)
    assert read_machine_text(machine_text(machine)).train == machine.train
    assert read_job_text(job_text(job())).setup == job().setup


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('"index box" = {ratio = "40/127"}', '"index box" = {gears = [40, 127]}', "takes no gears"),
        ('"feed gears" = {gears = [41, 53, 76, 70]}', '"feed gears" = {ratio = 2}', "takes change gears, no ratio"),
        ('"40/127"', "0", "passes nothing"),
        ('"40/127"', '"40/12700"', None),
        ('"40/127"', '"41/12700"', "is the greatest number"),
        ('{ratio = "40/127"}', '{ratio = "40/127", idlers = [24]}', "both"),
        ('{ratio = "40/127"}', "{}", "is missing"),
    ],
)
def test_an_entry_that_cannot_be_made_is_refused_in_words(old, new, words):
    if words is None:
        assert job((old, new)).setup.change["index box"].ratio == Fraction(2, 635)
        return
    with pytest.raises(FileFault, match=words):
        job((old, new))
