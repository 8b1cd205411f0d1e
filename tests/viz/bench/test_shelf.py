"""The shelf without a browser: what is found by which words, and an index that may be thrown away at any time."""

import shutil
import sqlite3

import pytest
from handlead import machines
from handlead.viz.bench_files.shelf import Shelf

from .conftest import SCENARIOS, copy_jobs


@pytest.fixture
def shelf(tmp_path):
    copy_jobs(tmp_path)
    text = (SCENARIOS / "08-inch-winch" / "job.toml").read_text()
    other = text.replace("teeth  = 35", "teeth  = 36").replace("Inch winch", "Gate hoist")
    (tmp_path / "hoist.toml").write_text(other.split("[setup]")[0])
    made = Shelf(tmp_path)
    assert made.refresh() == 0
    yield made
    made.close()


def names(shelf, words):
    return {one.name for one in shelf.find(words, "job")}


def test_jobs_are_found_by_words_count_size_lead_and_machine(shelf):
    winch = machines.read_job(shelf.folder / "08-inch-winch-job.toml")
    assert "08-inch-winch-job.toml" in names(shelf, "WINCH left") and "hoist.toml" not in names(shelf, "winch left")
    assert names(shelf, "36 teeth") == names(shelf, "z = 36") == {"hoist.toml"}
    assert names(shelf, "8 dp winch") == {"08-inch-winch-job.toml", "25-head-wrong-way-job.toml"}
    lead = float(winch.work.lead_mm)
    assert "08-inch-winch-job.toml" in names(shelf, f"lead {lead:.0f} mm") & names(shelf, f"lead {lead / 25.4:.1f} in")
    assert not names(shelf, f"lead {1.05 * lead:.0f} mm")
    same = {one.name for one in shelf.find("", "job") if one.machine == winch.machine.name}
    assert names(shelf, winch.machine.name) == same >= {"08-inch-winch-job.toml", "hoist.toml"}
    # A module isn't found by the beginning of another.
    assert names(shelf, "module 3") and not names(shelf, "module 3.0001")
    assert not names(shelf, "module 2.5") & names(shelf, "module 2")
    assert names(shelf, '"; drop table entry; --') == set()


def test_only_jobs_that_were_set_up_stand_beside_a_new_one_those_of_its_machine_first(shelf):
    copied = (shelf.folder / "08-inch-winch-job.toml").read_text().replace("teeth  = 35", "teeth  = 37")
    (shelf.folder / "near.toml").write_text(copied)
    shelf.refresh()
    other = (shelf.folder / "08-inch-winch-job.toml").read_text().replace("pellarn-4", "corvane-7")
    (shelf.folder / "nearer-elsewhere.toml").write_text(other.replace("teeth  = 35", "teeth  = 36"))
    shelf.refresh()
    found = shelf.alike(machines.read_job(shelf.folder / "hoist.toml"), "hoist.toml")
    told = [one.name for one in found if "head" not in one.name]
    assert told == ["08-inch-winch-job.toml", "near.toml", "nearer-elsewhere.toml"]
    assert all(one.gears for one in found)


def damaged(place):
    place.write_bytes(b"no index at all" * 400)


def foreign(place):
    place.unlink()
    base = sqlite3.connect(place)
    base.execute("CREATE TABLE entry (something TEXT)")
    base.commit()
    base.close()


def gone(place):
    place.unlink()


def cut_off(place):
    place.write_bytes(place.read_bytes()[:5000])


@pytest.mark.parametrize("spoil", [damaged, foreign, gone, cut_off])
@pytest.mark.parametrize("running", [False, True], ids=["between two runs", "while it runs"])
def test_an_index_that_is_not_to_be_trusted_is_made_anew(shelf, spoil, running):
    before = names(shelf, "")
    if not running:
        shelf.close()
    for end in ("-wal", "-shm"):
        shelf.index.place.with_name(shelf.index.place.name + end).unlink(missing_ok=True)
    spoil(shelf.index.place)
    again = shelf if running else Shelf(shelf.folder)
    again.refresh()
    assert names(again, "") == before and names(again, "36 teeth") == {"hoist.toml"}
    again.close()
    # And it is on the disk again, for the next run.
    third = Shelf(shelf.folder)
    assert third.refresh() == 0
    assert names(third, "36 teeth") == {"hoist.toml"}
    third.close()


def test_a_folder_that_cannot_be_written_is_searched_all_the_same(tmp_path):
    copy_jobs(tmp_path)
    (tmp_path / ".bench").write_text("a file where the folder should be")
    shelf = Shelf(tmp_path)
    shelf.refresh()
    assert names(shelf, "winch")
    shelf.close()


def test_what_is_changed_or_taken_away_is_found_as_it_is_now(shelf):
    (shelf.folder / "hoist.toml").unlink()
    text = (shelf.folder / "08-inch-winch-job.toml").read_text()
    (shelf.folder / "08-inch-winch-job.toml").write_text(text.replace("teeth  = 35", "teeth  = 135"))
    shutil.copy(shelf.folder / "08-inch-winch-job.toml", shelf.folder / "08-inch-winch-job.2031-05-04.toml")
    shelf.refresh()
    assert names(shelf, "36 teeth") == set() and names(shelf, "135 teeth") == {"08-inch-winch-job.toml"}


def test_a_large_folder_is_read_in_turns_and_what_is_read_is_found(shelf):
    text = (shelf.folder / "hoist.toml").read_text()
    for number in range(130):
        (shelf.folder / f"pile-{number}.toml").write_text(text)
    left = shelf.refresh(0.0)
    assert 0 < left < 131
    while shelf.refresh(0.0):
        pass
    assert len(names(shelf, "36 teeth")) == 131


@pytest.mark.parametrize("words", [".", "...", "_", "é", '"*', "teeth 99999999999999999999", "lead 1e400", "NOT OR AND", "x" * 200, "\0"])
def test_whatever_is_typed_is_answered(shelf, words):
    assert isinstance(names(shelf, words), set)


def test_the_shelf_says_of_which_jobs_a_blank_was_looked_at(shelf):
    text = (shelf.folder / "hoist.toml").read_text()
    (shelf.folder / "looked-at.toml").write_text(text + "\n[seen]\nteeth = 36\n")
    shelf.refresh()
    found = {one.name: one.found for one in shelf.find("", "job")}
    assert found["looked-at.toml"] == "a blank was looked at"
    assert found["hoist.toml"] == ""
