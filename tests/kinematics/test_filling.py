"""Brackets filled from lists: the order of preference, no gear in two places, gears left where they lie."""

from dataclasses import replace
from fractions import Fraction as F

from handlead.kinematics.brackets.bracket import Bracket
from handlead.kinematics.links.mounted import Mounted
from handlead.kinematics.together.filling import as_it_lies, fillings, least_work, listed
from handlead.kinematics.together.together import BracketPlace, Steps, Stock

INDEX = BracketPlace("index", F(1, 2), exact=True)
FEED = BracketPlace("feed", F(2, 3), span=(F(1, 2), F(4, 5)))


def lists_of(gears, *places):
    stock = Stock.of(places, gears)
    return stock, [listed(place, stock, least_work) for place in places]


def test_a_list_holds_every_set_that_would_do_in_the_order_that_is_preferred():
    _, (index,) = lists_of([20, 24, 30, 40, 48], INDEX)
    got = [(item.set.gears, item.set.idlers) for item in index.items]
    assert {gears for gears, _ in got} >= {(20, 40), (24, 48)}
    assert all(F(gears[0], gears[1]) == F(1, 2) for gears, _ in got if len(gears) == 2)
    assert [least_work(item.set) for item in index.items] == sorted(least_work(item.set) for item in index.items)
    assert index.complete


def test_a_list_that_was_cut_short_is_known_to_be_so():
    stock = Stock.of([FEED], list(range(20, 60)))
    assert not listed(FEED, stock, least_work, 5).complete


def test_no_ratio_outside_the_span_is_listed():
    _, (feed,) = lists_of(list(range(20, 40)), FEED)
    assert feed.items and all(F(1, 2) <= item.set.ratio <= F(4, 5) for item in feed.items)


def test_the_second_bracket_takes_what_the_first_one_leaves():
    stock, lists = lists_of([20, 30, 40, 60], INDEX, FEED)
    for sets in fillings(stock, lists, Steps(1000)):
        used = [z for one in sets.values() for z in (*one.gears, *one.idlers)]
        assert len(used) == len(set(used))


def test_a_search_whose_steps_run_out_says_so_and_one_that_ends_does_not():
    stock, lists = lists_of([20, 30, 40, 60, 24, 36, 48], INDEX, FEED)
    few = Steps(1)
    assert not list(fillings(stock, lists, few)) and few.ran_out
    enough = Steps(10_000)
    assert list(fillings(stock, lists, enough)) and not enough.ran_out


def test_gears_that_lie_stay_in_their_order_and_an_idler_turns_them_over():
    place = BracketPlace("index", F(1, 2), turns_over=True, exact=True)
    stock = Stock.of([place], [20, 30, 40, 50, 60])
    item = as_it_lies(place, stock, Mounted((30, 20, 20, 60)))
    assert item is None  # twenty is owned once
    stock = Stock.of([place], [20, 20, 30, 40, 50, 60])
    item = as_it_lies(place, stock, Mounted((30, 20, 20, 60)))
    assert item is not None and item.idlers == (1,)
    alone = replace(listed(place, stock, least_work), items=(item,))
    found = next(iter(fillings(stock, [alone], Steps(100))))
    assert found["index"].gears == (30, 20, 20, 60) and len(found["index"].idlers) == 1


def test_gears_that_lie_and_would_not_give_the_ratio_or_not_go_on_the_bracket_are_taken_off():
    stock = Stock.of([INDEX], [20, 30, 40])
    assert as_it_lies(INDEX, stock, Mounted((20, 30))) is None
    tight = BracketPlace("index", F(1, 2), exact=True, bracket=Bracket(module=F(2), centres=F(500)))
    assert as_it_lies(tight, Stock.of([tight], [20, 30, 40]), Mounted((20, 40))) is None
