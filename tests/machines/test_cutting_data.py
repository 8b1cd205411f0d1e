"""The table of cutting data that ships, and tables that must be refused."""

from __future__ import annotations

import itertools
from pathlib import Path

import pytest
from handlead.kinematics.gears.gear import Gear
from handlead.kinematics.practice import cutdata
from handlead.machines.practice.cutting_data import (
    SHIPPED,
    CuttingDataError,
    read_cutting_data,
    shipped_cutting_data,
)


def test_every_pairing_in_the_shipped_table_gives_a_proposal() -> None:
    data = shipped_cutting_data()
    for speed in data.speeds:
        for hob in data.hobs:
            for starts in data.starts:
                for cut in cutdata.CUTS:
                    job = cutdata.CuttingQuestion(Gear(40, 2), speed.material, hob.hob_material, 80, starts.starts, cut)
                    found = cutdata.propose(data, job)
                    assert found.hob_rpm is not None and found.feed > 0


def test_every_row_shipped_says_where_it_comes_from() -> None:
    data = shipped_cutting_data()
    for rows in (data.speeds, data.hobs, data.feeds, data.starts):
        assert rows and all("common practice" in row.source for row in rows)


def test_harder_steel_is_cut_slower() -> None:
    # Common practice.
    steels = [row.speed_m_min for row in shipped_cutting_data().speeds if row.material.startswith("steel")]
    assert len(steels) == 3
    assert steels == sorted(steels, reverse=True)


@pytest.mark.parametrize("cut", cutdata.CUTS)
def test_the_feed_follows_the_module_down_to_the_finest_pitches(cut: str) -> None:
    data = shipped_cutting_data()
    modules = [0.2, 0.3, 0.5, 0.7, 0.99, 1, 1.5, 2, 3, 5, 6, 8, 10]
    ranges = [cutdata.feed_range(data, cut, module, 1) for module in modules]
    assert ranges == sorted(ranges)
    assert ranges[0][1] < ranges[-1][1] / 4
    # No step is a leap: what is usual on one side of it isn't out of question on the other.
    assert all(other[0] <= 1.5 * one[1] for one, other in itertools.pairwise(ranges))


def test_a_fine_pitch_has_a_starting_value() -> None:
    job = cutdata.CuttingQuestion(Gear(60, 0.5), "brass", "high-speed steel", 28)
    found = cutdata.propose(shipped_cutting_data(), job)
    assert 0.5 <= found.feed <= 1
    assert found.cutting_speed_m_min == pytest.approx(55)


def test_what_cuts_fastest_is_told_without_materials_that_must_be_named() -> None:
    data = shipped_cutting_data()
    named = {row.material for row in data.speeds if row.only_named}
    assert {"aluminium", "plastic", "brass"} == named
    for hob in data.hobs:
        material, speed = cutdata.greatest_speed(data, hob.hob_material)
        assert material not in named
        assert speed == max(
            row.speed_m_min[1] * hob.speed_factor[1] for row in data.speeds if not row.only_named
        )


def test_carbide_cuts_faster_than_steel_and_a_coat_helps_both() -> None:
    # Common practice.
    factors = {row.hob_material: row.speed_factor for row in shipped_cutting_data().hobs}
    assert factors["carbon tool steel"] < factors["high-speed steel"] < factors["coated high-speed steel"]
    assert factors["coated high-speed steel"] < factors["carbide"] < factors["coated carbide"]


def refused(tmp_path: Path, text: str) -> list[str]:
    file = tmp_path / "table.toml"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(CuttingDataError) as refusal:
        read_cutting_data(file)
    return str(refusal.value).splitlines()


@pytest.mark.parametrize(
    ("good", "bad", "words"),
    [
        ("speed_m_min = [25, 35]", "speed_m_min = [35, 25]", "the least must come first"),
        ("speed_m_min = [25, 35]", "speed_m_min = 25", "it must be two numbers"),
        ("speed_m_min = [25, 35]", "speed_m_min = [0, 35]", "it must be a number above 0"),
        ("speed_m_min = [25, 35]", "speed_m_min = [25, inf]", "it must be a number above 0"),
        ("speed_m_min = [25, 35]", "speed_n_min = [25, 35]", "[[speed]] row 1 speed_n_min: is no key"),
        ('cut     = "roughing"', 'cut     = "planing"', "one of roughing, finishing, radial"),
        ("starts       = 2", "starts       = 2.5", "it must be a whole number"),
        ("starts       = 2", "starts       = 1", "starts 1 stands there twice"),
        ('material    = "bronze"', 'material    = "cast iron"', "'cast iron' stands there twice"),
        ('material    = "bronze"', 'material    = ""', "it must be words"),
        ("only_named  = true", 'only_named  = "yes"', "it must be true or false"),
        ("[[hob]]", "[[hobs]]", "[[hob]]: is missing"),
        ("[[hob]]", "[hob", "this is not a TOML file"),
    ],
)
def test_a_broken_table_is_refused_with_its_place(tmp_path: Path, good: str, bad: str, words: str) -> None:
    text = SHIPPED.read_text(encoding="utf-8")
    assert good in text
    faults = refused(tmp_path, text.replace(good, bad))
    assert all(fault.startswith("table.toml: ") for fault in faults)
    assert any(words in fault for fault in faults)


def test_every_fault_is_reported_in_one_go(tmp_path: Path) -> None:
    text = SHIPPED.read_text(encoding="utf-8").replace("[25, 35]", "[35, 25]").replace("[1.5, 2.5]", "[2]")
    assert len(refused(tmp_path, text)) == 2


def test_a_missing_file_is_the_callers_to_explain(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        read_cutting_data(tmp_path / "none.toml")
