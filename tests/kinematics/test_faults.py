"""Faults as changes to a set-up: what each does, and that neither order nor company alters it."""

import math
from fractions import Fraction

import pytest
from handlead.kinematics.frame.words import Hand, swivel_words
from handlead.kinematics.gears.gear import MM_PER_INCH
from handlead.kinematics.links.mounted import Mounted
from handlead.kinematics.slips.faults import CHANGES, FaultKind, find_faults
from handlead.kinematics.slips.standing import Standing, changes_words, is_pitch, module_words, other_hob
from handlead.kinematics.train.setup import Setup
from handlead.kinematics.work.requirement import HobData
from hypothesis import given, settings
from hypothesis import strategies as st

HOB = HobData(Fraction(3), 1, Hand.RIGHT, Fraction("2.371537"), Fraction("72.5"))
BASE = Standing(
    Setup(
        "main",
        Fraction(5, 2),
        levers={"range": "low", "feed": "up"},
        change={"index": Mounted((24, 58, 48, 40), (35,)), "feed": Mounted((30, 50))},
    ),
    HOB,
)

single_changes = st.sampled_from(
    [
        (("gears", "index"), (58, 24, 48, 40)),
        (("gears", "feed"), ()),
        (("idlers", "index"), ()),
        (("idlers", "feed"), (20,)),
        (("stamps", "index"), (24, 58, 48, 41)),
        (("lever", "range"), "high"),
        (("lever", "feed"), "down"),
        (("swivel",), Fraction(-5, 2)),
        (("hob", "hand"), Hand.LEFT),
        (("hob", "starts"), 2),
        (("hob", "module"), Fraction(7, 2)),
        (("sheet",), "31 teeth"),
        (("between cuts",), "the feed gears were changed"),
    ]
)


@settings(deadline=None)
@given(st.lists(single_changes, unique_by=lambda change: change[0]), st.randoms(use_true_random=False))
def test_changes_come_to_the_same_in_any_order(changes, random):
    at_once = BASE.changed(dict(changes))
    random.shuffle(changes)
    assert BASE.changed(dict(changes)).key == at_once.key
    if not any(what == "hob" for (what, *_), _ in changes):
        one_by_one = BASE
        for key, value in changes:
            one_by_one = one_by_one.changed({key: value})
        assert one_by_one.key == at_once.key


def test_the_set_up_that_is_changed_stays_as_it_was():
    before = BASE.key
    changed = BASE.changed({("gears", "index"): (40, 24), ("lever", "range"): "high"})
    assert BASE.key == before
    assert changed.change["index"].gears == (40, 24)
    assert changed.change["index"].idlers == (35,)


def test_an_emptied_bracket_holds_nothing_at_all():
    emptied = BASE.changed({("gears", "index"): (), ("idlers", "index"): ()})
    assert "index" not in emptied.change


def test_the_lead_angle_of_another_hob_goes_with_its_starts():
    # sin(gamma) = k m / d (handbooks of hobbing, from memory): module 3 on 72.5 mm, one start 2.371537 degrees,
    # two starts 4.747149.
    assert float(other_hob(HOB, starts=2).lead_angle_deg) == pytest.approx(4.747149, abs=2e-6)
    assert other_hob(HOB, hand=Hand.LEFT).lead_angle_deg == HOB.lead_angle_deg
    bigger = other_hob(HOB, module=Fraction(6))
    assert math.sin(math.radians(bigger.lead_angle_deg)) == pytest.approx(
        2 * math.sin(math.radians(HOB.lead_angle_deg))
    )


def test_a_hob_whose_lead_angle_nobody_knows_keeps_it_that_way():
    assert other_hob(HobData(Fraction(2)), starts=3).lead_angle_deg is None


@pytest.mark.parametrize(
    ("module", "words"),
    [
        (Fraction(5, 2), "module 2.5"),
        (MM_PER_INCH / 10, "10 diametral pitch"),
        (MM_PER_INCH / 8, "8 diametral pitch"),
        (Fraction(1), "module 1"),
    ],
)
def test_a_size_of_tooth_is_told_as_the_trade_tells_it(module, words):
    assert module_words(module) == words
    assert is_pitch(module) == ("pitch" in words)


def test_gears_and_swivel_are_written_as_people_write_them():
    assert changes_words({("gears", "index"): (24, 58, 48, 40)}) == "24/58 · 48/40 in index"
    assert changes_words({("gears", "index"): ()}) == "empty in index"
    assert swivel_words(Fraction(-2415, 100)) == "24° 09' clockwise"
    assert swivel_words(Fraction(0)) == "0° 00'"


def test_every_change_can_be_told_in_words():
    for key, value in {
        ("gears", "index"): (24, 58), ("idlers", "index"): (30,), ("lever", "range"): "high", ("swivel",): Fraction(1),
        ("hob", "hand"): Hand.LEFT, ("hob", "starts"): 2, ("hob", "module"): Fraction(2), ("sheet",): "31 teeth",
    }.items():  # fmt: skip
        words = changes_words({key: value})
        assert words
        assert "(" not in words


def test_a_kind_of_change_that_nobody_knows_is_refused():
    kind = FaultKind("gremlins", "gremlin in", "a gremlin", 1.0, True, "stamps")
    with pytest.raises(ValueError, match=r"'gremlin in'.*idler out"):
        find_faults([kind], None)


def test_no_two_kinds_of_change_share_a_function():
    assert len(set(CHANGES.values())) == len(CHANGES)


def test_which_idler_it_is_doesnt_matter_only_how_many():
    stood = {idlers: Standing(Setup("main", change={"feed": Mounted((20, 40), idlers)}), HOB) for idlers in ((), (30,), (35,))}
    assert stood[30,].key == stood[35,].key != stood[()].key
