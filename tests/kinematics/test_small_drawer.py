"""A small drawer looked through to the last gear: what it gives is what plain enumeration gives."""

from __future__ import annotations

import itertools
from fractions import Fraction

import pytest
from handlead.kinematics.brackets.drawer import Drawer, DrawerSet
from handlead.kinematics.together.relation import Relation
from handlead.kinematics.together.small import AtOnce, all_that_serve, is_small
from handlead.kinematics.together.tied import Effort, best_coupled_set_ups
from handlead.kinematics.together.tied_mounts import Leftover
from handlead.kinematics.together.together import BracketPlace, Stock

GEARS = (20, 24, 30, 32, 40, 45, 60)

#: The index ratio and a share of feed times lead ratio make up 2.
SUM_OF_TWO = Relation({frozenset(): Fraction(-2), frozenset({"index"}): Fraction(1), frozenset({"feed", "lead"}): Fraction(1)})


def places(pairs: tuple[int, ...] = (1,)) -> list[BracketPlace]:
    wide = (Fraction(1, 100), Fraction(100))
    return [BracketPlace(name, Fraction(1), pairs, (0,), span=wide, weight=Fraction(0)) for name in ("index", "feed", "lead")]


def enumerated(serving: float, beside: int) -> set[tuple[Fraction, ...]]:
    found = set()
    if len(GEARS) - 6 < beside:
        return found
    for a, b, c, d, e, f in itertools.permutations(GEARS, 6):
        index, feed, lead = Fraction(a, b), Fraction(c, d), Fraction(e, f)
        wanted = (2 - index) / feed
        if wanted > 0 and abs(lead / wanted - 1) <= serving:
            found.add((index, feed, lead))
    return found


@pytest.mark.parametrize("serving", [0.0005, 0.005])
def test_every_combination_that_serves_is_listed_the_truest_first(serving):
    stock = Stock.of(places(), GEARS)
    listed, complete = all_that_serve(places(), SUM_OF_TWO, stock, serving, 0)
    assert complete and is_small(stock.sets)
    assert {tuple(one.values()) for one in listed} == enumerated(serving, 0) != set()
    off = [abs(one["lead"] * one["feed"] / (2 - one["index"]) - 1) for one in listed]
    assert off == sorted(off)


def test_gears_that_others_need_are_left_to_them():
    stock = Stock.of(places(), GEARS)
    assert all_that_serve(places(), SUM_OF_TWO, stock, 0.005, 1) == all_that_serve(places(), SUM_OF_TWO, stock, 0.005, 0)
    assert all_that_serve(places(), SUM_OF_TWO, stock, 0.005, 2) == ([], True)


@pytest.mark.parametrize("owned", [GEARS, (*GEARS, 30)])
def test_two_brackets_that_ask_for_one_gear_are_known_not_to_go_together(owned):
    stock = Stock.of(places(), owned)
    at_once = AtOnce(places(), stock)
    ratios = sorted({(Fraction(a, b)) for a, b in itertools.permutations(owned, 2)})[::3]
    sides = {ratio: [(a, b) for a, b in set(itertools.permutations(owned, 2)) if Fraction(a, b) == ratio] for ratio in ratios}
    for index, feed in itertools.product(ratios, repeat=2):
        for lead in (Fraction(3, 4), Fraction(2, 3)):
            lead_sides = sides.get(lead, [(a, b) for a, b in set(itertools.permutations(owned, 2)) if Fraction(a, b) == lead])
            can = any(
                stock.drawers["index"].holds((*one, *two, *three))
                for one, two, three in itertools.product(sides[index], sides[feed], lead_sides)
            )
            assert at_once.may_be([each.as_integer_ratio() for each in (index, feed, lead)]) == can


def test_gears_of_two_drawers_are_not_in_each_others_way():
    sets = [DrawerSet("small", Drawer.of([20, 40]), frozenset({"index"})), DrawerSet("large", Drawer.of([20, 40, 30, 60]))]
    half = [(1, 2)] * 3
    assert AtOnce(places(), Stock.of(places(), sets)).may_be(half)
    assert not AtOnce(places(), Stock.of(places(), sets[1:])).may_be(half)


def test_only_such_set_ups_are_found_as_leave_the_gear_that_is_needed_beside():
    def keeps_the_sixty(sets):
        return sets if all(60 not in one.gears for one in sets.values()) else None

    free = best_coupled_set_ups(places(), SUM_OF_TWO, GEARS, limit=5, effort=Effort())
    kept = best_coupled_set_ups(places(), SUM_OF_TWO, GEARS, limit=5, effort=Effort(), beside=Leftover(0, keeps_the_sixty))
    assert any(60 in one.gears for each in free.best for one in each.set_up.sets.values())
    assert kept.best and all(60 not in one.gears for each in kept.best for one in each.set_up.sets.values())
