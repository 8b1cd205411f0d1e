"""Gears owned, and how many."""

from __future__ import annotations

from collections import Counter

import pytest
from handlead.kinematics.brackets.drawer import Drawer, DrawerSet, capacity, drawer_for, share_out
from hypothesis import given, settings
from hypothesis import strategies as st

gears = st.lists(st.integers(1, 9), min_size=1, max_size=10)


@given(gears, gears)
@settings(deadline=None)
def test_what_is_taken_out_and_put_back_is_all_there(owned: list[int], more: list[int]) -> None:
    drawer = Drawer.of(owned)
    assert drawer.with_more(more).without(more) == drawer
    assert len(drawer.with_more(more)) == len(owned) + len(more)
    assert drawer.gears == tuple(sorted(owned))


@given(gears, gears)
@settings(deadline=None)
def test_a_drawer_lacks_what_counting_says_it_lacks(owned: list[int], asked: list[int]) -> None:
    assert Counter(Drawer.of(owned).lacking(asked)) == Counter(asked) - Counter(owned)
    assert Drawer.of(owned).holds(asked) == (not Counter(asked) - Counter(owned))


@pytest.mark.parametrize("bad", [[], [20, 0], [-3], [20_000]])
def test_a_drawer_that_cant_be_is_refused(bad: list[int]) -> None:
    with pytest.raises(ValueError, match=r"empty|teeth"):
        Drawer.of(bad)


@pytest.mark.parametrize("bad", [[20.5], ["20"], [True]])
def test_teeth_are_whole_numbers(bad: list[int]) -> None:
    with pytest.raises(TypeError, match="whole number"):
        Drawer.of(bad)


def test_taking_out_what_isnt_there_is_refused() -> None:
    with pytest.raises(ValueError, match="25"):
        Drawer.of([20, 25]).without([25, 25])


@given(
    st.lists(st.tuples(gears, st.frozensets(st.sampled_from("xyz"))), min_size=1, max_size=3),
    st.dictionaries(st.sampled_from("xyz"), st.lists(st.integers(1, 9), min_size=1, max_size=3), min_size=1),
)
@settings(deadline=None)
def test_gears_are_shared_out_wherever_counting_allows(
    sets: list[tuple[list[int], frozenset[str]]], wanted: dict[str, list[int]]
) -> None:
    """Hall's theorem: it works exactly where no group of brackets wants more than the sets that fit it hold."""
    owned = [DrawerSet(str(i), Drawer.of(g), fits) for i, (g, fits) in enumerate(sets)]
    names = sorted(wanted)
    groups = [[n for i, n in enumerate(names) if mask >> i & 1] for mask in range(1, 1 << len(names))]
    enough = True
    for group in groups:
        need = Counter(z for name in group for z in wanted[name])
        there = capacity(group, owned)
        enough &= all(there.get(z, 0) >= n for z, n in need.items())
    shares = share_out(wanted, owned)
    assert (shares is not None) == enough
    if shares is not None:
        taken = Counter((name, z) for gears in shares.values() for z, name in gears)
        for gear_set in owned:
            assert all(n <= gear_set.drawer.counts[z] for (s, z), n in taken.items() if s == gear_set.name)
        for name, asked in wanted.items():
            assert sorted(z for z, _ in shares[name]) == sorted(asked)


def test_a_bracket_sees_the_sets_that_fit_it() -> None:
    sets = [
        DrawerSet("coarse", Drawer.of([20, 30]), frozenset({"feed"})),
        DrawerSet("fine", Drawer.of([20, 40])),
    ]
    assert drawer_for("feed", sets).gears == (20, 20, 30, 40)
    assert drawer_for("index", sets).gears == (20, 40)
