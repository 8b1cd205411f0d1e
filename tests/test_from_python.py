"""The page for people who write Python says what is true: its lines run, and so does the sweep."""

from __future__ import annotations

import re
import runpy
from pathlib import Path

import matplotlib as mpl
import pytest

ROOT = Path(__file__).parents[1]
PAGE = ROOT / "machines" / "PYTHON.md"


def test_the_lines_of_the_page_run_in_their_order(monkeypatch, capsys):
    monkeypatch.chdir(ROOT)
    mpl.use("agg")
    scope: dict[str, object] = {}
    for block in re.findall(r"```python\n(.*?)```", PAGE.read_text(encoding="utf-8"), flags=re.DOTALL):
        exec(compile(block, str(PAGE), "exec"), scope)
    said = capsys.readouterr().out
    assert said.startswith("as wanted\n23 right ")
    assert "wrong-count" in said
    assert "nowhere.toml" in said


@pytest.mark.slow
def test_the_sweep_of_five_hundred_set_ups_finds_the_right_gears_first(monkeypatch, tmp_path, capsys):
    monkeypatch.chdir(tmp_path)
    mpl.use("agg")
    runpy.run_path(str(ROOT / "scenarios" / "sweep.py"), run_name="__main__")
    said = capsys.readouterr().out.splitlines()
    assert said[0].startswith("500 set-ups")
    assert "(44, 41, 50, 45)" in said[1]
    assert (tmp_path / "sweep.png").stat().st_size > 10_000
