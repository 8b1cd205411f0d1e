"""The report of `prove` on a terminal: at best, in simulation, in the job's own units, with the part's sizes."""

import json
import re
from pathlib import Path

import handlead.scenarios
import pytest
from handlead.machines.toml.units import deviation, height
from handlead.viz.command import main

ORDERS = Path(handlead.scenarios.__file__).parent


def said(capsys, order, *more):
    main(["prove", *more, str(ORDERS / order)])
    return " ".join(capsys.readouterr().out.split())


def test_as_wanted_and_a_class_are_said_of_the_simulation_and_at_best(capsys):
    out = said(capsys, "01-fly-winch-pair/pinion.toml")
    assert "AS WANTED, in simulation" in out
    assert re.search(r"class \d+ at best", out)
    assert "on a simulated blank, and at best" in out
    assert "Profile and helix are of 4 teeth, both flanks; pitch, runout and thickness of all" in out
    assert "Not measured: the profile near the root" in out


def test_without_a_cut_nothing_is_said_of_a_blank(capsys):
    assert "at best" not in said(capsys, "01-fly-winch-pair/pinion.toml", "--no-cut")


def test_not_as_wanted_is_said_without_any_softening(capsys):
    out = said(capsys, "21-idler-left-out/job.toml", "--no-cut")
    assert "NOT AS WANTED Fly winch" in out


@pytest.mark.parametrize(("order", "words"), [
    ("21-idler-left-out", "none to tell: wrong hand"),
    ("43-differential-left-in", "none to tell: they lean"),
    ("08-inch-winch", "+0.00000 in"),
])  # fmt: skip
def test_no_slope_is_told_of_teeth_that_lean_another_way(capsys, order, words):
    out = said(capsys, f"{order}/job.toml", "--no-cut")
    assert words in out
    assert not re.search(r"class \d+\) [+-][\d.]+ mm", out)


def test_marks_on_leaning_teeth_are_told_by_their_whole_height_alone(capsys):
    out = said(capsys, "01-fly-winch-pair/pinion.toml")
    assert "µm high" in out
    assert "facets" not in out
    main(["prove", "--json", str(ORDERS / "01-fly-winch-pair" / "pinion.toml")])
    cut = json.loads(capsys.readouterr().out)["cut"]
    assert cut["ripple_um"] > 1
    assert (cut["feed_mark_um"], cut["facet_um"]) == (None, None)


def test_marks_on_straight_teeth_are_told_apart(capsys):
    straight = next(
        path for path in sorted(ORDERS.glob("*/job.toml")) if 'kind   = "spur"' in path.read_text() and path.parent.name[0] == "0"
    )
    out = said(capsys, straight.relative_to(ORDERS))
    assert "facets" in out
    main(["prove", "--json", str(straight)])
    assert json.loads(capsys.readouterr().out)["cut"]["facet_um"] > 0


def test_an_inch_job_is_reported_in_inches_throughout(capsys):
    out = said(capsys, "08-inch-winch/job.toml")
    assert " mm" not in out
    assert "µm" not in out
    for words in ("4.7793 in across", "0.2812 in from the touch", "over 7/32 in balls 4.8371 in", "0.08 in per table turn", "±0.00051 in"):
        assert words in out


@pytest.mark.parametrize(
    ("order", "words"),
    [
        ("01-fly-winch-pair/pinion.toml", "blank 80.42 mm across, 36.00 mm wide depth 6.75 mm from the touch to measure span over 4 teeth 32.196 mm; over 5 mm balls 80.813 mm"),
        ("09-curtain-sprocket/job.toml", "over 8.51 mm pins 85.406 mm"),
        ("06-orchestra-lift/job.toml", "depth hob's axis 94.00 mm from the work's"),
    ],
)
def test_the_part_s_sizes_are_on_the_terminal(capsys, order, words):
    assert words in said(capsys, order, "--no-cut")


def test_deviations_and_heights_are_in_the_job_s_units():
    assert (deviation(14), deviation(14, "in")) == ("+14.0 µm", "+0.00055 in")
    assert (height(14, "mm"), height(14, "in")) == ("14.0 µm", "0.00055 in")
    assert deviation(-1e-9, "in") == "+0.00000 in"


def test_a_level_machine_is_reported_in_its_own_words(capsys):
    main(["prove", "--no-cut", str(Path(__file__).parents[1] / "cases" / "wexcombe-wrong-feed.toml")])
    out = " ".join(capsys.readouterr().out.split())
    assert "right-hand end" in out
    assert "towards the headstock" in out


def test_an_upright_machine_s_head_is_told_by_its_turn_alone(capsys):
    out = said(capsys, "01-fly-winch-pair/pinion.toml", "--no-cut")
    assert "right-hand end" not in out
    assert '"axial slide" goes up, climb' in out
