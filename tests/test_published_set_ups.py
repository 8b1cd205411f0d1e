"""Whole set-ups that others have printed, solved as trains: `published/set_ups.toml`."""

from __future__ import annotations

import tomllib
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from handlead.kinematics.frame.words import Sense
from handlead.kinematics.links.links import Differential, GearPair, Screw, WormGear
from handlead.kinematics.links.mounted import ChangeGears, Mounted
from handlead.kinematics.train.solution import solve
from handlead.kinematics.train.train import Drive, End, Train

PATH = Path(__file__).with_name("published") / "set_ups.toml"
TABLE = tomllib.loads(PATH.read_text("utf-8"))
OUTCOMES = tomllib.loads(PATH.with_name("outcomes.toml").read_text("utf-8"))


def train(parts: list[str], slides: list[str], links: list[Any], hob: str, table: str) -> Train:
    ends = {"hob": End(hob), "table": End(table)}
    return Train(dict.fromkeys(parts, ""), dict.fromkeys(slides, ""), tuple(links), ends, {"main": Drive(hob)})


def dividing_head(gears: list[int], follows: bool) -> Train:
    """The crank is pulled round the plate; the worm turns by that and by what the plate itself turns."""
    worm = TABLE["dividing"]["worm"]
    # Two meshes and none turn the plate on, one turns it back: as many idlers as it takes.
    turned = len(gears) // 2 % 2 == 1
    idlers = (24,) if turned is follows else ()
    return train(
        ["pulled", "half plate", "worm", "spindle", "plate"],
        [],
        [
            # The worm goes by plate and pull together: a bevel differential, its carrier at half the plate's speed.
            Differential("crank", ("pulled", "worm"), "half plate"),
            WormGear("head", "worm", "spindle", 1, worm, Sense.OPPOSITE),
            ChangeGears("gears", "spindle", "plate", mounted=Mounted(tuple(gears), idlers)),
            GearPair("half", "plate", "half plate", (1, 2), sense=Sense.OPPOSITE),
        ],
        "pulled",
        "spindle",
    )


@pytest.mark.parametrize("row", TABLE["dividing"]["rows"], ids=lambda row: f"{row['divisions']} divisions")
def test_a_dividing_head_geared_to_its_plate_divides_as_the_table_prints(row):
    solution = solve(dividing_head(row["gears"], row["follows"]), "main")
    pulled = Fraction(row["holes"], row["circle"])
    spindle = solution.rates["spindle"]
    assert spindle is not None
    assert abs(spindle) * pulled == Fraction(1, row["divisions"])


@pytest.mark.parametrize("row", TABLE["milling"]["rows"], ids=lambda row: f"lead {row['lead_in']} in")
def test_a_table_geared_to_a_dividing_head_mills_the_printed_lead(row):
    given = TABLE["milling"]
    made = train(
        ["screw", "worm", "spindle"],
        ["table slide"],
        [
            ChangeGears("gears", "screw", "worm", mounted=Mounted(tuple(row["gears"]))),
            WormGear("head", "worm", "spindle", 1, given["worm"], Sense.SAME),
            Screw("table screw", "screw", "table slide", Fraction(254, 10) / given["threads_per_inch"], Sense.SAME),
        ],
        "screw",
        "spindle",
    )
    rates = solve(made, "main").rates
    assert rates["table slide"] is not None
    assert rates["spindle"] is not None
    assert abs(rates["table slide"] / rates["spindle"]) == row["lead_in"] * Fraction(254, 10)


def test_a_metric_thread_comes_true_from_an_inch_screw_through_127():
    given = TABLE["thread"]
    gears = Fraction(given["ratio"])
    made = train(
        ["spindle", "screw"],
        ["saddle"],
        [
            ChangeGears("gears", "spindle", "screw", mounted=Mounted((gears.numerator, gears.denominator))),
            Screw("lead screw", "screw", "saddle", Fraction(254, 10) / given["threads_per_inch"], Sense.SAME),
        ],
        "spindle",
        "screw",
    )
    travel = solve(made, "main").rates["saddle"]
    assert travel is not None
    assert abs(travel) == given["lead_mm"]


def test_ten_whole_set_ups_and_more_were_printed_by_others():
    hobbed = [row for row in OUTCOMES["setup"] if row["used"] == "read" and row["machine"] == "inch"]
    others = [*TABLE["dividing"]["rows"], *TABLE["milling"]["rows"], TABLE["thread"]]
    assert len(hobbed) >= 3
    assert len(hobbed) + len(others) >= 10
    for table in (TABLE["dividing"], TABLE["milling"], TABLE["thread"]):
        assert table["used"] in ("read", "from memory")
        assert table["source"].strip()
