"""`handlead fit` as a person runs it: what it prints, what it writes, and how it ends."""

import json
from pathlib import Path

import pytest
from handlead.machines.machine_files.machine_file import read_machine
from handlead.viz.command import main

GOOD = Path(__file__).parents[1] / "machines" / "good"
SMALL = (GOOD / "small.toml").read_text()
OPEN = SMALL.replace('teeth  = 40\nsense  = "same"', 'teeth  = "?"   # in its bath\nsense  = "?"').replace(
    "lead  = 5", 'lead  = "?"'
)

WORM = """[[counted]]
note   = "crank on the worm"
turned = { part = "table", by = 1, way = "clockwise" }
moved  = { part = "worm", by = 40, way = "positive" }
"""
SCREW = """[[counted]]
turned = { part = "screw", by = 20 }
moved  = { part = "slide", by = 100, way = "up" }
"""


@pytest.fixture
def files(tmp_path):
    machine, seen = tmp_path / "shed.toml", tmp_path / "seen.toml"
    machine.write_text(OPEN)

    def with_counts(*counts):
        seen.write_text("\n".join(['format = "observations/1"', *counts]))
        return str(machine), str(seen)

    return with_counts


def test_all_determined_ends_with_0_and_says_so(files, capsys):
    assert main(["fit", *files(WORM, SCREW)]) == 0
    said = capsys.readouterr().out
    assert "ALL DETERMINED" in said
    assert all(
        word in said for word in ("link/index worm/teeth", "40", "same", "link/slide screw/lead", "lock out")
    )


def test_not_all_determined_ends_with_1_and_says_what_to_do_next(files, capsys):
    assert main(["fit", *files(WORM)]) == 1
    said = capsys.readouterr().out
    assert "2 OF 3 DETERMINED" in said
    assert "Next" in said
    assert '"slide"' in said
    assert "It should settle link/slide screw/lead." in said


def test_a_contradiction_ends_with_1_and_names_both_places(files, capsys):
    assert main(["fit", *files(WORM, WORM.replace("by = 40", "by = 41"), SCREW)]) == 1
    said = " ".join(capsys.readouterr().out.split())
    assert "Contradiction" in said
    assert 'seen.toml:2: "crank on the worm"' in said
    assert 'seen.toml:7: "crank on the worm"' in said


def test_json_is_one_object_and_nothing_else(files, capsys):
    assert main(["fit", "--json", *files(WORM)]) == 1
    out = capsys.readouterr()
    told = json.loads(out.out)
    assert told["unknowns"]["link/index worm/teeth"]["value"] == "40"
    assert told["unknowns"]["link/slide screw/lead"]["determined"] is False
    assert told["contradictions"] == []
    assert told["next_observation"].startswith("Turn ")
    assert out.err == ""


def test_a_file_that_can_not_be_used_ends_with_2_and_a_message_at_its_line(files, capsys):
    assert main(["fit", *files(WORM.replace('"worm"', '"wurm"'))]) == 2
    out = capsys.readouterr()
    assert out.out == ""
    assert (
        'seen.toml:5: counted "crank on the worm": moved.part: there is no part "wurm"' in out.err
        or 'there is no part "wurm"' in out.err
    )
    assert main(["fit", "--json", *files(WORM.replace('"worm"', '"wurm"'))]) == 2
    assert json.loads(capsys.readouterr().out)["errors"][0]["line"] == 5


def test_write_fills_the_machine_in_so_that_other_commands_take_it(files, capsys):
    machine, seen = files(WORM, SCREW)
    assert main(["constants", machine]) == 2
    assert "not known yet: run handlead fit" in capsys.readouterr().err
    assert main(["fit", "--write", machine, seen]) == 0
    assert "written" in capsys.readouterr().out
    assert Path(machine).read_text() == OPEN.replace('teeth  = "?"   #', "teeth  = 40   #").replace(
        'sense  = "?"', 'sense  = "same"'
    ).replace('lead  = "?"', "lead  = 5")
    assert main(["constants", machine]) == 0
    # Nothing is left to find.
    assert main(["fit", machine, seen]) == 0
    assert "NOTHING IS UNKNOWN" in capsys.readouterr().out


def test_another_machine_is_a_start_and_the_changed_file_is_a_new_one(tmp_path, files, capsys):
    other = tmp_path / "other.toml"
    other.write_text(SMALL)
    _, seen = files(WORM.replace("by = 40", "by = 36"))
    bounded = Path(seen)
    assert main(["fit", "--from", str(other), str(bounded)]) == 0
    said = capsys.readouterr().out
    assert "link/index worm/teeth: 40 → 36" in said
    new = tmp_path / "new.toml"
    assert main(["fit", "--json", "--from", str(other), "--write", str(new), str(bounded)]) == 0
    assert json.loads(capsys.readouterr().out)["changes"] == [
        {"link/index worm/teeth": {"from": "40", "to": "36", "determined": True}}
    ]
    assert read_machine(new).train.link("index worm").teeth == 36
    assert other.read_text() == SMALL
    assert main(["fit", "--from", str(other), "--write", str(new), str(bounded)]) == 2
    assert "is there already" in capsys.readouterr().err


@pytest.mark.parametrize(
    "arguments",
    [
        ["one.toml"],
        ["a.toml", "b.toml", "c.toml"],
        ["--from", "x", "a", "b"],
        ["--from", "x", "--write", "a"],
    ],
)
def test_files_too_few_or_too_many_are_refused_with_the_usage(arguments, capsys):
    with pytest.raises(SystemExit) as caught:
        main(["fit", *arguments])
    assert caught.value.code == 2
    assert "handlead fit --help" in capsys.readouterr().err


def test_a_read_only_machine_file_is_a_line_and_status_2_and_stays_as_it_was(files, capsys):
    machine, seen = files(WORM, SCREW)
    Path(machine).chmod(0o444)
    assert main(["fit", "--write", machine, seen]) == 2
    err = capsys.readouterr().err
    assert err == f"{machine}:1: it is read-only. Make it writable if it may be changed\n"
    assert Path(machine).read_text() == OPEN


def test_a_fitted_machine_keeps_the_line_ends_and_the_link_that_it_had(files, tmp_path):
    machine, seen = files(WORM, SCREW)
    Path(machine).write_bytes(b"\xef\xbb\xbf" + OPEN.replace("\n", "\r\n").encode())
    link = tmp_path / "link.toml"
    link.symlink_to("shed.toml")
    assert main(["fit", "--write", str(link), seen]) == 0
    assert link.is_symlink()
    written = Path(machine).read_bytes()
    assert written.startswith(b"\xef\xbb\xbf")
    assert written.count(b"\n") == written.count(b"\r\n") == OPEN.count("\n")
    assert b"# in its bath" in written


def test_a_value_that_is_found_but_not_believed_is_told_in_the_report_and_still_ends_with_0(files, capsys):
    # 2/17 in is the only fraction that fits 59.7 to 59.9 mm in twenty turns.
    screw = SCREW.replace("by = 100", "by = 59.8").replace('way = "up"', 'way = "up", within = 0.1')
    assert main(["fit", *files(WORM, screw)]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "Not quite sure" in said
    assert "the much plainer 3 would be only 0.1 mm outside" in said
    assert main(["fit", *files(WORM, SCREW)]) == 0
    assert "Not quite sure" not in capsys.readouterr().out
