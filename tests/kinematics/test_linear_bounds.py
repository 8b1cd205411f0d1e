"""What several balances say together of the products in them: nothing that fits is lost, and more is known."""

from __future__ import annotations

from fractions import Fraction as F

from handlead.kinematics.narrowing.conditions import Balance, Product
from handlead.kinematics.narrowing.domains import Wholes
from handlead.kinematics.narrowing.linear_bounds import linear_bounds
from handlead.kinematics.transfer.polynomials import evaluate, powers
from hypothesis import given, settings
from hypothesis import strategies as st

X, Y, Z = powers({"x": 1}), powers({"x": 1, "y": -1}), powers({"±s": 1, "z": 1})
DOMAINS = {name: Wholes(F(1), F(40)) for name in "xyz"}


def through(truth, coefficients, slack):
    """A balance of the three products and a constant that holds for the truth."""
    terms = [
        (F(each) * (1 - slack), F(each) * (1 + slack), {term: F(1)})
        if each > 0
        else (F(each) * (1 + slack), F(each) * (1 - slack), {term: F(1)})
        for term, each in zip((X, Y, Z), coefficients, strict=True)
        if each
    ]
    total = sum(
        F(each) * evaluate({term: F(1)}, truth) for term, each in zip((X, Y, Z), coefficients, strict=True)
    )
    return Balance((*terms, (F(1), F(1), {(): -total})), {(): F(1)})


@settings(deadline=None, max_examples=60)
@given(
    st.tuples(*[st.integers(1, 40)] * 3, st.sampled_from([1, -1])),
    st.lists(st.tuples(*[st.integers(-5, 5)] * 3), min_size=1, max_size=4),
    st.sampled_from([F(0), F(1, 1000), F(1, 20)]),
)
def test_sums_of_true_balances_never_shut_out_the_truth(numbers, rows, slack):
    truth = dict(zip(("x", "y", "z", "±s"), map(F, numbers), strict=True))
    balances = [through(truth, row, slack) for row in rows]
    assert all(balance.holds(truth) for balance in balances)
    assert all(condition.holds(truth) for condition in linear_bounds(balances, DOMAINS))


def test_three_straight_equations_between_three_products_give_each_of_them():
    truth = {"x": F(12), "y": F(5), "z": F(7), "±s": F(-1)}
    balances = [through(truth, row, F(0)) for row in ((1, 1, 1), (1, -2, 3), (2, 1, -1))]
    found = [each for each in linear_bounds(balances, DOMAINS) if isinstance(each, Product)]
    # Each over one of the terms: three products of the numbers, known all but exactly.
    assert len({each.powers for each in found}) == 3
    assert all(each.holds(truth) and each.high / each.low < F(10001, 10000) for each in found)
    # Any one of the equations alone leaves them open.
    assert not linear_bounds(balances[:1], DOMAINS)
