"""The pictures agree with the train: told from what is drawn, not from pixels."""

import itertools
import math
import re
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from handlead.kinematics.brackets.bracket import Bracket
from handlead.kinematics.brackets.mounting import Mounting
from handlead.kinematics.frame.motion import Rates
from handlead.kinematics.frame.words import Hand, direction
from handlead.kinematics.law.outcome import predict
from handlead.kinematics.links.links import Chain
from handlead.kinematics.links.mounted import Mounted, SetRatio
from handlead.kinematics.train.solution import solve
from handlead.kinematics.work.requirement import HobData
from handlead.machines.blanks.witness import cut_blank
from handlead.machines.job_files.job_file import read_job, read_job_text
from handlead.machines.machine_files.catalogue import find_machine, shipped_machines
from handlead.machines.setups.case import Case
from handlead.viz.command import main
from handlead.viz.commands.show import PICTURES as NAMES
from handlead.viz.draw.head import plot_swivel
from handlead.viz.draw.marks import predicted_marks
from handlead.viz.draw_brackets.bracket import bracket_lettering, idler_words, plot_bracket
from handlead.viz.draw_brackets.bracket_labels import LEAST_POINTS
from handlead.viz.draw_brackets.bracket_layout import bracket_layout
from handlead.viz.draw_train.train import idler_meshes, plot_train
from handlead.viz.draw_train.train_layout import lay_out
from handlead.viz.draw_train.train_shapes import boxes_meet, segments_of
from handlead.viz.draw_train.train_words import link_lines, links_in_words, parts_in_words
from handlead.viz.look import look, symbols
from handlead.viz.look.shop import Shop
from handlead.viz.pictures.pictures import PICTURES, motion_of, swivel_of, witness_of
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, FancyArrowPatch, Polygon
from matplotlib.text import Text
from matplotlib.transforms import Bbox

SCENARIOS = Path(__file__).parents[2] / "scenarios"
PINION = SCENARIOS / "01-fly-winch-pair" / "pinion.toml"
JOBS = sorted(path for path in SCENARIOS.glob("[01]*/*.toml") if "job/1" in path.read_text())


def case_of(path):
    job = read_job(path)
    return Case.of(job, job.setup)


def every_bracket():
    """Every set of gears that a shipped scenario mounts, once: its scenario, the link, and whether that is right."""
    seen = {}
    for path in sorted(SCENARIOS.glob("*/*.toml")):
        if "job/1" in path.read_text():
            right = "exit = 0" in (path.parent / "expected.toml").read_text()
            for link in case_of(path).train.brackets:
                key = (link.mounted, repr(link.bracket))
                geared = link.mounted is not None and not isinstance(link, SetRatio)
                if geared and (key not in seen or (right and not seen[key][2])):
                    seen[key] = (path.parent.name, link, right)
    return [pytest.param(link, right, id=f"{name}-{link.name}") for name, link, right in seen.values()]


BRACKETS = every_bracket()
PLAIN = case_of(SCENARIOS / "22-index-gears-swapped" / "job.toml").job.work


def lean_deg(segment):
    """Lean of a segment from upright, to the right going up positive."""
    (x0, y0), (x1, y1) = segment
    return math.degrees(math.atan2((x1 - x0) * math.copysign(1, y1 - y0), abs(y1 - y0)))


def every_train():
    """Every shipped machine as its levers normally stand, and every scenario's set-up; those that read alike once."""
    seen = {}
    machines = {name: find_machine(name) for name in shipped_machines()}
    solved = {name: solve(machine.set_up(), machine.normal_drive) for name, machine in machines.items()}
    for path in sorted(SCENARIOS.glob("*/*.toml")):
        if "job/1" in path.read_text():
            solved[f"{path.parent.name}-{path.stem}"] = case_of(path).solution
    for name, solution in solved.items():
        seen.setdefault((repr(parts_in_words(solution)), repr(links_in_words(solution))), (name, solution))
    return [pytest.param(solution, id=name) for name, solution in seen.values()]


TRAINS = every_train()


def strikes(axes, labels):
    """Labels of a drawn train with a line, a symbol or an arrow on them, from what is drawn."""
    found = []
    for label in labels:
        x0, y0, x1, y1 = label.box
        box = Bbox.from_extents(x0 + 0.1, y0 + 0.35, x1 - 0.1, y1 - 0.35)
        for artist in axes.get_children():
            if isinstance(artist, Line2D):
                hit = artist.get_path().intersects_bbox(box, filled=False)
            elif isinstance(artist, FancyArrowPatch):
                hit = artist.get_path().get_extents().overlaps(box)
            elif isinstance(artist, Polygon | Circle):
                hit = artist.get_path().transformed(artist.get_patch_transform()).intersects_bbox(box, filled=True)
            else:
                continue
            if hit:
                found.append((label.owner, label.text, artist))
    return found


def struck_labels(layout):
    """Labels with a line, an upright or a coupling running through them."""
    for label in layout.labels:
        lines = [(run.x0, run.y, run.x1, run.y) for run in layout.runs]
        lines += [segment for upright in layout.uprights for segment in segments_of(upright)]
        if any(boxes_meet(label.box, line) for line in lines):
            yield label


@pytest.mark.parametrize("solution", TRAINS)
def test_no_label_of_a_train_lies_on_another_or_on_anything_drawn_and_no_line_crosses(solution):
    layout = lay_out(solution)
    assert not layout.overlaps()
    assert not list(struck_labels(layout))
    assert not layout.crossings()
    assert not strikes(plot_train(solution, layout=layout), layout.labels)


def test_the_check_of_labels_sees_a_label_that_is_moved_onto_a_symbol():
    solution = TRAINS[0].values[0]
    layout = lay_out(solution)
    axes = plot_train(solution, layout=layout)
    for x, y in [(sign.x, sign.y) for sign in layout.signs] + [(run.arrow_x, run.y) for run in layout.runs if not run.slides]:
        assert strikes(axes, [replace(layout.labels[0], x=x - 1, y=y - 1)])


@pytest.mark.parametrize("name", shipped_machines())
def test_every_shaft_and_link_of_a_machine_is_in_its_diagram(name):
    machine = find_machine(name)
    layout = lay_out(solve(machine.set_up(), machine.normal_drive))
    assert set(layout.parts) == set(machine.train.parts)
    assert set(layout.links) == {link.name for link in machine.train.links}


@pytest.mark.parametrize("path", JOBS, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_the_head_is_drawn_swung_as_it_is_set_and_its_thread_lies_along_the_tooth(path):
    case = case_of(path)
    layout = swivel_of(case)
    (x0, y0), (x1, y1) = layout.axis
    slope = math.degrees(math.atan2((y1 - y0) * math.copysign(1, x1 - x0), abs(x1 - x0)))
    assert slope == pytest.approx(case.swivel_deg, abs=1e-6)
    # Right set-ups: thread and tooth lean alike where they meet, to the half degree that a swivel may be out.
    assert lean_deg(layout.contact) == pytest.approx(case.job.work.signed_beta_deg, abs=0.5)
    way = "counter-clockwise" if case.swivel_deg > 0 else "clockwise"
    if abs(case.swivel_deg) > 0.1:
        assert way.upper() in " ".join(layout.words).upper()


@pytest.mark.parametrize("path", JOBS, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_the_head_is_drawn_with_its_arrows_and_threads_as_it_is_swung(path, recorded):
    case = case_of(path)
    layout = swivel_of(case)
    axes = plot_swivel(layout)
    swing = math.radians(case.swivel_deg)
    (body,) = [patch for patch in axes.patches if isinstance(patch, Polygon) and patch.get_zorder() == 4]
    (xa, ya), (xb, yb) = body.get_xy()[:2]
    assert math.atan2(yb - ya, xb - xa) == pytest.approx(swing)
    for thread in layout.threads:  # on the near side a thread leans the other way, from the hob's own upright
        assert (lean_deg(thread) + lean_deg(layout.contact)) / 2 == pytest.approx(-case.swivel_deg)
        across = lean_deg(layout.contact) - lean_deg(thread)
        assert (across > 0) is (case.job.hob.hand is Hand.RIGHT)
    arrows = recorded["arrow"]
    assert len(arrows) == (2 if abs(case.swivel_deg) > 1 / 60 else 0)
    for (_, start, tip, _), options in arrows:
        turned = start[0] * tip[1] - start[1] * tip[0]
        assert (turned > 0) is (case.swivel_deg > 0)
        assert math.sin(math.atan2(tip[1], tip[0]) - swing) == pytest.approx(0, abs=1e-9)
        assert (options["bow"] < 0) is (case.swivel_deg > 0)


@pytest.fixture
def recorded(monkeypatch):
    """What is handed to the symbols that have a way: for each, its arguments call after call."""
    calls = {"arrow": [], "turning": [], "shape": []}

    def recording(symbol, seen):
        def call(*arguments, **options):
            seen.append((arguments, options))
            return symbol(*arguments, **options)

        return call

    for name, seen in calls.items():
        monkeypatch.setattr(symbols, name, recording(getattr(symbols, name), seen))
    return calls


@pytest.mark.parametrize(("name", "astray"), [("25-head-wrong-way", 34 + 46 / 60), ("26-lead-angle-forgotten", 2 + 23 / 60)])
def test_a_head_that_is_set_wrong_shows_its_thread_across_the_tooth(name, astray):
    """25: twice the swivel of 17 deg 23 min; 26: the hob's lead angle, 2 deg 23 min."""
    layout = swivel_of(case_of(SCENARIOS / name / "job.toml"))
    assert layout.astray_deg == pytest.approx(astray, abs=0.02)
    axes = plot_swivel(layout)
    assert any("NOT along the tooth" in words.get_text() for words in axes.texts)
    right = plot_swivel(swivel_of(case_of(PINION)))
    assert not any("NOT along the tooth" in words.get_text() for words in right.texts)


@pytest.mark.parametrize("path", JOBS, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_the_marks_lean_as_the_gear_does(path):
    case = case_of(path)
    layout = witness_of(case)
    wanted, predicted = layout.marks
    assert wanted.count == predicted.count == case.job.work.teeth
    for marks, lines in zip(layout.marks, layout.lines, strict=True):
        for line in lines:
            assert lean_deg(line) == pytest.approx(marks.signed_lean_deg, abs=1e-6)
    # A worm wheel is only touched at mid-face, where the mark leans as the hob's thread does.
    near = 1.0 if case.job.work.kind == "worm wheel" else 0.5
    assert predicted.signed_lean_deg == pytest.approx(wanted.signed_lean_deg, abs=near)


@pytest.mark.parametrize("path", [*JOBS, SCENARIOS / "40-feed-gears-forgotten" / "job.toml"], ids=lambda p: f"{p.parent.name}-{p.stem}")
def test_the_arrows_and_words_of_a_train_are_those_of_its_rates(path, recorded):
    solution = case_of(path).solution
    layout = lay_out(solution)
    plot_train(solution, layout=layout)
    drawn = {(x, y): sign for (_, x, y, sign, _), _ in recorded["turning"]}
    for run in layout.runs:
        rate = solution.rates[run.part]
        if not run.slides:
            assert np.sign(drawn[run.arrow_x, run.y]) == (np.sign(rate) if rate else 0)
    for name, end in solution.train.ends.items():
        rate = solution.end_rate(name)
        said = layout.parts[end.part].lines
        assert (direction(name, 1 if rate > 0 else -1) in said) if rate else ("not driven" in said or "stands still" in said or "held" in said)
    arrows = [(start, tip) for (_, start, tip, _), _ in recorded["arrow"]]
    for run in layout.runs:
        rate = solution.rates[run.part]
        if run.slides:  # along its line, to the right for plus
            ways = [tip[0] - start[0] for start, tip in arrows if start[1] == tip[1] == run.y and run.x0 < tip[0] < run.x1 + 6]
            assert [np.sign(way) for way in ways] == ([np.sign(rate)] if rate else [])
        elif rate:  # across it, up for plus
            (way,) = [tip[1] - start[1] for start, tip in arrows if start[0] == tip[0] == run.arrow_x and min(start[1], tip[1]) < run.y < max(start[1], tip[1])]
            assert np.sign(way) == np.sign(rate)
    heads = [points for (_, points, _), options in recorded["shape"] if len(points) == 3]
    uprights = [u for u in layout.uprights if layout.links[u.link].on_path and layout.links[u.link].target is not None]
    links = {link.name: link for link in solution.train.links}
    uprights = [u for u in uprights if links[u.link].kind != "differential"]
    assert len(heads) == len(uprights)
    for (tip, tail, _), upright in zip(heads, uprights, strict=True):
        assert (tip[1] < tail[1]) is (layout.links[upright.link].target == upright.lower)


def test_an_idler_is_drawn_in_the_mesh_where_its_bracket_takes_it():
    def meshes(scenario, name):
        return idler_meshes(next(link for link in case_of(SCENARIOS / scenario).train.brackets if link.name == name))

    assert meshes("04-moon-wheel/job.toml", "differential gears") == (0,)
    assert meshes("03-no-differential/job.toml", "feed gears") == (1,)
    assert meshes("03-no-differential/job.toml", "index gears") == ()


# ---------------------------------------------------------------- brackets


@pytest.mark.parametrize(("link", "right"), BRACKETS[:6])
def test_the_arrows_of_a_bracket_are_drawn_as_they_are_laid_out(link, right, recorded):
    plot_bracket(link)
    lettering, _, _ = bracket_lettering(bracket_layout(link.mounted, link.bracket), (100, 95), link.mounted)
    assert lettering.turnings
    drawn = [(start, tip, options["bow"]) for (_, start, tip, _), options in recorded["arrow"]]
    assert len(drawn) == len(lettering.turnings)
    for (start, tip, bow), laid in zip(drawn, lettering.turnings, strict=True):
        assert (start, tip, bow) == (pytest.approx(laid.start), pytest.approx(laid.tip), pytest.approx(laid.bow))


@pytest.mark.parametrize(("link", "right"), BRACKETS)
def test_a_bracket_of_a_right_set_up_shows_no_collision(link, right):
    layout = bracket_layout(link.mounted, link.bracket)
    if right:
        assert layout.refusal == ""
        assert layout.closes
    assert bool(layout.collisions) <= bool(layout.refusal)


teeth = st.integers(15, 90)


@given(
    st.builds(
        Bracket,
        module=st.just(2),
        centres=st.none() | st.integers(60, 150),
        clearance=st.none() | st.integers(5, 20),
        driving_collar=st.none() | st.integers(10, 40),
        stud_collar=st.none() | st.integers(10, 40),
        driven_collar=st.none() | st.integers(10, 40),
        gear_width=st.just(12),
        idler_width=st.sampled_from([12, 25]),
    ),
    st.lists(teeth, min_size=2, max_size=2) | st.lists(teeth, min_size=4, max_size=4),
    st.lists(teeth, max_size=1),
)
@settings(deadline=None, max_examples=150)
def test_a_bracket_is_drawn_with_the_collision_for_which_it_is_refused(bracket, gears, idlers):
    mounted = Mounted(tuple(gears), tuple(idlers))
    layout = bracket_layout(mounted, bracket)
    found = bracket.mount(mounted.gears, mounted.idlers)
    if isinstance(found, Mounting):
        assert layout.refusal == "" and not layout.collisions
        return
    assert layout.refusal == found.why
    _, _, under = bracket_lettering(layout, (100, 95), mounted)
    assert found.why in " ".join(line.text for line in under)
    if " fouls " in found.why:
        gear, what = found.why.partition(":")[0].split(" fouls ")
        names = {what}
        if what.startswith("gear "):  # the refusal has its teeth, the drawing its letter
            names = {wheel.called for wheel in layout.wheels if str(wheel.teeth) == what.removeprefix("gear ")}
        passed = [p for p in layout.passings if str(p.wheel.teeth) == gear and p.what in names]
        assert passed
        # Where a rule of thumb refuses what the bare axis would let pass, only words can say it.
        collar = {"the driving shaft": bracket.driving_collar, "the driven shaft": bracket.driven_collar}
        if layout.closes and (what.startswith("gear") or collar.get(what, bracket.stud_collar) is not None):
            assert set(passed) & set(layout.collisions)


def test_gears_that_just_clear_each_other_are_no_collision():
    """Axes 20.1/67.0 and 60/0: 78 mm apart, as far as the tips of 59 and 15 teeth reach together (own derivation)."""
    mounted = Mounted((15, 55, 59, 15), (15,))
    bracket = Bracket(module=2, centres=60, gear_width=12, idler_width=25)
    layout = bracket_layout(mounted, bracket)
    assert min(abs(passing.air) for passing in layout.passings) < 1e-9
    assert layout.refusal == "" and not layout.collisions


def test_an_idler_is_said_and_drawn_between_the_gears_that_it_turns():
    wide = Bracket(module=2, gear_width=12, idler_width=25)
    layout = bracket_layout(Mounted((20, 60, 20, 60), (70,)), wide)
    idler = next(wheel for wheel in layout.wheels if wheel.letter == "idler")
    assert idler_words(layout) == "IDLER 70 between a and b"
    assert idler.planes == (1, 2) and idler.plane == 1


@pytest.mark.parametrize(("link", "right"), BRACKETS)
def test_gears_in_mesh_turn_against_each_other_and_gears_on_one_stud_together(link, right):
    layout = bracket_layout(link.mounted, link.bracket)
    first, last = layout.wheels[0], layout.wheels[-1]
    assert first.turn == 1
    assert last.turn == link.mounted.size / abs(link.mounted.size) * (-1) ** (len(link.mounted.pairs) + len(link.mounted.idlers))
    for one, other in itertools.combinations(layout.wheels, 2):
        if one.axis == other.axis:
            assert one.turn == other.turn
        elif one.plane == other.plane and abs(one.axis - other.axis) == 1:
            assert one.turn == -other.turn
            assert math.dist((one.x, one.y), (other.x, other.y)) == pytest.approx(one.pitch_radius + other.pitch_radius)
    lettering, _, _ = bracket_lettering(layout, (100, 95))
    for arrow in lettering.turnings:
        wheel = arrow.wheel
        (xa, ya), (xb, yb) = ((x - wheel.x, y - wheel.y) for x, y in (arrow.start, arrow.tip))
        clockwise = xa * yb - ya * xb < 0
        assert clockwise is (wheel.turn > 0)
        # Bowed outwards, as the rim is: to the left of a way that goes clockwise.
        assert (arrow.bow > 0) is clockwise


def overlaps(boxes):
    air = 1e-6
    return [
        (one, other)
        for one, other in itertools.combinations(boxes, 2)
        if one[0] < other[2] - air and other[0] < one[2] - air and one[1] < other[3] - air and other[1] < one[3] - air
    ]


@pytest.mark.parametrize("paper", [(100, 95, True), (45, 45, False), (45, 80, True), (45, 35, False)], ids=str)
@pytest.mark.parametrize(("link", "right"), BRACKETS)
def test_no_label_of_a_bracket_lies_on_another_or_is_cut_by_the_edge(link, right, paper):
    width, height, with_words = paper
    layout = bracket_layout(link.mounted, link.bracket)
    lettering, _, _ = bracket_lettering(layout, (width, height), link.mounted if with_words else None, link.name)
    fit = lettering.fit
    assert len(lettering.tags) == len(layout.wheels)
    assert all(tag.points >= (9 if width > 90 else LEAST_POINTS) for tag in lettering.tags)
    groups = [[tag.box] for tag in lettering.tags] + [list(measure.boxes) for measure in lettering.measures]
    for one, other in itertools.combinations(groups, 2):
        assert not [pair for pair in overlaps([*one, *other]) if (pair[0] in one) != (pair[1] in one)]
    for x0, y0, x1, y1 in lettering.boxes:
        assert fit.left < x0 and x1 < fit.right and fit.bottom < y0 and y1 < fit.top
    # No rim runs through a gear's letter.
    for tag in lettering.tags:
        for wheel in layout.wheels:
            corners = [(x, y) for x in (tag.box[0], tag.box[2]) for y in (tag.box[1], tag.box[3])]
            inside = {math.dist(corner, (wheel.x, wheel.y)) < wheel.tip_radius for corner in corners}
            assert len(inside) == 1


@pytest.mark.parametrize("paper", [(100, 95, True), (45, 45, False)], ids=str)
@pytest.mark.parametrize(("link", "right"), BRACKETS)
def test_what_is_written_into_a_bracket_takes_no_more_paper_than_reckoned(link, right, paper):
    width, height, with_words = paper
    axes = look.new_axes(width, height)
    plot_bracket(link, axes, name=link.name, words=with_words)
    renderer = axes.figure.canvas.get_renderer()
    extents = [words.get_window_extent(renderer) for words in axes.texts if not words.get_rotation() and words.get_text()]
    assert not overlaps([extent.extents for extent in extents])
    for extent in extents:
        assert extent.x0 >= 0 and extent.x1 <= renderer.width and extent.y0 >= 0 and extent.y1 <= renderer.height


def test_a_set_that_is_refused_is_drawn_where_its_gears_would_stand():
    """Shafts 110 mm apart; 69 teeth over the stud of the idler of 31: the chain closes, but metal meets metal."""
    bracket = Bracket(module=2, centres=110, clearance=15)
    layout = bracket_layout(Mounted((25, 20, 69, 23), (31,)), bracket)
    assert layout.closes
    (clash,) = layout.collisions
    assert (clash.wheel.letter, clash.wheel.teeth, clash.what) == ("c", 69, "the idler's stud")
    assert clash.air == pytest.approx(51 - 71)
    assert layout.bodies[-1].x == pytest.approx(110)


def test_a_bare_axis_without_any_measure_is_told_in_words_alone():
    layout = bracket_layout(Mounted((20, 30, 90, 30)), {"module": Fraction(2)})
    assert layout.refusal == "" and not layout.collisions
    words = " ".join(line.text for line in bracket_lettering(layout, (100, 95), Mounted((20, 30, 90, 30)))[2])
    assert "over the bare axis of the driving shaft" in words


# ---------------------------------------------------------------- marks


@pytest.mark.parametrize("path", JOBS, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_a_right_hand_gear_has_marks_that_lean_to_the_right_in_drawing_and_words(path):
    case = case_of(path)
    layout = witness_of(case)
    hand = case.job.work.hand if case.job.work.is_helical else None
    for marks, lines in zip(layout.marks, layout.lines, strict=True):
        assert lines
        for (x0, y0), (x1, y1) in lines:
            rightward = (x1 - x0) * (y1 - y0)
            assert (rightward > 0) is (hand is Hand.RIGHT) and (rightward < 0) is (hand is Hand.LEFT)
        assert ("lean to the RIGHT" in marks.words[1]) is (hand is Hand.RIGHT)
        assert ("lean to the LEFT" in marks.words[1]) is (hand is Hand.LEFT)


def test_a_forgotten_idler_shows_in_the_picture():
    wanted, predicted = witness_of(case_of(SCENARIOS / "21-idler-left-out" / "job.toml")).marks
    assert wanted.hand is predicted.hand.other


def test_marks_that_do_not_close_are_drawn_where_the_simulated_blank_has_them():
    """50/3 spaces to a table turn. The middles of the strokes and the deepest places of the cut lie on one lattice."""
    case = case_of(SCENARIOS / "22-index-gears-swapped" / "job.toml")
    layout = witness_of(case)
    passes = layout.marks[1].passes
    assert layout.marks[1].count is None and passes.to_a_turn == Fraction(50, 3)
    whole = [s for s in layout.lines[1] if s[0][1] > 1e-9 and s[1][1] < layout.height - 1e-9]
    strokes = np.array([[(xa + xb) / 2, (ya + yb) / 2] for (xa, ya), (xb, yb) in whole])

    field = cut_blank(case).measured.field
    depth = field.uncut - field.radius
    row, column = np.nonzero(depth > 0.97 * depth.max())
    turn = column / field.columns + field.start[row] / (2 * math.pi)
    height = field.heights[row]
    inner = (height > 5) & (height < field.heights[-1] - 5)

    def agreement(turn, height, mirrored):
        """How well the places lie on the spiral lattice of the passes, 1 for wholly, whatever pass came first."""
        rise = passes.side * passes.rise * (-1 if mirrored else 1)
        tables = [np.round(turn - (height - first) / rise) for first in np.linspace(0, abs(rise), 41)]
        return max(abs(np.exp(2j * math.pi * float(passes.to_a_turn) * (turn - table)).mean()) for table in tables)

    drawn = (strokes[:, 0] / layout.circumference, strokes[:, 1])
    cut = (turn[inner], height[inner])
    assert agreement(*drawn, mirrored=False) > 0.99
    assert agreement(*cut, mirrored=False) > 0.9
    assert agreement(*drawn, mirrored=True) < 0.3 and agreement(*cut, mirrored=True) < 0.3


@pytest.mark.parametrize("hand", list(Hand))
@pytest.mark.parametrize("up", [True, False])
def test_the_next_table_turn_falls_to_the_side_that_is_said(hand, up):
    """A right-hand hob drives the work so that the next mark falls to the right of the one before."""
    hob = HobData(Fraction(5, 2), hand=hand, diameter=Fraction(70), lead_angle_deg=Fraction(2))
    rates = Rates(Fraction(-hand.value * 3, 50), Fraction(3 if up else -3, 25), Fraction(0), Fraction(0))
    swivel = hand.value * 2.0
    marks = predicted_marks(PLAIN, predict(rates, hob, swivel), hob, swivel)
    passes = marks.passes
    assert passes.miss == Fraction(hand.value, 3)
    assert ("RIGHT" if hand is Hand.RIGHT else "LEFT") in marks.words[1] and "16 2/3 marks" in marks.words[1]
    assert "50 in all" in marks.words[1]
    assert passes.rise == (2 if up else -2)
    assert passes.lean_deg == pytest.approx(0)


def test_an_unsteady_count_claims_no_marks_where_the_hob_is_not_known():
    case = case_of(SCENARIOS / "22-index-gears-swapped" / "job.toml")
    marks = predicted_marks(case.job.work, case.outcome)
    assert marks.count is None and marks.passes is None
    assert "16 2/3 marks in a turn of the table" in marks.words[1]


def test_the_touches_of_a_head_that_is_set_wrong_lie_across_the_marks_that_they_make():
    case = case_of(SCENARIOS / "25-head-wrong-way" / "job.toml")
    layout = witness_of(case)
    wanted, predicted = layout.marks
    assert predicted.count == wanted.count and predicted.hand is wanted.hand
    contact = lean_deg(swivel_of(case).contact)
    whole = [s for s in layout.lines[1] if s[0][1] > 1e-9 and s[1][1] < layout.height - 1e-9 and s[1][0] < layout.width - 1e-9 and s[0][0] > 1e-9]
    assert whole and all(lean_deg(segment) == pytest.approx(contact, abs=1e-6) for segment in whole)
    # Their middles run along the teeth: each lies on a wanted mark, if at another place along it.
    slope = math.tan(math.radians(wanted.signed_lean_deg))
    for (xa, ya), (xb, yb) in whole:
        foot = (xa + xb) / 2 - slope * (ya + yb) / 2
        assert (foot / wanted.pitch) % 1 == pytest.approx(0.5, abs=0.02)


def test_a_table_against_the_hob_leaves_no_marks_and_wanted_ones_are_shown_under_wrong_ones():
    against = witness_of(case_of(SCENARIOS / "34-index-idler-forgotten" / "job.toml"))
    assert against.lines[1] == () and "against the hob" in against.marks[1].words[1] and against.marks[1].cut_away
    locked = witness_of(case_of(SCENARIOS / "30-brake-and-clutch" / "job.toml")).marks[1]
    assert locked.count is None and not locked.cut_away
    wrong = witness_of(case_of(SCENARIOS / "21-idler-left-out" / "job.toml"))
    assert wrong.ghosts(1) == wrong.lines[0] and wrong.ghosts(0) == ()
    right = witness_of(case_of(PINION))
    assert right.ghosts(1) == ()


@pytest.mark.parametrize("path", [PINION, SCENARIOS / "11-thunder-run-pinion" / "job.toml"], ids=lambda p: p.parent.name)
def test_the_slide_of_the_motion_chart_goes_the_way_that_the_drive_takes_it(path):
    case = case_of(path)
    (phase,) = motion_of(case).named("cut")
    assert (phase.per_turn.axial > 0) is (case.solution.end_rate("axial") > 0)


def test_all_pictures_are_drawn_and_none_is_left_half_written(tmp_path, capsys):
    assert set(NAMES) == set(PICTURES)
    assert main(["show", str(PINION), "--what", "all", "--out", str(tmp_path / "p.png")]) == 0
    assert {path.name for path in tmp_path.iterdir()} >= {f"p-{name}.png" for name in NAMES}
    assert main(["show", str(PINION), "--out", str(tmp_path / "p.doc")]) == 2
    assert ".png" in capsys.readouterr().err
    assert not (tmp_path / "p.doc").exists()


def test_what_can_not_be_drawn_is_said_in_a_line(capsys):
    locked = next(SCENARIOS.glob("29-*/job.toml"))
    assert main(["show", str(locked), "--what", "flank", "--out", "unused.png"]) == 2
    said = capsys.readouterr().err
    assert "must all move" in said
    assert "Traceback" not in said


WEXCOMBE = Path(__file__).parents[1] / "cases" / "wexcombe-pair.toml"


def said_in(what, path):
    """All words of a job's picture."""
    job = read_job(path)
    figure = PICTURES[what](Case.of(job, job.setup))
    words = [text.get_text() for text in figure.findobj(Text)]
    return " ".join(" ".join(words).split())


@pytest.mark.parametrize("what", ["train", "bracket", "motion", "flank"])
def test_the_pictures_of_an_inch_job_are_in_inches(what):
    """One inch side and one metric side: a dial in thousandths can't be set by millimetres."""
    inch, metric = said_in(what, WEXCOMBE), said_in(what, SCENARIOS / "01-fly-winch-pair" / "pinion.toml")
    assert not re.search(r"\d (mm|µm)\b|mm/min|, mm\b|, µm", inch)
    assert not re.search(r"\d in\b|in/min|, in\b", metric)
    assert re.search(r"\bin\b", inch)


def test_a_slide_s_places_in_inches_are_told_to_the_tenth_of_a_thousandth():
    # By hand: 2.25 / 20 = 0.1125 in of depth; the face of 3/8 in is passed by at least as much as the approach.
    said = said_in("motion", WEXCOMBE)
    assert "0.1125" in said
    assert "0.0000" in said


@pytest.mark.parametrize("what", ["train", "swivel", "witness", "motion", "flank"])
def test_on_a_level_machine_a_picture_speaks_its_words_and_on_an_upright_one_the_frame_s(what):
    level, upright = said_in(what, WEXCOMBE), said_in(what, SCENARIOS / "01-fly-winch-pair" / "pinion.toml")
    assert re.search("towards the (tail|head)stock", level)
    assert not re.search(r"lower face|\+ up\b|\bseen from behind the hob$", level)
    assert "stock" not in upright


def test_the_hob_s_own_words_for_its_ways_are_used():
    assert "teeth passing towards the headstock" in said_in("train", WEXCOMBE)
    assert "teeth passing towards the tailstock" in said_in("motion", WEXCOMBE).replace("\n", " ")


def test_marks_that_meet_after_two_table_turns_are_counted_as_they_stand_on_the_blank():
    """Half way between two counts every second turn's marks fall together: twice as many, at half the pitch."""
    text = (SCENARIOS / "02-left-hand-hob" / "job.toml").read_text()
    half = text.replace("gears = [20, 43, 36, 40]", "gears = [40, 87, 36, 40]")
    assert half != text
    job = read_job_text(half)
    case = Case.of(job, job.setup)
    assert case.outcome.real_teeth.denominator == 2
    _, predicted = witness_of(case).marks
    assert predicted.count == case.outcome.real_teeth.numerator
    assert predicted.passes is not None
    wanted, drawn = witness_of(case).lines
    assert len(drawn) > len(wanted)


@pytest.mark.parametrize("other", [(1, 0, 2, 1), (-1, 0, 0, 1), (0, 1, 1, 2), (0, -1, 1, 0)])
def test_boxes_that_only_touch_do_not_meet_and_those_that_overlap_do(other):
    box = (0, 0, 1, 1)
    assert not boxes_meet(box, other, 0)
    assert boxes_meet(box, other, 0.001)
    assert boxes_meet(box, (0.25, 0.25, 0.75, 0.75), 0)


@pytest.mark.parametrize(("order", "words"), [("08-inch-winch", "belt 6/12 in"), ("21-idler-left-out", "belt 140/280")])
def test_pulleys_stand_in_the_units_of_the_job_and_sprockets_in_teeth(order, words):
    case = Case.of(read_job(SCENARIOS / order / "job.toml"))
    lines = {link.name: link_lines(link, Shop.of(case)) for link in case.train.links}
    assert lines["motor belt"] == (words,)
    chained = Chain("rapid", "a", "b", (Fraction(19), Fraction(57)), toothed=True)
    assert link_lines(chained, Shop("in")) == link_lines(chained, Shop()) == ("chain 19/57",)
