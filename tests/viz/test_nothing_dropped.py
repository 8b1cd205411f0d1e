"""Whatever the paper: a sheet leaves out no warning, no gear's number, no idler, no check by hand and no move."""

import datetime
import itertools
import re
from functools import cache
from pathlib import Path

import pytest
from handlead.kinematics.links.mounted import SetRatio
from handlead.machines.job_files.job_file import read_job
from handlead.machines.proving.proof import prove
from handlead.viz.command import main
from handlead.viz.draw_brackets.bracket import bracket_lettering
from handlead.viz.draw_brackets.bracket_layout import bracket_layout
from handlead.viz.look.look import text_size
from handlead.viz.look.paper import PAPERS
from handlead.viz.sheet.page import draw_sheet
from handlead.viz.sheet_words.words import sheet_words

ROOT = Path(__file__).parents[2]
DAY = datetime.date(2026, 11, 25)


def jobs():
    """Every job that has a set-up: the orders', and those on the machines that nobody tuned for."""
    for path in sorted([*ROOT.glob("scenarios/*/*.toml"), *ROOT.glob("tests/cases/*.toml")]):
        text = path.read_text()
        if "job/1" in text and "[setup]" in text:
            yield path


JOBS = list(jobs())
ON_PAPER = list(itertools.product(JOBS, PAPERS))


def name_of(value):
    return value if isinstance(value, str) else f"{value.parent.name}-{value.stem}"


@cache
def proof_of(path):
    return prove(read_job(path), cut=None)


def one_line(words):
    return " ".join(words.split())


def said_on(figures):
    """All words of some pages."""
    return one_line(" ".join(words.get_text() for figure in figures for axes in figure.axes for words in axes.texts))


@pytest.mark.parametrize(("path", "paper"), ON_PAPER, ids=name_of)
def test_all_that_prove_finds_and_all_that_is_set_stands_on_the_sheet(path, paper):
    proof = proof_of(path)
    figures = draw_sheet(proof, paper, DAY)
    said, words = said_on(figures), sheet_words(proof, DAY)
    for finding in proof.findings:
        assert one_line(finding.message) in said
        assert one_line(finding.remedy) in said
    for what, much in [*words.levers, *words.running, *words.moves]:
        assert one_line(what) in said and one_line(much) in said
    for bracket in words.brackets:
        assert bracket.gears in said and bracket.idler in said and one_line(bracket.note) in said
    assert_every_gear_has_its_number(proof, figures)
    # Nothing about the set-up is told that small: a page more is cheaper than a blank.
    least = min(words.get_fontsize() for words in figures[0].axes[0].texts if words.get_text().startswith("lever"))
    assert least >= 7


def assert_every_gear_has_its_number(proof, figures):
    """In its bracket's drawing, beside it or in the key."""
    panels = [axes for figure in figures for axes in figure.axes[1:]]
    for link, panel in zip(proof.case.train.brackets, panels, strict=False):
        said = one_line(" ".join(words.get_text() for words in panel.texts))
        if link.mounted is None or said == "NOT DRAWN" or isinstance(link, SetRatio):
            continue
        for letter, teeth in zip(proof.case.letters(link.name), link.mounted.gears, strict=False):
            assert re.search(rf"\b{letter} {teeth}\b", said), (link.name, said)
        for teeth in link.mounted.idlers:
            assert re.search(rf"\b(idler|i) {teeth}\b", said), (link.name, said)


def test_gears_in_a_small_drawing_are_told_in_a_key_under_it():
    keys = 0
    for path in JOBS:
        for link in proof_of(path).case.train.brackets:
            if link.mounted is None:
                continue
            try:
                layout = bracket_layout(link.mounted, link.bracket)
            except ValueError:
                continue
            lettering, _, _ = bracket_lettering(layout, (45.0, 16.0))
            keys += len(lettering.key)
            told = " ".join([*(tag.text for tag in lettering.tags), *lettering.key])
            assert all(re.search(rf"\b{wheel.teeth}\b", told) for wheel in layout.wheels)
            assert all(any(wheel.letter[0] == word[0] for word in told.split()) for wheel in layout.wheels)
    assert keys


@pytest.mark.parametrize("paper", PAPERS)
def test_a_machine_of_many_brackets_with_long_names_takes_the_pages_that_it_needs(paper, tmp_path):
    machine = (ROOT / "machines" / "shipped" / "corvane-7.toml").read_text()
    job = (ROOT / "scenarios" / "01-fly-winch-pair" / "pinion.toml").read_text()
    shafts = links = gears = ""
    for number in range(7):
        shaft, bracket = f"spare shaft number {number} behind the long cover", f"spare bracket number {number} at the back"
        shafts += f'"{shaft}" = "bed"\n'
        links += f"""
[[link]]
name = "{bracket}"
kind = "change gears"
from = "motor"
to = "{shaft}"
bracket = {{ module = 2 }}
"""
        gears += f'"{bracket}" = {{ gears = [{20 + number}, 100, {24 + number}, 90], idlers = [36] }}\n'
    machine = machine.replace("[shafts]\n", f"[shafts]\n{shafts}", 1).replace("\n[[gear_set]]", f"{links}\n[[gear_set]]", 1)
    (tmp_path / "many.toml").write_text(machine)
    job = re.sub(r"machine *= .*", 'machine = "many.toml"', job)
    (tmp_path / "job.toml").write_text(job.replace("[setup.change]\n", f"[setup.change]\n{gears}"))
    proof = prove(read_job(tmp_path / "job.toml"), cut=None)
    figures = draw_sheet(proof, paper, DAY)
    said = said_on(figures)
    assert len(figures) > 2
    assert_every_gear_has_its_number(proof, figures)
    for bracket in sheet_words(proof, DAY).brackets:
        assert all(words in said for words in (bracket.name, bracket.gears, bracket.idler, *bracket.shafts))
    for figure in figures:
        words = [words for words in figure.axes[0].texts if words.get_text()]
        right = [words.get_position()[0] + text_size(words.get_text(), words.get_fontsize(), True)[0] for words in words
                 if words.get_ha() == "left"]  # fmt: skip
        assert max(right) < PAPERS[paper][0]


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("job", ["scenarios/29-pinned-and-held/job.toml", "tests/cases/wexcombe-wrong-feed.toml"])
def test_what_is_found_can_be_read_out_of_the_pdf(job, paper, tmp_path):
    pypdf = pytest.importorskip("pypdf")
    path, out = ROOT / job, tmp_path / "sheet.pdf"
    assert main(["sheet", str(path), "--no-cut", "--paper", paper, "--out", str(out)]) == 0
    said = one_line(" ".join(page.extract_text() for page in pypdf.PdfReader(out).pages))
    proof = proof_of(path)
    assert proof.findings
    assert all(one_line(finding.message) in said for finding in proof.findings)
    for link in proof.case.train.brackets:
        for teeth in link.mounted.every if link.mounted else ():
            assert re.search(rf"\b{teeth}\b", said)
