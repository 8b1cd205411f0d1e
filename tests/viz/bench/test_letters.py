"""The page calls the gears of a loose pair as the rule and the sheet do."""

from pathlib import Path

import handlead.scenarios
from handlead.machines.job_files.job_file import read_job
from handlead.machines.setups.case import Case
from handlead.viz.bench_desk.choices import offer
from handlead.viz.bench_desk.desk import open_desk
from handlead.viz.bench_desk.doing import do
from handlead.viz.bench_drawn.drawings import bracket_view
from handlead.viz.bench_files.shelf import Shelf

BELL = Path(handlead.scenarios.__file__).parent / "14-bell-cam-wheel" / "job.toml"


def test_a_tapped_gear_of_a_loose_pair_is_e_or_f(tmp_path):
    case = Case.of(read_job(BELL))
    link = next(one for one in case.train.brackets if one.name == "outer index pair")
    view = bracket_view(link, "mm", case.letters(link.name))
    assert {(one.place, one.label) for one in view.circles} == {("0", "e 50"), ("1", "f 34")}
    assert offer(case, link.name, "1").what == "gear f in outer index pair"
    assert offer(case, "inner index gears", "1").what == "gear b in inner index gears"
    assert offer(case, link.name, "idler 0").what == "idler in outer index pair"


def test_what_was_changed_in_a_loose_pair_is_noted_by_its_letter(tmp_path):
    (tmp_path / "bell.toml").write_text(BELL.read_text())
    desk = open_desk(Shelf(tmp_path), "bell.toml")
    tapped = {"do": "gear", "bracket": "outer index pair", "place": "0", "teeth": 51, "digest": desk.digest}
    done = do(desk, tapped)
    assert done.versions.all[-1].what == "outer index pair, gear e: 51"
