"""Several brackets filled from one drawer, against plain enumeration."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Iterator
from fractions import Fraction

import pytest
from handlead.kinematics.brackets.bracket import Bracket
from handlead.kinematics.brackets.drawer import Drawer, DrawerSet
from handlead.kinematics.brackets.mounting import Mounting
from handlead.kinematics.frame.exact import PI, Ratio, sine
from handlead.kinematics.search.ratios import compare
from handlead.kinematics.together.cheapest import Filled, best_set_ups
from handlead.kinematics.together.together import BracketPlace
from hypothesis import given, settings
from hypothesis import strategies as st

F = Fraction
Gears = tuple[tuple[int, ...], tuple[int, ...]]


def every_filling(places: list[BracketPlace], gears: list[int]) -> Iterator[dict[str, tuple[Fraction, Gears]]]:
    """Every way to fill the places, as ratio, drivers and driven gears: by trying all arrangements of all gears."""
    if not places:
        yield {}
        return
    place, *others = places
    for pairs, idlers in itertools.product(place.pairs, place.idlers):
        if place.turns_over is not None and (pairs + idlers) % 2 != place.turns_over:
            continue
        for taken in set(itertools.permutations(gears, 2 * pairs)):
            ratio = F(1)
            for a, b in zip(taken[::2], taken[1::2], strict=True):
                ratio *= F(a, b)
            if place.exact and ratio != place.target:
                continue
            if place.span and (compare(ratio, place.span[0]) < 0 or compare(ratio, place.span[1]) > 0):
                continue
            left = list((Counter(gears) - Counter(taken)).elements())
            for idle in set(itertools.combinations(sorted(left), idlers)):
                bracket = place.bracket or Bracket()
                if not isinstance(bracket.mount(taken, idle), Mounting):
                    continue
                rest = list((Counter(left) - Counter(idle)).elements())
                for filling in every_filling(others, rest):
                    both = (tuple(sorted(taken[::2])), tuple(sorted(taken[1::2])))
                    yield {place.name: (ratio, both), **filling}


def cost_of(places: list[BracketPlace], ratios: dict[str, Fraction]) -> float:
    return sum(place.cost(ratios[place.name]) for place in places)


def cheapest(places: list[BracketPlace], gears: list[int], limit: int) -> list[float]:
    """Costs of the cheapest different ratios, by enumeration."""
    seen = {tuple(ratio for ratio, _ in one.values()) for one in every_filling(places, gears)}
    names = [place.name for place in places]
    return sorted(cost_of(places, dict(zip(names, ratios, strict=True))) for ratios in seen)[:limit]


def holds(gears: list[int], one: Filled) -> bool:
    used = [z for found in one.sets.values() for z in (*found.gears, *found.idlers)]
    return not Counter(used) - Counter(gears)


drawers = st.lists(st.integers(10, 24), min_size=5, max_size=7)
targets: st.SearchStrategy[Ratio] = st.one_of(
    st.fractions(min_value=F(3, 4), max_value=F(4, 3), max_denominator=20),
    st.sampled_from([5 * sine(37) / PI, 7 * sine(23) / PI]),
)
brackets = st.one_of(
    st.none(),
    st.builds(Bracket, clearance=st.integers(0, 6)),
    st.builds(Bracket, module=st.just(2), centres=st.integers(20, 40)),
)
kinds = st.sampled_from([((1,), (0,)), ((1,), (0, 1)), ((1, 2), (0,)), ((1, 2), (0, 1))])


@st.composite
def costed(draw: st.DrawFn, name: str) -> BracketPlace:
    pairs, idlers = draw(kinds)
    return BracketPlace(
        name,
        draw(targets),
        pairs,
        idlers,
        draw(st.sampled_from([None, None, True, False])),
        draw(brackets),
        span=draw(st.sampled_from([None, (F(1, 2), F(2))])),
        weight=draw(st.sampled_from([F(1), F(1, 10)])),
    )


@given(drawers, costed("feed"), costed("differential"), st.integers(1, 4))
@settings(deadline=None, max_examples=60)
def test_two_brackets_are_filled_as_cheaply_as_enumeration_fills_them(
    gears: list[int], feed: BracketPlace, differential: BracketPlace, limit: int
) -> None:
    places = [feed, differential]
    found = best_set_ups(places, gears, limit=limit)
    assert [one.cost for one in found.best] == pytest.approx(
        cheapest(places, gears, limit), rel=1e-9, abs=1e-15
    )
    assert all(holds(gears, one) for one in found.best)
    assert len({one.ratios for one in found.best}) == len(found.best)
    assert (found.none_because is None) == bool(found.best)
    for one in found.best:
        for place in places:
            chosen = one.sets[place.name]
            bracket = place.bracket or Bracket()
            assert isinstance(bracket.mount(chosen.gears, chosen.idlers), Mounting)
            if place.turns_over is not None:
                assert (len(chosen.gears) // 2 + len(chosen.idlers)) % 2 == place.turns_over


@given(
    st.lists(st.integers(10, 20), min_size=6, max_size=7), costed("feed"), costed("differential"), st.data()
)
@settings(deadline=None, max_examples=30)
def test_three_brackets_one_of_them_exact_are_filled_as_enumeration_fills_them(
    gears: list[int], feed: BracketPlace, differential: BracketPlace, data: st.DataObject
) -> None:
    a, b = data.draw(st.permutations(gears))[:2]
    index = BracketPlace("index", F(a, b), (1,), data.draw(st.sampled_from([(0,), (0, 1)])), None, exact=True)
    feed = BracketPlace("feed", feed.target, (1,), (0,), None, feed.bracket, span=feed.span, weight=feed.weight)
    differential = BracketPlace("differential", differential.target, (1,), (0, 1), True, differential.bracket)
    places = [index, feed, differential]
    found = best_set_ups(places, gears, limit=3)
    assert [one.cost for one in found.best] == pytest.approx(cheapest(places, gears, 3), rel=1e-9, abs=1e-15)
    assert all(one.sets["index"].ratio == index.target and holds(gears, one) for one in found.best)


def test_with_a_poor_drawer_the_best_of_each_in_turn_isnt_good_enough() -> None:
    """The feed, served first, would take the 30 that the differential can't do without."""
    gears = [20, 30, 31, 40, 41]
    places = [
        BracketPlace("feed", F(2, 3), (1,), (0,), span=(F(1, 2), F(4, 5)), weight=F(1, 100)),
        BracketPlace("differential", F(30, 41), (1,), (0,)),
    ]
    best = best_set_ups(places, gears, limit=1).best[0]
    assert best.sets["differential"].gears == (30, 41)
    assert best.sets["feed"].gears == (20, 31)


def test_gears_come_from_the_sets_that_fit() -> None:
    sets = [
        DrawerSet("coarse", Drawer.of([20, 30, 40]), frozenset({"feed"})),
        DrawerSet("fine", Drawer.of([20, 25, 50]), frozenset({"index", "feed"})),
    ]
    places = [
        BracketPlace("index", F(1, 2), (1,), (0,), exact=True),
        BracketPlace("feed", F(1, 2), (1,), (0,), exact=True),
    ]
    best = best_set_ups(places, sets, limit=1).best[0]
    assert best.sets["index"].gears == (25, 50)
    assert best.drawn_from == {
        "index": ((25, "fine"), (50, "fine")),
        "feed": ((20, "coarse"), (40, "coarse")),
    }


@pytest.mark.parametrize(
    ("places", "gears", "says"),
    [
        (
            [BracketPlace("index", F(24, 101), exact=True)],
            [20, 24, 30, 40, 50],
            "index: no gears in the drawer give exactly",
        ),
        (
            [BracketPlace("index", F(1, 2), (1,), (0,), True, Bracket(clearance=5), exact=True)],
            [20, 40],
            None,
        ),
        (
            [BracketPlace("index", F(1, 2), (1,), (0,), False, exact=True)],
            [20, 40],
            "index: no number of pairs and idlers allowed would keep the sense",
        ),
        (
            [
                BracketPlace("index", F(2, 3), (1,), (0,), exact=True),
                BracketPlace("feed", F(2, 5), (1,), (0,), exact=True),
                BracketPlace("differential", F(1), (1,), (0,)),
            ],
            [20, 30, 50, 61, 67],
            "index and feed can each be met alone, but not together",
        ),
        (
            [BracketPlace("index", F(1, 2), (1,), (0,), bracket=Bracket(least_sum=100), exact=True)],
            [20, 40],
            "none of them can be mounted",
        ),
    ],
)
def test_where_there_is_none_it_is_said_which_requirement_fails(
    places: list[BracketPlace], gears: list[int], says: str | None
) -> None:
    found = best_set_ups(places, gears)
    if says is None:
        assert found.best and found.none_because is None
    else:
        assert not found.best
        assert found.none_because is not None and says in found.none_because


def test_brackets_that_need_one_and_the_same_gear_are_given_up_at_once() -> None:
    """However many feeds there are to go through: two ratios with a factor of 29, and 58 alone holds it."""
    gears = [z for z in range(20, 101) if z % 29 or z == 58]
    places = [
        BracketPlace("index", F(25, 29), (2,), (0, 1), turns_over=True, exact=True),
        BracketPlace("feed", F(133, 200), (1, 2), (0, 1), turns_over=False, span=(F(133, 400), F(399, 400))),
        BracketPlace("differential", F(1421, 1144), (2,), (0, 1), turns_over=True, exact=True),
    ]
    found = best_set_ups(places, gears, limit=1)
    assert not found.best
    assert found.none_because
    assert "not together" in found.none_because
    assert best_set_ups(places, [*gears, 87], limit=1).best


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: best_set_ups([], [20, 30]), "places is empty"),
        (lambda: best_set_ups([BracketPlace("index", F(1))], []), "the drawer is empty"),
        (lambda: best_set_ups([BracketPlace("x", F(1)), BracketPlace("x", F(1))], [20, 30]), "a name of its own"),
        (lambda: best_set_ups([BracketPlace("x", F(1))], [20, 30], limit=0), "limit is 0"),
        (
            lambda: best_set_ups([BracketPlace("x", F(1))], [DrawerSet("a", Drawer.of([20]), frozenset("y"))]),
            "no gears that fit",
        ),
        (lambda: BracketPlace("x", F(0)), "x: ratio wanted is 0"),
        (lambda: BracketPlace("x", PI, exact=True), "irrational"),
        (lambda: BracketPlace("x", F(1), weight=F(-1)), "weight is -1"),
        (lambda: BracketPlace("x", F(1), span=(F(2), F(1))), "the lesser ratio comes first"),
    ],
)
def test_bad_input_is_refused_at_the_door(call, says: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError, match=says):
        call()


def test_an_idler_that_another_bracket_needs_is_left_to_it() -> None:
    """20 is the smallest idler for both; the second takes the next."""
    gears = [20, 21, 30, 60, 31, 62]
    places = [
        BracketPlace("index", F(1, 2), (1,), (1,), exact=True),
        BracketPlace("feed", F(1, 2), (1,), (1,), exact=True),
    ]
    best = best_set_ups(places, gears, limit=1).best[0]
    assert sorted(best.sets["index"].idlers + best.sets["feed"].idlers) == [20, 21]
