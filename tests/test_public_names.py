"""The front doors: every name that they promise is there, nothing else is, and a misspelt one is found."""

from __future__ import annotations

import ast
import collections
import pickle
import subprocess
import sys
from pathlib import Path

import pytest
from handlead import kinematics, machines, viz

ROOT = Path(__file__).parents[1]
DOORS = (kinematics, machines, viz)
JOB = ROOT / "scenarios" / "01-fly-winch-pair" / "pinion.toml"


@pytest.fixture(scope="module")
def job():
    return machines.read_job(JOB)


@pytest.mark.parametrize("door", DOORS, ids=lambda door: door.__name__)
def test_every_name_that_a_door_promises_is_there(door):
    for name in door.__all__:
        assert getattr(door, name) is not None
        assert name in dir(door)


@pytest.mark.parametrize("door", DOORS, ids=lambda door: door.__name__)
def test_a_door_shows_a_type_checker_what_it_promises(door):
    """The names imported for checkers are those that are exported."""
    tree = ast.parse(Path(door.__file__).read_text(encoding="utf-8"))
    block = next(node for node in tree.body if isinstance(node, ast.If))
    shown = {alias.asname or alias.name for node in block.body for alias in node.names}
    assert shown == set(door.__all__)
    assert list(door.__all__) == sorted(door.__all__)


@pytest.mark.parametrize("door", DOORS, ids=lambda door: door.__name__)
def test_a_name_that_is_not_there_is_said(door):
    with pytest.raises(AttributeError, match="raed_job"):
        door.raed_job  # noqa: B018


def test_a_misspelt_name_is_found_before_anything_runs(tmp_path):
    wrong = tmp_path / "wrong.py"
    wrong.write_text("from handlead import machines\nmachines.read_job('x')\nmachines.raed_job('x')\n", encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "mypy", "--config-file", ROOT / "pyproject.toml", "--cache-dir", tmp_path, wrong],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert "wrong.py:3" in done.stdout
    assert "wrong.py:2" not in done.stdout


def test_what_comes_out_is_equal_after_a_round_trip_and_can_be_hashed(job):
    proof = machines.prove(job, cut="scratch")
    for one in (job, job.machine, job.setup, job.machine.train, machines.Case.of(job)):
        again = pickle.loads(pickle.dumps(one))
        assert again == one
        assert hash(again) == hash(one)
    assert pickle.loads(pickle.dumps(proof)) == proof


def test_what_is_printed_of_it_fits_a_line(job):
    proof, plan = machines.prove(job, cut="scratch"), machines.plan(job, top=1)
    found = machines.trace(job.with_seen(machines.Seen(teeth=23, hand=job.work.hand.other)))
    rules = machines.constants(job.machine)
    assert hash(rules) == hash(machines.constants(job.machine))
    for one in (job, job.machine, job.setup, job.machine.train, proof, proof.cut, *plan.members, found, rules):
        assert len(repr(one)) < 300
        assert "\n" not in repr(one)


def test_what_was_read_cannot_be_altered(job):
    for mapping in (job.setup.levers, job.setup.change, job.machine.levers, job.machine.train.shafts):
        with pytest.raises((TypeError, AttributeError)):
            mapping["anything"] = None
        with pytest.raises(AttributeError):
            mapping.clear()


def test_other_gears_are_put_in_by_the_name_of_their_bracket(job):
    changed = job.with_gears("index gears", (24, 44, 36, 40))
    assert changed.setup.change["index gears"].gears == (24, 44, 36, 40)
    assert changed.with_gears("index gears", job.setup.change["index gears"].gears).setup == job.setup
    assert "index gears" not in job.with_gears("index gears", None).setup.change


def test_an_idler_more_turns_the_hand_over(job):
    stands = job.setup.change["differential gears"].idlers
    other = job.with_idler("differential gears", *(() if stands else (40,)))
    hands = {machines.Case.of(each).outcome.hand for each in (job, other)}
    assert len(hands) == 2


def test_the_head_is_swung_in_degrees_and_minutes(job):
    swung = job.with_swivel("22d 30m", "clockwise")
    assert swung.setup.swivel_deg == -22.5
    assert job.with_swivel(22.5, "counter-clockwise").setup.swivel_deg == 22.5
    with pytest.raises(ValueError, match="anticlockwise"):
        job.with_swivel(20, "anticlockwise")


def test_names_that_the_machine_does_not_have_are_guessed(job):
    with pytest.raises(ValueError, match='Did you mean "index gears"'):
        job.with_gears("index gaers", (24, 44))
    with pytest.raises(ValueError, match="lever"):
        job.with_lever("cage brak", "in")
    with pytest.raises(ValueError, match="whole numbers"):
        job.with_gears("index gears", (24, 44.0))


def test_one_root_catches_whatever_is_raised_on_purpose():
    with pytest.raises(machines.HandleadError):
        machines.read_job("nowhere.toml")
    with pytest.raises(machines.HandleadError):
        machines.prove(machines.read_job(ROOT / "scenarios" / "01-fly-winch-pair" / "pinion.toml").with_setup(None))


def class_names():
    """Every class of the three packages: its name without the underscore that keeps it in, and where it stands."""
    for package in ("kinematics", "machines", "viz"):
        for file in sorted((ROOT / package).rglob("*.py")):
            for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
                if isinstance(node, ast.ClassDef):
                    yield node.name.lstrip("_"), f"{file.relative_to(ROOT)}:{node.lineno}"


def test_a_class_name_is_taken_once():
    """Whoever reads `Place` in one room need not ask which of two it is; a name more to be thought of costs less."""
    homes = collections.defaultdict(list)
    for name, place in class_names():
        homes[name].append(place)
    assert {name: places for name, places in homes.items() if len(places) > 1} == {}
