"""Machine files: what their keys become, and how the levers and change gears of a set-up alter the train."""

import os
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from handlead.kinematics.frame.words import Sense
from handlead.kinematics.links.links import Clutch, GearPair, Rack, Screw
from handlead.kinematics.links.mounted import Mounted
from handlead.kinematics.train.setup import Setup
from handlead.kinematics.train.train import Drive, End
from handlead.machines.machine_files.catalogue import find_machine, shipped_machines
from handlead.machines.machine_files.levers import Lever
from handlead.machines.machine_files.machine_file import Limits, read_machine, read_machine_text
from handlead.machines.toml.errors import FileFault

GOOD = Path(__file__).parent / "good"
SMALL = (GOOD / "small.toml").read_text()


@pytest.fixture(scope="module")
def small():
    return read_machine(GOOD / "small.toml")


@pytest.fixture(scope="module")
def every_kind():
    return read_machine(GOOD / "every-kind.toml")


def complaints_about(text):
    with pytest.raises(FileFault) as caught:
        read_machine_text(text, "m.toml")
    return [str(complaint) for complaint in caught.value.complaints]


# ---------------------------------------------------------------- what the keys become


def test_a_machine_says_who_it_is(small):
    assert (small.name, small.units, small.summary) == ("Small", "mm", "no differential")
    assert len(small.digest) == 64


def test_every_link_has_the_ratio_that_is_written(every_kind):
    train = every_kind.train
    ratios = {link.name: getattr(link, "ratio", None) for link in train.links}
    assert ratios | {"head rack": None} == {
        "motor belt": -Fraction(889, 10) / 180,  # 3 1/2 in over 180 mm, crossed
        "column chain": Fraction(1, 2),
        "bevels": Fraction(-1),
        "hob gears": Fraction(1, 4),
        "ring gears": Fraction(1, 3),
        "tap": Fraction(-2),
        "differential": None,
        "cage brake": None,
        "cage clutch": Fraction(1),
        "index drive": Fraction(-1),
        "index gears": None,
        "index worm": Fraction(-1, 30),
        "feed gears": None,
        "reverser": None,
        "fixed ratio": Fraction(1, 24),
        "slide screw": Fraction(635, 100),
        "rapid belt": Fraction(4, 9),
        "differential gears": None,
        "cage gears": Fraction(1, 30),
        "head drive": Fraction(-3, 5),
        "head rack": None,
        "saddle rack": -Fraction(22, 7) * Fraction(127, 5),
        "crowning bar": None,
        "lead box": None,
    }


def test_a_template_has_its_points_in_mm_whatever_the_file_is_in(every_kind):
    bar = every_kind.train.link("crowning bar")
    inch = Fraction(254, 10)
    assert bar.points == ((-2 * inch, Fraction(1, 2)), (0, 0), (50, inch / 50))
    assert (bar.smooth, bar.state) == (True, "out")


def test_a_rack_given_by_its_pinion_travels_the_pitch_circle(every_kind):
    rack = every_kind.train.link("head rack")
    assert isinstance(rack, Rack)
    assert float(rack.travel) == pytest.approx(3.141592653589793 * 14 * 25.4 / 12, rel=1e-15)


def test_the_differential_takes_its_ratio_exactly(every_kind):
    assert every_kind.train.link("differential").relation() == {
        "p": Fraction(-2, 3),
        "q": Fraction(-1),
        "cage": Fraction(5, 3),
    }


def test_ends_carry_the_signs_of_the_frame(every_kind):
    assert every_kind.train.ends == {
        "hob": End("hob", -1),
        "table": End("table", 1),
        "axial": End("slide", -1),
        "tangential": End("head", -1),
        "radial": End("saddle", -1),
    }


def test_a_drive_may_be_free_at_rest(every_kind):
    assert every_kind.train.drives == {
        "rapid": Drive("rapid motor", None, True),
        "hand": Drive("handwheel", None, False),
        "electric one": Drive("motor", Fraction(14255, 10), False),
    }


def test_main_is_the_normal_drive_and_else_the_first(small, every_kind):
    assert small.normal_drive == "main"
    assert every_kind.normal_drive == "rapid"


def test_a_set_of_gears_fits_every_bracket_unless_it_says_so(every_kind):
    index_set, rest = every_kind.gear_sets
    assert index_set.fits == ("index gears",)
    assert rest.fits == ("index gears", "feed gears", "differential gears")
    assert index_set.teeth == (24, 24, 25, 30)


def test_a_bracket_keeps_its_measures_in_mm(every_kind):
    assert every_kind.train.link("index gears").bracket == {
        "module": Fraction(254, 160),
        "centres": Fraction(1397, 10),
        "clearance": 3,
        "least_sum": 60,
        "pivot": "driving",
    }
    assert every_kind.train.link("feed gears").bracket is None
    assert every_kind.train.link("index gears").pairs == (2,)
    assert every_kind.train.link("feed gears").idlers == (0, 1, 2)


def test_limits_are_in_mm_degrees_and_turns(every_kind):
    assert every_kind.limits == Limits(
        rpm={"hob": (None, Fraction(300)), "worm": (Fraction(10), Fraction(825, 2))},
        travel={"slide": Fraction(2413, 10), "head": Fraction(100)},
        swivel_deg=(Fraction(-30), Fraction(91, 2)),
        work_diameter=Fraction(3556, 10),
        face_width=Fraction(2032, 10),
        module_n=Fraction(508, 100),
        feed_mm_per_table_turn=(Fraction(254, 1000), Fraction(4)),
    )


def test_one_swivel_limit_holds_both_ways(small):
    assert small.limits.swivel_deg == (Fraction(-45), Fraction(45))


def test_a_machine_without_limits_has_none():
    machine = read_machine_text(SMALL[: SMALL.index("[limits]")])
    assert machine.limits == Limits()


def test_lengths_follow_the_units_of_the_file():
    inches = read_machine_text(SMALL.replace('units   = "mm"', 'units   = "in"'))
    screw = inches.train.link("slide screw")
    assert isinstance(screw, Screw)
    assert screw.lead == 127


# ---------------------------------------------------------------- levers and gears


def test_a_link_that_no_lever_moves_is_engaged():
    text = SMALL + '\n[[link]]\nname = "pin"\nkind = "clutch"\nfrom = "worm"\nto = "screw"\n'
    link = read_machine_text(text).set_up().link("pin")
    assert isinstance(link, Clutch)
    assert link.state == "in"


def test_levers_stand_in_their_normal_positions_unless_a_set_up_says_otherwise(small):
    assert small.levers == {
        "range": Lever({"low": {"range box": "low"}, "high": {"range box": "high"}}, "low")
    }
    assert small.set_up().link("range box").ratio == Fraction(1, 8)
    assert small.set_up(Setup("main", levers={"range": "high"})).link("range box").ratio == Fraction(1, 4)


def test_a_link_in_no_state_of_a_position_keeps_its_own():
    text = SMALL + '\n[[link]]\nname = "pin"\nkind = "brake"\nshaft = "worm"\n'
    text = text.replace('high = { "range box" = "high" }', 'high = { "range box" = "high", pin = "off" }')
    machine = read_machine_text(text)
    assert machine.set_up().link("pin").state == "on"
    assert machine.set_up(Setup("main", levers={"range": "high"})).link("pin").state == "off"


def test_change_gears_are_mounted_and_the_machine_stays_as_it_was(small):
    train = small.set_up(Setup("main", change={"index gears": Mounted((30, 24), (20,))}))
    assert train.link("index gears").ratio == Fraction(30, 24)
    assert train.link("feed gears").ratio is None
    assert small.train.link("index gears").ratio is None


def test_a_set_up_that_names_what_is_not_there_is_refused(small):
    with pytest.raises(ValueError, match=r"no lever 'rang'. Did you mean \"range\""):
        small.set_up(Setup("main", levers={"rang": "low"}))
    with pytest.raises(ValueError, match="no position 'middle'"):
        small.set_up(Setup("main", levers={"range": "middle"}))
    with pytest.raises(ValueError, match=r"no change-gear bracket 'index'. Did you mean \"index gears\""):
        small.set_up(Setup("main", change={"index": Mounted((20, 20))}))


FIGHTING = SMALL.replace(
    "[[link]]",
    '[levers.speed]\nnormal = "off"\npositions = { off = {}, fast = { "range box" = "high" } }\n\n[[link]]',
    1,
)


def test_two_levers_that_fight_over_a_link_are_both_named():
    machine = read_machine_text(FIGHTING, "m.toml")
    assert (
        machine.set_up(Setup("main", levers={"speed": "fast", "range": "high"})).link("range box").state
        == "high"
    )
    with pytest.raises(FileFault) as caught:
        machine.set_up(Setup("main", levers={"speed": "fast"}))
    assert str(caught.value) == (
        'm.toml:35: [levers.speed.positions.fast] "range box": lever "speed" in "fast" puts "range box" in "high", '
        'but lever "range" in "low" puts it in "low" (line 30). A link can be in one state only: let one lever move it'
    )


# ---------------------------------------------------------------- places, cache, catalogue


def test_a_machine_knows_where_its_parts_stand(small):
    lines = SMALL.splitlines()
    assert lines[small.place("link", "index worm").line - 1] == "[[link]]"
    assert lines[small.place("link", "index worm", "sense").line - 1] == 'sense  = "same"'
    assert lines[small.place("gear_set", "change gears", "teeth").line - 1].startswith("teeth = [20")
    assert '"range box" = "high"' in lines[small.place("levers", "range", "positions", "high").line - 1]
    assert str(small.place("limits", "rpm", "hob")).endswith(f"small.toml:{len(lines) - 3}")


def test_a_machine_is_read_once_until_its_file_changes(tmp_path):
    file = tmp_path / "m.toml"
    file.write_text(SMALL)
    first = read_machine(file)
    assert read_machine(file) is first
    file.write_text(SMALL.replace('"Small"', '"Smaller"'))
    os.utime(file, ns=(1, 1))
    assert read_machine(file).name == "Smaller"


def test_a_machine_that_ships_is_found_by_its_file_and_by_its_name():
    assert shipped_machines()
    for stem, path in shipped_machines().items():
        machine = find_machine(stem)
        assert find_machine(machine.name) == machine == read_machine(path)


def test_a_file_beside_the_job_comes_before_one_that_ships(tmp_path):
    stem = next(iter(shipped_machines()))
    (tmp_path / f"{stem}.toml").write_text(SMALL)
    assert find_machine(stem, tmp_path).name == "Small"
    assert find_machine(f"{stem}.toml", tmp_path).name == "Small"


def test_an_unknown_machine_gets_the_nearest_right_one(tmp_path):
    stem = next(iter(shipped_machines()))
    with pytest.raises(FileFault, match=f'Did you mean "{stem}"'):
        find_machine(stem[:-1], tmp_path)
    (tmp_path / "tall-hobber.toml").write_text(SMALL)
    with pytest.raises(FileFault, match=r'Did you mean "tall-hobber.toml"'):
        find_machine("tall-hober", tmp_path)


# ---------------------------------------------------------------- complaints


def test_every_fault_is_reported_in_one_go_worst_first():
    text = (
        SMALL.replace('sense  = "same"\n', "")
        .replace("lead  = 5", 'lead  = "long"')
        .replace("motor", "moter", 1)
    )
    assert complaints_about(text) == [
        'm.toml:55: link "index worm": "sense" is missing. Turn "worm" its positive way by hand: if "table" goes its '
        'own positive way, write sense = "same", else sense = "opposite"',
        'm.toml:25: [drives.main] shaft: there is no shaft "motor". Did you mean "moter"?',
        'm.toml:36: link "range box": from: there is no shaft "motor". Did you mean "moter"?',
        'm.toml:84: link "slide screw": lead: "long" can\'t be used: it must be a length above 0 mm',
    ]


def test_thousands_of_faults_are_counted_and_not_all_told():
    text = SMALL + "".join(f"k{n} = 1\n" for n in range(5000))
    with pytest.raises(FileFault) as caught:
        read_machine_text(text, "m.toml")
    assert len(caught.value.complaints) == 50
    assert str(caught.value).endswith("m.toml: and 4950 more")


def test_names_with_control_characters_do_not_reach_the_terminal():
    (complaint,) = complaints_about(SMALL.replace('from   = "motor"', 'from   = "\\u001b[31m\\n"'))
    assert "\x1b" not in complaint
    assert "\n" not in complaint


def test_more_parts_than_any_machine_has_are_refused():
    shafts = "".join(f'"shaft {n}" = ""\n' for n in range(300))
    assert (
        "there are 307 shafts; 200 are the most"
        in complaints_about(SMALL.replace("[shafts]\n", f"[shafts]\n{shafts}"))[0]
    )


def test_two_machines_are_equal_if_they_say_the_same_in_other_words():
    other = SMALL.replace("teeth = [40, 40]", 'teeth = ["40", 40.0]').replace("lead  = 5", 'lead = "5 mm"')
    assert read_machine_text(other) == read_machine_text(SMALL)


def test_an_unlevered_train_is_what_the_machine_holds(small):
    assert replace(small, train=small.train) == small
    assert isinstance(small.train.link("index drive"), GearPair)
    assert small.train.link("index worm").sense is Sense.SAME
