"""Change-gear search against plain enumeration, tables of others, and bad input."""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Iterator
from fractions import Fraction
from functools import cmp_to_key

import numpy as np
import pytest
from handlead.kinematics.brackets.bracket import Bracket
from handlead.kinematics.brackets.drawer import Drawer
from handlead.kinematics.brackets.mounting import Mounting
from handlead.kinematics.frame.exact import PI, Irrational, Ratio, sine, square_root
from handlead.kinematics.links.mounted import Mounted
from handlead.kinematics.search import candidates
from handlead.kinematics.search.change_gears import ChangeGearSet, nearest_sets
from handlead.kinematics.search.products import products, windows
from handlead.kinematics.search.ratios import compare_errors
from hypothesis import given, settings
from hypothesis import strategies as st

F = Fraction


def every_set(drawer: list[int], pairs: int, idlers: int, bracket: Bracket | None) -> Iterator[Mounted]:
    """Every arrangement of the drawer's gears that the bracket takes, by trying them all."""
    for taken in sorted(set(itertools.permutations(drawer, 2 * pairs))):
        left = Counter(drawer) - Counter(taken)
        for idle in sorted(set(itertools.combinations(sorted(left.elements()), idlers))):
            if bracket is None or isinstance(bracket.mount(taken, idle), Mounting):
                yield Mounted(taken, idle)


def plain_key(target: Ratio):  # type: ignore[no-untyped-def]
    """The order that the module promises, written out again."""

    def works(m: Mounted) -> tuple[object, ...]:
        return (
            len(m.gears) + len(m.idlers),
            sum(m.gears),
            len(m.gears),
            sorted(m.gears[::2]),
            sorted(m.gears[1::2]),
            m.gears,
            sorted(m.idlers),
        )

    def compare(one: Mounted, other: Mounted) -> int:
        nearer = compare_errors(one.size, other.size, target)
        return nearer or (works(one) > works(other)) - (works(one) < works(other))

    return cmp_to_key(compare)


def listed(
    drawer: list[int],
    target: Ratio,
    kinds: list[tuple[int, int]],
    bracket: Bracket | None,
    different: str,
    limit: int,
) -> list[Mounted]:
    """The list by enumeration."""
    every = sorted((m for p, i in kinds for m in every_set(drawer, p, i, bracket)), key=plain_key(target))
    seen: set[object] = set()
    result = []
    for mounted in every:
        what: object = {
            "ratio": mounted.size,
            "gears": (sorted(mounted.gears[::2]), sorted(mounted.gears[1::2]), len(mounted.idlers)),
            "order": (mounted.gears, len(mounted.idlers)),
        }[different]
        if str(what) not in seen:
            seen.add(str(what))
            result.append(mounted)
    return result[:limit]


targets: st.SearchStrategy[Ratio] = st.one_of(
    st.fractions(min_value=F(2, 3), max_value=F(3, 2), max_denominator=60),
    st.builds(
        lambda c, d: c * sine(d) / PI,
        st.fractions(min_value=F(5), max_value=F(20), max_denominator=9),
        st.sampled_from([9, 11, 13, 17, 21]),
    ),
    st.builds(square_root, st.sampled_from([F(1, 2), F(2), F(3, 4), F(9, 10)])),
)
brackets = st.one_of(
    st.none(),
    st.builds(Bracket, clearance=st.integers(0, 12)),
    st.builds(
        Bracket,
        module=st.just(2),
        centres=st.integers(10, 60),
        clearance=st.one_of(st.none(), st.integers(0, 8)),
        greatest_sum=st.one_of(st.none(), st.integers(30, 50)),
        greatest_reach=st.one_of(st.none(), st.integers(20, 45)),
        pivot=st.sampled_from(["driving", "driven"]),
    ),
    st.builds(
        Bracket,
        module=st.just(F(3, 2)),
        centres=st.one_of(st.none(), st.integers(15, 45)),
        driving_collar=st.integers(1, 12),
        stud_collar=st.one_of(st.none(), st.integers(1, 12)),
        driven_collar=st.integers(1, 12),
        gap=st.integers(0, 2),
    ),
)
drawers = st.lists(st.integers(8, 30), min_size=4, max_size=12)


def in_reach(target: Ratio, drawer: list[int], pairs: int) -> bool:
    gears = sorted(drawer)
    most = F(math.prod(gears[-pairs:]), math.prod(gears[:pairs]))
    return len(gears) >= 2 * pairs and 1 / most <= F(float(target)) <= most


@given(drawers, targets, brackets, st.sampled_from(["ratio", "gears", "order"]), st.integers(1, 12))
@settings(deadline=None, max_examples=40)
def test_two_and_four_gears_are_listed_as_enumeration_lists_them(
    drawer: list[int], target: Ratio, bracket: Bracket | None, different: str, limit: int
) -> None:
    if not in_reach(target, drawer, 2):
        return
    found = nearest_sets(target, drawer, pairs=(1, 2), bracket=bracket, different=different, limit=limit)  # type: ignore[arg-type]
    expected = listed(drawer, target, [(1, 0), (2, 0)], bracket, different, limit)
    assert [s.mounted for s in found.sets] == expected
    assert all(s.ratio == s.mounted.size for s in found.sets)


@given(
    st.lists(st.integers(8, 24), min_size=6, max_size=7),
    targets,
    brackets,
    st.sampled_from(["ratio", "gears"]),
)
@settings(deadline=None, max_examples=15)
def test_six_gears_are_listed_as_enumeration_lists_them(
    drawer: list[int], target: Ratio, bracket: Bracket | None, different: str
) -> None:
    if not in_reach(target, drawer, 3):
        return
    found = nearest_sets(target, drawer, pairs=(3,), bracket=bracket, different=different, limit=6)  # type: ignore[arg-type]
    assert [s.mounted for s in found.sets] == listed(drawer, target, [(3, 0)], bracket, different, 6)


@given(st.lists(st.integers(8, 40), min_size=12, max_size=12, unique=True), targets)
@settings(deadline=None, max_examples=5)
def test_six_of_twelve_gears_are_listed_as_enumeration_lists_them(drawer: list[int], target: Ratio) -> None:
    """Without a bracket the order doesn't matter, so twelve gears can be enumerated."""
    if not in_reach(target, drawer, 3):
        return
    every = [
        Mounted(tuple(z for pair in zip(tops, bottoms, strict=True) for z in pair))
        for tops in itertools.combinations(sorted(drawer), 3)
        for bottoms in itertools.combinations(sorted(set(drawer) - set(tops)), 3)
    ]
    away = [abs(float(m.size) - float(target)) for m in every]
    enough = sorted(away)[40] + 1e-9
    near = [m for m, error in zip(every, away, strict=True) if error <= enough]
    expected = sorted(near, key=plain_key(target))[:10]
    assert [s.mounted for s in nearest_sets(target, drawer, pairs=(3,), limit=10).sets] == expected


@given(st.lists(st.integers(8, 20), min_size=5, max_size=6), targets, brackets, st.booleans())
@settings(deadline=None, max_examples=30)
def test_idlers_are_chosen_as_enumeration_chooses_them(
    drawer: list[int], target: Ratio, bracket: Bracket | None, turns_over: bool
) -> None:
    if not in_reach(target, drawer, 1) or not in_reach(target, drawer, 2):
        return
    found = nearest_sets(
        target, drawer, pairs=(1, 2), idlers=(0, 1), turns_over=turns_over, bracket=bracket, limit=5
    )
    kinds = [(p, i) for p in (1, 2) for i in (0, 1) if (p + i) % 2 == turns_over]
    assert [s.mounted for s in found.sets] == listed(drawer, target, kinds, bracket, "gears", 5)


@given(drawers, st.fractions(min_value=F(1, 2), max_value=2, max_denominator=12))
@settings(deadline=None)
def test_exact_sets_give_the_ratio_itself(drawer: list[int], target: F) -> None:
    if not in_reach(target, drawer, 2):
        return
    found = nearest_sets(target, drawer, exact=True, limit=50)
    near = nearest_sets(target, drawer, limit=50)
    assert [s for s in near.sets if s.ratio == target] == list(found.sets)


def test_an_irrational_between_two_sets_is_refined_not_guessed() -> None:
    """24/25 and 25/26 lie on both sides of a target that differs from their middle in the 50th place."""
    middle = (F(24, 25) + F(25, 26)) / 2
    for hair in (F(1, 10**50), -F(1, 10**50)):
        beside = Irrational(lambda b, m=middle + hair: (m - F(1, 2**b), m + F(1, 2**b)), "nearly the middle")
        best = nearest_sets(beside, [24, 25, 26], pairs=(1,), limit=1).sets[0]
        assert best.ratio == (F(25, 26) if hair > 0 else F(24, 25))


def test_equally_near_ratios_are_told_apart_by_the_work_they_take() -> None:
    """8/10 and 12/10 are equally far from 1, as are 10/8 and 6/8; the fewer teeth come first."""
    found = nearest_sets(1, [6, 8, 10, 12], pairs=(1,), limit=4).sets
    assert [s.gears for s in found] == [(10, 12), (8, 10), (12, 10), (6, 8)]


def test_a_set_that_fails_in_one_order_is_offered_in_another() -> None:
    bracket = Bracket(clearance=15)
    assert not isinstance(bracket.mount((25, 30, 90, 40)), Mounting)
    found = nearest_sets(F(25 * 90, 30 * 40), [25, 30, 90, 40], bracket=bracket, limit=1).sets
    assert found[0].ratio == F(25 * 90, 30 * 40)
    assert isinstance(bracket.mount(found[0].gears), Mounting)


def test_a_nearer_set_that_cant_be_mounted_is_named_with_the_reason() -> None:
    bracket = Bracket(module=2, clearance=15, driving_collar=110, driven_collar=110)
    found = nearest_sets(5 * sine(10) / PI, range(20, 101, 5), bracket=bracket, limit=3, refused=3)
    assert found.refused
    for one in found.refused:
        assert "fouls" in one.why
        assert abs(one.error) <= abs(found.sets[-1].error)
    assert [abs(r.error) for r in found.refused] == sorted(abs(r.error) for r in found.refused)


@pytest.mark.parametrize(
    ("wanted", "drawer", "options", "says"),
    [
        (1, [], {}, "the drawer is empty"),
        (1, [20, 0, 30, 40], {}, "gear has 0 teeth"),
        (0, [20, 30, 40, 50], {}, "greater than 0"),
        (F(1, 25), list(range(24, 101)), {}, "beyond the reach of these gears"),
        (1000, [20, 30, 40, 50], {}, "beyond the reach"),
        (1, [20, 30], {}, "holds 2 gears"),
        (1, [20, 30, 40, 50], {"pairs": (4,)}, "pairs is 4"),
        (1, [20, 30, 40, 50], {"pairs": ()}, "at least one"),
        (1, [20, 30, 40, 50], {"idlers": (-1,)}, "idlers is -1"),
        (1, [20, 30, 40, 50], {"limit": 0}, "limit is 0"),
        (1, [20, 30, 40, 50], {"different": "colour"}, "different is"),
        (PI / 3, [20, 30, 40, 50], {"exact": True}, "irrational"),
    ],
)
def test_bad_input_is_refused_at_once(
    wanted: Ratio, drawer: list[int], options: dict[str, object], says: str
) -> None:
    with pytest.raises(ValueError, match=says):
        nearest_sets(wanted, drawer, **options)  # type: ignore[arg-type]


def test_a_float_is_no_target() -> None:
    with pytest.raises(TypeError, match="rounded"):
        nearest_sets(1.03, [20, 30, 40, 50])  # type: ignore[arg-type]


def test_large_gears_are_searched_exactly_too() -> None:
    drawer = [9973, 9967, 9949, 9941, 9931, 9929, 9923]
    found = nearest_sets(F(1), drawer, pairs=(3,), limit=5)
    every = [
        Mounted(tuple(z for pair in zip(tops, bottoms, strict=True) for z in pair))
        for tops in itertools.combinations(sorted(drawer), 3)
        for bottoms in itertools.combinations(sorted(set(drawer) - set(tops)), 3)
    ]
    assert [s.mounted for s in found.sets] == sorted(every, key=plain_key(F(1)))[:5]


def test_a_drawer_that_is_searched_out_says_so() -> None:
    assert nearest_sets(1, [20, 30, 40, 50], limit=100).complete
    assert not nearest_sets(1, [20, 30, 40, 50], limit=2).complete


def test_twice_the_same_search_gives_the_same_list() -> None:
    def run(drawer: list[int]) -> tuple[ChangeGearSet, ...]:
        return nearest_sets(F(2, 5), Drawer.of(drawer), limit=30).sets

    gears = list(range(20, 90, 3))
    assert run(gears) == run(gears[::-1])


@given(drawers, targets, brackets.filter(lambda one: one is not None), st.integers(1, 12))
@settings(deadline=None, max_examples=25)
def test_the_list_is_the_same_from_the_brackets_side(
    drawer: list[int], target: Ratio, bracket: Bracket, limit: int
) -> None:
    """With a bracket that takes few, the search changes over to what it takes; the list must not show it."""
    if not in_reach(target, drawer, 2):
        return
    found = nearest_sets(target, drawer, bracket=bracket, limit=limit, different="order")
    tried = candidates._TRIED
    candidates._TRIED, candidates._FEW = -1, 0
    try:
        other = nearest_sets(target, drawer, bracket=bracket, limit=limit, different="order")
    finally:
        candidates._TRIED, candidates._FEW = tried, 500
    assert found.sets == other.sets


def test_a_bracket_that_takes_hardly_anything_is_searched_out_at_once() -> None:
    bracket = Bracket(module=2, centres=40, clearance=4, greatest_sum=62)  # type: ignore[arg-type]
    found = nearest_sets(25 * sine(15) / (2 * PI), range(20, 120), pairs=(3,), bracket=bracket, limit=20)
    assert len(found.sets) == 20
    for one in found.sets:
        assert isinstance(bracket.mount(one.gears), Mounting)
    nothing = Bracket(module=2, centres=1500)  # type: ignore[arg-type]
    assert nearest_sets(F(1), range(20, 120), pairs=(3,), bracket=nothing).sets == ()


@pytest.mark.parametrize(("target", "expected"), [(F(7, 5), 5), (F(7, 5), 3000), (F(1), 1000)])
def test_a_ratio_between_two_heaps_of_sets_is_come_upon_a_window_at_a_time(target: Fraction, expected: int) -> None:
    """Gears of two sizes alone: nothing lies near 1.4, and thousands of sets a little farther off; none is left out,
    and no window takes in more than it should."""
    table = products(Drawer.of([*range(300, 330), *range(600, 630)]), 2)
    quotients = np.abs(np.divide.outer(table.floats, table.floats).ravel() / float(target) - 1)
    # The first window has room for all that are equally near; the one after it goes on where it ends.
    first, second = itertools.islice(windows(table, target, expected), 2)
    assert expected <= len(first.tops) <= 8 * max(expected, 512)
    found = [table.floats[one.tops] / table.floats[one.bottoms] / float(target) - 1 for one in (first, second)]
    errors = np.abs(np.concatenate(found))
    assert errors == pytest.approx(np.sort(quotients)[: errors.size], abs=1e-12)
