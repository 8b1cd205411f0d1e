"""A train with open brackets, eliminated once, against the same train solved anew with gears in them."""

import math
from dataclasses import replace
from fractions import Fraction

import pytest
from handlead.kinematics.frame.words import Hand
from handlead.kinematics.links.links import Brake
from handlead.kinematics.train.solution import hob_rates, solve
from handlead.kinematics.train.train import Drive, End, Train
from handlead.kinematics.transfer.constants import find_constants
from handlead.kinematics.transfer.polynomials import evaluate, multiply, powers, quotient
from handlead.kinematics.transfer.targets import end_rates, generation_equation, ratio_needed, rolling
from handlead.kinematics.transfer.transfer import Transfer
from handlead.kinematics.work.requirement import HobData, Work
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from strategies import hobbers, signed_sizes, trains

counts = st.integers(7, 150)
hands = st.sampled_from(list(Hand))
leads = st.fractions(2000, 9000, max_denominator=12)
feeds = st.fractions(Fraction(1, 4), 4, max_denominator=12)
ways = st.sampled_from([1, -1])


def chosen(data, names):
    """A ratio for each of the names, now and then the 1 at which differentials do odd things."""
    ratios = st.one_of(signed_sizes, st.sampled_from([Fraction(1), Fraction(-1)]))
    return {name: data.draw(ratios) for name in names}


@settings(deadline=None, max_examples=60)
@given(st.one_of(trains(), hobbers().map(lambda hobber: hobber.train)), st.data())
def test_ratios_put_in_at_the_end_do_what_gears_mounted_beforehand_do(train, data):
    names = data.draw(st.sets(st.sampled_from([link.name for link in train.brackets]))) if train.brackets else set()
    ratios = chosen(data, sorted(names))
    bare = train.with_gears({link.name: None for link in train.brackets})
    drive = data.draw(st.sampled_from(sorted(train.drives)))
    anew = solve(bare.with_ratios(ratios), drive)
    transfer = Transfer.of(train, drive)
    assert transfer.end_rates(ratios) == {name: anew.end_rate(name) for name in transfer.ends}
    half = dict(list(ratios.items())[::2])
    rest = {name: ratio for name, ratio in ratios.items() if name not in half}
    assert transfer.closed(half).end_rates(rest) == transfer.end_rates(ratios)


@settings(deadline=None, max_examples=40)
@given(hobbers(), st.data())
def test_the_two_sides_of_a_bracket_tell_the_gears_that_stand_in_it(hobber, data):
    transfer = Transfer.of(hobber.train, "main")
    ratios = chosen(data, transfer.places)
    rates = {name: rate for name, rate in transfer.end_rates(ratios).items() if rate is not None}
    assume(rates.get("table"))
    found = {}
    for name in transfer.places:
        sides = transfer.by_ends(name, {other: each for other, each in ratios.items() if other != name})
        if sides and {*sides[0], *sides[1]} <= rates.keys():
            found[name] = ratio_needed(sides, rates)
    assert found["index gears"] == ratios["index gears"]
    assert all(needed in (None, ratios[name]) for name, needed in found.items())


@settings(deadline=None, max_examples=40)
@given(hobbers(), st.data(), counts, leads, hands, hands)
def test_the_bracket_filled_by_the_law_of_generation_cuts_the_count_and_the_lead(
    hobber, data, teeth, lead, hand, way
):
    work = Work("helical", teeth, Fraction(2), hand=hand, lead=lead)
    hob = HobData(Fraction(2), 1, way)
    transfer = Transfer.of(hobber.train, "main")
    bracket = data.draw(st.sampled_from(sorted(transfer.places)))
    equation = generation_equation(transfer, list(transfer.places), work, hob, "axial")
    assume(equation is not None)
    ratios = chosen(data, [name for name in transfer.places if name != bracket])
    total = {True: Fraction(0), False: Fraction(0)}
    for names, coefficient in equation.items():
        product = coefficient
        for name in names - {bracket}:
            product *= ratios[name]
        total[bracket in names] += product
    assume(total[True] and total[False])
    rates = hob_rates(solve(hobber.train.with_ratios({**ratios, bracket: -total[False] / total[True]}), "main"))
    assume(rates is not None)
    turning = Fraction(way.value, teeth) + hand.value * rates.axial / lead
    assert rates.table == -turning


@settings(deadline=None, max_examples=40)
@given(hobbers(summed=["before index", "after index"], differential_in=[True], tangential=[False]), st.data(),
       counts, st.integers(1, 3), leads, feeds, hands, hands, ways)  # fmt: skip
def test_gears_by_the_machine_s_own_rules_cut_the_count_and_the_lead_whatever_they_are(
    hobber, data, teeth, starts, lead, feed, hand, hob_hand, way
):
    train = hobber.train
    if data.draw(st.booleans()):
        # The feed by the turn of the hob, as on machines that feed from the hob's shaft.
        train = train.replacing(replace(train.link("feed worm"), from_part="hob"))
    constants = find_constants(train, "main")
    assume(constants.index and constants.feeds and constants.differentials)
    (rule,) = constants.differentials
    # A differential fed from the table beside a slide fed from the hob goes by no such rule, and it says so.
    assume(rule.constant is not None)
    index = constants.index.ratio(hob_hand, starts, teeth)
    turning = -hob_hand.value * Fraction(starts, teeth)
    per_table = way * feed * (1 if turning > 0 else -1)
    share = 1 if constants.feeds[0].per == "table" else turning / (1 + hand.value / lead * per_table)
    feed_ratio = per_table * share / constants.feeds[0].constant
    size = rule.constant * teeth**rule.teeth_power * Fraction(starts) ** rule.starts_power * feed**rule.feed_power / lead
    gears = {
        constants.index.bracket: index,
        constants.feeds[0].bracket: feed_ratio,
        rule.bracket: rule.senses[hob_hand, hand, way] * size,
    }
    rates = hob_rates(solve(train.with_ratios(gears), "main"))
    assert rates.axial == per_table * rates.table
    assert rates.table == turning - hand.value * rates.axial / lead


@given(counts, st.integers(1, 3), leads, feeds, hands, hands, ways)
def test_the_ends_wanted_of_a_train_cut_the_count_and_the_lead_at_the_feed(teeth, starts, lead, feed, hand, way, up):
    work = Work("helical", teeth, Fraction(2), hand=hand, lead=lead)
    ends = end_rates(work, HobData(Fraction(2), starts, way), "axial", up * feed)
    assert ends["axial"] == up * feed * ends["table"]
    assert ends["table"] == -way.value * Fraction(starts, teeth) - hand.value * ends["axial"] / lead


@given(st.integers(10, 80), st.integers(1, 40), hands)
def test_a_wheel_given_by_its_lead_rolls_as_the_same_wheel_given_by_its_angle(teeth, angle, hand):
    circumference = 2 * math.pi * teeth
    lead = Fraction(circumference / math.sin(math.radians(angle)))
    by_lead = rolling(Work("worm wheel", teeth, Fraction(2), hand=hand, lead=lead))
    by_angle = rolling(Work("worm wheel", teeth, Fraction(2), hand=hand, helix_angle_deg=Fraction(angle)))
    assert float(by_lead) == pytest.approx(math.cos(math.radians(angle)) / circumference, rel=1e-12)
    assert float(by_angle) == pytest.approx(float(by_lead), rel=1e-12)
    assert float(rolling(Work("spur", teeth, Fraction(2)))) == pytest.approx(1 / circumference, rel=1e-12)


def test_a_bracket_that_is_not_there_and_a_link_without_a_ratio_are_refused():
    parts = dict.fromkeys(["motor", "hob", "table"], "")
    train = Train(parts, {}, (Brake("brake", "hob"),), {"hob": End("hob"), "table": End("table")}, {"main": Drive("motor")})
    with pytest.raises(KeyError):
        Transfer.of(train, "main", ["attic gears"])
    with pytest.raises(TypeError, match="brake"):
        Transfer.of(train, "main", ["brake"])
    with pytest.raises(KeyError):
        Transfer.of(train, "main").end_rates({"attic gears": Fraction(1)})


#: Values at which polynomials are told apart.
VALUES = {"x": Fraction(3, 2), "y": Fraction(-5), "z": Fraction(7, 11)}


@st.composite
def polynomials(draw):
    exponents = st.dictionaries(st.sampled_from(["x", "y", "z"]), st.integers(-3, 3))
    coefficients = st.fractions(-9, 9, max_denominator=6).filter(bool)
    return draw(st.dictionaries(exponents.map(powers), coefficients, min_size=1, max_size=4))


@given(polynomials(), polynomials())
def test_what_a_polynomial_is_multiplied_by_is_found_again_where_it_is_one_term(one, other):
    term = dict(list(other.items())[:1])
    ((wanted, coefficient),) = term.items()
    assert quotient(multiply(one, term), one) == (coefficient, wanted)
    if len(other) > 1:
        assert quotient(multiply(one, other), one) is None
    assert evaluate(multiply(one, other), VALUES) == evaluate(one, VALUES) * evaluate(other, VALUES)

