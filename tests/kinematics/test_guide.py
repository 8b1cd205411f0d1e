"""A template leads a slide through its points, and the teeth get the crown and taper that follow."""

import math
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from handlead.kinematics.cutting.hob import Hob
from handlead.kinematics.cutting.setting import Setting
from handlead.kinematics.frame.blank import Blank
from handlead.kinematics.frame.guide import Guide
from handlead.kinematics.frame.motion import Rates
from handlead.kinematics.frame.words import Hand
from handlead.kinematics.gears.gear import Gear
from handlead.kinematics.gears.head import swivel_deg
from handlead.kinematics.gears.relief import Relief
from handlead.kinematics.witness.flank_quality import measure_flanks
from handlead.kinematics.witness.measured import full_pass
from hypothesis import given
from hypothesis import strategies as st

places = st.lists(st.integers(-500, 500), min_size=3, max_size=8, unique=True).map(sorted)
offs = st.integers(-300, 300).map(lambda n: Fraction(n, 1000))


@st.composite
def templates(draw):
    along = draw(places)
    return Guide("radial", "axial", tuple((Fraction(at, 5), draw(offs)) for at in along), draw(st.booleans()))


@given(templates())
def test_the_slide_stands_where_each_point_has_it(guide):
    for place, off in guide.points:
        assert guide.at(place) == off


@given(templates(), st.fractions(-120, 120, max_denominator=50))
def test_decimals_and_fractions_say_the_same(guide, place):
    assert float(guide.displaced(np.array([float(place)]))[0]) == pytest.approx(float(guide.at(place)), abs=1e-9)


@given(templates(), st.fractions(-100, 100, max_denominator=50), st.fractions(Fraction(1, 100), 3, max_denominator=100))
def test_nothing_is_steeper_than_said(guide, place, step):
    rise = abs(guide.at(place + step) - guide.at(place))
    assert float(rise) <= guide.steepest * float(step) * (1 + 1e-9) + 1e-12


@given(st.fractions(-1, 1, max_denominator=100), st.fractions(-1, 1, max_denominator=100))
def test_three_points_of_a_smooth_template_make_their_parabola(bend, lean):
    guide = Guide("radial", "axial", tuple((Fraction(x), bend * x * x + lean * x) for x in (-7, 2, 9)), smooth=True)
    for x in (-7, -3, 0, 2, 5, 9):
        assert guide.at(Fraction(x)) == bend * x * x + lean * x


@pytest.mark.parametrize("points", [((0, 0),), ((0, 0), (0, 1)), ((1, 0), (0, 1))])
def test_a_template_of_one_point_or_that_runs_back_is_refused(points):
    with pytest.raises(ValueError, match="template"):
        Guide("radial", "axial", points)


@given(st.floats(-0.2, 0.2), st.floats(-0.2, 0.2))
def test_crown_and_taper_of_a_parabola_are_its_own(bend, lean):
    gear = Gear(30, 3, face_width=40)
    found = Relief.of_displacement(lambda h: -bend * ((h - 20) / 20) ** 2 + lean * (h - 20) / 40, gear)
    alpha = math.radians(20)
    assert found.crown == pytest.approx(bend * math.sin(alpha), abs=1e-12)
    # Thickness: twice the displacement times the tangent of the pressure angle, from one end to the other.
    assert found.taper == pytest.approx(2 * lean * math.tan(alpha), abs=1e-12)


@pytest.mark.parametrize(("beta", "hand"), [(0.0, None), (20.0, Hand.LEFT)])
def test_the_flank_shows_the_crown_and_taper_that_the_template_makes(beta, hand):
    gear = Gear(24, 3, beta, hand, face_width=30)
    hob = Hob(3, reference_diameter=75, gashes=12)
    lead = 0 if not hand else hand.value / gear.lead
    feed = Fraction(3, 2)
    per_hob = feed / 24
    rates = Rates(Fraction(-1, 24) + Fraction(-lead).limit_denominator(10**9) * -per_hob, -per_hob)
    swivel = swivel_deg(Hand.RIGHT, hob.geometric_lead_angle_deg, hand, beta)
    setting = Setting(rates, hob, Blank(gear.tip_diameter, 30), swivel).to_depth(gear)
    middle, crown, lean = Fraction(15), Fraction(1, 20), Fraction(1, 25)
    guide = Guide(
        "radial", "axial",
        tuple((middle + x, -crown * (x / middle) ** 2 + lean * x / 30) for x in map(Fraction, (-60, 0, 60))), smooth=True,
    )  # fmt: skip
    asked = Relief.of_displacement(lambda h: float(guide.at(Fraction(h))), gear)
    found = measure_flanks(full_pass(setting, (guide,)), setting, gear, asked)
    plain = measure_flanks(full_pass(setting), setting, gear)
    assert found is not None
    assert plain is not None
    assert found.relief is not None
    assert found.relief.crown == pytest.approx(asked.crown, abs=0.0008)
    assert found.relief.taper == pytest.approx(asked.taper, abs=0.0015)
    # Counted from a flank that has them, the rest is as good as without.
    assert abs(found.helix_slope_um) < abs(plain.helix_slope_um) + 1.5
    assert found.deviations.helix_form < plain.deviations.helix_form + 2
    bare = measure_flanks(full_pass(setting, (guide,)), setting, gear)
    assert bare is not None
    assert bare.deviations.helix_total > 10


def test_a_radial_slide_geared_to_the_axial_one_tapers_about_mid_face():
    gear = Gear(24, 3, face_width=30)
    hob = Hob(3, reference_diameter=75, gashes=12)
    per_hob = Fraction(3, 2) / 24
    setting = Setting(Rates(Fraction(-1, 24), -per_hob), hob, Blank(gear.tip_diameter, 30), hob.geometric_lead_angle_deg)
    setting = replace(setting, rates=replace(setting.rates, radial=-per_hob / 500)).to_depth(gear)
    found = measure_flanks(full_pass(setting), setting, gear, Relief())
    assert found is not None
    assert found.relief is not None
    # 30 mm at 1 in 500: 0.06 mm, twice times tan 20.
    assert found.relief.taper == pytest.approx(2 * 0.06 * math.tan(math.radians(20)), rel=0.03)
    assert abs(found.relief.crown) < 0.0005
    assert abs(found.thickness_um) < 4
