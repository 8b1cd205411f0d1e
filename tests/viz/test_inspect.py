"""``handlead inspect``: the answer in the shop's words, its chart, and what it says of files that can't be used."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
from handlead import machines, viz
from handlead.machines.inspecting.spectrum import spectrum_of
from handlead.viz.command import main
from handlead.viz.draw.inspection import SIZE, orders_shown, record_strip
from handlead.viz.look.paper import PAPERS
from handlead.viz.look.shop import Shop
from handlead.viz.pictures.inspection import write_charts

ORDERS = Path(__file__).parents[2] / "scenarios"
DRUM = ORDERS / "92-cloud-drum-wheel"
INCHES = ORDERS / "08-inch-winch" / "job.toml"
SPUR = ORDERS / "02-left-hand-hob" / "job.toml"


def lines(quantity, teeth, reading, unit="um", flank="right", more=""):
    head = f"# quantity: {quantity}\n# unit: {unit}\n# flank: {flank}\n# counted: clockwise\n{more}tooth, deviation\n"
    return head + "".join(f"{tooth}, {reading(tooth):.4f}\n" for tooth in teeth)


def wave(teeth, times, size, seed=1):
    """A wave so many times round, with noise of 0.3."""
    noise = np.random.default_rng(seed).normal(0, 0.3, teeth)
    return lambda tooth: size * math.cos(2 * math.pi * times * (tooth - 1) / teeth + 0.4) + noise[tooth - 1]


@pytest.fixture
def say(tmp_path, capsys):
    """Run the command on records given as texts; returns the status and what it printed."""

    def say(job, *texts, options=()):
        files = []
        for number, text in enumerate(texts):
            files.append(tmp_path / f"record-{number}.csv")
            files[-1].write_text(text, encoding="utf-8")
        status = main(["inspect", *options, str(job), *map(str, files)])
        out = capsys.readouterr()
        return status, " ".join(out.out.split()), out.err

    return say


@pytest.fixture(scope="module")
def drum():
    names = ("runout.csv", "pitch.csv", "helix-right.csv")
    return machines.inspect(machines.read_job(DRUM / "job.toml"), *(DRUM / name for name in names))


def test_the_part_is_named_with_its_size_on_the_flank_and_at_the_machine(capsys):
    assert main(["inspect", *map(str, (DRUM / "job.toml", DRUM / "runout.csv", DRUM / "helix-right.csv"))]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "slide screw, once a turn of the slide screw" in said
    assert "every 10.0 mm of the slide" in said
    assert "are left that no part explains" in said
    assert "as a dial reads over its turn" in said
    assert "Isolate and lock out" in said


def test_nothing_above_the_noise_is_said_and_ends_with_1(say):
    teeth = machines.read_job(SPUR).work.teeth
    status, said, _ = say(SPUR, lines("pitch cumulative", range(1, teeth + 1), wave(teeth, 1, 0.0)))
    assert status == 1
    assert "Nothing that comes back with a part of this set-up stands above the noise" in said


@pytest.mark.parametrize(("job", "unit", "shown"), [(INCHES, "tenths", " in on the flank"), (SPUR, "um", " µm on the flank")])
def test_sizes_are_in_the_units_of_the_job(say, job, unit, shown):
    teeth = machines.read_job(job).work.teeth
    status, said, _ = say(job, lines("runout", range(1, teeth + 1), wave(teeth, 1, 12), unit))
    assert status == 0
    assert "the blank on its arbor" in said
    assert shown in said
    assert ("µm" in said) is (job is SPUR)


def test_a_part_that_would_have_to_be_worse_than_is_met_with_is_not_looked_at_first(say):
    # Every third space with a coarse dial: a slow shaft in the feed fits as well as the blank, but would stray by degrees.
    readings = dict(zip(range(1, 36, 3), (0, 0.5, 1.5, 2, 2.25, 2, 1.5, 0.75, 0, -0.5, -0.5, -0.5), strict=True))
    _, said, _ = say(INCHES, lines("runout", readings, readings.__getitem__, "thou"))
    assert "Look first at: the blank on its arbor (" in said
    assert "These records can't tell it from: the blank standing askew: it runs out by" in said
    assert "would have to be worse than is met with: index worm, once a turn of the table" in said
    # From -0.5 to 2.25 thou in all.
    assert 0.0023 < float(said.partition("it runs out by ")[2].split()[0]) < 0.0031


def test_a_change_gear_that_cannot_be_told_from_what_turns_with_it_is_tried_on_another_shaft(say):
    job = machines.read_job(SPUR)
    mounted = job.setup.change["index gears"]
    teeth, worm = job.work.teeth, 72
    status, said, _ = say(SPUR, lines("pitch cumulative", range(1, teeth + 1), wave(teeth, worm % teeth, 3.0)))
    assert status == 0
    assert "can't tell it from" in said
    assert f"change gear of {mounted.gears[-1]} in index gears" in said
    assert f"comes {worm} times a turn of the table must be gone" in said


def test_what_a_dial_leaves_by_its_own_divisions_is_said(say):
    teeth = machines.read_job(SPUR).work.teeth
    text = lines("runout", range(1, teeth + 1, 3), lambda t: round(2 * math.cos(t / 9)), "divisions", more="# division: 0.01 mm\n")
    assert "The dial, read to whole divisions, leaves 2.9 µm by that alone" in say(SPUR, text)[1]


def test_json_has_all_that_is_printed_and_nothing_else_is(capsys):
    files = map(str, (DRUM / "job.toml", DRUM / "pitch.csv"))
    assert main(["inspect", "--json", *files]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["verdict"] == "explained"
    (record,) = found["records"]
    assert record["quantity"] == "pitch cumulative"
    assert record["left_um"] < record["before_um"]
    first = found["waves"][0]
    assert first["um"] > 10 * first["standard_error_um"]
    assert {"do", "then", "step", "per_table_turn", "um"} == first["to_prove"][0].keys()
    assert found["classes"]["measured"]["class"] > found["classes"]["without_all"]["class"]


@pytest.mark.parametrize("ending", [".png", ".pdf", ".svg"])
def test_the_chart_goes_into_a_file_and_of_more_records_into_more(tmp_path, drum, ending):
    named = write_charts(drum, tmp_path / f"chart{ending}")
    written = sorted(path.name for path in tmp_path.iterdir())
    assert sorted(name.name for name in named) == written
    assert len(written) == (1 if ending == ".pdf" else len(drum.records))


def test_the_command_names_the_charts_that_it_has_drawn(tmp_path, capsys):
    out = tmp_path / "chart.svg"
    assert main(["inspect", "--chart", str(out), "--json", *map(str, (DRUM / "job.toml", DRUM / "runout.csv"))]) == 0
    assert json.loads(capsys.readouterr().out)["charts"] == [str(out)]
    assert out.exists()


def test_a_chart_of_another_kind_is_refused_before_anything_is_reckoned(tmp_path, capsys):
    with pytest.raises(SystemExit) as ended:
        main(["inspect", "--chart", "chart.doc", str(DRUM / "job.toml"), str(DRUM / "pitch.csv")])
    assert ended.value.code == 2
    assert ".png, .pdf, .svg" in capsys.readouterr().err


def test_a_chart_that_cannot_be_written_ends_with_2_and_a_line(tmp_path, capsys):
    out = tmp_path / "no folder" / "chart.png"
    assert main(["inspect", "--chart", str(out), str(DRUM / "job.toml"), str(DRUM / "runout.csv")]) == 2
    assert "can't be written" in capsys.readouterr().err


def test_records_that_cannot_be_used_are_told_together_with_their_lines(say, capsys):
    status, said, err = say(SPUR, "# unit: ell\n", "# quantity: pitch\ntooth, deviation\n1, 2\n")
    assert (status, said) == (2, "")
    assert "record-0.csv:1: unit" in err
    assert "record-1.csv:1: quantity" in err


@pytest.mark.parametrize("json_too", [(), ("--json",)])
def test_a_job_without_a_set_up_is_refused(say, tmp_path, json_too):
    job = tmp_path / "job.toml"
    job.write_text(SPUR.read_text(encoding="utf-8").partition("[setup]")[0], encoding="utf-8")
    status, said, err = say(job, lines("runout", range(1, 20), wave(19, 1, 5)), options=json_too)
    assert status == 2
    assert "[setup]" in err
    assert bool(said) is bool(json_too)


def test_work_without_involutes_is_refused_plainly(say):
    job = ORDERS / "06-orchestra-lift" / "job.toml"
    status, _, err = say(job, lines("runout", range(1, 20), wave(19, 1, 5)))
    assert status == 2
    assert "the set-up cuts nothing to hold records against" in err


def test_curves_of_what_parts_left_and_what_is_left_make_up_the_record(drum):
    for number, record in enumerate(drum.records):
        made = sum((drum.shown(wave, number) for wave in drum.inspection.waves), drum.marks_shown(number))
        left = drum.inspection.records[number].left
        apart = record.readings.um - made - left
        plain = record.readings.plain()
        fitted = plain @ np.linalg.lstsq(plain, apart, rcond=None)[0]
        assert apart == pytest.approx(fitted, abs=1e-6)


def test_the_orders_of_what_was_found_stand_out_of_the_others(drum):
    for number in range(len(drum.records)):
        shown = orders_shown(spectrum_of(drum, number))
        assert shown == tuple(sorted(shown, key=lambda one: one.order))
        rest = [one.um for one in shown if one.wave is None]
        assert max(rest) < 1.3 * drum.smallest_um(number)
    helix = spectrum_of(drum, 2)
    assert max(helix, key=lambda one: one.um).names[0].startswith("slide screw")


def test_a_chart_fits_either_paper_and_its_words_keep_within_it(drum):
    for width, height in PAPERS.values():
        assert SIZE[0] <= width - 10
        assert SIZE[1] <= height - 10
    axes = viz.plot_inspection(drum, record=2)
    figure = axes.get_figure()
    figure.canvas.draw()
    renderer = figure.canvas.get_renderer()
    whole = figure.bbox
    from matplotlib.text import Text

    for words in figure.findobj(Text):
        box = words.get_window_extent(renderer)
        if words.get_text() and words.get_visible():
            assert whole.x0 - 1 <= box.x0 and box.x1 <= whole.x1 + 1, words.get_text()
            assert whole.y0 - 1 <= box.y0 and box.y1 <= whole.y1 + 1, words.get_text()


def test_traces_of_several_teeth_stand_one_behind_the_other(drum):
    strip = record_strip(drum.records[2], Shop())
    assert [name for _, name in strip.ticks] == ["tooth 1", "tooth 23", "tooth 45"]
    assert all(strip.x[one].max() < strip.x[other].min() for one, other in zip(strip.parts, strip.parts[1:], strict=False))


def test_a_record_that_is_not_there_cannot_be_drawn(drum):
    with pytest.raises(IndexError, match="there are 3"):
        viz.plot_inspection(drum, record=3)


def test_what_to_measure_next_is_said_and_once_measured_it_tells_the_parts_apart(say):
    teeth = machines.read_job(SPUR).work.teeth
    pitch = lines("pitch cumulative", range(1, teeth + 1), wave(teeth, 1, 12))
    _, said, _ = say(SPUR, pitch)
    told = said.partition("These records can't tell it from:")[2].partition("→")[0]
    assert "the blank standing askew" in told
    assert "index worm, once a turn of the table" in told
    asked = "→ Measure the runout at both ends of the face, with a ball in the spaces 2.5 mm from either: that tells them apart."
    assert asked in said
    # Next to no runout: then it was no blank that ran out so far.
    ends = [
        lines("runout", range(1, teeth + 1), wave(teeth, 1, 0.0, seed=10 + height), more=f"# height: {height}\n")
        for height in (10, -10)
    ]
    status, said, _ = say(SPUR, pitch, *ends)
    assert status == 0
    assert "Look first at: index worm, once a turn of the table" in said
    assert "10.0 mm below mid-face" in said
    assert "Measure the runout" not in said


def test_a_record_of_a_part_of_the_teeth_is_asked_whether_it_is_of_this_gear(say):
    teeth = machines.read_job(SPUR).work.teeth
    _, said, _ = say(SPUR, lines("runout", range(1, 21), wave(teeth, 1, 12)))
    assert f"From 21 to {teeth} of {teeth} none was read: is it this gear?" in said
    _, said, _ = say(SPUR, lines("runout", range(1, teeth + 1, 3), wave(teeth, 1, 12)))
    assert "is it this gear" not in said


@pytest.mark.parametrize(("order", "status"), [("33-gear-not-owned", 0), ("22-index-gears-swapped", 2)])
def test_a_set_up_that_is_not_as_wanted_is_asked_about(say, order, status):
    job = ORDERS / order / "job.toml"
    teeth = machines.read_job(job).work.teeth
    ended, said, err = say(job, lines("runout", range(1, teeth + 1), wave(teeth, 1, 12)))
    assert ended == status
    assert "set-up isn't as wanted" in said + err
    assert "cut with it?" in said + err


def test_a_checkers_xml_leads_to_the_same_part_as_lines_of_the_same_readings(tmp_path, capsys):
    rows = [line for line in (DRUM / "pitch.csv").read_text(encoding="utf-8").splitlines() if line[0].isdigit()]
    points = "".join("<point number='{}' value='{}'/>".format(*row.replace(",", ".").split("; ")) for row in rows)
    xml = tmp_path / "gear.xml"
    xml.write_text(
        f'<gear teeth="66" unit="um"><cumulative_pitch flank="right">{points}</cumulative_pitch><form>{"1 " * 9}</form></gear>',
        encoding="utf-8",
    )
    job = str(DRUM / "job.toml")
    lines_say = machines.inspect(machines.read_job(job), DRUM / "pitch.csv").as_json()
    assert main(["inspect", "--json", "--counted", "clockwise", job, str(xml)]) == 0
    out = capsys.readouterr()
    assert json.loads(out.out)["waves"] == lines_say["waves"]
    assert "9 numbers are left out" in out.err
    assert main(["inspect", "--json", job, str(xml)]) == 2
    assert "--counted" in capsys.readouterr().err


def test_it_is_said_where_at_the_machine_the_part_is(drum, capsys):
    assert main(["inspect", *map(str, (DRUM / "job.toml", DRUM / "helix-right.csv"))]) == 0
    assert "slide screw: in the column" in capsys.readouterr().out


def test_a_record_of_noughts_is_drawn_as_well(tmp_path, say):
    teeth = machines.read_job(SPUR).work.teeth
    options = ("--chart", str(tmp_path / "chart.png"))
    assert say(SPUR, lines("runout", range(1, teeth + 1), lambda _: 0.0), options=options)[0] == 1


def along(kind, places, unit="mm"):
    head = f"# quantity: {kind}\n# unit: um\n# lengths: {unit}\n# flank: left\n# counted: clockwise\n"
    column = "roll" if kind == "profile" else "height"
    return head + f"tooth, {column}, deviation\n" + "".join(f"1, {place:.3f}, {place % 0.7:.2f}\n" for place in places)


@pytest.mark.parametrize(("job", "unit", "told"), [(SPUR, "mm", " mm of roll"), (INCHES, "in", " in of roll")])
def test_a_profile_that_goes_beyond_the_flank_is_asked_about(say, job, unit, told):
    scale = 1.0 if unit == "mm" else 25.4
    _, said, _ = say(job, along("profile", [roll / scale for roll in range(40)], unit))
    assert told in said
    assert "is it this gear, and this unit?" in said


def test_a_helix_wider_than_the_face_is_asked_about_and_one_within_it_is_not(say):
    face = float(machines.read_job(SPUR).work.face_width)
    _, said, _ = say(SPUR, along("helix", np.linspace(0, 1.5 * face, 30)))
    assert "wider than its face" in said
    _, said, _ = say(SPUR, along("helix", np.linspace(0, 0.9 * face, 30)))
    assert "wider than its face" not in said
