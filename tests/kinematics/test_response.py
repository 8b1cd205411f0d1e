"""The quick way round the train against the long one: another gear may not change what comes out."""

from fractions import Fraction
from itertools import pairwise

import pytest
from handlead.kinematics.frame.words import Sense
from handlead.kinematics.links.links import Differential, GearPair, Screw, WormGear
from handlead.kinematics.links.mounted import ChangeGears, Mounted
from handlead.kinematics.train.train import Drive, End, Train
from handlead.kinematics.transfer.response import MOST_BRACKETS, Response, run
from hypothesis import given, settings
from hypothesis import strategies as st
from strategies import hobbers, signed_sizes, trains


def chain(brackets):
    """Motor to hob straight away, and through so many brackets to the table; the slide hangs on the table."""
    parts = ["motor", *(f"shaft {number}" for number in range(brackets - 1)), "table"]
    links = [
        ChangeGears(f"bracket {n}", *ends, mounted=Mounted((30, 40)))
        for n, ends in enumerate(pairwise(parts))
    ]
    return Train(
        dict.fromkeys([*parts, "hob"], ""),
        {"slide": ""},
        (
            GearPair("hob gears", "motor", "hob", (20, 40)),
            *links,
            Screw("screw", "table", "slide", Fraction(2), Sense.SAME),
        ),
        {"hob": End("hob"), "table": End("table", -1), "axial": End("slide")},
        {"main": Drive("motor")},
    )


ratios = st.one_of(signed_sizes, st.sampled_from([Fraction(1), Fraction(-1)]))


def filled_in(train):
    return [link.name for link in train.brackets if link.mounted]


@settings(deadline=None, max_examples=150)
@given(hobbers(), st.data())
def test_new_gears_in_the_response_do_what_a_train_solved_anew_does(hobber, data):
    names = filled_in(hobber.train)
    response = Response.of(hobber.train, "main", names)
    assert response.is_quick
    for _ in range(3):
        new = [data.draw(ratios) for _ in names]
        anew = run(hobber.train.with_ratios(dict(zip(names, new, strict=True))), "main")
        assert response.running(new) == anew


@settings(deadline=None, max_examples=150)
@given(trains(), st.data())
def test_the_response_of_any_tangle_is_that_of_the_train_solved_anew(train, data):
    drive = data.draw(st.sampled_from(sorted(train.drives)))
    names = filled_in(train)
    response = Response.of(train, drive, names)
    for _ in range(3):
        new = [data.draw(ratios) for _ in names]
        anew = run(train.with_ratios(dict(zip(names, new, strict=True))), drive)
        assert response.running(new) == anew


def test_gears_that_lock_what_others_only_stop_are_told_apart():
    """One sun turned by the other the wrong way holds the carrier that the drive turns; the worm hangs on the suns."""
    train = Train(
        dict.fromkeys(["cage", "one", "other", "worm"], ""),
        {},
        (
            Differential("sum", ("one", "other"), "cage"),
            ChangeGears("bracket", "other", "one", mounted=Mounted((30, 40))),
            WormGear("worm gear", "worm", "one", 1, 12, Sense.OPPOSITE),
        ),
        {"hob": End("one"), "table": End("cage")},
        {"main": Drive("cage")},
    )
    response = Response.of(train, "main", ["bracket"])
    for ratio, stuck in ((Fraction(-1), "locked"), (Fraction(3, 4), "worm driven backwards")):
        assert response.running([ratio]).stuck == stuck
        assert run(train.with_ratios({"bracket": ratio}), "main").stuck == stuck


@settings(deadline=None, max_examples=50)
@given(hobbers(), st.data())
def test_an_empty_bracket_passes_nothing_in_the_response_either(hobber, data):
    names = filled_in(hobber.train)
    names.remove(data.draw(st.sampled_from(names)))
    response = Response.of(hobber.train, "main", names)
    emptied = hobber.train.with_gears(
        {link.name: None for link in hobber.train.brackets if link.name not in names}
    )
    mounted = [link.mounted.ratio for link in map(emptied.link, names) if isinstance(link, ChangeGears)]
    assert response.running(mounted) == run(emptied, "main")


@settings(deadline=None, max_examples=20)
@given(hobbers())
def test_the_drive_that_turns_is_the_one_asked_for(hobber):
    names = filled_in(hobber.train)
    mounted = [hobber.train.link(name).ratio for name in names]
    assert Response.of(hobber.train, "rapid", names).running(mounted) == run(hobber.train, "rapid")


def test_a_drive_or_bracket_that_is_not_there_is_refused():
    two_brackets = chain(2)
    with pytest.raises(KeyError):
        Response.of(two_brackets, "wind", [])
    with pytest.raises(KeyError):
        Response.of(two_brackets, "main", ["attic gears"])


def test_more_brackets_than_the_polynomials_are_made_for_are_solved_one_by_one():
    long_train = chain(MOST_BRACKETS + 1)
    names = [link.name for link in long_train.brackets]
    assert len(names) > MOST_BRACKETS
    response = Response.of(long_train, "main", names)
    assert not response.is_quick
    new = [Fraction(2 + number, 3) for number in range(len(names))]
    assert response.running(new) == run(long_train.with_ratios(dict(zip(names, new, strict=True))), "main")
