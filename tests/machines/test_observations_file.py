"""Observations files: what their keys become on a machine."""

from fractions import Fraction as F
from pathlib import Path

import pytest
from handlead.kinematics.frame.words import Hand
from handlead.kinematics.links.mounted import Mounted
from handlead.machines.documents.observations_file import Movement, bounds_in_mm, read_observations_text
from handlead.machines.machine_files.machine_file import read_machine
from handlead.machines.toml.errors import FileFault

GOOD = Path(__file__).parent / "good"


@pytest.fixture(scope="module")
def small():
    return read_machine(GOOD / "small.toml", "small.toml")


def read(text, machine):
    return read_observations_text(f'format = "observations/1"\n{text}', machine, "seen.toml")


def counted(turned, moved, rest=""):
    return f"[[counted]]\nturned = {{ {turned} }}\nmoved = {{ {moved} }}\n{rest}\n"


def test_a_count_has_bounds_by_its_uncertainty_and_signs_by_the_parts_own_positives(small):
    (seen,) = read(
        counted(
            'part = "hob", by = 24, way = "cutting down"',
            'part = "table", by = "3/5", way = "counter-clockwise"',
        ),
        small,
    ).seen
    assert seen.turned == Movement("hob", (F(-24), F(-24)), True)
    # The table's own positive is clockwise; a mark is read to 1/200 turn where nothing else is said.
    assert seen.moved == Movement("table", (-F(3, 5) - F(1, 200), -F(3, 5) + F(1, 200)), True)


def test_a_way_that_nobody_noted_leaves_the_size_alone(small):
    (seen,) = read(counted('part = "hob", by = 24', 'part = "table", by = 0.6, within = 0.01'), small).seen
    assert seen.turned == Movement("hob", (F(24), F(24)), True)
    assert seen.moved == Movement("table", (F(59, 100), F(61, 100)), False)


def test_lengths_carry_the_units_of_the_file_or_their_own(small):
    text = 'units = "in"\n' + counted(
        'part = "screw", by = 1', 'part = "slide", by = 0.2, within = "0.1 mm", way = "up"'
    )
    (seen,) = read(text, small).seen
    assert seen.moved.bounds == (F(508, 100) - F(1, 10), F(508, 100) + F(1, 10))


def test_turns_may_be_counted_by_the_teeth_of_a_gear(small):
    (seen,) = read(
        counted('part = "table", by = 1', 'part = "worm", teeth = 31, of = 40, way = "positive"'), small
    ).seen
    assert seen.moved.bounds == (F(61, 80), F(63, 80))


def test_a_set_up_that_cut_a_gear_is_read_with_its_hob(small):
    text = """[[cut]]
teeth = 31
hand = "left"
lead = { value = "812 mm", within = "3 mm" }
hob = { starts = 2, hand = "left" }
levers = { range = "high" }
change = { "index gears" = { gears = [20, 40], idlers = [30] } }
"""
    (seen,) = read(text, small).seen
    assert (seen.teeth, seen.hand, seen.lead, seen.starts, seen.hob_hand) == (
        31,
        Hand.LEFT,
        (809, 815),
        2,
        Hand.LEFT,
    )
    assert seen.setup.levers == {"range": "high"}
    assert seen.setup.change == {"index gears": Mounted((20, 40), (30,))}


def test_observations_keep_the_order_of_the_file_and_have_names(small):
    one = counted('part = "hob", by = 1', 'part = "worm", by = 1', 'note = "first"')
    observations = read(
        f'{one}[[cut]]\nteeth = 30\n{counted(r"""part = "hob", by = 1""", r"""part = "worm", by = 1""")}',
        small,
    )
    assert [observations.name(number) for number in range(3)] == ['"first"', "cut 1", "counted 2"]
    assert [observations.place(number).line for number in range(3)] == [2, 6, 8]


def test_bounds_of_a_length_are_in_mm_and_of_a_count_as_they_are(small):
    text = counted('part = "hob", by = 1', 'part = "worm", by = 1')
    text += '[[bound]]\nunknown = "link/slide screw/lead"\nleast = "1/4 in"\n'
    text += '[[bound]]\nunknown = "link/index worm/teeth"\nleast = 30\ngreatest = 50\n'
    observations = read(text, small)
    known = {"link/slide screw/lead": True, "link/index worm/teeth": False}
    assert bounds_in_mm(observations, known) == {
        "link/slide screw/lead": (F(635, 100), None),
        "link/index worm/teeth": (F(30), F(50)),
    }
    with pytest.raises(
        FileFault,
        match=r'seen\.toml:\d+: bound 1: unknown: nothing unknown is called "link/slide screw/lead"',
    ):
        bounds_in_mm(observations, {"link/index worm/teeth": False})


def test_another_kind_of_file_is_told_so(small):
    with pytest.raises(FileFault, match=r"seen\.toml:1: format: this is a job file"):
        read_observations_text('format = "job/1"\n', small, "seen.toml")
