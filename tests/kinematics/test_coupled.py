"""Brackets whose ratios hang together, against plain enumeration and a worked method of others."""

from __future__ import annotations

import itertools
import math
from collections import Counter
from fractions import Fraction

import pytest
from handlead.kinematics.brackets.bracket import Bracket
from handlead.kinematics.brackets.mounting import Mounting
from handlead.kinematics.frame.exact import PI, Ratio, sine
from handlead.kinematics.search.ratios import compare, relative_error
from handlead.kinematics.together.relation import Relation
from handlead.kinematics.together.tied import Effort, best_coupled_set_ups
from handlead.kinematics.together.together import BracketPlace
from hypothesis import given, settings
from hypothesis import strategies as st

F = Fraction
CONSTANT = 24  # hob turns per table turn with equal index gears; feed = 2 * feed gears: an invented machine


def lead_relation(teeth: int, axial_pitch: Ratio, loses: int) -> Relation:
    """index * (teeth ± feed/axial pitch) = constant, with feed = 2 * feed gears, for a machine without differential."""
    return Relation(
        {
            frozenset(): F(-CONSTANT),
            frozenset({"index"}): F(teeth),
            frozenset({"index", "feed"}): loses * 2 / axial_pitch,
        }
    )


def helical_places(
    teeth: int, bracket: Bracket | None = None, span: tuple[Ratio, Ratio] = (F(1, 4), F(2))
) -> list[BracketPlace]:
    return [
        BracketPlace("index", F(CONSTANT, teeth), (2,), (0,), bracket=bracket, weight=F(0)),
        BracketPlace("feed", F(3, 4), (2,), (0,), bracket=bracket, span=span, weight=F(0)),
    ]


@given(
    st.lists(st.integers(11, 40), min_size=4, max_size=6, unique=True),
    st.integers(18, 30),
    st.sampled_from([2 * PI / sine(20), 3 * PI / sine(17), F(41, 3)]),
    st.sampled_from([1, -1]),
    st.sampled_from([None, Bracket(clearance=F(3))]),
)
@settings(deadline=None, max_examples=60)
def test_index_and_feed_gears_are_as_true_as_enumeration_can_make_them(
    gears: list[int], teeth: int, pitch: Ratio, loses: int, bracket: Bracket | None
) -> None:
    span = (F(1, 10), F(4))
    places = [
        BracketPlace("index", F(CONSTANT, teeth), (1,), (0, 1), bracket=bracket, weight=F(0)),
        BracketPlace("feed", F(1), (1,), (0,), bracket=bracket, span=span, weight=F(1, 1000)),
    ]
    relation = lead_relation(teeth, pitch, loses)
    found = best_coupled_set_ups(places, relation, gears, limit=4)
    costs: dict[tuple[Fraction, Fraction], float] = {}
    for a, b, c, d in itertools.permutations(gears, 4):
        x, y = F(a, b), F(c, d)
        if not span[0] <= y <= span[1]:
            continue
        wanted = loses * (F(CONSTANT) / x - teeth) * pitch / 2
        if compare(wanted, span[0]) < 0 or compare(wanted, span[1]) > 0:
            continue
        rule = bracket or Bracket()
        if isinstance(rule.mount((a, b)), Mounting) and isinstance(rule.mount((c, d)), Mounting):
            costs[x, y] = abs(relative_error(y, wanted)) + abs(float(wanted) - 1) / 1000
    assert [one.set_up.cost for one in found.best] == pytest.approx(
        sorted(costs.values())[:4], rel=1e-6, abs=1e-13
    )
    assert found.complete
    for one in found.best:
        used = [z for each in one.set_up.sets.values() for z in (*each.gears, *each.idlers)]
        assert not Counter(used) - Counter(gears)
    assert (found.none_because is None) == bool(found.best)


@given(st.lists(st.integers(11, 30), min_size=6, max_size=7, unique=True), st.integers(19, 24), st.booleans())
@settings(deadline=None, max_examples=25)
def test_a_count_made_up_by_the_differential_is_as_near_as_enumeration_can_make_it(
    gears: list[int], teeth: int, helical: bool
) -> None:
    """Index for a neighbouring count; differential = 25 * (its difference per feed ± 1/axial pitch)."""
    turn: Ratio = sine(20) / (PI * 2) if helical else F(0)
    relation = Relation(
        {
            frozenset(): F(-25 * CONSTANT),
            frozenset({"index"}): F(25 * teeth),
            frozenset({"index", "feed"}): 50 * turn,
            frozenset({"index", "feed", "differential"}): F(2),
        },
        stiffness={frozenset(): F(3)},
    )
    places = [
        BracketPlace("index", F(CONSTANT, teeth), (1,), (0,), span=(F(1, 2), F(3, 2)), weight=F(0)),
        BracketPlace("feed", F(1), (1,), (0,), span=(F(1, 2), F(2)), weight=F(1, 100)),
        BracketPlace("differential", F(1), (1,), (0,), span=(F(1, 3), F(3)), weight=F(0)),
    ]
    found = best_coupled_set_ups(places, relation, gears, limit=3)
    costs: dict[tuple[Fraction, ...], float] = {}
    for a, b, c, d, e, f in itertools.permutations(gears, 6):
        x, y, z = F(a, b), F(c, d), F(e, f)
        if not (F(1, 2) <= x <= F(3, 2) and F(1, 2) <= y <= 2 and F(1, 3) <= z <= 3):
            continue
        wanted = 25 * ((CONSTANT / x - teeth) / (2 * y) - turn)
        if compare(wanted, F(1, 3)) < 0 or compare(wanted, 3) > 0:
            continue
        costs[x, y, z] = 3 * abs(float(z - wanted)) + abs(float(y) - 1) / 100
    assert [one.set_up.cost for one in found.best] == pytest.approx(
        sorted(costs.values())[:3], rel=1e-6, abs=1e-13
    )


SET_C = [
    20, 23, 24, 25, 30, 33, 34, 35, 37, 40, 41, 43, 45, 47, 48, 50, 53, 55, 57, 58, 59,
    60, 61, 62, 65, 67, 70, 71, 73, 75, 79, 80, 83, 85, 89, 90, 92, 95, 97, 98, 100,
]  # fmt: skip


@pytest.mark.parametrize(
    ("module", "beta", "teeth", "whole_turns"),
    [(F(2), F(20), 30, 6.01e-6), (F(3, 2), F(25), 25, 1.05e-5)],
)
def test_searching_index_and_feed_together_beats_whole_table_turns_by_powers_of_ten(
    module: Fraction, beta: Fraction, teeth: int, whole_turns: float
) -> None:
    """The trade takes whole table turns for an axial pitch; their errors: own derivation, by enumeration."""
    bracket = Bracket(clearance=F(15))
    pitch = PI * module / sine(beta)
    best = best_coupled_set_ups(
        helical_places(teeth, bracket), lead_relation(teeth, pitch, 1), SET_C, limit=1
    ).best[0]
    # What these gears cut, by another road: hob turns a table turn, what is left of the count, and the lead.
    index, feed = (best.set_up.sets[name].ratio for name in ("index", "feed"))
    left = CONSTANT / index - teeth
    lead = teeth * float(2 * feed / left)
    wanted = math.pi * float(module) * teeth / math.sin(math.radians(float(beta)))
    assert lead / wanted - 1 == pytest.approx(best.error, abs=1e-12)
    assert abs(best.error) < whole_turns / 1000


def test_127_teeth_are_cut_exactly_through_the_differential() -> None:
    relation = Relation(
        {
            frozenset(): F(-25 * CONSTANT),
            frozenset({"index"}): F(25 * 127),
            frozenset({"index", "feed", "differential"}): F(2),
        }
    )
    places = [
        BracketPlace("index", F(CONSTANT, 127), (2,), (0,), span=(F(CONSTANT, 128), F(CONSTANT, 126)), weight=F(0)),
        BracketPlace("feed", F(1), (2,), (0,), span=(F(1, 2), F(3, 2)), weight=F(1, 1000)),
        BracketPlace("differential", F(1), (2,), (0,), span=(F(1, 4), F(4)), weight=F(0)),
    ]
    found = best_coupled_set_ups(places, relation, SET_C, limit=3, effort=Effort(choices=20_000))
    assert not found.complete and found.choices <= 20_000
    for one in found.best:
        index, feed, differential = (
            one.set_up.sets[name].ratio for name in ("index", "feed", "differential")
        )
        # Count = constant/index less what the differential makes up: 25ths of its ratio per mm, feed mm a turn.
        assert CONSTANT / index - differential * 2 * feed / 25 == 127
        used = [z for each in one.set_up.sets.values() for z in each.gears]
        assert len(set(used)) == len(used)


def test_where_nothing_serves_it_is_said_why() -> None:
    places = helical_places(37)
    relation = lead_relation(37, 2 * PI / sine(20), 1)
    none = best_coupled_set_ups(places, relation, [20, 100, 101, 102, 103, 104, 105, 106])
    assert not none.best and none.none_because


@pytest.mark.parametrize(
    ("places", "says"),
    [
        (helical_places(30)[:1], "two places on"),
        ([helical_places(30)[0], BracketPlace("feed", F(1), (2,), (0,))], "span isn't given"),
        ([helical_places(30)[0], BracketPlace("feed", F(1), (3,), (0,), span=(F(1, 2), F(2)))], "one or two pairs"),
        ([helical_places(30)[0], BracketPlace("fade", F(1), (2,), (0,), span=(F(1, 2), F(2)))], "names feed"),
    ],
)
def test_bad_input_is_refused_at_the_door(places: list[BracketPlace], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        best_coupled_set_ups(places, lead_relation(30, 2 * PI / sine(20), 1), SET_C)
