"""`plan --write`: the best set-up into the job's file, and nothing lost of what was there."""

import datetime
import json
from pathlib import Path

import handlead.scenarios
import pytest
from handlead.machines.job_files.job_file import read_job
from handlead.machines.judging_teeth.both_jobs import pair_apart
from handlead.machines.toml import filing
from handlead.viz.command import main

ORDERS = Path(handlead.scenarios.__file__).parent
WINCH = ORDERS / "01-fly-winch-pair" / "pinion.toml"
TODAY = datetime.date.today().isoformat()


@pytest.fixture
def job(tmp_path):
    """The winch's pinion, without its mate, with gears that were noted by hand, and what was seen."""
    text = WINCH.read_text()
    mate = text.index("[mate]")
    text = text[:mate] + text[text.index("[", mate + 1) :]
    text = text.replace('feed = "up"', 'feed = "up"  # stiff')
    path = tmp_path / "job.toml"
    path.write_text(f"{text}\n# what Tom saw\n[seen]\nteeth = 23\n")
    return path


def write(path, *more):
    return main(["plan", str(path), "--top", "1", "--write", *more])


def names(path):
    return sorted(each.name for each in path.parent.iterdir())


def test_a_set_up_that_was_there_is_kept_under_the_date(job, capsys):
    before = job.read_bytes()
    assert write(job) == 0
    said = capsys.readouterr().err
    assert names(job) == [f"job.{TODAY}.toml", "job.toml"]
    assert (job.parent / f"job.{TODAY}.toml").read_bytes() == before
    assert f"what was there is kept in job.{TODAY}.toml" in said
    assert "[seen] is of the set-up before" in said
    after = job.read_text()
    assert "\n# what Tom saw\n[seen]\n" in after
    assert 'feed = "up"  # stiff' in after
    assert main(["prove", "--no-cut", str(job)]) == 0


def test_written_a_second_time_nothing_is_changed_and_nothing_kept(job, capsys):
    assert write(job) == 0
    once = job.read_bytes(), names(job)
    capsys.readouterr()
    assert write(job) == 0
    assert "has this set-up already" in capsys.readouterr().err
    assert (job.read_bytes(), names(job)) == once


def test_the_set_up_of_another_machine_is_kept_before_the_job_goes_to_one(job):
    assert write(job, "--machine", "tesmore-d2") == 0
    assert read_job(job).machine.name != read_job(WINCH).machine.name
    kept = read_job(job.parent / f"job.{TODAY}.toml")
    assert kept.setup == read_job(WINCH).setup
    assert kept.machine.name == read_job(WINCH).machine.name


def test_a_job_without_a_set_up_loses_nothing_and_leaves_no_second_file(job):
    text = job.read_text()
    job.write_text(text[: text.index("[setup]")])
    assert write(job) == 0
    assert names(job) == ["job.toml"]


def test_what_was_changed_in_a_mate_s_file_is_kept(tmp_path, capsys):
    text = WINCH.read_text()
    pair = tmp_path / "pair.toml"
    pair.write_text(text[: text.index("[setup]")])
    assert write(pair) == 0
    mate = tmp_path / "pair-mate.toml"
    noted = f"# kept\n{mate.read_text()}".replace("face_width = 36", "face_width = 31  # turned down")
    assert "turned down" in noted
    mate.write_text(noted)
    assert write(pair) == 0
    assert (tmp_path / f"pair-mate.{TODAY}.toml").read_text() == noted
    assert "face_width = 36" in mate.read_text()
    assert "face width 31.000 mm against 36.000 mm): it is written anew" in capsys.readouterr().err


@pytest.fixture
def pair(tmp_path):
    """The winch's pair to plan: the pinion's job, with centres that were measured and what its teeth measured."""
    text = WINCH.read_text().replace("[mate]\nteeth = 74", "[mate]\nteeth = 74\ncentre_distance = 157")
    path = tmp_path / "pair.toml"
    path.write_text(text[: text.index("[setup]")] + '[[measured]]\ndate = "May"\nspan = { teeth = 4, length = 32.5 }\n')
    assert write(path) == 0
    return path


def test_a_mate_s_job_points_back_to_the_work_with_the_centres_and_without_its_measures(pair):
    job, mate = read_job(pair), read_job(pair.parent / "pair-mate.toml")
    assert mate.work == job.mate and mate.mate == job.work
    assert mate.centre_distance == job.centre_distance
    assert job.measured and not mate.measured
    assert not pair_apart(job, mate)


def test_the_second_half_s_job_has_nothing_of_what_the_first_one_s_teeth_measured(tmp_path):
    path = tmp_path / "hoist.toml"
    text = (ORDERS / "74-herringbone-hoist" / "job.toml").read_text()
    path.write_text(f'{text}\n[[measured]]\ndate = "May"\nspan = {{ teeth = 4, length = 33 }}\n')
    assert write(path) == 0
    first, second = read_job(path), read_job(tmp_path / "hoist-second-half.toml")
    assert first.measured and not second.measured
    assert (second.mate, second.halves.turned_over) == (None, first.halves.turned_over)


def test_planned_from_the_mate_s_side_the_work_s_job_is_written_and_no_third_one(pair, capsys):
    before = read_job(pair).setup
    text = pair.read_text()
    pair.write_text(f"# Tom's\n{text[: text.index('[setup]')]}")
    capsys.readouterr()
    assert write(pair.parent / "pair-mate.toml") == 0
    assert {name for name in names(pair) if "2" not in name} == {"pair-mate.toml", "pair.toml"}
    again = read_job(pair)
    assert again.setup is not None and again.measured and pair.read_text().startswith("# Tom's")
    assert again.setup.change["differential gears"].size == before.change["differential gears"].size
    assert main(["prove", "--no-cut", str(pair), str(pair.parent / "pair-mate.toml")]) == 0


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ("teeth  = 23", "teeth  = 24", "teeth 23 against 24"),
        ('hand   = "right"\nface_width', 'hand   = "left"\nface_width', "hand right against left"),
        ("outside_diameter = 87.5", "outside_diameter = 88", "the hob is another"),
    ],
)
def test_a_mate_s_job_that_doesn_t_say_what_the_work_s_does_writes_nothing_there(pair, capsys, before, after, said):
    text = pair.read_text()
    assert before in text
    pair.write_text(text.replace(before, after))
    changed = pair.read_text()
    capsys.readouterr()
    assert write(pair.parent / "pair-mate.toml") == 2
    err = capsys.readouterr().err
    assert "it isn't what [mate] of pair-mate.toml says" in err and said in err
    assert pair.read_text() == changed
    assert {name for name in names(pair) if "2" not in name} == {"pair-mate.toml", "pair.toml"}


@pytest.mark.parametrize("fails", ["a full disk", "a folder that takes no files", "a read-only file"])
def test_what_can_not_be_written_is_a_line_and_status_2_and_leaves_all_as_it_was(job, fails, monkeypatch, capsys):
    before = job.read_bytes()
    if fails == "a read-only file":
        job.chmod(0o444)
    else:
        number = 28 if fails == "a full disk" else 13

        def refuse(*_, **__):
            raise OSError(number, "No space left on device" if number == 28 else "Permission denied")

        monkeypatch.setattr(filing.os, "fsync", refuse)
    assert write(job, "--json") == 2
    out, err = capsys.readouterr()
    assert json.loads(out)["errors"]
    assert len(err.splitlines()) == 1
    assert job.read_bytes() == before
    assert not [name for name in names(job) if name.startswith(".")]


def test_a_job_that_was_changed_meanwhile_is_left_alone(job, monkeypatch, capsys):
    from handlead.viz.commands import plan_writing

    text = job.read_text()
    monkeypatch.setattr(plan_writing, "read_text", lambda path: text + "# changed meanwhile\n")
    assert write(job) == 2
    assert "changed while the plan was made" in capsys.readouterr().err
    assert job.read_text() == text


def test_a_linked_job_stays_a_link_and_keeps_its_mode(job, tmp_path):
    job.chmod(0o664)
    link = tmp_path / "link.toml"
    link.symlink_to(job.name)
    assert write(link) == 0
    assert link.is_symlink()
    assert job.stat().st_mode & 0o777 == 0o664
    assert main(["prove", "--no-cut", str(job)]) == 0


def test_where_a_member_has_no_set_up_it_is_said_that_nothing_is_written(job, capsys):
    text = job.read_text()
    before = text.replace("teeth  = 23", "teeth  = 4999", 1)
    assert before != text
    job.write_text(before)
    assert write(job) == 1
    assert "nothing is written" in capsys.readouterr().err
    assert job.read_text() == before


@pytest.mark.parametrize(
    ("machine", "said"),
    [
        ("broken.toml", 'broken.toml:1: "name" is missing'),
        ("thurle 400", 'job.toml:3: machine: there is no machine "thurle 400"'),
    ],
    ids=["its file is broken", "there is none"],
)
def test_a_job_is_planned_on_another_machine_whatever_has_become_of_its_own(job, capsys, machine, said):
    (job.parent / "broken.toml").write_text('format = "machine/1"\nunits = "mm"\n')
    own = read_job(job).machine_name
    text = job.read_text().replace(f'"{own}"', f'"{machine}"')
    job.write_text(text.replace("[seen]\n", '[seen]\nslide_moved = "up"\n'))
    assert main(["plan", str(job), "--top", "1"]) == 2
    assert main(["prove", str(job)]) == 2
    assert capsys.readouterr().err
    assert main(["plan", str(job), "--machine", own, "--json"]) == 0
    out, err = capsys.readouterr()
    assert "which doesn't matter on" in err and said in err, err
    (work, _) = json.loads(out)["members"]
    assert work["setups"]
    assert write(job, "--machine", own) == 0
    assert main(["prove", "--no-cut", str(job)]) == 0


def test_how_the_feed_is_meant_holds_on_another_machine_where_its_own_is_gone(job, capsys):
    own = read_job(job)
    job.write_text(job.read_text().replace(f'"{own.machine_name}"', '"gone.toml"'))
    assert own.setup.feed.value == "climb"
    read = read_job(job, instead=own.machine)
    assert read.setup.feed.value == "climb" and not read.setup.change and read.setup.swivel_deg is None
    assert main(["plan", str(job), "--machine", own.machine_name, "--json", "--top", "1"]) == 0
    assert "climb, as [setup] feed asks" in capsys.readouterr().out


def test_nothing_can_be_held_of_a_set_up_whose_machine_is_gone(job, capsys):
    own = read_job(job)
    job.write_text(job.read_text().replace(f'"{own.machine_name}"', '"gone.toml"'))
    assert main(["plan", str(job), "--machine", own.machine_name, "--hold", "index gears"]) == 2
    assert "nothing stands there" in capsys.readouterr().err
