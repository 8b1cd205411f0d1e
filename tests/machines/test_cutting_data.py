"""The table of cutting data that ships, and tables that must be refused."""

from __future__ import annotations

from pathlib import Path

import pytest
from handlead.kinematics import cutdata
from handlead.kinematics.gear import Gear
from handlead.machines.cutting_data import SHIPPED, CuttingDataError, read_cutting_data, shipped_cutting_data


def test_every_pairing_in_the_shipped_table_gives_a_proposal() -> None:
    data = shipped_cutting_data()
    for speed in data.speeds:
        for hob in data.hobs:
            for starts in data.starts:
                for cut in cutdata.CUTS:
                    job = cutdata.Job(Gear(40, 2), speed.material, hob.hob_material, 80, starts.starts, cut)
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
