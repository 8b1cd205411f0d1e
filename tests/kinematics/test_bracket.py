"""What can be mounted: against geometry worked out by trial in the plane, and the trade's rules."""

from __future__ import annotations

import cmath
import itertools
import math
from fractions import Fraction

import numpy as np
import pytest
from handlead.kinematics.brackets.bracket import Bracket
from handlead.kinematics.brackets.bracket_keys import BRACKET_KEYS
from handlead.kinematics.brackets.drawer import Drawer
from handlead.kinematics.brackets.mounting import Mounting, Refusal
from handlead.kinematics.search.gear_orders import orders
from handlead.kinematics.search.scarce import allowed_orders
from hypothesis import given, settings
from hypothesis import strategies as st

teeth = st.integers(12, 60)

measured = st.builds(
    Bracket,
    module=st.just(2),
    centres=st.integers(20, 150),
    driving_collar=st.integers(4, 30),
    stud_collar=st.integers(4, 30),
    driven_collar=st.integers(4, 30),
    gap=st.integers(0, 3),
    pivot=st.sampled_from(["driving", "driven"]),
    least_reach=st.one_of(st.none(), st.integers(10, 40)),
    greatest_reach=st.one_of(st.none(), st.integers(50, 120)),
)


def spoilt_by(bracket: Bracket, gears: tuple[int, ...], points: list[complex]) -> float:
    """By how many mm the worst of all conditions fails with the axes at `points`; 0 or below: none does."""
    assert bracket.module is not None and bracket.centres is not None
    m, pairs = float(bracket.module), len(gears) // 2
    on_axis: list[dict[int, int]] = [{} for _ in range(pairs + 1)]
    for pair in range(pairs):
        on_axis[pair][pair] = gears[2 * pair]
        on_axis[pair + 1][pair] = gears[2 * pair + 1]
    collars = [bracket.driving_collar, *[bracket.stud_collar] * (pairs - 1), bracket.driven_collar]
    faults = [abs(points[-1] - points[0] - float(bracket.centres))]
    for pair in range(pairs):
        mesh = m * (gears[2 * pair] + gears[2 * pair + 1]) / 2
        faults.append(abs(abs(points[pair + 1] - points[pair]) - mesh) if pairs > 1 else 0.0)
    for i, j in itertools.permutations(range(pairs + 1), 2):
        for plane, z in on_axis[i].items():
            if plane not in on_axis[j]:
                radius = m * (z + 2) / 2 + float(collars[j] or 0) / 2 + float(bracket.gap)
                faults.append(radius - abs(points[i] - points[j]))
    pivot = points[0] if bracket.pivot == "driving" else points[-1]
    for stud in points[1:-1]:
        if bracket.least_reach is not None:
            faults.append(float(bracket.least_reach) - abs(stud - pivot))
        if bracket.greatest_reach is not None:
            faults.append(abs(stud - pivot) - float(bracket.greatest_reach))
    return max(faults)


def places_of(mounting: Mounting) -> list[complex]:
    return [complex(axis.x or 0.0, axis.y or 0.0) for axis in mounting.axes]


@given(measured, teeth, teeth, teeth, teeth)
@settings(deadline=None, max_examples=400)
def test_two_pairs_go_on_exactly_where_the_triangle_and_the_tips_allow(
    bracket: Bracket, a: int, b: int, c: int, d: int
) -> None:
    outcome = bracket.mount((a, b, c, d))
    centres = float(bracket.centres or 0)
    first, second = float(a + b), float(c + d)
    x = (first**2 - second**2 + centres**2) / (2 * centres)
    if x * x > first**2:
        assert isinstance(outcome, Refusal)
        return
    spoilt = spoilt_by(bracket, (a, b, c, d), [0, complex(x, math.sqrt(first**2 - x * x)), centres])
    if spoilt < -1e-9:
        assert isinstance(outcome, Mounting)
    if spoilt > 1e-9:
        assert isinstance(outcome, Refusal)
    if isinstance(outcome, Mounting):
        assert spoilt_by(bracket, (a, b, c, d), places_of(outcome)) < 1e-9


@given(measured, st.tuples(teeth, teeth, teeth, teeth, teeth, teeth))
@settings(deadline=None, max_examples=120)
def test_three_pairs_go_on_wherever_swinging_the_first_stud_finds_a_place(
    bracket: Bracket, gears: tuple[int, ...]
) -> None:
    """The exact answer is held against a thousand trial places of the first stud."""
    outcome = bracket.mount(gears)
    r1, r2, r3 = (float(gears[2 * i] + gears[2 * i + 1]) for i in range(3))
    centres = float(bracket.centres or 0)
    found = False
    for angle in np.linspace(0, 2 * math.pi, 1000, endpoint=False):
        first = cmath.rect(r1, angle)
        across = centres - first
        u = abs(across)
        if u == 0 or u > r2 + r3 or u < abs(r2 - r3):
            continue
        along = (u * u + r2 * r2 - r3 * r3) / (2 * u)
        up = math.sqrt(max(0.0, r2 * r2 - along * along))
        for side in (1, -1):
            second = first + across / u * complex(along, side * up)
            if spoilt_by(bracket, gears, [0, first, second, centres]) < -1e-7:
                found = True
    if found:
        assert isinstance(outcome, Mounting)
    if isinstance(outcome, Mounting):
        assert spoilt_by(bracket, gears, places_of(outcome)) < 1e-6


@given(measured, teeth, teeth, teeth, st.integers(12, 40))
@settings(deadline=None, max_examples=150)
def test_an_idler_between_the_shafts_stands_in_mesh_with_both(
    bracket: Bracket, a: int, b: int, idler: int, other: int
) -> None:
    for idlers in ((idler,), (idler, other)):
        outcome = bracket.mount((a, b), idlers)
        if isinstance(outcome, Mounting):
            points = places_of(outcome)
            standing = [axis.gears[0][1] for axis in outcome.axes]
            assert sorted(standing[1:-1]) == sorted(idlers)
            for (z1, p1), (z2, p2) in itertools.pairwise(zip(standing, points, strict=True)):
                assert abs(p1 - p2) == pytest.approx(z1 + z2)
            for i, j in itertools.combinations(range(len(points)), 2):
                if j > i + 1:  # gears in one plane that don't mesh pass each other tip to tip
                    assert (
                        abs(points[i] - points[j])
                        >= standing[i] + standing[j] + 4 + float(bracket.gap) - 1e-6
                    )


@pytest.mark.parametrize(
    ("gears", "goes_on"),
    [((20, 80, 80, 20), True), ((25, 30, 90, 40), False), ((30, 90, 25, 40), False)],
)
def test_the_rule_of_thumb_passes_and_refuses_as_the_trade_has_it(
    gears: tuple[int, ...], goes_on: bool
) -> None:
    """a + b >= c + 15 and c + d >= b + 15: trade rule, from memory; examples worked out by hand."""
    a, b, c, d = gears
    assert (a + b >= c + 15 and c + d >= b + 15) == goes_on
    assert isinstance(Bracket(clearance=Fraction(15)).mount(gears), Mounting) == goes_on


def test_no_keys_limit_nothing() -> None:
    assert isinstance(Bracket().mount((12, 100, 100, 12, 5, 300), (17,)), Mounting)


def test_a_lone_pair_spans_the_centres_exactly_unless_there_is_slack() -> None:
    bracket = Bracket(module=Fraction(2), centres=Fraction(60))
    assert isinstance(bracket.mount((24, 36)), Mounting)
    refused = bracket.mount((24, 37))
    assert isinstance(refused, Refusal)
    assert "24 + 37 = 61 teeth span 61 mm, and the shafts stand 60 mm apart" in refused.why
    slack = Bracket(module=Fraction(2), centres=Fraction(60), slack=Fraction(1))
    assert isinstance(slack.mount((24, 37)), Mounting)


def test_an_idler_needs_a_stud_and_a_stud_long_enough() -> None:
    refused = Bracket(studs=1).mount((20, 30, 40, 50), (25,))
    assert isinstance(refused, Refusal) and "2 studs are needed and the bracket has 1" in refused.why
    wide = Bracket(stud_length=Fraction(30), gear_width=Fraction(15), idler_width=Fraction(31))
    refused = wide.mount((20, 30), (25,))
    assert isinstance(refused, Refusal) and "31 mm wide" in refused.why
    short = Bracket(stud_length=Fraction(25), gear_width=Fraction(15))
    refused = short.mount((20, 30, 40, 50))
    assert isinstance(refused, Refusal) and "two gears side by side" in refused.why
    assert isinstance(short.mount((20, 30)), Mounting)


def test_a_wide_idler_must_clear_the_gears_beside_it() -> None:
    """b and c are of a size: an idler that meets one and reaches beside it meets the other too."""
    common = {"module": Fraction(2), "gear_width": Fraction(15), "stud_length": Fraction(40)}
    narrow = Bracket(**common, idler_width=Fraction(15))  # type: ignore[arg-type]
    wide = Bracket(**common, idler_width=Fraction(30))  # type: ignore[arg-type]
    gears, idler = (30, 50, 51, 30), (25,)
    assert isinstance(narrow.mount(gears, idler), Mounting)
    refused = wide.mount(gears, idler)
    assert isinstance(refused, Refusal) and "fouls" in refused.why


@pytest.mark.parametrize(
    "bracket",
    [
        Bracket(module=Fraction(2), centres=Fraction(110), clearance=Fraction(15)),
        Bracket(clearance=Fraction(15)),
        Bracket(module=Fraction(2), centres=Fraction(110), stud_collar=Fraction(26)),
        Bracket(module=Fraction(2), centres=Fraction(110)),
    ],
)
def test_no_gear_turns_over_the_stud_of_an_idler(bracket: Bracket) -> None:
    """Between a and b an idler of 31 stands 51 mm from the stud of b and c: far inside the rim of c's 69 teeth.
    In the other mesh c would cover the driving shaft. An idler of 64 stands 84 mm away (own derivation)."""
    refused = bracket.mount((25, 20, 69, 23), (31,))
    assert isinstance(refused, Refusal) and refused.why.startswith("69 fouls the idler's stud")
    assert isinstance(bracket.mount((25, 20, 69, 23), (64,)), Mounting)


@given(
    st.one_of(measured, st.builds(Bracket, module=st.just(2), centres=st.integers(20, 150))),
    st.tuples(teeth, teeth, teeth, teeth),
    st.integers(12, 60),
)
@settings(deadline=None, max_examples=300)
def test_where_an_idler_goes_on_every_gear_clears_the_shafts_and_studs_that_it_passes(
    bracket: Bracket, gears: tuple[int, ...], idler: int
) -> None:
    outcome = bracket.mount(gears, (idler,))
    if not isinstance(outcome, Mounting):
        return
    assert bracket.module is not None
    points = places_of(outcome)
    collars = {"driving shaft": bracket.driving_collar, "driven shaft": bracket.driven_collar}
    for (one, p), (other, q) in itertools.permutations(zip(outcome.axes, points, strict=True), 2):
        planes = {plane for plane, _ in other.gears}
        for plane, z in one.gears:
            if plane not in planes:
                collar = collars.get(other.name, bracket.stud_collar)
                room = float(bracket.module) * (z + 2) / 2 + float(collar or 0) / 2 + float(bracket.gap)
                assert abs(p - q) >= room - 1e-6


def test_what_fouls_is_named_with_its_measures() -> None:
    bracket = Bracket(module=Fraction(2), centres=Fraction(120), driving_collar=Fraction(40))
    refused = bracket.mount((30, 40, 85, 50))
    assert isinstance(refused, Refusal)
    assert refused.why == "85 fouls the driving shaft: it needs 107 mm between the axes and has 70 mm"


def test_the_slot_ends_where_it_is_said_to() -> None:
    bracket = Bracket(module=Fraction(2), centres=Fraction(120), greatest_reach=Fraction(80), pivot="driven")
    refused = bracket.mount((30, 40, 40, 50))
    assert isinstance(refused, Refusal)
    assert refused.why == "the stud would stand 90 mm from the driven shaft; the slot ends at 80 mm"


@pytest.mark.parametrize(
    ("keys", "says"),
    [
        ({"module": 0}, "module is 0"),
        ({"centres": -5, "module": 2}, "centres is -5"),
        ({"centres": 100}, "without module"),
        ({"driving_collar": 30}, "without module"),
        ({"least_sum": 80, "greatest_sum": 60}, "nothing lies between"),
        ({"least_sum": Fraction(81, 2)}, "whole number"),
        ({"pivot": "left"}, "pivot is 'left'"),
        ({"stud_length": 10, "gear_width": 15}, "no gear fits"),
        ({"colour": 3}, "unknown key 'colour'"),
        ({"clearance": -1}, "clearance is -1"),
    ],
)
def test_a_bracket_that_cant_be_is_refused(keys: dict[str, object], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        Bracket.of(keys)


def test_a_float_is_no_measure() -> None:
    with pytest.raises(TypeError, match="Fraction"):
        Bracket(module=2.5)  # type: ignore[arg-type]


def test_every_key_is_documented_and_read() -> None:
    assert set(BRACKET_KEYS) == set(Bracket.__dataclass_fields__)
    assert all(meaning and unit for meaning, unit in BRACKET_KEYS.values())


@given(
    st.one_of(measured, st.builds(Bracket, clearance=st.integers(0, 20)), st.just(Bracket())),
    st.lists(st.integers(12, 60), min_size=4, max_size=6),
    st.integers(1, 3),
)
@settings(deadline=None, max_examples=60)
def test_what_the_quick_rules_refuse_is_refused_and_what_they_enumerate_is_all(
    bracket: Bracket, gears: list[int], pairs: int
) -> None:
    (rules,) = bracket.rules(pairs)
    listed = allowed_orders(Drawer.of(gears), [rules], 10**6)
    assert listed is not None
    rows = {tuple(row) for row in listed.tolist()}
    for taken in set(itertools.permutations(gears, 2 * pairs)):
        goes_on = isinstance(bracket.mount(taken), Mounting)
        allowed = bool(rules.allow([np.array(z) for z in taken]))
        assert allowed == (taken in rows)
        assert allowed or not goes_on
        if pairs < 3:
            assert allowed == goes_on


@given(measured, st.lists(st.integers(12, 60), min_size=3, max_size=6), st.integers(1, 2), st.integers(1, 2))
@settings(deadline=None, max_examples=60)
def test_with_idlers_too_the_quick_rules_refuse_nothing_that_can_be_mounted(
    bracket: Bracket, gears: list[int], pairs: int, idlers: int
) -> None:
    rules = bracket.rules(pairs, idlers, max(gears))
    listed = allowed_orders(Drawer.of(gears), rules, 10**6)
    assert listed is not None
    rows = {tuple(row) for row in listed.tolist()}
    for taken in set(itertools.permutations(gears, 2 * pairs + idlers)):
        if isinstance(bracket.mount(taken[: 2 * pairs], taken[2 * pairs :]), Mounting):
            assert taken[: 2 * pairs] in rows
            assert any(bool(one.allow([np.array(z) for z in taken[: 2 * pairs]])) for one in rules)


def test_too_many_to_enumerate_is_said_rather_than_tried() -> None:
    drawer = Drawer.of(range(20, 80))
    assert allowed_orders(drawer, Bracket(clearance=5).rules(3), 1000) is None
    assert allowed_orders(drawer, Bracket(clearance=5).rules(2), 1000) is None
    none = allowed_orders(drawer, Bracket(clearance=500).rules(3), 1000)
    assert none is not None and len(none) == 0


@pytest.mark.parametrize("k", [1, 2, 3])
def test_orders_rise_with_the_gears_they_arrange(k: int) -> None:
    drivers, driven = list(range(10, 10 + k)), list(range(20, 20 + k))
    sets = [
        tuple(z for i, j in zip(*order, strict=True) for z in (drivers[i], driven[j])) for order in orders(k)
    ]
    assert sets == sorted(sets) and len(sets) == math.factorial(k) ** 2
