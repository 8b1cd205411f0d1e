"""What works behind the page while somebody taps: what was left isn't worked on, what was asked last is answered."""

import asyncio
import shutil
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import pytest
from handlead.viz.bench import holding, processes
from handlead.viz.bench_desk import work
from handlead.viz.bench_desk.doing import NotDone
from handlead.viz.bench_gear import answering

from .conftest import SCENARIOS, copy_jobs

INCH, LONG = "08-inch-winch-job.toml", "21-idler-left-out-job.toml"


@pytest.fixture
def bench(tmp_path):
    held = holding.Bench(copy_jobs(tmp_path))
    yield held
    held.shut()


def run(waits):
    """What comes of it, in a thread of its own: a browser that other tests have open keeps a loop going in this one."""
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(asyncio.run, waits).result()


def source(bench, name):
    return work.Source((bench.shelf.folder / name).read_text(), name, str(bench.shelf.folder))


def test_a_hand_that_taps_on_waits_for_the_last_blank_alone(bench):
    first = source(bench, INCH)
    left = [replace(first, text=first.text + "\n" * more) for more in range(1, 8)]

    async def tapped():
        return await asyncio.gather(*(bench.later(work.blank, one) for one in (first, *left)), return_exceptions=True)

    answers = run(tapped())
    assert isinstance(answers[-1], work.MeasuredBlank) and answers[-1].teeth == "35"
    dropped = [one for one in answers if isinstance(one, NotDone)]
    assert len(dropped) >= 5 and {str(one) for one in dropped} == {processes.LEFT}


def test_a_plan_of_a_job_that_was_changed_makes_room_for_the_next(bench):
    """Cut off in the middle, whatever it was telling just then; the next one is whole."""
    before, after = source(bench, LONG), source(bench, INCH)

    async def planned():
        old = asyncio.ensure_future(bench.later(work.plan, before, (), False, 4, slow=True))
        await asyncio.sleep(1.2)  # begun, and maybe telling
        return old, await bench.later(work.plan, replace(after, name=LONG), (), False, 1, slow=True), await asyncio.gather(
            old, return_exceptions=True
        )

    _, members, (told,) = run(planned())
    assert members[0].offered
    assert isinstance(told, NotDone) or told[0].offered


def test_of_a_gears_records_those_that_were_asked_last_are_looked_at(bench):
    """Somebody ticks one more before the first answer is there: only the last is worked out."""
    drum = SCENARIOS / "92-cloud-drum-wheel"
    for path in (*drum.glob("*.csv"), drum / "job.toml"):
        shutil.copy(path, bench.shelf.folder / path.name)
    names = ("runout.csv", "pitch.csv", "helix-left.csv", "helix-right.csv")
    asks = [answering.AskedOf(names[: more + 1], names[: more + 1]) for more in range(4)]

    async def ticked():
        job = source(bench, "job.toml")
        return await asyncio.gather(
            *(bench.later(answering.inspected, job, one, slow=True) for one in reversed(asks)), return_exceptions=True
        )

    answers = run(ticked())
    assert answers[-1].yes and len(answers[-1].records) == 2  # the runout alone, and what wouldn't stand out of it
    assert sum(isinstance(one, NotDone) for one in answers) >= 2


def test_what_is_kept_stays_small(bench):
    async def filled():
        for number in range(40):
            bench._kept[("solid", number)] = bytes(1_000_000)
        await bench.later(work.blank, source(bench, INCH))

    run(filled())
    assert sum(map(holding._bytes, bench._kept.values())) <= holding._KEPT_BYTES
    assert any(key[0] == "blank" for key in bench._kept)


def test_a_plan_tells_what_it_has_and_how_many_it_had_before(bench):
    asked = source(bench, LONG)

    async def heard():
        running = asyncio.ensure_future(bench.later(work.plan, asked, (), False, 3, slow=True))
        told = []
        while not running.done():
            told.append(bench.so_far(("plan", asked, (), False, 3)))
            shares.append(bench.share(("plan", asked, (), False, 3)))
            await asyncio.sleep(0.02)
        return told, await running

    shares = []
    told, members = run(heard())
    # And how far it has got: so many of so many, never more than there are.
    heard_of = [share for share in shares if share]
    assert heard_of and all(0 <= share.done < share.of and share.doing for share in heard_of)
    best = [found for found, times in told if times]
    assert best and best[0][0].offered and members[0].offered
    counts = [times for _, times in told]
    assert counts == sorted(counts) and counts[-1] >= 1


def test_a_process_that_has_grown_makes_room_for_a_fresh_one(bench, monkeypatch):
    monkeypatch.setattr(processes, "_MOST_MB", 1)

    async def asked():
        old = bench._quick._pool
        first = await bench.later(work.blank, source(bench, INCH))
        monkeypatch.setattr(processes, "_MOST_MB", 10_000)
        second = await bench.later(work.blank, replace(source(bench, INCH), text=source(bench, INCH).text + "\n"))
        return first, second, old

    first, second, old = run(asked())
    assert first == second and first.teeth == "35"
    assert old is not bench._quick._pool
    with pytest.raises(RuntimeError, match="after shutdown"):
        old.submit(work.warm)
