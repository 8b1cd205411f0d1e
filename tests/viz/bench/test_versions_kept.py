"""What a file has been, kept: read on from where it was left, whole again after the power went, dropped with its folder."""

import shutil

from handlead.viz.bench_desk.rack import RackFile
from handlead.viz.bench_files.shelf import Shelf
from handlead.viz.bench_files.versions import Versions

HOB = {"name": "two", "size_key": "module", "size": "2", "starts": "1", "hand": "right", "diameter": "63", "gashes": "10"}


def test_a_version_is_there_at_once_for_whoever_looks_next(tmp_path):
    one = Versions(tmp_path, "job.toml")
    first = one.keep("a = 1\n", "as it was found", None)
    second = one.keep("a = 2\n", "a: 2", first)
    other = Versions(tmp_path, "job.toml")
    assert other.all == one.all == (first, second)
    third = other.keep("a = 3\n", "a: 3", second)
    assert Versions(tmp_path, "job.toml").before(third) == second
    assert Versions(tmp_path, "job.toml").text(third.number) == "a = 3\n"
    assert Versions(tmp_path, "other.toml").all == ()


def test_a_line_that_was_cut_off_costs_no_other(tmp_path):
    """The power went while a line was written: the versions before and after it are all there."""
    one = Versions(tmp_path, "job.toml")
    first = one.keep("a = 1\n", "as it was found", None)
    log = one.folder / "log.jsonl"
    with log.open("a") as stream:
        stream.write('{"number": 2, "parent": 1, "wh')
    assert Versions(tmp_path, "job.toml").all == (first,)
    second = Versions(tmp_path, "job.toml").keep("a = 2\n", "a: 2", first)
    assert Versions(tmp_path, "job.toml").all == (first, second)


def test_versions_that_were_thrown_away_are_forgotten(tmp_path):
    one = Versions(tmp_path, "job.toml")
    one.keep("a = 1\n" * 50, "as it was found", None)
    shutil.rmtree(one.folder)
    assert Versions(tmp_path, "job.toml").all == ()
    fresh = Versions(tmp_path, "job.toml").keep("b = 1\n", "new", None)
    assert Versions(tmp_path, "job.toml").all == (fresh,)


def test_a_file_changed_outside_the_page_is_kept_before_the_page_writes_over_it(tmp_path):
    rack = RackFile.at(Shelf(tmp_path), "hobs.toml")
    rack.write(rack.hang(None, HOB), "hob hung")
    path = tmp_path / "hobs.toml"
    path.write_text(path.read_text() + "# sharpened in May\n")
    found = RackFile.at(Shelf(tmp_path), "hobs.toml")
    found.write(found.hang(0, {**HOB, "gashes": "12"}), "hob changed")
    kept = Shelf(tmp_path).versions("hobs.toml")
    assert [one.what for one in kept.all] == ["hob hung", "changed outside the page", "hob changed"]
    assert "sharpened in May" in kept.text(kept.all[1].number)
    assert kept.before(kept.all[2]) == kept.all[1]
