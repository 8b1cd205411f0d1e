"""The pages of the inspection report: what stands on them, in its place, and the command that makes them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from handlead.machines.charting.simulated import QUANTITIES, GearReport
from handlead.machines.job_files.job_file import read_job
from handlead.machines.setups.case import Case
from handlead.viz.command import main
from handlead.viz.look.paper import PAPERS
from handlead.viz.pictures.gear_report import report_pages
from matplotlib.text import Text

SCENARIOS = Path(__file__).parents[2] / "scenarios"
CLOUD = SCENARIOS / "92-cloud-drum-wheel"
ORDERS = {"helical": CLOUD / "job.toml", "inch": SCENARIOS / "08-inch-winch" / "job.toml", "level": SCENARIOS / "10-revolve-spline" / "job.toml"}


def words_of(figure):
    beyond = set()
    for axes in figure.axes:
        for axis, (low, high) in ((axes.xaxis, axes.get_xlim()), (axes.yaxis, axes.get_ylim())):
            beyond |= {tick.label1 for tick in axis.get_major_ticks() if not low <= tick.get_loc() <= high}
    words = (text for text in figure.findobj(Text) if text.get_text().strip() and text.get_visible())
    return [text for text in words if text not in beyond]


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("order", ORDERS)
def test_all_words_stand_on_the_paper_in_type_that_can_be_read(order, paper):
    report = GearReport.of(Case.of(read_job(ORDERS[order])))
    for figure in report_pages(report, paper):
        figure.canvas.draw()
        wide, high = (mm / 25.4 * figure.dpi for mm in PAPERS[paper])
        for text in words_of(figure):
            box = text.get_window_extent()
            assert box.x0 >= 0 and box.x1 <= wide and box.y0 >= 0 and box.y1 <= high, text.get_text()
            assert text.get_fontsize() >= 6.9, text.get_text()


def test_every_value_stands_on_the_last_page_and_on_its_own():
    report = GearReport.of(Case.of(read_job(ORDERS["helical"])))
    pages = [[text.get_text() for text in words_of(figure)] for figure in report_pages(report)]
    assert [page.count("profile form") for page in pages] == [1, 0, 0, 1]
    for one in QUANTITIES:
        assert one.words in pages[3]
    assert any("the drawing asks for class 7" in words for words in pages[3])


def test_an_inch_job_is_told_in_inches_and_a_level_machine_in_its_own_words():
    inch, level = (
        {text.get_text() for figure in report_pages(GearReport.of(Case.of(read_job(ORDERS[order])))) for text in words_of(figure)}
        for order in ("inch", "level")
    )
    assert "greatest, 0.0001 in" in inch
    assert not any("µm" in words for words in inch)
    assert "from the face towards the spindle, mm, towards the tailstock to the right" in level


def test_nothing_on_the_pages_is_told_by_colour():
    from matplotlib.colors import to_rgb

    report = GearReport.of(Case.of(read_job(ORDERS["helical"])), sorted(CLOUD.glob("*.csv")))
    for figure in report_pages(report):
        for artist in figure.findobj(lambda it: hasattr(it, "get_color")):
            red, green, blue = to_rgb(artist.get_color())
            assert red == green == blue


def test_the_command_writes_the_pages_and_tells_the_values(tmp_path, capsys):
    out = tmp_path / "report.svg"
    records = sorted(map(str, CLOUD.glob("*.csv")))
    status = main(
        ["show", str(ORDERS["helical"]), "--what", "inspection", "--out", str(out), "--json", "--record", *records]
    )
    (made,) = json.loads(capsys.readouterr().out)["pictures"]
    assert status == 0
    assert [Path(one).name for one in made["files"]] == ["report.svg", "report-2.svg", "report-3.svg", "report-4.svg"]
    assert all(Path(one).exists() for one in made["files"])
    assert made["report"]["measured_class"] == 9
    assert [one["sign"] for one in made["report"]["values"]][:3] == ["f_Hα", "f_fα", "F_α"]


def test_one_file_has_all_pages_and_is_called_after_the_job(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main(["show", str(ORDERS["inch"]), "--what", "inspection", "--paper", "Letter"]) == 0
    content = (tmp_path / "job-inspection.pdf").read_bytes()
    assert content.count(b"/Type /Page ") == 4
    assert capsys.readouterr().out == "inspection: job-inspection.pdf\n"


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (["--what", "flank", "--record", "a.csv"], "--record goes with --what inspection alone"),
        (["--what", "inspection", "--out", "a.gif"], "must end in .png, .pdf, .svg"),
        (["--what", "inspection", "--record", "nowhere.csv"], "nowhere.csv"),
    ],
)
def test_what_cannot_be_is_refused(more, says, capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main(["show", str(ORDERS["inch"]), *more]) == 2
    assert says in capsys.readouterr().err
    assert not list(tmp_path.iterdir())
