"""Files that are written: whole or not at all, with the mode and the link that they had, the old one kept."""

import datetime
import os
import stat
from pathlib import Path

import pytest
from handlead.machines.toml.errors import FileFault
from handlead.machines.toml.filing import keep_beside, write_text

DAY = datetime.date(2026, 11, 27)


@pytest.fixture
def file(tmp_path):
    file = tmp_path / "job.toml"
    file.write_text("whole")
    return file


def names(folder):
    return sorted(path.name for path in folder.iterdir())


def test_a_file_that_is_there_is_not_written_over_unless_told_to(file):
    with pytest.raises(FileFault, match=r"job\.toml:1: it is there already\. Give the name of a new file"):
        write_text("two", file)
    assert file.read_text() == "whole"
    write_text("two", file, overwrite=True)
    assert file.read_text() == "two"
    assert names(file.parent) == ["job.toml"]


def test_no_file_is_left_half_written(file):
    with pytest.raises(UnicodeEncodeError):
        write_text("half \ud800", file, overwrite=True)
    assert file.read_text() == "whole"
    assert names(file.parent) == ["job.toml"]


@pytest.mark.parametrize("primitive", ["os.fsync", "os.replace", "tempfile.mkstemp"])
@pytest.mark.parametrize("number", [28, 30, 13], ids=["full disk", "read-only disk", "not allowed"])
def test_what_can_not_be_written_is_said_in_a_line_and_all_stays_as_it_was(file, monkeypatch, primitive, number):
    def fails(*_, **__):
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(primitive, fails)
    if primitive == "os.replace":
        monkeypatch.setattr(Path, "replace", fails)
    with pytest.raises(FileFault, match=r"job\.toml:1: it can't be written \(.+\)"):
        write_text("two", file, overwrite=True)
    assert file.read_text() == "whole"
    assert names(file.parent) == ["job.toml"]


def test_a_folder_that_takes_no_files_is_said_in_a_line():
    with pytest.raises(FileFault, match="it can't be written"):
        write_text("two", "/proc/self/job.toml")
    with pytest.raises(FileFault, match="it can't be written"):
        write_text("two", "/nowhere/at/all/job.toml")


def test_a_read_only_file_is_left_alone_though_its_folder_may_be_written(file):
    file.chmod(0o444)
    with pytest.raises(FileFault, match="it is read-only"):
        write_text("two", file, overwrite=True)
    assert file.read_text() == "whole"


def test_mode_and_link_stay_as_they_were(file, tmp_path):
    file.chmod(0o640)
    link = tmp_path / "link.toml"
    link.symlink_to("job.toml")
    write_text("two", link, overwrite=True)
    assert link.is_symlink()
    assert file.read_text() == "two"
    assert stat.S_IMODE(file.stat().st_mode) == 0o640


def test_a_new_file_can_be_read_by_whoever_may_read_new_files(tmp_path):
    before = os.umask(0o022)
    try:
        write_text("one", tmp_path / "new.toml")
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "new.toml").stat().st_mode) == 0o644


def test_what_was_there_is_kept_under_the_day_and_never_lost_to_another_of_that_day(file):
    file.chmod(0o640)
    first = keep_beside(file, DAY)
    assert first.name == "job.2026-11-27.toml"
    assert first.read_text() == "whole"
    assert stat.S_IMODE(first.stat().st_mode) == 0o640
    assert keep_beside(file, DAY) == first
    file.write_text("changed")
    second = keep_beside(file, DAY)
    assert second.name == "job.2026-11-27.2.toml"
    assert (first.read_text(), second.read_text()) == ("whole", "changed")


def test_line_ends_of_other_systems_stay_in_what_is_kept(file):
    file.write_bytes(b"a = 1\r\n# word\r\n")
    assert keep_beside(file, DAY).read_bytes() == b"a = 1\r\n# word\r\n"
