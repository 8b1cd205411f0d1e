"""A sheet says what the set-up is, and doesn't let anybody cut a wrong one."""

import base64
import datetime
import html
import io
import itertools
import json
import math
import re
from dataclasses import replace
from pathlib import Path

import pytest
from fontTools.ttLib import TTFont
from handlead.machines.blanks.witness import NotCut, cut_blank
from handlead.machines.job_files.job_file import read_job, read_job_text
from handlead.machines.planning.planning import plan
from handlead.machines.practice.cut_cycle import cut_cycle
from handlead.machines.proving.proof import prove
from handlead.machines.toml.units import length
from handlead.viz.command import main
from handlead.viz.look.look import text_size
from handlead.viz.look.paper import PAPERS, Page, rows_height
from handlead.viz.pictures.pictures import witness_of
from handlead.viz.sheet.file import drawn
from handlead.viz.sheet.page import draw_sheet
from handlead.viz.sheet.parts import draw_marks
from handlead.viz.sheet.together import draw_together
from handlead.viz.sheet_words.member_words import bracket_lines, head_line, other_lines, shares_gears
from handlead.viz.sheet_words.setting_words import bracket_words
from handlead.viz.sheet_words.words import (
    ABOVE_ALL,
    AT_THE_HEAD,
    AT_THE_HOB,
    AT_THE_LEVERS,
    BETWEEN_CUTS,
    LOCK_OUT,
    TOUCHED,
    sheet_words,
)
from handlead.viz.solids.scene import staged_of

SCENARIOS = Path(__file__).parents[2] / "scenarios"
PINION = SCENARIOS / "01-fly-winch-pair" / "pinion.toml"
RIGHT = sorted(path for path in SCENARIOS.glob("[01]*/*.toml") if "job/1" in path.read_text())
WRONG = sorted(path for path in SCENARIOS.glob("[234]*/*.toml") if "job/1" in path.read_text())
DAY = datetime.date(2026, 11, 25)


def words_of(path):
    return sheet_words(prove(read_job(path)), DAY)


def depth_of(words):
    """What is dialled in, whatever blank the row names."""
    (depth,) = (much for what, much in words.running if what.startswith("depth"))
    return depth


@pytest.mark.parametrize("path", RIGHT, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_every_gear_lever_and_idler_of_the_set_up_is_on_the_sheet(path):
    job = read_job(path)
    words = words_of(path)
    assert words.verdict == "AS WANTED"
    brackets = {bracket.name: bracket for bracket in words.brackets}
    for name, mounted in job.setup.change.items():
        assert [int(teeth) for teeth in re.findall(r"\d+", brackets[name].gears)] == list(mounted.gears)
        assert [int(teeth) for teeth in re.findall(r"\d+", brackets[name].idler)] == list(mounted.idlers)
        assert ("NO IDLER" in brackets[name].idler) is (not mounted.idlers)
    empty = {link.name for link in job.machine.train.brackets} - set(job.setup.change)
    assert all(brackets[name].gears == "EMPTY" for name in empty)
    levers = {what.removeprefix("lever: "): much for what, much in words.levers if what.startswith("lever: ")}
    assert levers == dict(job.machine.positions(job.setup))


def test_the_first_cut_says_how_many_marks_and_which_way_they_lean():
    first = dict(words_of(PINION).first_cut)
    assert first["count"] == "23 marks"
    assert first["marks lean"] == "to the RIGHT going up"
    # By hand: tan of the lean is pi d_a / L = pi 80.419 / 578.66, d_a = 3 * 23 / cos 22 + 6: 23.6 degrees.
    assert first["at the outside"].startswith("by 23°")


def test_sizes_to_measure_are_those_of_the_standard_s_formulas():
    work = dict(words_of(PINION).work)
    # ISO 21771, from memory: d = m_n z / cos b = 74.419; d_a = d + 2 m_n; p_z = pi m_n z / sin b = 578.660.
    assert work["ref. diameter  d"] == "74.419 mm"
    assert work["outside diameter  d_a"] == "80.42 mm"
    assert work["lead  p_z"] == "578.660 mm"


def test_a_wrong_set_up_says_so_in_its_head_line():
    words = words_of(SCENARIOS / "21-idler-left-out" / "job.toml")
    assert words.verdict == "NOT AS WANTED: DO NOT CUT"
    assert any("idler" in error for error in words.errors)


def test_the_sheet_can_be_matched_with_its_files():
    job = read_job(PINION)
    source = words_of(PINION).source
    assert job.digest[:10] in source
    assert job.machine.digest[:10] in source
    assert "2026-11-25" in source


def boxes(figure):
    """Every text of the page with its left, top, right and bottom in mm, as reckoned from its type."""
    page = figure.axes[0]
    for words in page.texts:
        x, y = words.get_position()
        plain = re.sub(r"[$\\{}]|mathrm|_", "", words.get_text())
        wide = text_size(plain, words.get_fontsize(), words.get_weight() == "bold")[0]
        left = x - wide if words.get_ha() == "right" else x
        # What is inked of a line: from the top of a capital to the foot of a g.
        yield words.get_text(), (left, y, left + wide, y + words.get_fontsize() * 0.34)


def assert_legible(figure, paper):
    width, height = PAPERS[paper]
    found = list(boxes(figure))
    for words, (left, top, right, bottom) in found:
        assert left > 5, words
        assert right < width - 4, words
        assert top > 5, words
        assert bottom < height - 2, words
    for rule in figure.axes[0].lines:
        xs, ys = rule.get_xdata(), rule.get_ydata()
        if max(xs) - min(xs) > width / 2:
            assert not [words for words, (_, top, _, bottom) in found if top < ys[0] < bottom]
    for (first, one), (second, other) in itertools.combinations(found, 2):
        apart = one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1] or other[3] <= one[1]
        assert apart, (first, second)


def panels_clear_of_words(figure, paper):
    width, height = PAPERS[paper]
    for panel in figure.axes[1:]:
        place = panel.get_position(original=True)
        x0, x1 = place.x0 * width, place.x1 * width
        y0, y1 = (1 - place.y1) * height, (1 - place.y0) * height
        for words, (left, top, right, bottom) in boxes(figure):
            assert right <= x0 + 0.5 or left >= x1 - 0.5 or bottom <= y0 + 0.5 or top >= y1 - 0.5, words


@pytest.mark.parametrize(
    ("folder", "alone"),
    # Common practice: with a differential fed from the slide the teeth follow the slide; a prime count by way of the
    # differential, a differential fed from the table, and none at all need hob and table to come back with it.
    [
        ("01-fly-winch-pair", "feed clutch OUT, slide alone, feed clutch IN"),
        ("08-inch-winch", "feed NEUTRAL, slide alone, feed DOWN"),
        ("09-curtain-sprocket", "feed clutch OUT, slide alone, feed clutch IN"),
        ("03-no-differential", ""),
        ("04-moon-wheel", ""),
        ("11-thunder-run-pinion", ""),
        ("12-star-ring", ""),
    ],
)
def test_the_sheet_says_how_the_slide_may_come_back(folder, alone):
    (path, *_) = (path for path in RIGHT if path.parent.name == folder)
    back = dict(words_of(path).running)["back to START"]
    # Common practice: nothing goes back past the work with the hob in it.
    first, then = back.split(", then ")
    assert first.startswith("HOB CLEAR FIRST, by ")
    assert then == (alone if alone else "ONLY BY REVERSING THE DRIVE")


def test_the_hob_starts_below_the_work_where_the_slide_goes_up():
    running = dict(words_of(PINION).running)
    assert running["axial slide goes"] == "UP"
    # By hand, from common formulas: sqrt(h (d_a0 - h)) of a level head is 23.4 mm, more where it is swung.
    assert 23.4 < float(running["START, mid-hob before lower face"].split()[0]) < 30
    # (h_a0 / tan alpha_t) tan eta = 3.75 / tan 21.43 * tan 19.85 = 3.45 mm, and no less.
    assert running["STOP, mid-hob past upper face"] == "4 mm or more"


@pytest.mark.parametrize("path", RIGHT, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_in_climb_feed_the_slide_goes_against_the_hob_s_teeth(path):
    """Common practice: climb is against the way in which the teeth pass the work, conventional is with it."""
    running = dict(words_of(path).running)
    mode = re.search("CLIMB|CONVENTIONAL", running["feed"])
    if mode:
        apart = running["axial slide goes"] != running["hob's teeth at the work go"]
        assert apart is (mode[0] == "CLIMB")


def test_depths_of_several_cuts_are_what_the_dial_shows():
    words = words_of(SCENARIOS / "08-inch-winch" / "job.toml")
    # ISO 53 basic rack A: whole depth 2.25/8 in = 0.281 in; the last quarter of a module of it is for finishing.
    assert depth_of(words) == "2 CUTS: 0.2500, then 0.2812 in"
    assert dict(words.work)["whole depth  h"] == "0.2812 in"


@pytest.mark.parametrize("path", [*RIGHT, *WRONG], ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_the_depth_on_the_sheet_is_how_deep_the_simulated_hob_goes(path):
    case = prove(read_job(path), cut=None).case
    try:
        cut = staged_of(case)
    except NotCut:
        pytest.skip("nothing is cut with this set-up")
    setting = cut.setting
    if cut.throat:
        assert cut_cycle(case).depths == ()
        assert cut_cycle(case).centres == pytest.approx(setting.centre_distance)
        return
    reach = setting.deep
    assert sum(cut_cycle(case).depths) == pytest.approx(reach)
    dialled = depth_of(words_of(path)).replace(", ONE CUT", "")
    assert dialled.split("then ")[-1] == length(reach, case.job.units, 3 if case.job.units == "in" else 2)


@pytest.mark.parametrize(
    ("job", "root"),
    # d_f = d - 2.5 m_n (ISO 53, ISO 21771); p / sin(180/z) - d_1 (ISO 606); m (z - 1.5) (ISO 4156, flat root):
    # 23 teeth of module 3 at 22 degrees, 19 of a half-inch chain with 8.51 rollers, 24 of module 2.5. All from memory.
    [("01-fly-winch-pair/pinion", 66.919), ("09-curtain-sprocket/job", 68.649), ("10-revolve-spline/job", 56.25)],
)
def test_a_blank_cut_to_the_depth_of_the_sheet_has_the_standard_s_roots(job, root):
    case = prove(read_job(SCENARIOS / f"{job}.toml"), cut=None).case
    field = cut_blank(case, "full").measured.field
    assert 2 * field.radius.min() == pytest.approx(root, abs=0.02)
    assert field.uncut - field.radius.min() == pytest.approx(sum(cut_cycle(case).depths), abs=0.01)


def test_a_backlash_allowance_is_cut_deeper_and_measured_less(tmp_path):
    plain, thin = words_of(PINION), changed(tmp_path, PINION, "face_width", "thinning = 0.12\nface_width")
    assert plain.backlash == "no backlash taken off"
    assert thin.backlash == "teeth 0.120 mm thinner"
    # 6.75 + 0.12 / (2 tan 20) = 6.915, and 32.196 - 0.12 cos 20 = 32.083 over four teeth: ISO 21771, from memory.
    assert depth_of(thin) == "6.91 mm, ONE CUT"
    assert dict(plain.work)["span, 4 teeth  W_4"] == "32.196 mm"
    # 0.1 / (2 sin 20 degrees).
    assert dict(plain.work)["each 0.1 mm over"] == "go 0.15 mm deeper"
    assert dict(thin.work)["span, 4 teeth  W_4"] == "32.083 mm"
    assert dict(thin.work)["outside diameter  d_a"] == dict(plain.work)["outside diameter  d_a"]


def test_spaces_cut_with_an_allowance_are_as_much_wider():
    """Seen on the simulated blank of a spur gear, round its reference circle: pi m / 2 and the allowance."""
    text = (SCENARIOS / "02-left-hand-hob" / "job.toml").read_text()
    for thinning in (0.0, 0.3):
        job = read_job_text(text.replace("face_width", f"thinning = {thinning}\nface_width"))
        field = cut_blank(prove(job, cut=None).case, "full").measured.field
        row, radius = field.radius[field.rows // 2], float(job.work.module_n) * job.work.teeth / 2
        space = (row < radius).mean() * 2 * math.pi * radius / job.work.teeth
        assert space == pytest.approx(math.pi * float(job.work.module_n) / 2 + thinning, abs=0.03)


def test_the_sizes_of_a_sprocket_are_those_of_its_chain():
    work = dict(words_of(SCENARIOS / "09-curtain-sprocket" / "job.toml").work)
    # ISO 606's formulas, by hand: d = 12.7 / sin(180/19), d_f = d - 8.51, over pins d cos(90/19) + 8.51.
    assert work["pitch diameter  d"] == "77.159 mm"
    assert work["root diameter  d_f"] == "68.65 mm"
    assert work["ISO 606  d_a"] == "80.28 to 84.52 mm"
    assert work["pins 8.51 mm  M_R"] == "85.41 mm"


def test_a_sprocket_whose_rollers_nobody_gave_gets_no_sizes_made_up(tmp_path):
    words = changed(tmp_path, SCENARIOS / "09-curtain-sprocket" / "job.toml", "roller_diameter = 8.51\n", "")
    assert words.is_right
    assert "mm" not in depth_of(words)
    assert dict(words.running)["START and STOP"] == "hob CLEAR of the work"
    assert {what for what, much in words.work if "mm" in much} == {"chain pitch  p", "face width  b"}


def test_a_row_too_long_for_a_line_takes_the_room_that_is_reckoned_with():
    rows = [("depth", "4.50 mm"), ("lever: clutch of the feed shaft under the long cover", "in, and held there by its catch")]
    page = Page("A4")
    assert page.rows(11, 20, 60, rows, 11) == pytest.approx(20 + rows_height(rows, 60, 11))
    assert len(page.axes.texts) > 4
    assert_legible(page.figure, "A4")


def test_a_worm_wheel_is_turned_to_its_throat():
    work = dict(words_of(SCENARIOS / "06-orchestra-lift" / "job.toml").work)
    # m_x (z + 2) = 4 * 39: stock-gear handbooks, from memory.
    assert work["throat diameter  d_a"] == "156.00 mm"


@pytest.mark.parametrize("outside", ["84", "66"])
def test_a_blank_of_another_size_than_usual_is_started_on_and_sunk_into_as_it_is(tmp_path, outside):
    words = changed(tmp_path, PINION, "face_width", f"outside_diameter = {outside}\nface_width")
    running = dict(words.running)
    if outside == "66":
        assert not words.is_right
        assert depth_of(words) == "NONE"
        return
    # Roots at 66.919: (84 - 66.919) / 2; the approach by hand at least sqrt(h (d_a0 - h)) = 26 mm of a level head.
    assert depth_of(words) == "8.54 mm, ONE CUT"
    assert 26 < float(running["START, mid-hob before lower face"].split()[0]) <= 31


def changed(folder, path, before, after):
    """The sheet's words for a job with a change in its text."""
    text = path.read_text()
    assert before in text
    job = folder / "job.toml"
    job.write_text(text.replace(before, after, 1))
    return words_of(job)


def test_a_level_machine_is_told_about_in_its_own_words():
    words = words_of(SCENARIOS / "11-thunder-run-pinion" / "job.toml")
    assert words.up == "towards the tailstock"
    assert words.head[2] == "right-hand end TOWARDS THE TAILSTOCK"
    assert dict(words.running)["axial slide goes"] == "TOWARDS THE SPINDLE"
    assert ("! PLATE READS OTHERWISE: slide goes", "TOWARDS THE SPINDLE") in words.levers
    assert any('"feed" stands at "towards the tailstock", but' in note for note in words.notes)


def test_gears_that_look_alike_on_one_stud_are_pointed_out():
    brackets = {
        bracket.name: bracket for bracket in words_of(SCENARIOS / "08-inch-winch" / "job.toml").brackets
    }
    assert brackets["differential gears"].note == "don't swap b 71 and c 70"
    assert not brackets["index gears"].note


def test_an_inch_job_is_measured_over_balls_that_can_be_bought():
    work = dict(words_of(SCENARIOS / "08-inch-winch" / "job.toml").work)
    assert "balls 7/32 in  M_dK" in work
    assert all(" mm" not in much for much in work.values())


#: Right orders on all papers; wrong ones, which have more to say, on the shorter.
PAGES = [*itertools.product(RIGHT, PAPERS), *((path, "Letter") for path in WRONG)]


@pytest.mark.parametrize(("path", "paper"), PAGES, ids=lambda p: p if isinstance(p, str) else f"{p.parent.name}-{p.stem}")
def test_no_word_of_the_sheet_runs_off_the_paper_or_over_another(path, paper):
    for figure in draw_sheet(prove(read_job(path)), paper, DAY):
        assert_legible(figure, paper)
        panels_clear_of_words(figure, paper)


@pytest.fixture(scope="module")
def pair():
    return [
        ("", prove(read_job(PINION), cut=None)),
        ("", prove(read_job(PINION.with_name("wheel.toml")), cut=None)),
    ]


@pytest.mark.parametrize("paper", PAPERS)
def test_members_that_share_gears_stand_side_by_side(pair, paper):
    first = [page for page in drawn(pair, paper, DAY) if "CHANGE-OVER" in said_on(page) or "THE SAME FOR ALL" in said_on(page)]
    assert 1 <= len(first) <= 2
    for page in first:
        assert_legible(page, paper)
        panels_clear_of_words(page, paper)
    said = [words.get_text() for page in first for words in page.axes[0].texts]
    assert any(words.startswith("24/60 · 58/29") and words.endswith("LEAVE") for words in said)
    assert {"25/40 · 48/23   NO IDLER", "20/37 · 30/40   NO IDLER", "IDLER 35 BETWEEN A AND B"} <= set(said)
    assert any(words.startswith("19° 51′, CLOCKWISE, right-hand end") for words in said)
    assert any(words.startswith("24° 09′, COUNTER-CLOCKWISE") for words in said)


def test_there_is_a_change_over_from_each_member_to_the_next(pair):
    one, other = pair
    said = [said_on(page) for page in drawn([one, other, one], "A4", DAY)]
    assert sum("CHANGE-OVER:" in page for page in said) == 2
    assert sum("CHANGE GEARS a/b" in page for page in said) == 3
    lines = bracket_lines([sheet_words(proof, DAY) for _, proof in (other, one)])
    back = next(line for line in lines if line.what == "differential gears")
    assert back.each == ("44/41 · 50/45   + IDLER 35", "GEARS STAY: TAKE OUT THE IDLER, SWING THE STUD IN")


def test_only_what_differs_is_marked_to_be_changed(pair):
    sheets = [sheet_words(proof, DAY) for _, proof in pair]
    lines = bracket_lines(sheets)
    assert {line.what for line in lines if not line.alike} == {"index gears", "differential gears"}
    assert not head_line(sheets).alike
    assert all(line.alike for line in other_lines(sheets) if line.what.startswith("lever: "))


def test_nothing_is_boxed_that_nobody_sets(pair):
    lines = other_lines([sheet_words(proof, DAY) for _, proof in pair])
    read = {line.what for line in lines if not line.is_set}
    # Common practice: slides, hob and table go as levers and gears have them go; the check by hand is counted.
    ways = {"axial slide goes", "hob's teeth at the work go", "table turns, seen facing it"}
    assert read == ways | {"HAND CHECK, FEED CLUTCH: OUT", "not for hob_turns in [seen]:", "light first cut"}


@pytest.mark.parametrize("paper", PAPERS)
def test_members_that_differ_in_all_but_an_empty_bracket_need_more_pages_for_it(paper, tmp_path):
    text = (SCENARIOS / "02-left-hand-hob" / "job.toml").read_text()
    other = re.sub(r"\[setup\](.|\n)*", """
[setup]
swivel = { angle = "3d 10m", turn = "clockwise" }
feed = "conventional"
[setup.levers]
speed = "fast"
feed = "down"
"cage brake" = "off"
"cage clutch" = "in"
[setup.change]
"index gears" = { gears = [20, 43, 36, 40] }
"feed gears"  = { gears = [24, 45, 32, 48] }
""", text)
    (tmp_path / "job.toml").write_text(other)
    jobs = (SCENARIOS / "02-left-hand-hob" / "job.toml", tmp_path / "job.toml")
    pages = draw_together([("", prove(read_job(job), cut=None)) for job in jobs], paper, DAY)
    for page in pages:
        assert_legible(page, paper)
        panels_clear_of_words(page, paper)


def test_members_on_two_machines_with_brackets_of_one_name_share_no_gears():
    first, *_ = words_of(PINION).brackets
    alike, other = words_of(PINION), words_of(PINION)
    assert shares_gears([alike, other])
    assert first.gears != "EMPTY"
    assert not shares_gears([alike, replace(other, machine="another file's digest")])


def test_idlers_that_can_not_be_placed_are_still_named(tmp_path):
    """Three pairs with two idlers: more than the drawing can place."""
    job = tmp_path / "job.toml"
    text = PINION.read_text()
    line = next(line for line in text.splitlines() if line.startswith('"index gears"'))
    job.write_text(text.replace(line, '"index gears" = { gears = [20, 40, 30, 60, 40, 20], idlers = [22, 24] }'))
    words = words_of(job)
    assert not words.is_right
    (index,) = (bracket for bracket in words.brackets if bracket.name == "index gears")
    assert index.idler == "+ IDLER 22 and 24"
    figures = draw_sheet(prove(read_job(job), cut=None), "A4", DAY)
    assert any(words.get_text() == "NOT DRAWN" for figure in figures for panel in figure.axes for words in panel.texts)
    assert main(["show", str(job), "--what", "bracket", "--out", str(tmp_path / "b.png")]) == 0


def test_a_job_of_many_moves_shows_every_one_of_them(tmp_path):
    job = tmp_path / "job.toml"
    text = (SCENARIOS / "13-second-cut" / "job.toml").read_text()
    first = text.index("[[setup.moves]]")
    cut, *round_again = re.findall(r"\[\[setup.moves\]\][^\[]*", text[first:])
    job.write_text(text[:first] + cut + "".join(round_again) * 6)
    for paper in PAPERS:
        figures = draw_sheet(prove(read_job(job), cut=None), paper, DAY)
        said = [words.get_text() for figure in figures for words in figure.axes[0].texts]
        assert sum(bool(re.match(r"\d+ +(cut|withdrawal|return|approach|second cut)$", words)) for words in said) == 25
        for figure in figures:
            assert_legible(figure, paper)


def test_a_worm_wheel_is_told_where_to_start_and_to_stop():
    across = dict(words_of(SCENARIOS / "06-orchestra-lift" / "job.toml").running)
    # By hand: where the hollow ends, 9.33 off the middle, the tips stand 94 - sqrt(25^2 - 9.33^2) = 70.8 from the axis, and
    # half the chord there is sqrt(81^2 - 70.8^2) = 39.3 mm; the slide goes to the right.
    assert across["tangential slide goes"] == "RIGHT"
    assert across["START, hob's entering end from mid-work"] == "40 mm LEFT or more"
    assert across["STOP, first full tooth from mid-work"] == "40 mm RIGHT or more"
    # Across 2 * 39.3 mm at 0.4 mm are 197 table turns, 18.5 of the hob each, at 55 rpm.
    assert dict(words_of(SCENARIOS / "06-orchestra-lift" / "job.toml").flank)["cutting time"] == "66 min"
    # (d + d_0) / 2 = (148 + 40) / 2, the worm's own centre distance.
    assert across["full depth at hob-to-work centres"] == "94.00 mm"
    sunk = words_of(SCENARIOS / "07-trap-hoist" / "job.toml")
    assert dict(sunk.running)["STOP, at full depth"] == "after 1 MORE TABLE TURN"
    # 6.225 mm from the edges of the hollow, at 0.3 mm, and one turn more are 21.75 turns of the table, 50 of the hob each,
    # at 94 rpm: 11.6 min.
    assert dict(sunk.flank)["cutting time"] == "12 min"


@pytest.mark.parametrize(
    ("folder", "check", "turns"),
    # k hob turns to z of the table by the index alone (J. Edgar, 1914); with all engaged a prime's count comes out whole.
    [
        ("08-inch-winch", "HAND CHECK, FEED: NEUTRAL", "35 hob turns = 1 table turn"),
        ("05-two-start-hob", "HAND CHECK, FEED: NEUTRAL", "25 1/2 hob turns = 1 table turn"),
        ("13-second-cut", "HAND CHECK, feed open", "27 1/9 hob turns = 1 table turn"),
        ("04-moon-wheel", "HAND CHECK, feed open", "211 1/4 hob turns = 1 table turn"),
    ],
)
def test_what_can_be_counted_by_hand_before_a_cut_is_on_the_sheet(folder, check, turns):
    assert (check, turns) in words_of(SCENARIOS / folder / "job.toml").running


def test_a_prime_whose_index_nobody_could_count_is_counted_with_all_engaged():
    """By the index gears alone the table would stand for a long fraction of teeth; with the slide it must be 127."""
    text = (SCENARIOS / "02-left-hand-hob" / "job.toml").read_text()
    job = read_job_text(text[: text.index("[setup]")].replace("teeth  = 43", "teeth  = 127"))
    (member,) = plan(job, top=1).members
    proof = member.setups[0].proof
    assert proof.computed.table_per_hob.numerator != 1
    assert ("HAND CHECK, all in, hob clear", "127 hob turns = 1 table turn") in sheet_words(proof, DAY).running


def test_a_throated_worm_wheel_s_light_cut_is_a_touch_on_the_edges_of_its_hollow():
    path = SCENARIOS / "07-trap-hoist" / "job.toml"
    words = words_of(path)
    assert ("at the throat's edges", "short touches") in words.first_cut
    # The hob's thread leans as its worm does: 3 degrees 11 minutes.
    assert ("", "by 3° 10′") in words.first_cut
    assert "lead" not in dict(words.seen)
    layout = witness_of(prove(read_job(path), cut=None).case)
    heights = [y for lines in layout.lines for line in lines for _, y in line]
    # Own derivation: the hob's tips lie outside the hollow, and come down on both ends of it alike.
    assert (max(heights) + min(heights)) / 2 == pytest.approx(12)
    assert not [y for y in heights if abs(y - 12) < 3]


def test_a_plain_worm_wheel_s_light_cut_is_a_touch_at_mid_face(tmp_path):
    path = SCENARIOS / "07-trap-hoist" / "job.toml"
    words = changed(tmp_path, path, "face_width", 'blank = "plain"\nface_width')
    assert ("at mid-face", "short touches") in words.first_cut
    # The chord of the hob's tips, 45 + 2 * 1.25 * 2.496 mm across, at 0.05 mm: 2 sqrt(0.05 * 51.2) = 3.2 mm.
    layout = witness_of(prove(read_job(tmp_path / "job.toml"), cut=None).case)
    heights = [y for lines in layout.lines for line in lines for _, y in line]
    assert max(heights) - min(heights) == pytest.approx(3.2, abs=0.05)
    assert (max(heights) + min(heights)) / 2 == pytest.approx(12)
    assert dict(words.running)["blank"].startswith("PLAIN, not hollow")
    assert any("TOUCH at mid-face" in caution for caution in words.at_the_hob)
    assert "throat radius  r_t" not in dict(words.work)


@pytest.mark.parametrize("paper", PAPERS)
def test_a_throated_worm_wheel_is_given_its_centres_alone_and_its_blank(paper):
    path = SCENARIOS / "06-orchestra-lift" / "job.toml"
    words = words_of(path)
    assert depth_of(words) == "BY CENTRES ALONE"
    # By hand: (148 + 40) / 2 = 94; the hollow's radius 94 - 156 / 2 = 16; the rim of two starts 156 + 1.5 * 4 = 162 mm.
    assert dict(words.running)["full depth at hob-to-work centres"] == "94.00 mm"
    assert dict(words.running)["throat, radius of hollow"] == "156.00 mm, 16.00 mm"
    assert dict(words.running)["over the rim"] == "162.00 mm"
    said = " ".join(said_on(figure) for figure in draw_sheet(prove(read_job(path)), paper, DAY))
    assert "CENTRES alone set the depth" in said
    assert "TOUCH at mid-face" not in said and "ONE CUT" not in said


def test_members_on_two_machines_share_no_gears(pair):
    other = prove(read_job(SCENARIOS / "02-left-hand-hob" / "job.toml"), cut=None)
    pages = [pair[0], ("", other)]
    assert not shares_gears([sheet_words(proof, DAY) for _, proof in pages])
    assert not any("CHANGE-OVER" in said_on(page) for page in drawn(pages, "A4", DAY))


def said_on(figure):
    """All words of a page, its drawings' too, as one line."""
    return " ".join(" ".join(words.get_text() for axes in figure.axes for words in axes.texts).split())


def test_the_cautions_are_on_the_sheet_and_those_of_the_hob_on_every_page():
    first, *_ = pages = draw_sheet(prove(read_job(PINION)), "Letter", DAY)
    cautions = LOCK_OUT + AT_THE_HEAD + AT_THE_LEVERS + AT_THE_HOB + TOUCHED + BETWEEN_CUTS + ABOVE_ALL
    assert all(caution in said_on(first) for caution in cautions)
    assert all(caution in said_on(page) for page in pages for caution in (*AT_THE_HOB, *ABOVE_ALL))


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
    page = (tmp_path / "s.html").read_text()
    assert "<script>" not in page
    assert "<title>Set-up sheet: &lt;script&gt;" in page


@pytest.mark.parametrize("paper", PAPERS)
def test_a_title_as_long_as_a_letter_is_cut_short(tmp_path, paper):
    job = tmp_path / "job.toml"
    job.write_text(
        re.sub(r"title *= .*", f'title = "{"counterweight of the fly tower " * 9}"', PINION.read_text())
    )
    proofs = [("", prove(read_job(path), cut=None)) for path in (job, PINION.with_name("wheel.toml"))]
    for figure in list(drawn(proofs, paper, DAY))[:2]:
        assert_legible(figure, paper)


def test_a_page_carries_every_letter_that_it_is_written_in(tmp_path):
    out = tmp_path / "s.html"
    assert main(["sheet", str(PINION), "--no-cut", "--out", str(out)]) == 0
    page = out.read_text()
    fonts = [TTFont(io.BytesIO(base64.b64decode(font))) for font in re.findall(r"base64,([^\")]+)", page)]
    letters = set(
        "".join(html.unescape(words) for words in re.findall(r"<(?:text|tspan)[^>]*>([^<]*)", page))
    ) - {"\n"}
    assert len(fonts) == 3
    assert all(letters <= set(map(chr, font.getBestCmap())) for font in fonts)


@pytest.mark.parametrize("out", ["s.pdf", "s.html"])
def test_letters_that_can_not_be_printed_are_told_of_once(tmp_path, capfd, recwarn, out):
    job = tmp_path / "job.toml"
    job.write_text(re.sub(r"title *= .*", 'title = "齿轮 Zahnräder 歯車"', PINION.read_text()))
    assert main(["sheet", str(job), "--no-cut", "--out", str(tmp_path / out)]) == 0
    (told,) = capfd.readouterr().err.splitlines()
    assert told.endswith("these letters can't be printed, ? stands for each: 齿 轮 歯 車")
    assert not recwarn
    assert main(["show", str(job), "--what", "train", "--out", str(tmp_path / "t.svg")]) == 0
    assert len(capfd.readouterr().err.splitlines()) == 1
    assert "?? Zahnräder ??" in (tmp_path / "t.svg").read_text()


def test_a_job_to_plan_gets_a_page_for_each_member(tmp_path, capsys):
    job = tmp_path / "job.toml"
    text = PINION.read_text()
    job.write_text(text[: text.index("[setup]")])
    assert main(["sheet", str(job), "--no-cut", "--out", str(tmp_path / "s.pdf")]) == 0
    # The change-over on two pages and both members on three, hand checks and boxes among them.
    assert "8 pages" in capsys.readouterr().out


@pytest.mark.parametrize("out", ["s.doc", "nowhere/s.pdf"])
def test_what_can_not_be_written_is_said_and_nothing_is_left(out, tmp_path, capsys):
    assert main(["sheet", str(PINION), "--no-cut", "--out", str(tmp_path / out)]) == 2
    assert capsys.readouterr().err
    assert not list(tmp_path.iterdir())


def test_what_was_made_is_told_to_programs(tmp_path, capsys):
    out = tmp_path / "s.pdf"
    jobs = [str(PINION), str(PINION.with_name("wheel.toml"))]
    assert main(["sheet", *jobs, "--no-cut", "--json", "--out", str(out)]) == 0
    assert json.loads(capsys.readouterr().out) == {"jobs": jobs, "file": str(out), "pages": 8, "errors": []}


@pytest.mark.parametrize(
    ("job", "faces", "table"),
    # By hand: a face leads the way that its tooth goes; a right-hand hob cutting down turns the table counter-clockwise,
    # one cutting up clockwise, a left-hand one the other way (table = -h k/z hob).
    [
        ("01-fly-winch-pair/pinion", "CUTTING FACES LOOK DOWN at the work", "COUNTER-CLOCKWISE"),
        ("02-left-hand-hob/job", "CUTTING FACES LOOK UP at the work", "COUNTER-CLOCKWISE"),
        ("06-orchestra-lift/job", "CUTTING FACES LOOK UP at the work", "CLOCKWISE"),
        ("11-thunder-run-pinion/job", "CUTTING FACES LOOK TOWARDS THE TAILSTOCK at the work", "COUNTER-CLOCKWISE"),
    ],
)
def test_the_sheet_says_which_way_the_faces_look_and_the_table_must_go(job, faces, table):
    words = words_of(SCENARIOS / f"{job}.toml")
    assert words.faces == faces
    assert f"table {table}, seen facing it" in words.sense
    assert "The count alone proves nothing" in words.sense


def test_where_the_table_must_go_is_told_by_the_hob_and_not_by_what_a_wrong_set_up_does():
    words = words_of(SCENARIOS / "34-index-idler-forgotten" / "job.toml")
    goes = dict(words.running)["table turns, seen facing it"]
    assert f"table {goes}," not in words.sense


def test_a_count_that_is_not_for_the_key_of_the_same_name_is_told_so():
    parted = dict(words_of(PINION).running)
    assert parted["not for hob_turns in [seen]:"] == "that is with the feed in"
    engaged = dict(words_of(SCENARIOS / "02-left-hand-hob" / "job.toml").running)
    assert "not for hob_turns in [seen]:" not in engaged


def test_the_light_cut_is_deeper_where_the_feed_is_coarse(tmp_path):
    assert words_of(PINION).light_depth == "0.05 mm"
    coarse = changed(tmp_path, PINION, "gears = [24, 60, 58, 29]", "gears = [60, 24, 58, 29]")
    # 2.4 mm * 6.25 = 15 mm a turn: touches of 2 sqrt(0.05 * 87) = 4.2 mm wouldn't meet.
    assert float(coarse.light_depth.split()[0]) > 0.05


#: A title, and names, that would be taken for a formula, an order to the terminal, or the end of the text.
_ODD = r"cost $5 and $6, $x^{2}$ \u001b[31m red \u0000 \u202e back"


@pytest.mark.parametrize("ending", ["pdf", "html"])
def test_whatever_a_title_holds_only_letters_that_can_be_seen_are_printed(ending, tmp_path, capfd):
    job, out = tmp_path / "job.toml", tmp_path / f"sheet.{ending}"
    job.write_text(re.sub(r"title *= .*", lambda _: f'title = "{_ODD}"', PINION.read_text()))
    if main(["sheet", str(job), "--no-cut", "--out", str(out)]) == 2:
        # The reader of jobs may refuse letters that show nothing; then nothing is made either.
        assert not out.exists()
        return
    assert "\x1b" not in capfd.readouterr().err
    if ending == "html":
        page = out.read_text(encoding="utf-8")
        assert "cost $5 and $6, $x^{2}$" in page
        assert not re.search("[\x00-\x08\x0b\x0c\x0e-\x1f\u202e]", page)
        return
    pypdf = pytest.importorskip("pypdf")
    file = pypdf.PdfReader(out)
    said = file.pages[0].extract_text()
    assert "cost $5 and $6, $x^{2}$" in said.replace("\n", " ")
    assert not re.search("[\x00\x1b\u202e]", said + file.metadata["/Title"])


@pytest.mark.parametrize("what", ["train", "motion", "bracket", "swivel", "witness"])
def test_whatever_a_name_holds_a_picture_shows_it_as_it_stands(what, tmp_path):
    from handlead.machines.setups.case import Case
    from handlead.viz.look import look
    from handlead.viz.pictures.pictures import PICTURES

    job = replace(read_job(PINION), title="cost $5 and $6 \x1b[31m \x00")
    figure = PICTURES[what](Case.of(job, job.setup))
    look.spell(figure)
    drawn = look.picture(figure, "svg", title=job.title).decode()
    assert not re.search("[\x00-\x08\x0b\x0c\x0e-\x1f]", drawn)
    if what in ("train", "motion"):
        assert r"cost $5 and $6 \x1b[31m \x00" in html.unescape(drawn)


def test_an_inch_job_s_sheet_has_no_millimetres_and_a_metric_one_no_inches():
    """Both sides of the branch, with the blank cut and measured."""
    for path, other in ((SCENARIOS / "08-inch-winch" / "job.toml", r"\d ?(mm|µm|m/min)\b"),
                        (PINION, r"\d ?(in|ft/min)\b")):  # fmt: skip
        proof = prove(read_job(path), cut="full")
        words = sheet_words(proof, DAY)
        assert proof.cut and proof.cut.flanks
        said = " ".join(said_on(figure) for figure in draw_sheet(proof, "A4", DAY))
        assert not re.search(other, said), re.search(other, said)
        assert "marks, whole height" in dict(words.flank)


def test_what_is_found_on_the_blank_has_a_line_under_the_key_that_it_goes_to():
    helical, straight = words_of(PINION), words_of(SCENARIOS / "02-left-hand-hob" / "job.toml")
    keys = ["teeth", "hand", "lead", "outside_helix_angle", "table_turned", "slide_moved", "hob_turns"]
    assert [key for key, _ in helical.seen] == keys
    assert [key for key, _ in straight.seen] == [key for key in keys if key not in ("lead", "outside_helix_angle")]
    # Every one of them is a key that a job takes.
    text = PINION.read_text() + """
[seen]
teeth = 23
hand = "right"
lead = "578 mm"
outside_helix_angle = 23.6
table_turned = "counter-clockwise"
slide_moved = "up"
hob_turns = 23.1
"""
    assert read_job_text(text).seen


def test_moves_say_where_the_hob_goes_in_the_words_of_the_shop(tmp_path):
    moves = words_of(SCENARIOS / "13-second-cut" / "job.toml").moves
    assert moves[0] == (
        "cut",
        "begin with mid-hob at 16.00 mm under the lower face of the work, "
        "mid-hob to 16.00 mm over the lower face of the work",
    )
    assert moves[1] == ("withdrawal", "radial slide to 6.00 mm short of full depth, BY HAND")
    assert moves[3] == ("approach", "radial slide to full depth, BY HAND")
    # Level, in inches.
    job = tmp_path / "job.toml"
    cases = Path(__file__).parents[1] / "cases"
    (tmp_path / "wexcombe-0.toml").write_text((cases / "wexcombe-0.toml").read_text())
    job.write_text((cases / "wexcombe-pair.toml").read_text() + """
[[setup.moves]]
name = "cut"
from = { axial = "7/8" }
to = { axial = "-1/8" }
""")
    (move,) = words_of(job).moves
    face = "the work's face towards the headstock"
    assert move[1] == (
        f"begin with mid-hob at 0.8750 in towards the tailstock of {face}, "
        f"mid-hob to 0.1250 in towards the headstock of {face}"
    )


def test_a_hob_whose_ways_have_names_of_their_own_on_the_machine_is_told_about_in_them():
    cases = Path(__file__).parents[1] / "cases"
    own = dict(words_of(cases / "wexcombe-pair.toml").running)
    assert own["hob"] == "TEETH PASSING TOWARDS THE HEADSTOCK"
    assert own["hob's teeth at the work go"] == "TOWARDS THE HEADSTOCK"
    assert "hob" not in dict(words_of(PINION).running)


class Lined:
    """A page that keeps the lines that are drawn on it."""

    def __init__(self):
        self.points = []

    def line(self, points, weight):
        self.points.append(points)


def test_the_marks_of_the_light_cut_stand_in_the_room_that_is_given_them():
    page = Lined()
    draw_marks(page, prove(read_job(PINION), cut=None), 20, 30, 60, 40)
    frame, *lines = page.points
    xs, ys = zip(*frame, strict=True)
    assert (min(xs), max(ys)) == pytest.approx((20, 30 + (max(ys) - min(ys))))
    assert max(xs) - min(xs) == pytest.approx(60) or max(ys) - min(ys) == pytest.approx(40)
    assert lines
    assert all(min(xs) - 1e-9 <= x <= max(xs) + 1e-9 for line in lines for x, _ in line)
    assert all(min(ys) - 1e-9 <= y <= max(ys) + 1e-9 for line in lines for _, y in line)
    assert min(ys) == pytest.approx(30)


def test_the_gears_of_a_loose_pair_have_letters_of_their_own():
    """One behind the other, as the machine's rule has them: e/f, then a/b · c/d; also where the drawing names them."""
    proof = prove(read_job(SCENARIOS / "14-bell-cam-wheel" / "job.toml"))
    outer, inner = sheet_words(proof, DAY).brackets[:2]
    assert (outer.name, inner.name) == ("outer index pair", "inner index gears")
    assert [words.partition(" ")[0] for words in outer.shafts] == ["e", "f"]
    assert inner.shafts[0].startswith("a on ")
    told = {text for figure in drawn([("", proof)], "A4", DAY) for axes in figure.axes for text in texts_of(axes)}
    assert {"e 50", "f 34"} <= told and not {"a 50", "b 34"} & told


def texts_of(axes):
    return [text.get_text() for text in axes.texts]


def test_an_idler_of_a_loose_pair_stands_between_its_own_letters():
    case = prove(read_job(SCENARIOS / "14-bell-cam-wheel" / "job.toml").with_idler("outer index pair", 40)).case
    link = next(one for one in case.train.brackets if one.name == "outer index pair")
    assert "between e and f" in bracket_words(link, case.letters(link.name)).note
