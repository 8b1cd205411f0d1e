"""Unknown numbers and senses of a train, found again from what is counted; held against brute force and print."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction as F
from itertools import product

import pytest
from handlead.kinematics.frame.words import Sense
from handlead.kinematics.links.links import BevelGears, Differential, GearPair, Screw, WormGear
from handlead.kinematics.narrowing.allowance import Allowance, OutOfAllowance
from handlead.kinematics.narrowing.conditions import Balance, Product, combined, conditions_of, merged
from handlead.kinematics.narrowing.domains import Fractions, Wholes
from handlead.kinematics.narrowing.narrowing import Narrowing
from handlead.kinematics.train.solution import solve
from handlead.kinematics.train.train import Drive, End, Train
from handlead.kinematics.transfer.polynomials import SIGN, evaluate, is_sign, powers
from handlead.kinematics.transfer.transfer import NotDriven
from handlead.kinematics.unknowns.identification import identify
from handlead.kinematics.unknowns.observations import HandTurn, balance_of
from handlead.kinematics.unknowns.open_train import OpenRatio, OpenTrain, find_rates
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from strategies import hobbers

# ---------------------------------------------------------------- rates as polynomials


def opened(train: Train) -> tuple[OpenTrain, dict[str, F]]:
    """The train with every number and sense of its toothed links and screws open, and the values that they have."""
    ratios: dict[str, OpenRatio] = {}
    values: dict[str, F] = {}

    def put(name: str, coefficient: F, exponents: Mapping[str, int]) -> None:
        ratios[name] = OpenRatio(coefficient, powers(exponents))

    for link in train.links:
        sign, one, two = f"{SIGN}{link.name}", f"{link.name}/1", f"{link.name}/2"
        match link:
            case WormGear():
                put(link.name, F(1), {sign: 1, one: 1, two: -1})
                values |= {sign: F(link.sense.value), one: F(link.starts), two: F(link.teeth)}
            case BevelGears():
                put(link.name, F(1), {sign: 1, one: 1, two: -1})
                values |= {sign: F(link.sense.value), one: F(link.teeth[0]), two: F(link.teeth[1])}
            case GearPair():
                put(link.name, link.ratio * link.teeth[1], {two: -1})
                values |= {two: F(link.teeth[1])}
            case Screw():
                put(link.name, F(1), {sign: 1, one: 1})
                values |= {sign: F(link.sense.value), one: F(link.lead)}
            case Differential():
                put(link.name, F(1), {sign: 1, one: 1})
                values |= {sign: F(1 if link.sun_ratio > 0 else -1), one: abs(link.sun_ratio)}
    return OpenTrain(train, ratios), values


@settings(deadline=None, max_examples=60)
@given(hobbers())
def test_the_polynomials_give_the_rates_of_the_train_where_the_unknowns_are_what_they_are(hobber):
    train = hobber.train
    solution = solve(train, "main")
    assume(not solution.is_locked)
    driven = [
        part for part in ("table", "axial slide", "tangential slide") if solution.rates.get(part) is not None
    ]
    open_train, values = opened(train)
    # Turning the hob drives what the motor drives: the motor hangs on it by known links.
    rates = find_rates(open_train, "main", "hob", driven)
    below = evaluate(rates.below, values)
    assume(below)
    for part in driven:
        assert evaluate(rates.above[part], values) / below == solution.rates[part] / solution.rates["hob"]


def chain(*links) -> Train:
    parts = list(dict.fromkeys(part for link in links for part in link.ports))
    slides = [part for part in parts if part.endswith("slide")]
    shafts = [part for part in parts if part not in slides]
    return Train(
        dict.fromkeys(shafts, ""),
        dict.fromkeys(slides, ""),
        links,
        {"hob": End(shafts[0]), "table": End(shafts[-1])},
        {"main": Drive(shafts[0])},
    )


def test_a_part_that_nothing_connects_is_refused_by_name():
    train = chain(WormGear("worm", "a", "b", 1, 30, Sense.SAME), GearPair("far", "x", "y", (20, 20)))
    open_train = OpenTrain(train, {"worm": OpenRatio(F(1), powers({"z": -1}))})
    with pytest.raises(NotDriven, match="nothing connects") as caught:
        find_rates(open_train, "main", "a", ["y"])
    assert caught.value.part == "y"


def test_a_part_that_follows_another_one_besides_is_refused():
    train = chain(Differential("sum", ("a", "b"), "c"))
    with pytest.raises(NotDriven, match="free to turn"):
        find_rates(OpenTrain(train, {"sum": OpenRatio(F(-1), powers({"i": 1}))}), "main", "a", ["b"])


def test_a_part_that_is_held_can_not_be_turned():
    train = chain(WormGear("worm", "a", "b", 1, 30, Sense.SAME))
    with pytest.raises(NotDriven, match="can't turn"):
        find_rates(OpenTrain(train, {}), "main", "a", ["b"], held=["b"])


def test_a_differential_whose_carrier_would_have_no_say_is_none_while_other_links_keep_their_ratios():
    train = chain(Differential("sum", ("a", "b"), "c"), WormGear("worm", "b", "d", 1, 30, Sense.SAME))
    ratios = {"sum": OpenRatio(F(1), powers({"i": 1})), "worm": OpenRatio(F(1), powers({"z": -1}))}
    assert OpenTrain(train, ratios).at({"i": F(1), "z": F(30)}) == {"worm": F(1, 30)}
    assert OpenTrain(train, ratios).at({"i": F(-2), "z": F(1)}) == {"sum": F(-2), "worm": F(1)}


# ---------------------------------------------------------------- against brute force


@st.composite
def small_problems(draw):
    """Up to three whole numbers and two signs in a small range, and balances that a hidden answer satisfies."""
    numbers = {
        name: Wholes(F(1), F(draw(st.integers(3, 12)))) for name in ("x", "y", "z")[: draw(st.integers(1, 3))]
    }
    signs = (f"{SIGN}s", f"{SIGN}t")[: draw(st.integers(0, 2))]
    truth = {name: F(draw(st.integers(1, int(domain.high)))) for name, domain in numbers.items()}
    truth |= {name: F(draw(st.sampled_from([1, -1]))) for name in signs}
    names = [*numbers, *signs]

    def polynomial(most):
        terms = {}
        for _ in range(draw(st.integers(1, most))):
            exponents = {name: draw(st.sampled_from([0, 0, 1, 1, -1, 2])) for name in names}
            terms[powers(exponents)] = F(draw(st.integers(-4, 4).filter(bool)), draw(st.integers(1, 3)))
        return terms

    balances = []
    for _ in range(draw(st.integers(0, 3))):
        above, below = polynomial(2), polynomial(2)
        bottom = evaluate(below, truth)
        if not bottom:
            continue
        rate = evaluate(above, truth) / bottom
        slack = draw(st.sampled_from([F(0), F(1, 50), F(1, 5), F(1)]))
        balances.append(Balance(((F(1), F(1), above), (-rate - slack, -rate + slack / 2, below)), below))
    return numbers, signs, balances, truth


def every_answer(numbers, signs, balances):
    ranges = [range(int(domain.low), int(domain.high) + 1) for domain in numbers.values()]
    for values in product(*ranges, *([(1, -1)] * len(signs))):
        answer = dict(zip((*numbers, *signs), map(F, values), strict=True))
        if all(balance.holds(answer) for balance in balances):
            yield answer


@settings(deadline=None, max_examples=120)
@given(small_problems())
def test_what_is_determined_is_what_every_answer_has_and_nothing_else_is(problem):
    numbers, signs, balances, truth = problem
    answers = list(every_answer(numbers, signs, balances))
    assert truth in answers
    found = identify(numbers, signs, balances)
    assert not found.conflicts
    assert not found.unsettled
    for name in (*numbers, *signs):
        values = {answer[name] for answer in answers}
        if len(values) == 1:
            assert found.values[name] == truth[name]
        else:
            assert name not in found.values
            assert set(found.spread[name]) <= values
    for tie in found.ties:
        if tie.value is not None:
            assert {evaluate({tie.powers: F(1)}, answer) for answer in answers} == {tie.value}
    for example in found.examples:
        assert {name: example[name] for name in truth} in answers


@settings(deadline=None, max_examples=50)
@given(small_problems(), st.data())
def test_observations_that_contradict_each_other_are_found_and_none_can_be_spared(problem, data):
    numbers, signs, balances, _ = problem
    assume(balances)
    # The last one once more, read quite otherwise.
    _, (low, high, below) = balances[-1].terms
    off = data.draw(st.sampled_from([F(37), F(-41)]))
    spoilt = [*balances, replace(balances[-1], terms=(balances[-1].terms[0], (low + off, high + off, below)))]
    answers = list(every_answer(numbers, signs, spoilt))
    found = identify(numbers, signs, spoilt)
    assert bool(found.conflicts) == (not answers)
    for group in found.conflicts:
        assert not list(every_answer(numbers, signs, [spoilt[number] for number in group]))
        for number in group:
            assert list(every_answer(numbers, signs, [spoilt[each] for each in group if each != number]))
    touched = {name for group in found.conflicts for number in group for name in spoilt[number].names}
    assert not touched & found.values.keys()
    accused = {number for group in found.conflicts for number in group}
    rest = [
        each for number, each in enumerate(spoilt) if number not in accused and not touched & set(each.names)
    ]
    for answer in every_answer(numbers, signs, rest) if found.conflicts else ():
        assert found.values.items() <= answer.items()


@settings(deadline=None, max_examples=80)
@given(small_problems())
def test_what_is_concluded_from_conditions_holds_for_every_answer(problem):
    numbers, signs, balances, _ = problem
    conditions = [each for balance in balances for each in conditions_of(balance)]
    products = [each for each in conditions if isinstance(each, Product)]
    parities = [each for each in conditions if type(each).__name__ == "Parity"]
    more = [*conditions, *combined(products)]
    more += [each for balance in balances for each in merged(balance, products, parities)]
    for answer in every_answer(numbers, signs, balances):
        assert all(condition.holds(answer) for condition in more)


def test_a_search_without_allowance_claims_nothing():
    search = Narrowing(
        {"x": Wholes(F(1), F(400)), "y": Wholes(F(1), F(400))},
        (),
        (Product((("x", 1), ("y", 1)), F(7), F(7)),),
    )
    with pytest.raises(OutOfAllowance):
        search.solution(Allowance(1))
    found = identify(search.domains, (), [], branches=1)
    assert not found.values


@settings(deadline=None, max_examples=50)
@given(st.fractions(F(1, 2), 40, max_denominator=20), st.fractions(0, F(1, 3), max_denominator=900))
def test_the_fractions_of_a_domain_between_two_bounds_are_all_of_them(middle, width):
    domain = Fractions(F(1, 2), F(40), ((F(1), 20), (F(127, 5), 4)))
    low, high = float(middle - width), float(middle + width)
    found = set(domain.values(low, high))
    every = {F(above, below) for below in range(1, 21) for above in range(1, 40 * below + 1)}
    every |= {F(127, 5) * F(above, below) for below in range(1, 5) for above in range(1, 8)}
    assert found == {
        value for value in every if max(F(low), domain.low) <= value <= min(F(high), domain.high)
    }
    assert domain.count(low, high) >= (1 if found else 0)


# ---------------------------------------------------------------- what is only known together


def turning(train, ratios, turned, by, moved, through, within=F(1, 200), held=()):
    through = F(through)
    return HandTurn(
        OpenTrain(train, ratios), "main", turned, (F(by), F(by)), moved, (through - within, through + within), held=held
    )  # fmt: skip


def test_starts_and_teeth_of_one_worm_gear_are_known_only_as_their_ratio():
    train = chain(WormGear("worm", "a", "b", 1, 30, Sense.SAME))
    ratio = OpenRatio(F(1), powers({"starts": 1, "teeth": -1, f"{SIGN}sense": 1}))
    seen = turning(train, {"worm": ratio}, "b", 2, "a", -96)
    domains = {"starts": Wholes(F(1), F(20)), "teeth": Wholes(F(4), F(1000))}
    found = identify(domains, [f"{SIGN}sense"], [balance_of(seen)])
    assert found.values == {f"{SIGN}sense": -1}
    (tie,) = found.ties
    assert tie.value == F(1, 48) if dict(tie.powers)["starts"] == 1 else tie.value == 48


def test_senses_on_both_sides_of_a_shaft_that_nobody_watched_are_known_only_together():
    train = chain(
        WormGear("one", "a", "b", 1, 30, Sense.SAME), BevelGears("two", "b", "c", (20, 20), Sense.SAME)
    )
    ratios = {
        "one": OpenRatio(F(1, 30), powers({f"{SIGN}one": 1})),
        "two": OpenRatio(F(1), powers({f"{SIGN}two": 1})),
    }
    found = identify({}, [f"{SIGN}one", f"{SIGN}two"], [balance_of(turning(train, ratios, "a", 30, "c", -1))])
    assert not found.values
    assert [tie.value for tie in found.ties] == [-1]


def test_a_movement_of_which_the_way_was_not_noted_tells_its_size_alone():
    train = chain(WormGear("worm", "a", "b", 1, 30, Sense.SAME))
    ratio = OpenRatio(F(1), powers({"teeth": -1, f"{SIGN}sense": 1}))
    seen = replace(turning(train, {"worm": ratio}, "b", 1, "a", 41), is_signed=False)
    found = identify({"teeth": Wholes(F(4), F(1000))}, [f"{SIGN}sense"], [balance_of(seen)])
    assert found.values == {"teeth": 41}
    assert set(found.spread[f"{SIGN}sense"]) == {1, -1}


def test_what_stands_still_tells_that_a_train_passes_nothing_on():
    train = chain(WormGear("worm", "a", "b", 1, 30, Sense.SAME))
    ratio = OpenRatio(F(1), powers({"teeth": -1}))
    found = identify(
        {"teeth": Wholes(F(4), F(100))}, [], [balance_of(turning(train, {"worm": ratio}, "a", 40, "b", 0))]
    )
    assert found.conflicts == ((0,),)


# ---------------------------------------------------------------- published trains with a number struck out


SUN_RATIO = {"ratio": Fractions(F(1, 200), F(200), ((F(1), 100),))}


def find_sun_ratio(suns, carrier, turned, by, moved, through, held):
    train = chain(Differential("train", suns, carrier))
    ratio = OpenRatio(F(1), powers({"ratio": 1, f"{SIGN}ratio": 1}))
    seen = turning(train, {"train": ratio}, turned, by, moved, through, held=held)
    found = identify(SUN_RATIO, [f"{SIGN}ratio"], [balance_of(seen)])
    return found.values["ratio"] * found.values[f"{SIGN}ratio"]


def test_a_fixed_annulus_of_72_is_found_from_the_speeds_of_arm_and_sun():
    """Epicyclic gears, worked examples, solved problem 1: A 72 internal and fixed, C 32; arm +18, C +58.5."""
    assert find_sun_ratio(("C", "A"), "arm", "arm", 18, "C", F("58.5"), ("A",)) == -F(32, 72)


@pytest.mark.parametrize(("teeth", "turns"), [(19, F(-1, 19)), (20, F(0)), (21, F(1, 21))])
def test_the_wheels_of_fergusons_paradox_are_found_from_how_they_turn(teeth, turns):
    """G. W. MacCord, Planetary Wheel Trains II, Scientific American Supplement 441, 1884: -1/19, 0 and +1/21 a turn."""
    train = chain(Differential("train", ("fixed", "wheel"), "arm"))
    ratio = OpenRatio(F(20), powers({"teeth": -1}))
    seen = turning(train, {"train": ratio}, "arm", 40, "wheel", 40 * turns, held=("fixed",))
    assert identify({"teeth": Wholes(F(4), F(1000))}, [], [balance_of(seen)]).values == {"teeth": teeth}


def test_a_worm_on_wheels_of_100_and_101_gives_both_by_the_turn_that_one_gains():
    """H. T. Brown, 507 Mechanical Movements, no. 264: the wheel of 100 gains a turn in 10,100 turns of the worm."""
    train = chain(
        WormGear("first", "worm", "one", 1, 100, Sense.SAME),
        WormGear("second", "worm", "other", 1, 100, Sense.SAME),
    )
    ratios = {"first": OpenRatio(F(1), powers({"x": -1})), "second": OpenRatio(F(1), powers({"y": -1}))}
    wheels = {"x": Wholes(F(4), F(1000)), "y": Wholes(F(4), F(1000))}
    seen = [
        turning(train, ratios, "worm", 10100, "one", 101),
        turning(train, ratios, "worm", 10100, "other", 100),
    ]
    assert identify(wheels, [], [balance_of(each) for each in seen]).values == {"x": 100, "y": 101}


def test_the_crown_wheel_of_a_vehicle_is_found_from_its_pinion_and_one_road_wheel():
    """Solved problem on a vehicle's differential: pinion 12, crown 60, 1000 rpm, one wheel 210, the other 190.

    With one road wheel held the other makes up their sum, 400.
    """
    train = chain(
        BevelGears("crown", "pinion", "cage", (12, 60), Sense.SAME),
        Differential("cage", ("left", "right"), "cage"),
    )
    ratios = {"crown": OpenRatio(F(12), powers({"crown": -1}))}
    seen = turning(train, ratios, "pinion", 1000, "right", 210 + 190, held=("left",))
    assert identify({"crown": Wholes(F(4), F(1000))}, [], [balance_of(seen)]).values == {"crown": 60}


def test_signs_are_told_from_numbers_by_their_name():
    assert is_sign(f"{SIGN}a")
    assert not is_sign("a")


def test_one_observation_more_takes_nothing_away_even_where_the_search_is_cut_short():
    numbers, sign = {"x": Wholes(F(1), F(3))}, f"{SIGN}s"
    one = {(): F(1)}
    told = Balance(((F(1), F(1), {powers({sign: 1}): F(1)}), (F(-1), F(-1), one)), one)
    empty = Balance(((F(1), F(1), one), (F(-1), F(-1), one)), one)
    known = [
        (
            identify(numbers, (sign,), (told,), thorough=False, branches=branches).values,
            identify(numbers, (sign,), (told, empty, empty), branches=branches).values,
        )
        for branches in range(1, 40)
    ]
    assert any(first for first, _ in known)
    for first, with_more in known:
        assert first.items() <= with_more.items() <= {sign: F(1)}.items()
