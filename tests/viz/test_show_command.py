"""``handlead show``: what is written where, what is refused, and what is said where nothing can be drawn."""

import json
import sys
from pathlib import Path

import pytest
from handlead.viz.command import main
from handlead.viz.commands.show import PICTURES
from handlead.viz.solids import opengl

SCENARIOS = Path(__file__).parents[2] / "scenarios"
PINION = str(SCENARIOS / "01-fly-winch-pair/pinion.toml")
WORM_WHEEL = str(SCENARIOS / "07-trap-hoist/job.toml")
LOCKED = str(SCENARIOS / "29-pinned-and-held/job.toml")


@pytest.fixture
def no_opengl(monkeypatch):
    monkeypatch.setattr(opengl, "trial", lambda: opengl.Trial(None, "cannot open shared object file"))
    monkeypatch.setattr(opengl, "loads", lambda library: False)


@pytest.fixture
def drawable():
    try:
        opengl.require_opengl()
    except opengl.NoOpenGL as why:
        pytest.skip(str(why))


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="only X has a display that may be missing")
def test_without_a_display_it_says_what_to_type(monkeypatch, capsys, tmp_path):
    monkeypatch.delenv("DISPLAY", raising=False)
    monkeypatch.chdir(tmp_path)
    assert main(["show", PINION]) == 2
    said = capsys.readouterr()
    assert f"handlead show {PINION} --out pinion-gear.png" in said.err
    assert said.out == "" and said.err.count("\n") == 1
    assert not list(tmp_path.iterdir())


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="packages are named for Linux alone")
@pytest.mark.parametrize("ending", ["png", "gif", "mp4"])
def test_without_an_opengl_it_names_the_package(no_opengl, ending, capsys, tmp_path):
    assert main(["show", PINION, "--out", str(tmp_path / f"gear.{ending}")]) == 2
    said = capsys.readouterr().err
    assert "libegl1" in said and "libgl1-mesa-dri" in said and "Traceback" not in said
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("solid", ["gear", "cut", "light-cut", "hob"])
def test_meshes_need_no_opengl(no_opengl, solid, tmp_path):
    for ending in ("stl", "vtp"):
        out = tmp_path / f"{solid}.{ending}"
        assert main(["show", PINION, "--solid", solid, "--out", str(out)]) == 0
        assert out.stat().st_size > 100_000
    assert len(list(tmp_path.iterdir())) == 2


def test_a_picture_of_the_gear_is_drawn_where_there_is_an_opengl(drawable, capsys, tmp_path):
    out = tmp_path / "cut.png"
    assert main(["show", PINION, "--out", str(out)]) == 0
    assert out.read_bytes().startswith(b"\x89PNG")
    assert capsys.readouterr().out == f"gear: {out}\n"


def test_all_pictures_are_drawn_but_those_that_cannot_be(no_opengl, capsys, tmp_path):
    assert main(["show", WORM_WHEEL, "--what", "all", "--json", "--out", str(tmp_path / "w.svg")]) == 2
    said = capsys.readouterr()
    answer = json.loads(said.out)
    made = {picture["what"]: picture for picture in answer["pictures"]}
    assert list(made) == [*PICTURES, "gear"]
    assert made["gear"]["file"] is None and "libegl1" in made["gear"]["error"]
    assert made["flank"]["error"] in said.err
    drawn = {picture["file"] for picture in made.values() if picture["file"]}
    assert drawn == {str(path) for path in tmp_path.iterdir()}
    assert str(tmp_path / "w-train.svg") in drawn


@pytest.mark.parametrize("path", [WORM_WHEEL, str(SCENARIOS / "06-orchestra-lift/job.toml")])
def test_the_motion_of_a_worm_wheel_is_drawn(path, tmp_path):
    assert main(["show", path, "--what", "motion", "--out", str(tmp_path / "motion.svg")]) == 0
    drawn = (tmp_path / "motion.svg").read_text(encoding="utf-8")
    assert "out" in drawn and ("radial" in drawn or "tangential" in drawn)


def test_a_picture_goes_to_the_name_of_the_job_where_no_file_is_named(monkeypatch, capsys, tmp_path):
    monkeypatch.chdir(tmp_path)
    assert main(["show", PINION, "--what", "swivel", "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer == {"job": PINION, "pictures": [{"what": "swivel", "file": "pinion-swivel.png"}], "errors": []}
    assert [path.name for path in tmp_path.iterdir()] == ["pinion-swivel.png"]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--out", "gear.doc"], ".stl"),
        (["--out", "gear.svg"], ".png"),
        (["--what", "train", "--out", "train.gif"], ".svg"),
        (["--what", "all", "--out", "all.stl"], ".pdf"),
        (["--out", "nowhere/gear.png"], "no folder"),
        (["--what", "train", "--at", "0.5"], "--at goes with --what gear"),
        (["--what", "all", "--solid", "gear"], "--solid goes with --what gear"),
        (["--out", "gear.png", "--film", "progress"], "--film needs"),
        (["--hob-turns", "2"], "--hob-turns needs"),
        (["--out", "gear.gif", "--film", "turntable", "--hob-turns", "2"], "--film generating"),
        (["--out", "gear.gif", "--solid", "gear"], "turntable"),
        (["--out", "gear.png", "--solid", "hob"], ".stl"),
        (["--out", "gear.stl", "--at", "0.2"], "--solid cut"),
    ],
)
def test_what_does_not_go_together_is_refused_in_one_line(arguments, words, monkeypatch, capsys, tmp_path):
    monkeypatch.chdir(tmp_path)
    assert main(["show", PINION, *arguments, "--json"]) == 2
    said = capsys.readouterr()
    assert words in said.err and said.err.count("\n") == 1
    assert json.loads(said.out)["errors"] == [{"message": said.err.strip()}]
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("value", ["1.5", "-0.1", "nan", "half"])
def test_a_part_of_the_cut_is_a_number_from_0_to_1(value, capsys):
    with pytest.raises(SystemExit) as ended:
        main(["show", PINION, f"--at={value}"])
    assert ended.value.code == 2
    assert "Traceback" not in capsys.readouterr().err


def test_a_set_up_that_cuts_nothing_has_no_gear_to_show(capsys, tmp_path):
    assert main(["show", LOCKED, "--out", str(tmp_path / "gear.stl")]) == 2
    assert "driven" in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


def test_a_job_without_a_set_up_and_a_file_that_is_not_there_are_refused(capsys, tmp_path):
    text = Path(PINION).read_text(encoding="utf-8")
    planned = tmp_path / "job.toml"
    planned.write_text(text[: text.index("[setup]")], encoding="utf-8")
    for job, words in ((planned, "no [setup]"), (tmp_path / "none.toml", "no such file")):
        assert main(["show", str(job), "--out", str(tmp_path / "gear.stl"), "--json"]) == 2
        said = capsys.readouterr()
        assert words in said.err
        assert words in json.loads(said.out)["errors"][0]["message"]
    assert list(tmp_path.iterdir()) == [planned]


def test_a_file_that_cannot_be_written_is_one_plain_message(no_opengl, capsys, tmp_path):
    taken = tmp_path / "train.png"
    taken.mkdir()
    assert main(["show", PINION, "--what", "train", "--out", str(taken)]) == 2
    assert capsys.readouterr().err.startswith(f"train: {taken}: ")
    assert list(tmp_path.iterdir()) == [taken]


def test_there_is_one_command_for_pictures(capsys):
    with pytest.raises(SystemExit):
        main(["solid", PINION])
    assert 'there is no command "solid"' in capsys.readouterr().err


@pytest.mark.parametrize(
    ("what", "order", "says"), [("halves", "74-herringbone-hoist", "needs 36.50 mm"), ("toothed", "75-worn-trap-wheel", "0.073 mm off")]
)
def test_a_job_with_halves_or_old_teeth_has_a_picture_of_them_and_others_say_why_not(what, order, says, tmp_path, capsys):
    out = tmp_path / "it.svg"
    job = SCENARIOS / order / "job.toml"
    assert main(["show", str(job), "--what", what, "--out", str(out)]) == 0
    assert out.exists()
    from handlead.machines.job_files.job_file import read_job
    from handlead.machines.setups.case import Case
    from handlead.viz.pictures.blanks import SOME

    figure = SOME[what](Case.of(read_job(job)))
    assert says in figure.axes[0].get_title()
    capsys.readouterr()
    assert main(["show", PINION, "--what", what, "--out", str(tmp_path / "none.svg")]) == 2
    assert "the job has no [" in capsys.readouterr().err
    assert not (tmp_path / "none.svg").exists()
