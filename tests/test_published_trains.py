"""Trains and set-ups that others have worked out: `published/trains.toml`, `published/outcomes.toml`."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterable, Mapping
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from handlead.kinematics.frame.motion import Rates
from handlead.kinematics.frame.words import Feed, Hand, Sense
from handlead.kinematics.law.outcome import Outcome, predict
from handlead.kinematics.links.link import Link
from handlead.kinematics.links.links import BevelGears, Brake, Clutch, Differential, Ratio, Screw, WormGear
from handlead.kinematics.train.solution import hob_rates, solve
from handlead.kinematics.train.train import Drive, End, Train
from handlead.kinematics.work.requirement import HobData

FOLDER = Path(__file__).with_name("published")
HOW_USED = {"read", "from memory", "own derivation"}
GAMMA_DEG = Fraction(2)


def table(name: str) -> dict[str, Any]:
    return tomllib.loads((FOLDER / name).read_text(), parse_float=Decimal)


TRAINS = table("trains.toml")["train"]
OUTCOMES = table("outcomes.toml")


def entries() -> list[dict[str, Any]]:
    return [*TRAINS, *OUTCOMES["setup"], *OUTCOMES["sign"], *OUTCOMES["turns"]]


def test_every_value_has_a_source_and_says_how_it_was_used():
    for entry in entries():
        assert entry["source"].strip()
        assert entry["used"] in HOW_USED


# Epicyclic trains


def link(number: int, row: Mapping[str, Any], brackets: Mapping[str, Fraction]) -> Link:
    name = f"{row['kind']} {number}"
    match row["kind"]:
        case "mesh on arm":
            driver, driven = row["teeth"]
            size = Fraction(driver, driven) * (1 if row.get("internal") else -1)
            return Differential(name, tuple(row["wheels"]), row["arm"], size)
        case "differential":
            return Differential(name, tuple(row["suns"]), row["carrier"], Fraction(row["sun_ratio"]))
        case "bevel gears":
            return BevelGears(name, row["from"], row["to"], tuple(row["teeth"]), Sense[row["sense"].upper()])
        case "worm gear":
            sense = Sense[row["sense"].upper()]
            return WormGear(name, row["from"], row["to"], row["starts"], row["teeth"], sense)
        case "clutch":
            return Clutch(name, row["from"], row["to"])
        case "ratio":
            return Ratio(name, row["from"], row["to"], Fraction(row["value"]))
        case "bracket":
            return Ratio(name, row["from"], row["to"], brackets[row["name"]])
        case "slide":
            return Screw(name, row["from"], "axial slide", Fraction(row["lead"]), Sense.SAME)
    raise AssertionError(f"no such kind: {row['kind']}")


def links(rows: Iterable[Mapping[str, Any]], brackets: Mapping[str, Fraction] | None = None) -> list[Link]:
    return [link(number, row, brackets or {}) for number, row in enumerate(rows)]


@pytest.mark.parametrize("row", TRAINS, ids=lambda row: row["name"])
def test_a_published_train_turns_as_printed(row):
    given = {part: Fraction(rate) for part, rate in row["given"].items()}
    clock = [
        Ratio(f"clock {part}", "clock", part, rate) if rate else Brake(f"held {part}", part)
        for part, rate in given.items()
    ]
    chain = (*links(row["links"]), *clock)
    parts = sorted({part for one in chain for part in one.ports})
    train = Train(dict.fromkeys(parts, ""), {}, chain, {}, {"clock": Drive("clock")})
    rates = solve(train, "clock").rates
    assert {part: rates[part] for part in row["expected"]} == {
        part: Fraction(rate) for part, rate in row["expected"].items()
    }
    for seen in row.get("relative", []):
        assert rates[seen["of"]] - rates[seen["seen_from"]] == Fraction(seen["rate"])


# Set-ups


def ratio(written: Any) -> Fraction:
    """A bracket's ratio, as a number, as a product in words, or from its gears."""
    if isinstance(written, list):
        gears = [Fraction(gear) for gear in written]
        return math.prod(gears[0::2], start=Fraction(1)) / math.prod(gears[1::2], start=Fraction(1))
    return math.prod((Fraction(factor) for factor in str(written).split("*")), start=Fraction(1))


def train_of(machine: Mapping[str, Any], brackets: Mapping[str, Fraction]) -> Train:
    chain = links(machine["links"], brackets)
    parts = sorted({part for one in chain for part in one.ports} - {"axial slide"})
    ends = {"hob": End("hob"), "table": End("table"), "axial": End("axial slide")}
    held = (
        [Brake("carrier at rest", "carrier")] if "carrier" in parts and not brackets["differential"] else []
    )
    chain = [one for one in chain if not (isinstance(one, Ratio) and one.value == 0)]
    return Train(dict.fromkeys(parts, ""), {"axial slide": ""}, (*chain, *held), ends, {"main": Drive("hob")})


def run(setup: Mapping[str, Any]) -> tuple[Rates, Outcome]:
    brackets = {name: ratio(setup.get(name, 0)) for name in ("index", "feed", "differential")}
    # A hob's right hand turns the table against the frame's positive: "on" is that way.
    rates = hob_rates(solve(train_of(OUTCOMES["machines"][setup["machine"]], brackets), "main"))
    assert rates is not None
    hob = HobData(Fraction(setup.get("module", 2)), setup.get("starts", 1), Hand.RIGHT, GAMMA_DEG)
    swivel = float(GAMMA_DEG) - float(setup.get("suits_deg", 0))
    return rates, predict(rates, hob, swivel)


def half_of_the_last_digit(value: Decimal) -> float:
    exponent = value.as_tuple().exponent
    assert isinstance(exponent, int)
    return 0.5000001 * 10.0**exponent


def is_printed(found: float, printed: Any) -> bool:
    value = Decimal(printed)
    return abs(found - float(value)) <= half_of_the_last_digit(value)


def check(key: str, expected: Any, rates: Rates, outcome: Outcome, expect: Mapping[str, Any]) -> bool:
    match key:
        case "hob_per_table":
            return 1 / abs(rates.table) == Fraction(expected)
        case "teeth":
            return outcome.teeth == expected
        case "hand":
            return (outcome.hand.word if outcome.hand else "none") == expected
        case "steady":
            return outcome.is_steady is expected
        case "feed_per_table_turn":
            return outcome.sliding_feed == Fraction(expected)
        case "lead":
            return outcome.lead == Fraction(expected)
        case "axial_pitch":
            return outcome.lead / outcome.teeth == Fraction(expected)
        case "axial_pitch_mm":
            return is_printed(outcome.lead_mm / outcome.teeth, expected)
        case "lead_mm":
            return abs(outcome.lead_mm - float(expected)) <= float(expect["lead_within"])
        case "lead_in":
            return is_printed(outcome.lead_mm / 25.4, expected)
        case "helix_deg":
            return is_printed(outcome.helix_angle_deg, expected)
        case "not_helix_deg":
            return not is_printed(outcome.helix_angle_deg, expected)
        case "swivel_error_deg":
            return is_printed(outcome.swivel_error_deg, expected)
        case "lead_off":
            wanted = math.pi * float(expect["module"]) * outcome.teeth
            wanted /= math.sin(math.radians(float(expect["helix_wanted_deg"])))
            return is_printed(outcome.lead_mm / wanted - 1, expected)
        case "lead_within" | "helix_wanted_deg" | "module":
            return True
    raise AssertionError(f"no such value: {key}")


@pytest.mark.parametrize("setup", OUTCOMES["setup"], ids=lambda setup: setup["what"])
def test_a_published_set_up_cuts_what_is_printed(setup):
    rates, outcome = run(setup)
    expect = setup["expect"] | {"module": setup.get("module", 2)}
    wrong = [key for key, value in expect.items() if not check(key, value, rates, outcome, expect)]
    assert not wrong, outcome
    assert outcome.feed is (Feed.CONVENTIONAL if setup.get("slide") == "up" else Feed.CLIMB)


# The sign rule


def signed_case(hob_moves: int, hob: int, gear: int, slide: int, eps: int) -> Outcome:
    """A gear of 40 teeth and lead 1000 mm cut as a row of the sign table says."""
    teeth, feed, lead = 40, Fraction(3), Fraction(1000)
    turns = teeth + eps * feed * teeth / lead
    # Seen from above: teeth moving down, hob right-hand, table counter-clockwise; each turned about, it turns about.
    sense = -hob_moves * hob
    rates = Rates(table=Fraction(sense, hob_moves) / turns, axial=Fraction(slide, hob_moves) * feed / turns)
    data = HobData(Fraction(2), 1, Hand(hob), GAMMA_DEG)
    beta = math.degrees(math.asin(math.pi * 2 * teeth / lead))
    return predict(rates, data, hob * float(GAMMA_DEG) - gear * beta)


@pytest.mark.parametrize("row", [row for entry in OUTCOMES["sign"] for row in entry["rows"]])
def test_a_row_of_the_sign_table_cuts_that_hand_by_that_feed(row):
    outcome = signed_case(
        -1, Hand[row["hob"].upper()].value, Hand[row["gear"].upper()].value,
        1 if row["slide"] == "up" else -1, row["eps"],
    )  # fmt: skip
    assert (outcome.teeth, outcome.hand, outcome.lead) == (40, Hand[row["gear"].upper()], 1000)
    assert outcome.feed is Feed(row["feed"])
    assert outcome.swivel_error_deg == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize("hob_moves", [1, -1])
@pytest.mark.parametrize("hob", [1, -1])
@pytest.mark.parametrize("gear", [1, -1])
@pytest.mark.parametrize("slide", [1, -1])
def test_all_sixteen_cases_of_the_sign_rule_hold(hob_moves, hob, gear, slide):
    """Source: conventional feed, like hands: the table gains; climb or unlike hands turn that about."""
    climb = slide != hob_moves
    eps = -1 * (-1 if climb else 1) * (1 if hob == gear else -1)
    outcome = signed_case(hob_moves, hob, gear, slide, eps)
    assert (outcome.teeth, outcome.hand, outcome.lead) == (40, Hand(gear), 1000)
    assert outcome.feed is (Feed.CLIMB if climb else Feed.CONVENTIONAL)
    assert not outcome.runs_against_hob


@pytest.mark.parametrize("row", OUTCOMES["turns"], ids=lambda row: row["what"])
@pytest.mark.parametrize("gains", [True, False])
def test_the_printed_turns_of_the_hob_give_the_helix(row, gains):
    turns = Fraction(row["table_gains"] if gains else row["table_loses"])
    # By climb, right-hand hob: the table loses on right-hand work.
    gear = Hand.LEFT if gains else Hand.RIGHT
    rates = Rates(table=-1 / turns, axial=-Fraction(row["feed"]) / turns)
    hob = HobData(Fraction(row["module"]), 1, Hand.RIGHT, GAMMA_DEG)
    outcome = predict(rates, hob, float(GAMMA_DEG) - gear.value * float(row["helix_deg"]))
    assert (outcome.teeth, outcome.hand) == (row["teeth"], gear)
    assert outcome.helix_angle_deg == pytest.approx(float(row["helix_deg"]), abs=1e-6)
