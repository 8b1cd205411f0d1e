"""A sheet says what the set-up is, and doesn't let anybody cut a wrong one."""

import datetime
import re
from pathlib import Path

import pytest
from handlead.machines.job_file import read_job
from handlead.machines.proof import prove
from handlead.viz.command import main
from handlead.viz.look import text_size
from handlead.viz.sheet import CAUTIONS, PAPERS, draw_sheet, sheet_words

SCENARIOS = Path(__file__).parents[2] / "scenarios"
PINION = SCENARIOS / "01-fly-winch-pair" / "pinion.toml"
RIGHT = sorted(path for path in SCENARIOS.glob("[01]*/*.toml") if "job/1" in path.read_text())
DAY = datetime.date(2026, 11, 25)


def words_of(path):
    return sheet_words(prove(read_job(path)), DAY)


@pytest.mark.parametrize("path", RIGHT, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_every_gear_lever_and_idler_of_the_set_up_is_on_the_sheet(path):
    job = read_job(path)
    words = words_of(path)
    assert words.verdict == "AS WANTED"
    brackets = dict(words.brackets)
    for name, mounted in job.setup.change.items():
        for teeth in (*mounted.gears, *mounted.idlers):
            assert re.search(rf"\b{teeth}\b", brackets[name])
        assert ("NO IDLER" in brackets[name]) is (not mounted.idlers)
    empty = {link.name for link in job.machine.train.brackets} - set(job.setup.change)
    assert all(brackets[name] == "EMPTY" for name in empty)
    levers = {what.removeprefix("lever: "): much for what, much in words.handling if what.startswith("lever: ")}
    assert levers == dict(job.machine.positions(job.setup))


def test_the_first_cut_says_how_many_marks_and_which_way_they_lean():
    first = dict(words_of(PINION).first_cut)
    assert first["count"] == "23 marks"
    assert first["they lean"] == "to the RIGHT going up"
    # By hand: tan of the lean is pi d_a / L = pi 80.419 / 578.66, d_a = 3 * 23 / cos 22 + 6: 23.6 degrees.
    assert first["at the outside by"].startswith("23°")


def test_sizes_to_measure_are_those_of_the_standard_s_formulas():
    work = dict(words_of(PINION).work)
    # ISO 21771, from memory: d = m_n z / cos b = 74.419; d_a = d + 2 m_n; L = pi m_n z / sin b = 578.660.
    assert work["reference diameter  d"] == "74.419 mm"
    assert work["outside diameter  d_a"] == "80.42 mm"
    assert work["lead  L"] == "578.660 mm"


def test_a_wrong_set_up_says_so_in_its_head_line():
    words = words_of(SCENARIOS / "21-idler-left-out" / "job.toml")
    assert words.verdict == "NOT AS WANTED: DO NOT CUT"
    assert any("idler" in finding for finding in words.findings)


def test_the_sheet_can_be_matched_with_its_files():
    job = read_job(PINION)
    source = words_of(PINION).source
    assert job.digest[:10] in source
    assert job.machine.digest[:10] in source
    assert "2026-11-25" in source


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("path", [*RIGHT, SCENARIOS / "21-idler-left-out" / "job.toml"], ids=lambda p: p.parent.name)
def test_no_line_of_the_sheet_runs_off_the_paper(path, paper):
    figure = draw_sheet(prove(read_job(path)), paper, DAY)
    page = figure.axes[0]
    width, height = PAPERS[paper]
    for words in page.texts:
        x, y = words.get_position()
        wide, high = text_size(words.get_text(), words.get_fontsize(), words.get_weight() == "bold")
        left = x - wide if words.get_ha() == "right" else x
        assert left > 5, words.get_text()
        assert left + wide < width - 4, words.get_text()
        assert y + high < height - 2, words.get_text()


def test_the_cautions_are_on_every_page():
    said = " ".join(words.get_text() for words in draw_sheet(prove(read_job(PINION)), today=DAY).axes[0].texts)
    assert all(caution in said for caution in CAUTIONS)


def test_a_pdf_and_a_page_that_holds_all_it_needs_are_written(tmp_path):
    pdf, page = tmp_path / "s.pdf", tmp_path / "s.html"
    assert main(["sheet", str(PINION), "--no-cut", "--out", str(pdf)]) == 0
    assert main(["sheet", str(PINION), "--no-cut", "--out", str(page), "--paper", "Letter"]) == 0
    assert pdf.read_bytes().startswith(b"%PDF")
    text = page.read_text()
    assert not re.search(r"""(src|href)=["']https?:""", text)
    assert "215.9mm" in text


def test_a_title_can_not_break_out_of_the_page(tmp_path):
    job = tmp_path / "job.toml"
    job.write_text(re.sub(r"title *= .*", 'title = "<script>alert(1)</script> & $x^2$"', PINION.read_text()))
    assert main(["sheet", str(job), "--no-cut", "--out", str(tmp_path / "s.html")]) == 0
    assert "<script>" not in (tmp_path / "s.html").read_text()


def test_a_job_to_plan_gets_a_page_for_each_member(tmp_path, capsys):
    job = tmp_path / "job.toml"
    text = PINION.read_text()
    job.write_text(text[: text.index("[setup]")])
    assert main(["sheet", str(job), "--no-cut", "--out", str(tmp_path / "s.pdf")]) == 0
    assert "2 pages" in capsys.readouterr().out


@pytest.mark.parametrize("out", ["s.doc", "nowhere/s.pdf"])
def test_what_can_not_be_written_is_said_and_nothing_is_left(out, tmp_path, capsys):
    assert main(["sheet", str(PINION), "--no-cut", "--out", str(tmp_path / out)]) == 2
    assert capsys.readouterr().err
    assert not list(tmp_path.iterdir())
