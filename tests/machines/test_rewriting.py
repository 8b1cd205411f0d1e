"""Another set-up in a job's text: whatever people wrote around it stays."""

import tomllib
from fractions import Fraction
from pathlib import Path

import handlead.scenarios
import pytest
from handlead.kinematics.links.mounted import Mounted
from handlead.kinematics.train.setup import Setup
from handlead.machines.job_files.job_file import read_job, read_job_text
from handlead.machines.toml.places import comments
from handlead.machines.written.rewriting import with_setup
from hypothesis import given
from hypothesis import strategies as st

ORDERS = sorted(Path(handlead.scenarios.__file__).parent.glob("*/job.toml"))

NOTED = """format = "job/1"  # kept here
title = "a # in a title"
machine = "corvane-7"  # the old one
[work]
kind = "spur" # as drawn

# over the set-up
[setup] # by Jo
# from the plate
swivel = { angle = "1d", turn = "clockwise" } # checked
feed = "climb"
# gears
[setup.change]   # drawer 2
"index gears" = { gears = [25, 40, 48, 23] } # 25 is worn
# on the bench
"odd gears" = { gears = [
  24, # first
  58 ] } # last of it

# what Tom saw
[seen]
teeth = 30
# under what was seen

# levers as found
[setup.levers]
feed = "up" # stiff

# at the end
"""

SETUP = Setup(
    "main", Fraction(3, 2), None, {"feed": "down"},
    {"index gears": Mounted((20, 30, 40, 50)), "feed gears": Mounted((20, 30), (25,))},
)  # fmt: skip


def test_every_comment_stays_and_goes_with_its_key():
    lines = with_setup(NOTED, SETUP).splitlines()
    for line in (
        "[setup]  # by Jo",
        'swivel = {angle = 1.5, turn = "counter-clockwise"}  # checked',
        "[setup.change]  # drawer 2",
        '"index gears" = {gears = [20, 30, 40, 50]}  # 25 is worn',
        'feed = "down"  # stiff',
    ):
        assert line in lines
    for over, under in (
        ("# over the set-up", "[setup]  # by Jo"),
        ("# what Tom saw", "[seen]"),
        ("# levers as found", "[setup.levers]"),
        ("teeth = 30", "# under what was seen"),
    ):
        assert lines.index(under) == lines.index(over) + 1
    assert {"# on the bench", "# first", "# last of it"} <= set(lines)
    assert not [line for line in lines if "odd gears" in line]


def test_what_is_written_reads_as_the_new_set_up_and_nothing_else_is_changed():
    before, after = tomllib.loads(NOTED), tomllib.loads(with_setup(NOTED, SETUP, "wexcombe"))
    assert after.pop("setup")["change"]["index gears"] == {"gears": [20, 30, 40, 50]}
    before.pop("setup")
    assert after == {**before, "machine": "wexcombe"}


def test_written_a_second_time_it_stays_as_it_is():
    once = with_setup(NOTED, SETUP)
    assert with_setup(once, SETUP) == once


@pytest.mark.parametrize("text", ['setup = { feed = "climb" } # one\n[seen]\nteeth = 3\n', 'setup.feed = "climb" # one\n[seen]\nteeth = 3\n'])
def test_a_set_up_at_the_head_of_the_file_makes_room_for_a_table_at_its_end(text):
    again = with_setup(text, SETUP)
    values = tomllib.loads(again)
    assert values["seen"] == {"teeth": 3}
    assert values["setup"]["levers"] == {"feed": "down"}
    assert "# one" in again


def test_line_ends_and_the_mark_at_the_head_of_other_systems_stay():
    text = "\ufeff" + NOTED.replace("\n", "\r\n")
    again = with_setup(text, SETUP)
    assert again == "\ufeff" + with_setup(NOTED, SETUP).replace("\n", "\r\n")


@pytest.mark.parametrize("file", ORDERS, ids=lambda file: file.parent.name)
def test_every_order_takes_its_own_set_up_again(file):
    job = read_job(file)
    if job.setup is None or job.setup.drive != job.machine.normal_drive:
        return  # what is planned runs on the machine's usual drive
    again = with_setup(file.read_text(), job.setup)
    assert read_job_text(again, beside=file.parent).setup == job.setup
    assert all(comment in again for comment in comments(file.read_text()))


@given(st.data())
def test_comments_anywhere_stay_wherever_they_were_put(data):
    lines = NOTED.splitlines()
    for number in range(data.draw(st.integers(1, 8))):
        at = data.draw(st.integers(0, len(lines)))
        # Not in the midst of the list: there a blank line more is no matter either.
        lines.insert(at, data.draw(st.sampled_from([f"# word {number}", "", f"   # far in {number}"])))
    text = "\n".join(lines)
    again = with_setup(text, SETUP)
    assert all(comment in again for comment in comments(text))
    assert tomllib.loads(again)["seen"] == {"teeth": 30}
    assert tomllib.loads(again)["setup"] == tomllib.loads(with_setup("", SETUP))["setup"]
