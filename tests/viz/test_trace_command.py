"""The command that traces a wrong cut: what it prints, what it asks, and how it ends."""

import io
import json
import re
import tomllib

import pytest
import reference_machine as reference
from handlead.viz.command import main

LEFT = 'teeth = 40\nhand = "left"\nhelix_angle = 12.5'


@pytest.fixture
def job(tmp_path):
    (tmp_path / "reference.toml").write_text(reference.MACHINE)

    def write(seen, parts=reference.HELICAL):
        path = tmp_path / "job.toml"
        path.write_text(reference.job_text(*parts, seen))
        return path

    return write


def answers(monkeypatch, *lines):
    monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{line}\n" for line in lines)))


def test_a_wrong_cut_is_explained_likeliest_cause_first_with_the_next_check(job, capsys):
    assert main(["trace", str(job(LEFT))]) == 0
    out, err = capsys.readouterr()
    assert "EXPLAINED" in out
    assert re.search(r"1\. idler left out, differential gears: no idlers where there should be 1", out)
    assert "40 teeth, left-hand" in out
    assert "Next: " in out
    assert re.search(r"\(\d+(\.\d+)? min\)", out)
    assert "lock out" in out
    assert err == ""


def test_a_cut_as_wanted_is_said_to_be_so_and_ends_well(job, capsys):
    assert main(["trace", str(job("teeth = 40"))]) == 0
    out = capsys.readouterr().out
    assert "AS WANTED" in out
    assert "Next:" not in out


def test_what_nothing_explains_ends_with_status_1_and_names_near_misses(job, capsys):
    assert main(["trace", str(job('teeth = 41\nhand = "left"\nhelix_angle = 77'))]) == 1
    out = capsys.readouterr().out
    assert "NOT EXPLAINED" in out
    assert "against it: " in out
    assert "slipping" in out


@pytest.mark.parametrize("seen", ["", 'hand = "none"\nlead = 800', "teeth = 40.5"])
def test_a_job_that_cannot_be_used_ends_with_status_2_and_its_line(seen, job, capsys):
    path = job(seen)
    assert main(["trace", str(path)]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert re.match(rf"{re.escape(str(path))}:\d+: ", err)
    assert "Traceback" not in err


def test_a_file_that_is_not_there_ends_with_status_2(tmp_path, capsys):
    assert main(["trace", str(tmp_path / "nowhere.toml")]) == 2
    assert "nowhere.toml" in capsys.readouterr().err


def test_json_is_one_object_and_nothing_else(job, capsys):
    assert main(["trace", "--json", str(job(LEFT))]) == 0
    out, err = capsys.readouterr()
    value = json.loads(out)
    assert value["verdict"] == "explained"
    assert value["causes"][0]["faults"][0]["kind"] == "idler-left-out"
    assert value["causes"][0]["leaves"]["hand"] == "left"
    assert value["next_check"]["splits"][0]["then"]
    assert err == ""


def test_json_of_a_file_that_cannot_be_used_is_an_object_too(job, capsys):
    assert main(["trace", "--json", str(job("teeth = 40.5"))]) == 2
    out, err = capsys.readouterr()
    assert json.loads(out)["errors"][0]["line"] == int(re.search(r":(\d+):", err)[1])


def test_json_and_asking_are_not_done_at_once(job):
    with pytest.raises(SystemExit) as caught:
        main(["trace", "--json", "--ask", str(job(LEFT))])
    assert caught.value.code == 2


def test_asking_goes_on_until_one_cause_is_left(job, capsys, monkeypatch):
    answers(monkeypatch, *["1"] * 20)
    assert main(["trace", "--ask", str(job(LEFT))]) == 0
    out = capsys.readouterr().out
    assert "Now " in out
    assert "One cause is left:" in out


def test_answers_may_be_typed_in_words_and_nonsense_is_asked_again(job, capsys, monkeypatch):
    answers(monkeypatch, "seven", "99", "SPOILT", "")
    assert main(["trace", "--ask", str(job(LEFT))]) == 0
    out = capsys.readouterr().out
    assert out.count("There is no outcome") == 2
    assert 'found = "spoilt"' in out


def test_who_is_not_sure_is_asked_something_else(job, capsys, monkeypatch):
    answers(monkeypatch, "not sure", "")
    assert main(["trace", "--ask", str(job(LEFT))]) == 0
    asked = re.findall(r"Now (.*?) \(", capsys.readouterr().out)
    assert len(asked) == 2
    assert asked[0] != asked[1]


def test_who_counts_again_is_told_what_the_new_count_means(job, capsys, monkeypatch):
    answers(monkeypatch, "count again", "count again 40", "")
    assert main(["trace", "--ask", str(job('teeth = 41\nhand = "right"\nhelix_angle = 12.5'))]) == 0
    out = capsys.readouterr().out
    assert "Chalk the first tooth" in out
    assert 'found = "40"' in out


def test_what_was_not_looked_at_is_said(job, capsys):
    main(["trace", str(job("teeth = 40"))])
    out = " ".join(capsys.readouterr().out.split())
    assert "Not looked at: the hand, the lean or lead," in out


def test_the_answers_printed_at_the_end_can_be_put_into_the_job(job, capsys, monkeypatch):
    answers(monkeypatch, *["1"] * 20)
    path = job(LEFT)
    main(["trace", "--ask", str(path)])
    out = capsys.readouterr().out
    lines = out[out.index("[[seen.check]]") :]
    assert tomllib.loads(lines)["seen"]["check"]
    path.write_text(path.read_text() + lines)
    assert main(["trace", str(path)]) == 0
    assert "One cause is left:" in capsys.readouterr().out


def test_asking_ends_quietly_where_nobody_answers(job, capsys, monkeypatch):
    answers(monkeypatch)
    assert main(["trace", "--ask", str(job(LEFT))]) == 0
    assert "Traceback" not in capsys.readouterr().err


def test_an_answer_that_fits_no_cause_leaves_nothing_and_ends_with_status_1(job, capsys, monkeypatch):
    answers(monkeypatch, "other")
    assert main(["trace", "--ask", str(job(LEFT))]) == 1
    assert "None of " in capsys.readouterr().out


def test_the_report_is_no_wider_than_a_page(job, capsys):
    main(["trace", str(job('teeth = 20\nhand = "left"'))])
    assert max(len(line.rstrip()) for line in capsys.readouterr().out.splitlines()) <= 110


@pytest.mark.parametrize(("more", "is_told"), [(0.0, True), (2.0, False)])
def test_a_lean_that_is_right_at_the_outside_is_told_to_be_so(more, is_told, job, capsys):
    from handlead.machines.job_files.job_file import read_job
    from handlead.viz.draw.marks import wanted_marks

    work = read_job(job("teeth = 40")).work
    seen = f'teeth = 40\nhand = "{work.hand.word}"\nhelix_angle = {wanted_marks(work).lean_deg + more:.3f}'
    main(["trace", str(job(seen))])
    assert ("outside_helix_angle" in capsys.readouterr().out) is is_told
