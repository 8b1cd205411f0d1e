"""What was found on a gear goes into its machine's file, and the next proof says how the next gear will be."""

from __future__ import annotations

import datetime
import json
from dataclasses import replace
from fractions import Fraction as F
from pathlib import Path

import numpy as np
import pytest
from handlead.kinematics.flank_cutting.flank_passages import FlankCut
from handlead.kinematics.flank_cutting.flanks import cut_pitch
from handlead.machines.at_fault.finding import FoundWave, Inspection, PartAtFault, RecordFitted
from handlead.machines.at_fault.parts import suspects_of
from handlead.machines.blanks.flanks import Flanks
from handlead.machines.gear_records.records import Said, record_of
from handlead.machines.inspecting.answer import InspectedGear, inspect
from handlead.machines.inspecting.loop import write_found
from handlead.machines.job_files.job_file import read_job
from handlead.machines.machine_files.machine_file import Imperfection, read_machine
from handlead.machines.setups.case import Case
from handlead.machines.setups.imperfections import ripples_of
from handlead.machines.studying.waves import CutShape
from handlead.machines.toml.errors import FileFault
from measured_gears import MeasuredGear, with_noise

SCENARIOS = Path(__file__).parents[2] / "scenarios"
SHIPPED = Path(__file__).parents[2] / "machines" / "shipped"

WHEEL = Imperfection("once per turn", "index worm", angle_deg=F(25, 3600), phase_deg=F(70))
BLANK = Imperfection("work runout", runout=F(2, 100), phase_deg=F(200))

DAY = datetime.date(2026, 11, 27)


def flanks_of(job):
    return Flanks.of(Case.of(job))


def measured(job, noise=0.3, day="2026-11-20", seed=1):
    """Both flanks' pitch of the gear that the job cuts, in records with noise, teeth counted counter-clockwise."""
    flanks, random, found = flanks_of(job), np.random.default_rng(seed), []
    teeth = np.arange(1, flanks.gear.teeth + 1)
    for flank, side in (("right", 1), ("left", -1)):
        places = 1000 * cut_pitch(FlankCut.of(flanks.motion, flanks.setting, flanks.gear, side=side), 5)
        # Clockwise of a tooth lies the space before it, of which it is the counter-clockwise flank.
        um = places[teeth - 1 if side == 1 else teeth % teeth.size] + random.normal(0, noise, teeth.size)
        rows = [(float(tooth), 0.0, each) for tooth, each in zip(teeth, um - um.mean(), strict=True)]
        said = Said(f"pitch-{flank}.csv", "pitch cumulative", flank, "counter-clockwise", day)
        found.append(record_of(said, rows, 1.0))
    return found


@pytest.fixture
def shop(tmp_path):
    """A job beside a copy of its machine, which somebody wrote notes into."""

    def shop(order, machine, more=""):
        (tmp_path / "ours.toml").write_text(f"# ours, since 1961\n{(SHIPPED / machine).read_text()}{more}")
        text = (SCENARIOS / order).read_text()
        line = next(line for line in text.split("\n") if line.startswith("machine"))
        (tmp_path / "job.toml").write_text(text.replace(line, 'machine = "ours.toml"'))
        return tmp_path / "job.toml"

    return shop


def planted(job, *rows):
    return replace(job, machine=replace(job.machine, imperfections=rows))


ORDERS = [
    ("01-fly-winch-pair/pinion.toml", "corvane-7.toml"),
    ("08-inch-winch/job.toml", None),
]


def machine_of(order):
    return Path(read_job(SCENARIOS / order).machine.path).name


@pytest.mark.parametrize("order", ["01-fly-winch-pair/pinion.toml", "02-left-hand-hob/job.toml", "08-inch-winch/job.toml"])
def test_what_is_found_and_written_predicts_the_gear_that_the_machine_cuts(shop, order):
    # Planted at phases that nobody tells, cut, measured with noise, inspected, written, and cut again by the file.
    path = shop(order, machine_of(order))
    machine = planted(read_job(path), WHEEL, BLANK)
    gear = inspect(read_job(path), *measured(machine))
    written = write_found(gear, DAY)
    assert [one.imperfection.kind for one in written.found] in (
        ["work runout", "once per turn"], ["once per turn", "work runout"],
    )  # fmt: skip
    truth, predicted = (flanks_of(job).measure().deviations for job in (machine, read_job(path)))
    # Twice the standard errors of both waves, to both sides; each tells on a pitch over cos α, and its marks beside it.
    unsure = 2 * sum(2 * 2 * wave.error_um for wave in gear.inspection.waves) + 0.4
    for name in ("cumulative_pitch", "single_pitch", "runout", "helix_slope", "profile_slope"):
        assert getattr(predicted, name) == pytest.approx(getattr(truth, name), abs=unsure), name
    assert truth.cumulative_pitch > 15


def test_a_row_found_says_from_which_records_and_of_which_day(shop):
    path = shop(*ORDERS[0])
    write_found(inspect(read_job(path), *measured(planted(read_job(path), BLANK))), DAY)
    (row,) = read_machine(path.with_name("ours.toml")).imperfections
    assert row.kind == "work runout"
    assert row.runout == pytest.approx(0.02, abs=0.001)
    assert row.inspected == "2026-11-20"
    assert row.comes_from.startswith("pitch-right.csv, pitch-left.csv: it runs out by 0.020 ±")


def test_every_other_line_stays_and_the_file_as_it_was_is_kept(shop):
    path = shop(*ORDERS[0])
    ours = path.with_name("ours.toml")
    before = ours.read_text()
    written = write_found(inspect(read_job(path), *measured(planted(read_job(path), BLANK))), DAY)
    assert ours.read_text().startswith(before.rstrip("\n"))
    assert written.kept.name == "ours.2026-11-27.toml"
    assert written.kept.read_text() == before
    # Undone by putting that back.
    ours.write_text(written.kept.read_text())
    assert read_machine(ours).imperfections == ()


def test_newer_records_take_the_place_of_older_ones_and_of_what_stood_there_by_hand(shop):
    by_hand = '\n[[imperfection]]\nkind = "work runout"  # dialled by Ida\nrunout = 0.05\n\n[[imperfection]]\nkind = "backlash"\nlink = "index worm"\nangle = "2m"\n'
    path = shop(*ORDERS[0], by_hand)
    ours = path.with_name("ours.toml")
    first = write_found(inspect(read_job(path), *measured(planted(read_job(path), BLANK))), DAY)
    assert [one.runout for one in first.replaced] == [F(1, 20)]
    half = replace(BLANK, runout=F(1, 100))
    second = write_found(inspect(read_job(path), *measured(planted(read_job(path), half), day="2026-11-25")), DAY)
    assert [one.inspected for one in second.replaced] == ["2026-11-20"]
    rows = read_machine(ours).imperfections
    assert [one.kind for one in rows] == ["work runout", "backlash"]
    assert rows[0].runout == pytest.approx(0.01, abs=0.001)
    assert rows[0].inspected == "2026-11-25"
    assert "# dialled by Ida" in ours.read_text()
    # Older records that turn up later don't undo it.
    third = write_found(inspect(read_job(path), *measured(planted(read_job(path), BLANK))), DAY)
    assert (third.found, third.kept) == ((), None)
    assert "newer records, of 2026-11-25" in third.left_out[0].why
    assert read_machine(ours).imperfections == rows


def test_what_older_records_showed_and_newer_ones_do_not_stays_and_is_told(shop):
    path = shop(*ORDERS[0])
    write_found(inspect(read_job(path), *measured(planted(read_job(path), BLANK))), DAY)
    mended = write_found(inspect(read_job(path), *measured(planted(read_job(path), WHEEL), day="2026-11-25")), DAY)
    assert [one.kind for one in mended.not_found] == ["work runout"]
    assert {one.kind for one in read_machine(path.with_name("ours.toml")).imperfections} == {"work runout", "once per turn"}


def test_a_table_that_wobbles_twice_a_turn_is_found_and_written_with_how_often(shop):
    path = shop("02-left-hand-hob/job.toml", machine_of("02-left-hand-hob/job.toml"))
    job = read_job(path)
    face = job.work.face_width
    row = Imperfection("table wobble", runout=F(3, 100), over=face, waves=2, phase_deg=F(130))
    machine = planted(job, row)
    write_found(inspect(job, *measured(machine)), DAY)
    (found,) = read_machine(path.with_name("ours.toml")).imperfections
    assert (found.kind, found.waves) == ("table wobble", 2)
    # Pitch shows it at mid-face alone: whether it leans as well nothing says, and none is written.
    assert found.runout / found.over * (found.below + face / 2) == pytest.approx(0.015, rel=0.05)
    assert found.below >= 1000
    assert "can't tell it from the table's axis, wobbling" in found.comes_from
    truth, predicted = (flanks_of(each).measure().deviations for each in (machine, read_job(path)))
    assert predicted.runout == pytest.approx(truth.runout, abs=0.6)
    assert predicted.cumulative_pitch == pytest.approx(truth.cumulative_pitch, abs=0.6)


def all_round(job):
    """Pitch of both flanks, runout, and the helix of five teeth, of the gear that the job cuts."""
    gear, draws = MeasuredGear(Case.of(job)), np.random.default_rng(1)
    made = [
        *(gear.round_gear("pitch cumulative", flank) for flank in ("right", "left")), gear.round_gear("runout"),
        gear.along("helix", "right", [1 + gear.teeth * at // 5 for at in range(5)], 30),
    ]  # fmt: skip
    return [replace(with_noise(one, 0.3, draws), path=f"{one.kind}.csv", date="2026-11-20") for one in made]


LEANS = {
    "a blank askew that runs out": (
        Imperfection("work tilt", runout=F(4, 100), over=F(30), phase_deg=F(250)),
        Imperfection("work runout", runout=F(3, 100), phase_deg=F(20)),
    ),
    "a table that wobbles": (
        Imperfection("table wobble", runout=F(4, 100), over=F(100), waves=2, below=F(40), phase_deg=F(130)),
    ),
}


@pytest.mark.parametrize("order", ["01-fly-winch-pair/pinion.toml", "02-left-hand-hob/job.toml", "08-inch-winch/job.toml"])
@pytest.mark.parametrize("what", LEANS)
def test_what_leans_is_written_and_predicts_the_gear_that_the_machine_cuts(shop, order, what):
    path, rows = shop(order, machine_of(order)), LEANS[what]
    machine = planted(read_job(path), *rows)
    written = write_found(inspect(read_job(path), *all_round(machine)), DAY)
    assert sorted(one.imperfection.kind for one in written.found) == sorted(one.kind for one in rows)
    found = {one.imperfection.kind: one.imperfection for one in written.found}
    for row in rows:
        one = found[row.kind]
        far = row.over or F(1)
        assert one.runout / (one.over or 1) * far == pytest.approx(row.runout, rel=0.1)
        assert one.below == pytest.approx(row.below, abs=8)
    truth, predicted = (flanks_of(job).measure().deviations for job in (machine, read_job(path)))
    for name in ("cumulative_pitch", "runout", "helix_slope"):
        assert getattr(predicted, name) == pytest.approx(getattr(truth, name), abs=0.8), name
    assert truth.helix_slope > 2


def test_an_inch_machine_gets_its_rows_in_inches(shop):
    order = ORDERS[1][0]
    path = shop(order, machine_of(order))
    job = read_job(path)
    write_found(inspect(job, *measured(planted(job, BLANK))), DAY)
    (row,) = read_machine(path.with_name("ours.toml")).imperfections
    assert row.runout == pytest.approx(0.02, abs=0.001)
    line = next(line for line in path.with_name("ours.toml").read_text().split("\n") if line.startswith("runout"))
    assert float(line.split("=")[1]) == pytest.approx(0.02 / 25.4, rel=0.05)


def test_nothing_is_written_into_a_machine_that_ships_nor_into_a_file_changed_meanwhile(shop):
    job = read_job(SCENARIOS / ORDERS[0][0])
    with pytest.raises(FileFault, match="ships with the program"):
        write_found(inspect(job, *measured(planted(job, BLANK))), DAY)
    path = shop(*ORDERS[0])
    gear = inspect(read_job(path), *measured(planted(read_job(path), BLANK)))
    ours = path.with_name("ours.toml")
    ours.write_text(ours.read_text() + "# a note\n")
    with pytest.raises(FileFault, match="changed since it was read"):
        write_found(gear, DAY)
    assert ours.read_text().endswith("# a note\n")
    assert not list(path.parent.glob("ours.2*"))


def test_the_command_writes_and_says_what_it_wrote(shop, capsys):
    from handlead.viz.command import main

    folder = SCENARIOS / "92-cloud-drum-wheel"
    path = shop("92-cloud-drum-wheel/job.toml", machine_of("92-cloud-drum-wheel/job.toml"))
    assert main(["inspect", str(path), *map(str, sorted(folder.glob("*.csv"))), "--write", "--json"]) == 0
    said = capsys.readouterr()
    answer = json.loads(said.out)["written"]
    assert [row["kind"] for row in answer["found"]] == ["work runout", "once per turn"]
    assert Path(answer["kept"]).exists()
    assert "is written as an imperfection" in said.err
    assert len(read_machine(path.with_name("ours.toml")).imperfections) == 2
    # And once more: each row that gives way is told by what it is of.
    assert main(["inspect", str(path), *map(str, sorted(folder.glob("*.csv"))), "--write", "--json"]) == 0
    said = capsys.readouterr().err
    assert "work runout, took the place of what 2026-11-12 showed of it" in said
    assert "once per turn of slide screw, took the place of" in said


@pytest.mark.parametrize(
    ("gears", "place", "said"),
    [((60, 40, 60, 69), 2, ("index gears", 3)), ((60, 40, 60, 69), 0, ("index gears", 1)), ((25, 40, 48, 23), 2, (None, None))],
)
def test_a_change_gear_that_runs_out_is_written_with_its_place_where_another_has_its_count(shop, gears, place, said):
    # 60/40 · 60/69 are 25/40 · 48/23. What turns with the gear can't be told from it: it is taken as found alone.
    path = shop(*ORDERS[0])
    path.write_text(path.read_text().replace("gears = [25, 40, 48, 23]", f"gears = {list(gears)}"))
    job = read_job(path)
    case, records = Case.of(job), measured(job)
    flanks = flanks_of(job)
    (part,) = (
        one for one in suspects_of(case, CutShape.of(flanks.gear, case.rates, flanks.setting.hob))
        if (one.fault.kind, one.fault.link, one.place) == ("gear runout", "index gears", place)
    )  # fmt: skip
    at_fault = PartAtFault(part.name, part.order, part.unit, 0.1, 0.005, part)
    nothing = [(0.0,) * len(one.readings.um) for one in records]
    wave = FoundWave((at_fault,), (), 0.1, 0.01, 1e-9, (0.0, 0.0), tuple(nothing), 0.1j)
    fitted = tuple(RecordFitted(one.path, one.kind, one.flank, 1.0, 0.1, None, no, no) for one, no in zip(records, nothing, strict=True))
    gear = InspectedGear(case, tuple(records), Inspection((wave,), fitted, (), 10))
    write_found(gear, DAY)
    (row,) = read_machine(path.with_name("ours.toml")).imperfections
    assert (row.gear, row.link, row.place) == (gears[place], *said)
    # It comes through as often as the part that was found, so it is that gear again.
    (ripple,) = (one for one in ripples_of(Case.of(read_job(path))) if one.end == "table")
    assert abs(ripple.per_unit) == part.order
    # Found again it takes its own row's place.
    assert len(write_found(replace(gear, case=Case.of(read_job(path))), DAY).replaced) == 1


WORM = Imperfection("once per turn", "index worm", angle_deg=F(50, 3600), turn_of="driving", phase_deg=F(120))


def cut_by(job, *faults, noise=0.3):
    """The pitch of the right flanks and the helix of three teeth, as a machine with these faults cuts them."""
    gear, random = MeasuredGear.with_errors(Case.of(job), faults), np.random.default_rng(3)
    pitch, helix = gear.round_gear("pitch cumulative", "right"), gear.along("helix", "right", (1, 8, 16), 31)
    return [replace(with_noise(one, noise, random), path=f"{one.kind}.csv") for one in (pitch, helix)]


@pytest.mark.parametrize("fault", [WORM, BLANK])
@pytest.mark.parametrize("kept", [0, 1])
def test_what_goes_into_the_zeros_of_a_record_is_no_reason_not_to_write_it(shop, fault, kept):
    # Of a fast wave hardly more than its ripple stands in a pitch record, of a blank its slope alone in a helix.
    path = shop(*ORDERS[0])
    written = write_found(inspect(read_job(path), cut_by(read_job(path), fault)[kept]), DAY)
    assert (written.left_out, len(written.found)) == ((), 1)


def test_what_stands_biggest_in_the_records_is_told_first_whatever_its_passages_cut_deeper_all_round(shop):
    job = read_job(shop(*ORDERS[0]))
    gear = inspect(job, *cut_by(job, WORM, replace(BLANK, runout=F(12, 1000))))
    assert [wave.parts[0].order for wave in gear.inspection.waves] == [1, 84]
    for wave in gear.inspection.waves:
        most = [float(np.abs(gear.shown(wave, at)).max()) for at in range(len(gear.records))]
        assert list(wave.in_records) == pytest.approx(most)


def test_nothing_is_written_by_records_with_a_reading_that_was_taken_wrongly_until_it_is_left_out(shop):
    path = shop(*ORDERS[0])
    pitch, _ = cut_by(read_job(path), replace(BLANK, runout=F(20, 100)))
    wrong = pitch.readings.um.copy()
    wrong[8] += 90
    spoilt = replace(pitch, readings=replace(pitch.readings, um=wrong))
    gear = inspect(read_job(path), spoilt)
    assert gear.doubtful(0).at == 8
    written = write_found(gear, DAY)
    assert (written.found, written.kept) == ((), None)
    assert written.left_out
    assert all("pitch cumulative.csv has a reading that stands far off" in one.why for one in written.left_out)
    kept = np.arange(wrong.size) != 8
    readings = replace(pitch.readings, **{name: getattr(pitch.readings, name)[kept] for name in ("tooth", "height", "um")})
    assert write_found(inspect(read_job(path), replace(pitch, readings=readings)), DAY).found


def test_a_size_that_the_records_hardly_tell_is_not_written(shop):
    job = read_job(shop(*ORDERS[0]))
    gear = inspect(job, *cut_by(job, replace(BLANK, runout=F(3, 100))))
    (wave,) = gear.inspection.waves
    loose = replace(wave, parts=tuple(replace(one, error=0.4 * one.size) for one in wave.parts))
    loosely = replace(gear, inspection=replace(gear.inspection, waves=(loose,)))
    written = write_found(loosely, DAY)
    assert (written.found, written.kept) == ((), None)
    assert "only to ± 80 %" in written.left_out[0].why
    assert write_found(gear, DAY).found
