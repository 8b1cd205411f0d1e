"""What goes out of every command, into whatever its streams are: another code page, a full disk, a closed pipe."""

import io
import json
import os
import re
import subprocess
import sys
import unicodedata
from pathlib import Path

import handlead.kinematics
import handlead.machines
import handlead.scenarios
import handlead.viz
import pytest
from handlead.machines.toml.visible import visible
from handlead.viz import command
from handlead.viz.commands import prove as prove_command
from handlead.viz.streams.plain import plain
from hypothesis import example, given
from hypothesis import strategies as st

ORDERS = Path(handlead.scenarios.__file__).parent
RIGHT = ORDERS / "01-fly-winch-pair" / "pinion.toml"
WRONG = ORDERS / "21-idler-left-out" / "job.toml"

#: Every command with what it needs to be quick, and the status that it should end with.
COMMANDS = {
    "help": (["--help"], 0),
    "prove": (["prove", "--no-cut", WRONG], 1),
    "prove json": (["prove", "--json", "--no-cut", WRONG], 1),
    "plan": (["plan", "--top", "1", ORDERS / "03-no-differential" / "job.toml"], 0),
    "plan ratio": (["plan", "--ratio", "1.27", "--drawer", "20,40,50,80,100,127"], 0),
    "trace": (["trace", "SEEN"], 0),
    "sheet": (["sheet", "--no-cut", "--out", "sheet.pdf", WRONG], 0),
    "show": (["show", "--what", "swivel", "--out", "swivel.png", WRONG], 0),
    "fit": (["fit", ORDERS / "51-plate-lost" / "machine.toml", ORDERS / "51-plate-lost" / "counted.toml"], 0),
    "constants": (["constants", "corvane-7"], 0),
    "measure": (["measure", "--span", "4=32.4", RIGHT], None),
    "mesh": (["mesh", RIGHT], None),
    "survey": (["survey", ORDERS / "03-no-differential" / "job.toml", "--machine", "brinnock-20"], 0),
    "study": (["study", "--draws", "50", ORDERS / "01-fly-winch-pair" / "pinion.toml"], 0),
    "inspect": (["inspect", *(ORDERS / "92-cloud-drum-wheel" / name for name in ("job.toml", "pitch.csv"))], 0),
    "recover": (["recover", "--top", "1", "GEAR"], 0),
    "sample": (["sample", ORDERS / "71-snow-drum-sample" / "sample.toml"], None),
}


@pytest.fixture
def run(tmp_path):
    """Run the command as a shell would; `shell` follows it, such as a redirection."""
    (tmp_path / "seen.toml").write_text(f'{WRONG.read_text()}\n[seen]\nteeth = 74\nhand = "right"\n')
    drawn = (ORDERS / "02-left-hand-hob" / "job.toml").read_text(encoding="utf-8").partition("[setup]")[0]
    seen = 'teeth = 43\nhand = "none"\nfeed_marks = { value = 2, within = 0.01 }'
    (tmp_path / "gear.toml").write_text(f"{drawn}\n[seen]\n{seen}\n", encoding="utf-8")

    def run(arguments, shell="", encoding=None, **environment):
        made = {"SEEN": tmp_path / "seen.toml", "GEAR": tmp_path / "gear.toml"}
        named = [str(made.get(each, each)) for each in arguments]
        line = " ".join(f"'{each}'" for each in [sys.executable, "-m", "handlead.viz", *named])
        env = {**os.environ, **environment}
        env.pop("PYTHONUNBUFFERED", None)
        if encoding:
            env["PYTHONIOENCODING"] = encoding
        return subprocess.run(
            ["bash", "-c", f"set -o pipefail; {line} {shell}"], cwd=tmp_path, env=env, capture_output=True
        )

    return run


def check_plain(done, status):
    assert done.returncode in ((0, 1) if status is None else (status,)), done.stderr
    assert b"Traceback" not in done.stderr


def test_every_command_is_tried_here():
    names = {module.__name__.rpartition(".")[2].removesuffix("_command") for module in command.COMMANDS}
    assert names - {"bench"} <= set(COMMANDS)  # serves until it is stopped; tests/viz/bench looks at what it says


@pytest.mark.parametrize("name", COMMANDS)
@pytest.mark.parametrize("encoding", ["ascii", "cp1252"])
def test_every_command_prints_in_plain_signs_where_the_stream_has_no_others(run, name, encoding):
    arguments, status = COMMANDS[name]
    done = run(arguments, encoding=encoding)
    check_plain(done, status)
    said = done.stdout.decode(encoding)
    assert said
    assert "\\u" not in said or name == "prove json"


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_ends_with_2_and_a_line_where_its_output_finds_no_room(run, name):
    done = run(COMMANDS[name][0], ">/dev/full")
    check_plain(done, 2)
    assert done.stderr.decode().count("\n") == 1
    assert b"standard output: No space left" in done.stderr


@pytest.mark.parametrize("name", ["help", "prove", "prove json", "constants"])
def test_a_stream_that_keeps_nothing_back_is_full_just_the_same(run, name):
    check_plain(run(COMMANDS[name][0], ">/dev/full", PYTHONUNBUFFERED="1"), 2)


@pytest.mark.parametrize("name", COMMANDS)
def test_a_command_whose_output_is_closed_says_so_and_does_nothing(run, name):
    done = run(COMMANDS[name][0], ">&-")
    check_plain(done, 2)
    assert done.stderr.decode().splitlines() == ["standard output is closed: there is nowhere to print to"]


@pytest.mark.parametrize("name", ["prove", "prove json", "constants"])
def test_a_reader_that_has_gone_is_not_a_no(run, name):
    done = run(COMMANDS[name][0], "| true")
    check_plain(done, 2)
    assert done.stderr.decode().count("\n") == 1


@pytest.mark.parametrize("shell", ["2>/dev/full", "2>&-"])
def test_complaints_that_nobody_can_read_leave_the_status_and_the_other_stream_as_they_are(run, shell):
    done = run(["prove", "--json", "--no-cut", "nowhere.toml"], shell)
    check_plain(done, 2)
    assert json.loads(done.stdout)["errors"][0]["file"] == "nowhere.toml"
    assert run(["prove", "--json", "--no-cut", WRONG], shell).returncode == 1
    assert run(["prove"], shell).returncode == 2


def test_json_is_the_same_in_every_encoding(run):
    arguments = ["prove", "--json", "--no-cut", WRONG]
    texts = {code: run(arguments, encoding=code).stdout.decode(code) for code in ("utf-8", "ascii", "cp1252")}
    assert len({json.dumps(json.loads(text)) for text in texts.values()}) == 1


# ---------------------------------------------------------------- something breaks inside


def broken(*_, **__):
    raise ZeroDivisionError("division by \x1b[31mzero")


def test_what_breaks_inside_ends_with_3_and_one_line_that_says_where(monkeypatch, capsys):
    monkeypatch.setattr(prove_command, "_show", broken)
    assert command.main(["prove", "--no-cut", str(RIGHT)]) == 3
    out, err = capsys.readouterr()
    assert err.count("\n") == 1
    assert "ZeroDivisionError" in err
    assert re.search(r"viz/commands/prove\.py line \d+", err)
    assert "\x1b" not in out + err


def test_what_breaks_inside_is_told_to_programs_too(monkeypatch, capsys):
    monkeypatch.setattr("handlead.machines.proving.proof.Proof.as_json", broken)
    assert command.main(["prove", "--json", "--no-cut", str(RIGHT)]) == 3
    assert "ZeroDivisionError" in json.loads(capsys.readouterr().out)["errors"][0]["message"]


def test_the_way_to_what_broke_is_shown_to_whoever_asks_for_it(monkeypatch, capsys):
    monkeypatch.setattr(prove_command, "_show", broken)
    monkeypatch.setenv("HANDLEAD_DEBUG", "1")
    assert command.main(["prove", "--no-cut", str(RIGHT)]) == 3
    assert "in broken" in capsys.readouterr().err


def test_every_help_tells_of_status_3(capsys):
    for name in ("", *(module.__name__.rpartition(".")[2].removesuffix("_command") for module in command.COMMANDS)):
        with pytest.raises(SystemExit):
            command.main([*name.split(), "--help"])
        assert re.search(r"Exit\s+status:.*3\s+something\s+broke\s+inside", capsys.readouterr().out, re.S)


# ---------------------------------------------------------------- what is in names and titles

SLY = r"a\u001b[2J\u0000b\u202ec $x_1$ \u009b31m"


@pytest.fixture
def sly(tmp_path):
    job = tmp_path / "job.toml"
    text = WRONG.read_text()
    assert 'title   = "' in text
    job.write_text(re.sub(r'title( *)= ".*"', lambda m: f'title{m[1]}= "{SLY}"', text))
    return job


@pytest.mark.parametrize("arguments", [["prove", "--no-cut"], ["prove", "--no-cut", "--json"], ["plan", "--top", "1"]])
def test_nothing_but_visible_text_of_a_title_reaches_the_terminal(sly, arguments, capsys, monkeypatch):
    command.main([*arguments, str(sly)])
    out, err = capsys.readouterr()
    assert (out + err).replace("\n", "").isprintable()
    if "--json" not in arguments:
        assert r"a\x1b[2J\x00b\u202ec $x_1$" in out


def test_a_coloured_terminal_keeps_its_own_colours_and_takes_none_from_a_title(sly, capsys, monkeypatch):
    monkeypatch.setenv("FORCE_COLOR", "1")
    monkeypatch.setenv("TERM", "xterm")
    command.main(["prove", "--no-cut", str(sly)])
    out = capsys.readouterr().out
    assert "\x1b[1" in out
    assert "\x1b[2J" not in out
    assert set(re.sub(r"\x1b\[[\d;]*m", "", out)) & set("\x1b\x00\x07\x9b\u202e") == set()


def test_complaints_about_files_with_sly_names_are_visible_text(capsys):
    command.main(["prove", "\x1b[2J.toml", "\udcff.toml"])
    out, err = capsys.readouterr()
    assert (out + err).replace("\n", "").isprintable()


@given(st.text())
@example("\ud800")
def test_visible_text_shows_and_stays_as_it_is(text):
    once = visible(text)
    assert once.isprintable()
    assert visible(once) == once
    if text.isprintable():
        assert once == text


@given(st.text(st.characters(exclude_categories=["Cs"])), st.sampled_from(["ascii", "cp1252", "cp437", "utf-8"]))
def test_plain_signs_can_be_written_in_the_encoding_they_are_for(text, encoding):
    assert plain(text, encoding).encode(encoding)[:0] == b""


def test_every_sign_that_the_program_writes_has_a_plain_one():
    packages = (handlead.kinematics, handlead.machines, handlead.viz)
    sources = [file for package in packages for file in Path(package.__path__[0]).rglob("*.py")]
    signs = {c for file in sources for c in file.read_text(encoding="utf-8") if not c.isascii()}
    signs -= {c for c in signs if unicodedata.category(c) in ("Mn", "Lo")}
    assert len(signs) > 20
    assert not [c for c in sorted(signs) if "\\" in plain(c, "ascii")]


def test_a_superscript_digit_is_no_answer_and_no_gear(capsys, monkeypatch, tmp_path):
    seen = tmp_path / "seen.toml"
    seen.write_text(f'{WRONG.read_text()}\n[seen]\nteeth = 74\nhand = "right"\n')
    monkeypatch.setattr("sys.stdin", io.StringIO("²\n\n"))
    assert command.main(["trace", "--ask", str(seen)]) == 0
    assert 'no outcome "²"' in capsys.readouterr().out
    assert command.main(["plan", "--ratio", "1.27", "--drawer", "20,²"]) == 2
    assert "'²' in --drawer isn't a gear's teeth: it must be a number" in capsys.readouterr().err


# ---------------------------------------------------------------- several jobs


@pytest.mark.parametrize("command_", [["prove", "--no-cut"], ["plan", "--top", "1"]])
def test_a_job_that_can_not_be_used_stops_no_other(command_, capsys, tmp_path):
    absent = str(tmp_path / "absent.toml")
    good = str(ORDERS / "03-no-differential" / "job.toml")
    assert command.main([*command_, "--json", good, absent, good]) == 2
    out, err = capsys.readouterr()
    first, wrong, last = json.loads(out)
    assert "errors" not in first
    assert first == last
    assert wrong["errors"][0]["file"] == absent
    assert err.count("\n") == 1


def test_a_sheet_is_made_of_the_jobs_that_can_be_used(capsys, tmp_path):
    absent, good, out = str(tmp_path / "absent.toml"), str(WRONG), tmp_path / "sheet.pdf"
    assert command.main(["sheet", "--no-cut", "--json", "--out", str(out), absent, good]) == 2
    told = json.loads(capsys.readouterr().out)
    assert (told["jobs"], told["file"]) == ([good], str(out))
    assert told["pages"] >= 1
    assert told["errors"][0]["file"] == absent
    assert out.read_bytes().startswith(b"%PDF")


def test_no_sheet_is_made_where_no_job_can_be_used(capsys, tmp_path):
    out = tmp_path / "sheet.pdf"
    assert command.main(["sheet", "--out", str(out), str(tmp_path / "absent.toml")]) == 2
    assert capsys.readouterr().out == ""
    assert not out.exists()


def test_what_breaks_at_one_job_stops_no_other(monkeypatch, capsys):
    real = prove_command._prove

    def breaks_at_first(path, **how):
        if path == WRONG:
            raise KeyError("lost")
        return real(path, **how)

    monkeypatch.setattr(prove_command, "_prove", breaks_at_first)
    assert command.main(["prove", "--no-cut", "--json", str(WRONG), str(RIGHT)]) == 3
    first, last = json.loads(capsys.readouterr().out)
    assert "KeyError" in first["errors"][0]["message"]
    assert last["verdict"] == "as wanted"


def test_a_sheet_that_finds_no_room_is_a_line_and_no_file(capsys, tmp_path, monkeypatch):
    from handlead.machines.toml import filing

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(filing.os, "fsync", full)
    assert command.main(["sheet", "--no-cut", "--out", str(tmp_path / "sheet.pdf"), str(WRONG)]) == 2
    assert capsys.readouterr().err.splitlines() == [f"{tmp_path / 'sheet.pdf'}: it can't be written (no space left on device)"]
    assert list(tmp_path.iterdir()) == []


# ---------------------------------------------------------------- what is typed


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ([], "handlead: COMMAND is missing. handlead --help tells what it takes"),
        (["prove"], "handlead prove: JOB is missing. handlead prove --help tells what it takes"),
        (["proove", "x"], 'handlead: there is no command "proove". Did you mean "prove"? handlead --help tells what it takes'),
        (["prove", "--dept", "full"], "handlead prove: JOB is missing. handlead prove --help tells what it takes"),
        (["prove", "x", "--quick"], "it takes no --quick"),
        (["plan", "--top", "²"], "handlead plan: --top must be a whole number, not '²'."),
        (["plan", "x", "--ratio"], "--ratio needs a value after it"),
        (["trace", "--ask", "--json", "x"], "--json and --ask don't go together"),
        (["sheet", "--paper", "A3", "x"], 'there is no --paper "A3". There is A4, Letter.'),
        (["prove", "x", "--\x1b[2J"], r"it takes no --\x1b[2J."),
    ],
)
def test_what_was_typed_wrong_is_said_in_one_plain_line(typed, says, capsys):
    with pytest.raises(SystemExit) as ended:
        command.main(typed)
    assert ended.value.code == 2
    err = capsys.readouterr().err
    assert says in err
    assert err.count("\n") == 1
    assert err.rstrip("\n").isprintable()


def test_the_version_can_be_put_into_a_report(capsys):
    with pytest.raises(SystemExit) as ended:
        command.main(["--version"])
    assert ended.value.code == 0
    assert re.fullmatch(r"handlead [\d.]+\n", capsys.readouterr().out)


def test_a_name_with_colons_and_brackets_is_printed_as_it_is_written(tmp_path, capsys):
    job = tmp_path / "a:cat:[bold]b.toml"
    job.write_text(WRONG.read_text())
    command.main(["prove", "--no-cut", str(job)])
    assert "a:cat:[bold]b.toml" in capsys.readouterr().out.replace("\n", "")


def test_what_a_command_did_not_look_for_is_still_a_line_status_2_and_json(monkeypatch, capsys):
    from handlead.machines.planning.rules import Rules
    from handlead.machines.toml.errors import HandleadError

    def refuse(_):
        raise HandleadError("there is nothing to be said of this machine")

    monkeypatch.setattr(Rules, "as_json", refuse)
    assert command.main(["constants", "--json", "corvane-7"]) == 2
    out, err = capsys.readouterr()
    assert err == "there is nothing to be said of this machine\n"
    assert json.loads(out) == {"errors": [{"message": err.strip()}]}
