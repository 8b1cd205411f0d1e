"""A pile of orders on several machines: which can cut what, kept, resumed, and shared out among workers."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
import time
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from pathlib import Path

import pytest
from handlead.machines.job_files.job_file import read_job
from handlead.machines.machine_files.catalogue import find_machine
from handlead.machines.planning.planning import plan
from handlead.machines.shop import survey as survey_module
from handlead.machines.shop.crew import Crew, WorkerLost, each_done, processes
from handlead.machines.shop.kept import Kept
from handlead.machines.shop.pile import read_pile
from handlead.machines.shop.survey import CAN, CANNOT, survey
from handlead.machines.toml.errors import HandleadError
from handlead.viz.command import main
from handlead.viz.orders.survey_report import show_survey
from handlead.viz.streams.terminal import Terminal

SCENARIOS = Path(__file__).parents[2] / "scenarios"
SPUR = SCENARIOS / "02-left-hand-hob" / "job.toml"
RING = SCENARIOS / "12-star-ring" / "job.toml"


@pytest.fixture(scope="module")
def two():
    return [read_job(SPUR), read_job(RING)]


@pytest.fixture(scope="module")
def machines():
    return [find_machine("brinnock-20"), find_machine("tesmore-d2")]


@pytest.fixture(scope="module")
def found(two, machines):
    return survey(two, machines)


def test_a_row_says_what_a_plan_on_that_machine_says(two, machines, found):
    assert [row.status for row in found.rows] == [CAN, CANNOT, CAN, CAN]
    alone = plan(two[1], machines[1], top=1).members[0].setups[0]
    (row,) = (row for row in found.rows if row.job == str(RING) and row.machine == machines[1].name)
    assert row.members[0].gears == {name: str(one) for name, one in alone.setup.change.items()}
    assert (row.quality, row.slope_um, row.time_min) == (
        alone.quality, pytest.approx(abs(alone.helix_slope_um)), pytest.approx(alone.cycle.time_min),
    )  # fmt: skip


def test_what_is_in_the_way_is_told_of_a_machine_that_cannot(found):
    rows = found.by_order[str(RING)]
    assert [row.status for row in rows] == [CAN, CANNOT]
    assert "machine takes 200.0 mm" in rows[1].why
    assert found.status == 0


def test_the_better_machine_comes_first(two, machines, found):
    merits = [plan(two[0], machine, top=1).members[0].setups[0].merit for machine in machines]
    better = machines[merits.index(min(merits))].name
    assert found.by_order[str(SPUR)][0].machine == better


def test_an_order_that_no_machine_cuts_ends_with_one(two, machines):
    assert survey(two[1:], machines[:1]).status == 1


class Counting(Executor):
    """Threads that count what is handed out, and lose the first piece with its worker so many times."""

    def __init__(self, lose: int = 0) -> None:
        self.pool, self.given, self.lose = ThreadPoolExecutor(2), 0, lose

    def submit(self, fn, /, *args, **kwargs):
        from concurrent.futures.process import BrokenProcessPool

        self.given += 1
        if self.lose:
            self.lose -= 1
            lost: Future = Future()
            lost.set_exception(BrokenProcessPool("gone"))
            return lost
        return self.pool.submit(fn, *args, **kwargs)


def test_any_executor_gives_the_same_rows(two, machines, found):
    executor = Counting()
    shared = survey(two, machines, executor=executor)
    assert executor.given == 2
    assert [row.as_json() for row in shared.rows] == [row.as_json() for row in found.rows]


def test_a_piece_lost_with_its_worker_is_done_again_and_told_once():
    executor = Counting(lose=2)
    done = list(each_done(abs, range(-5, 0), Crew(executor, 2)))
    assert sorted(done) == [(number, 5 - number) for number in range(5)]
    with pytest.raises(WorkerLost, match="3 times"):
        list(each_done(abs, [-1], Crew(Counting(lose=3), 1)))


def test_no_more_is_handed_out_than_keeps_the_workers_busy():
    taken = []
    pieces = (taken.append(number) or number for number in range(100))
    with ThreadPoolExecutor(1) as pool:
        first = next(each_done(abs, pieces, Crew(pool, 1)))
    assert first == (0, 0)
    assert len(taken) <= 4


def die_once(mark: Path) -> int:
    """End the process that does it, the first time."""
    if not mark.exists():
        mark.touch()
        os._exit(1)
    return 7


def test_a_process_that_dies_takes_no_piece_with_it(tmp_path):
    with processes(2) as crew:
        done = sorted(each_done(die_once, [tmp_path / name for name in "abc"], crew))
    assert done == [(0, 7), (1, 7), (2, 7)]


_TWO_WORKERS = """
import os, signal, sys
from handlead.machines.shop.crew import processes
if __name__ == "__main__":
    with processes(2) as crew:
        print(*{crew.executor.submit(os.getpid).result() for _ in range(8)}, flush=True)
        os.kill(os.getpid(), signal.SIGKILL)
"""


@pytest.mark.skipif(not Path("/proc/self").exists(), reason="processes are looked for under /proc")
def test_no_worker_is_left_behind_where_the_program_is_killed(tmp_path):
    script = tmp_path / "killed.py"
    script.write_text(_TWO_WORKERS, encoding="utf-8")
    killed = subprocess.run([sys.executable, script], capture_output=True, text=True, check=False, timeout=200)
    workers = killed.stdout.split()
    assert workers
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline and any(is_running(number) for number in workers):
        time.sleep(0.1)
    assert not any(is_running(number) for number in workers)


def is_running(number: str) -> bool:
    """Whether there is such a process that hasn't ended."""
    try:
        return Path(f"/proc/{number}/stat").read_text(encoding="utf-8").rsplit(")", 1)[1].split()[0] != "Z"
    except OSError:
        return False


def test_what_goes_wrong_inside_with_one_row_stops_no_other(two, machines, monkeypatch):
    monkeypatch.setattr("handlead.machines.planning.planning.plan", lambda *_, **__: 1 / 0)
    broken = survey(two, machines[:1])
    assert [row.why for row in broken.rows] == ["ZeroDivisionError: division by zero"] * 2
    assert broken.status == 3


def test_a_survey_that_was_stopped_goes_on_where_it_was(two, machines, found, tmp_path, monkeypatch):
    file = tmp_path / "kept.jsonl"
    with Kept(file) as kept:
        survey(two[:1], machines, kept=kept)
    # A stop in the middle of a line.
    with file.open("a", encoding="utf-8") as stream:
        stream.write('{"key": "half')
    looked = []
    once = survey_module.look_at
    monkeypatch.setattr(survey_module, "look_at", lambda piece: looked.append(piece) or once(piece))
    with Kept(file) as kept:
        again = survey(two, machines, kept=kept)
    assert [job.title for job, _ in looked] == [two[1].title] * 2
    assert again.rows[0] == found.rows[0].__class__(**{**vars(found.rows[0]), "took_s": again.rows[0].took_s})
    assert [row.as_json() for row in again.rows] == [row.as_json() for row in found.rows]
    with Kept(file) as kept:
        assert len(kept) == 4


def test_a_row_is_not_kept_for_a_job_that_was_changed(two, machines, tmp_path):
    changed = tmp_path / "job.toml"
    changed.write_text(
        SPUR.read_text(encoding="utf-8").replace("teeth  = 43", "teeth  = 44"), encoding="utf-8"
    )
    keys = {survey_module.key_of(job, machines[0]) for job in (two[0], read_job(changed))}
    assert len(keys) == 2


def test_a_file_that_is_no_survey_is_not_written_to(tmp_path, capsys):
    other = tmp_path / "notes.txt"
    other.write_text("milk, bread\n", encoding="utf-8")
    assert main(["survey", str(SPUR), "--keep", str(other)]) == 2
    assert "isn't a survey that was kept" in capsys.readouterr().err
    assert other.read_text(encoding="utf-8") == "milk, bread\n"


def test_the_table_keeps_to_a_line_an_order_on_a_narrow_terminal(found):
    out = io.StringIO()
    show_survey(found, Terminal(width=80, file=out))
    lines = out.getvalue().splitlines()
    assert all(len(line) <= 80 for line in lines)
    (line,) = (each for each in lines if each.startswith(found.rows[0].title[:10]))
    assert "µm" in line


def test_a_machine_that_cannot_be_used_is_complained_of_once_and_is_a_row_on_paper(tmp_path, capsys):
    (tmp_path / "shed.toml").write_text('format = "machine/1"\nname = "Shed"\n', encoding="utf-8")
    for name in ("a", "b"):
        text = SPUR.read_text(encoding="utf-8").replace('"tesmore-d2"', '"shed.toml"')
        (tmp_path / f"{name}.toml").write_text(text, encoding="utf-8")
    page = tmp_path / "page.html"
    csv = tmp_path / "rows.csv"
    more = ["--machine", "brinnock-20", str(tmp_path / "shed.toml"), "--out", str(page), "--csv", str(csv)]
    assert main(["survey", str(tmp_path / "a.toml"), str(tmp_path / "b.toml"), str(SPUR), *more]) == 2
    told = capsys.readouterr()
    assert told.err.count('"drives" is missing') == 2  # once for the jobs, once where it was named
    assert "shed.toml can't be used" in " ".join(told.out.split())
    assert "shed.toml" in page.read_text(encoding="utf-8")
    assert len(csv.read_text(encoding="utf-8").splitlines()) == 5


def test_a_file_that_cannot_be_used_is_told_and_stops_nothing(tmp_path, capsys):
    bad = tmp_path / "bad.toml"
    bad.write_text('format = "job/1"\n', encoding="utf-8")
    assert main(["survey", "--json", str(bad), str(SPUR), "--machine", "tesmore-d2", "nonsuch"]) == 2
    out, err = capsys.readouterr()
    told = json.loads(out)
    assert [(one["what"], one["file"]) for one in told["unread"]] == [
        ("job", str(bad)),
        ("machine", "nonsuch"),
    ]
    assert told["orders"][0]["best"] == "Tesmore D2"
    assert 'there is no machine "nonsuch"' in err


def test_an_order_whose_own_machine_is_gone_is_looked_at_on_the_machines_that_are_named(tmp_path, capsys):
    lost = tmp_path / "lost.toml"
    own = read_job(SPUR).machine_name
    lost.write_text(SPUR.read_text(encoding="utf-8").replace(f'"{own}"', '"gone.toml"'), encoding="utf-8")
    assert main(["survey", "--json", str(lost)]) == 2
    capsys.readouterr()
    assert main(["survey", "--json", str(lost), "--machine", "tesmore-d2"]) == 0
    out, err = capsys.readouterr()
    told = json.loads(out)
    assert not told["unread"] and told["orders"][0]["best"] == "Tesmore D2"
    assert err.count("its own machine can't be used") == 1 and "gone.toml" in err


def test_a_folder_stands_for_the_jobs_in_it(tmp_path):
    for name in ("one", "two"):
        (tmp_path / f"{name}.toml").write_text(SPUR.read_text(encoding="utf-8"), encoding="utf-8")
    (tmp_path / "hobs.toml").write_text('format = "hobs/1"\n', encoding="utf-8")
    jobs, unread = read_pile([tmp_path], lambda fault: None)
    assert [Path(job.path).stem for job in jobs] == ["one", "two"]
    assert not unread
    (tmp_path / "empty").mkdir()
    with pytest.raises(HandleadError, match="no job file"):
        read_pile([tmp_path / "empty"], lambda fault: None)


def test_the_table_goes_on_paper_and_into_other_programs(tmp_path, capsys):
    csv, page = tmp_path / "rows.csv", tmp_path / "page.html"
    both = ["--machine", "brinnock-20", "--csv", str(csv), "--out", str(page)]
    assert main(["survey", str(SPUR), str(RING), *both]) == 1
    lines = csv.read_text(encoding="utf-8").splitlines()
    assert len(lines) == 3
    assert "machine takes 200.0 mm" in lines[2]
    paper = page.read_text(encoding="utf-8").replace("\n", " ")
    assert "machine takes 200.0 mm" in paper
    assert "index gears" in paper
    assert "Isolate and lock out" in paper
    assert "1 of 2 orders can be cut" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "said"),
    [(["--workers", "0"], "--workers is 0"), (["--workers", "2", "--dask", "tcp://x:1"], "don't go together"),
     (["--out", "x.txt"], "must end in .pdf or .html"), (["--dask", "tcp://127.0.0.1:1"], "--dask")],
)  # fmt: skip
def test_arguments_that_cannot_be_are_refused(arguments, said, capsys, monkeypatch):
    monkeypatch.setattr("handlead.machines.shop.crew.CLUSTER_ANSWERS_IN", "1s")
    assert main(["survey", str(SPUR), *arguments]) == 2
    assert said in capsys.readouterr().err
