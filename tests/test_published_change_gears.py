"""Change gears that others have printed, or found by complete enumeration: `published/change_gears.toml`."""

from __future__ import annotations

import math
import tomllib
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from handlead.kinematics.brackets.bracket import Bracket
from handlead.kinematics.brackets.mounting import Mounting
from handlead.kinematics.frame.exact import PI, Ratio, sine
from handlead.kinematics.links.mounted import Mounted
from handlead.kinematics.search.change_gears import nearest_sets
from handlead.kinematics.search.ratios import relative_error

TABLE = tomllib.loads(Path(__file__).with_name("published").joinpath("change_gears.toml").read_text("utf-8"))
RULE = Bracket(clearance=Fraction(15))


def printed(text: str, value: float) -> None:
    """Assert that `value` is what is printed, to the last digit printed."""
    digits = text.split("e")[0].lstrip("-").replace(".", "")
    assert f"{value:.{len(digits) - 1}e}" == f"{float(text):.{len(digits) - 1}e}"


def gives(gears: list[int]) -> Fraction:
    return Mounted(tuple(gears)).size


def test_every_row_says_how_its_source_was_used() -> None:
    tables = [value for name, value in TABLE.items() if name != "drawers"]
    rows = [row for value in tables for row in (value if isinstance(value, list) else [value])]
    assert all(row["used"] in ("read", "from memory", "own derivation") for row in rows)


@pytest.mark.parametrize("row", TABLE["index"], ids=lambda row: f"{row['teeth']} teeth")
def test_index_gears_give_the_count_and_are_among_those_found(row: dict[str, Any]) -> None:
    wanted = Fraction(row["constant"] * row["starts"], row["teeth"])
    assert wanted == Fraction(row["ratio"]) == gives(row["gears"])
    drawer = sorted({*range(20, 101), *row["gears"]})
    found = nearest_sets(wanted, drawer, bracket=None, exact=True, limit=100_000)
    assert sorted(row["gears"][::2]) + sorted(row["gears"][1::2]) in [
        sorted(one.gears[::2]) + sorted(one.gears[1::2]) for one in found.sets
    ]


def test_a_ratio_beyond_reach_is_refused_in_those_words() -> None:
    row = TABLE["beyond_reach"]
    with pytest.raises(ValueError, match="beyond the reach of these gears"):
        nearest_sets(Fraction(row["ratio"]), range(row["least_tooth"], row["greatest_tooth"] + 1))


@pytest.mark.parametrize("drawer", ["A", "B", "C"])
@pytest.mark.parametrize(
    "row", TABLE["differential"], ids=lambda row: f"module {row['module']}, {row['beta']} deg"
)
def test_the_best_differential_gears_come_out_to_the_last_digit(row: dict[str, Any], drawer: str) -> None:
    target = 25 * sine(Fraction(row["beta"])) / (PI * Fraction(row["module"]))
    assert round(float(target), 9) == row["target"]
    best = nearest_sets(target, TABLE["drawers"][drawer], bracket=RULE, limit=1, different="ratio").sets[0]
    assert best.ratio == gives(row[drawer]["gears"])
    printed(row[drawer]["error"], best.error)
    assert isinstance(RULE.mount(row[drawer]["gears"]), Mounting)
    if drawer == "C":
        beta = math.degrees(math.asin(float(best.ratio) * math.pi * float(Fraction(row["module"])) / 25))
        assert beta == pytest.approx(row["beta_with_C"], abs=6e-7)


def target_of(row: dict[str, Any]) -> Ratio:
    if "ratio" in row:
        return Fraction(row["ratio"])
    value: Ratio = Fraction(row["numerator"])
    if "sine_of" in row:
        value = value * sine(Fraction(row["sine_of"]))
    if row.get("over_pi"):
        value = value / PI
    if row.get("times_pi"):
        value = value * PI
    if "over_sine_of" in row:
        value = value / sine(Fraction(row["over_sine_of"]))
    return value + Fraction(row.get("constant_part", 0))


@pytest.mark.parametrize("row", TABLE["nearest"], ids=lambda row: row["what"])
def test_the_nearest_set_is_the_one_listed_with_the_error_printed(row: dict[str, Any]) -> None:
    target = target_of(row)
    if "target" in row:
        assert round(float(target), 9) == row["target"]
    listed = gives(row["gears"])
    printed(row["error"], relative_error(listed, target))
    assert isinstance(RULE.mount(row["gears"]), Mounting)
    best = nearest_sets(target, TABLE["drawers"][row["drawer"]], bracket=RULE, limit=1).sets[0]
    assert best.ratio == listed


def test_published_feed_gears_have_the_error_worked_out_for_them() -> None:
    row = TABLE["published_feed"]
    # Axial pitch over 35 table turns, over the feed constant: pi / (12 sin 16) / 35 / 0.075.
    target = PI / (12 * sine(16)) / 35 / Fraction("0.075")
    assert float(target) == pytest.approx(row["target"], abs=6e-11)
    printed(row["error"], relative_error(gives(row["feed_gears"]), target))
    assert Fraction(row["index_ratio"]) == Fraction(24 * 35, 41 * 29)


def test_metric_thread_gears_are_found() -> None:
    row = TABLE["lathe"]
    found = nearest_sets(Fraction(row["ratio"]), [*range(20, 101, 5), 127], pairs=(1,), exact=True)
    assert [list(one.gears) for one in found.sets] == [row["gears"]]


@pytest.mark.parametrize("row", TABLE["mounting"], ids=lambda row: str(row["gears"]))
def test_the_trade_rule_passes_and_refuses_as_printed(row: dict[str, Any]) -> None:
    assert isinstance(RULE.mount(row["gears"]), Mounting) == row["goes_on"]
