"""Piles of orders that ship, surveyed, and held against what is known about them without the program."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import pytest
from handlead.machines.job_files.job_file import read_job
from handlead.machines.sequencing.day import order_of_the_day
from handlead.viz.command import main
from test_scenarios import SCENARIOS, at

PILES = sorted(path.parent for path in SCENARIOS.glob("*/pile"))


@pytest.mark.parametrize("folder", PILES, ids=lambda path: path.name)
def test_a_pile_comes_to_what_is_known_from_elsewhere(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    wanted: dict[str, Any] = tomllib.loads((folder / "expected.toml").read_text(encoding="utf-8"))
    assert main(["survey", str(folder / "pile"), "--gears-to-get", "--json"]) == wanted["exit"]
    found = json.loads(capsys.readouterr().out)
    for row in wanted["value"]:
        assert row["source"].strip()
        assert at(found, row["path"]) == row["value"]


def test_a_days_gears_are_those_that_its_story_tells() -> None:
    pile = next(folder for folder in PILES if folder.name.startswith("90")) / "pile"
    jobs = [read_job(pile / f"{name}.toml") for name in ("05-cloud-fan", "02-curtain-roller", "01-snow-drum", "06-thunder-lever")]
    (day,) = order_of_the_day([(job, job.machine) for job in jobs])
    assert day.is_proved
    assert (day.moved("index gears"), day.moved("feed gears")) == (6, 0)
