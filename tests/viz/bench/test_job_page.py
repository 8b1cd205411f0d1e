"""A job's page in a real browser: tapped as a gear cutter would, held against what the commands say."""

import json
import re
from dataclasses import replace

import pytest
from handlead import machines

from .conftest import copy_jobs, serve, wait_until

LEFT_OUT = "21-idler-left-out-job.toml"
INCH = "08-inch-winch-job.toml"


@pytest.fixture(scope="module")
def running(tmp_path_factory):
    page = serve(tmp_path_factory.mktemp("jobs"))
    yield page
    page.stop()


@pytest.fixture
def fresh(running, request):
    """The page, with a folder of its own in the one that is served."""
    at = f"{request.node.name[:40]}/"
    (running.folder / at).mkdir()
    return replace(running, folder=copy_jobs(running.folder / at), at=at)


@pytest.fixture
def own(tmp_path):
    """A page that may be killed."""
    page = serve(copy_jobs(tmp_path))
    yield page
    page.stop()


def test_the_remedy_that_was_proved_makes_it_as_wanted_with_one_tap(fresh, window):
    one = window().go(f"{fresh.url}job/{fresh.at}{LEFT_OUT}")
    assert "NOT AS WANTED" in one.verdict() and one.made("hand") == "right"
    assert one.blank()["hand"] == "right"
    one.page.click("text=Apply this")
    wait_until(lambda: "✓ AS WANTED" in one.verdict())
    assert one.made("hand") == "left" and one.blank()["hand"] == "left"
    job = machines.read_job(fresh.folder / LEFT_OUT)
    assert machines.prove(job).is_as_wanted and job.setup.change["differential gears"].idlers


def test_a_tapped_gear_shows_at_once_what_it_would_cut_and_the_blank_agrees(fresh, window):
    one = window().go(f"{fresh.url}job/{fresh.at}{INCH}")
    assert "✓ AS WANTED" in one.verdict()
    one.tap_gear("index gears", "0", 32)
    assert "NOT AS WANTED" in one.verdict()
    job = machines.read_job(fresh.folder / INCH)
    assert job.setup.change["index gears"].gears[0] == 32
    made = machines.prove(job).computed.outcome
    assert one.made("teeth") == str(made.teeth)
    # What the set-up before it would have cut stands beside.
    assert one.page.inner_text("#verdict tr:has(th:text-is('teeth')) td.before") == "35"


def test_each_gear_that_is_offered_makes_what_is_said_of_it(fresh):
    job = machines.read_job(fresh.folder / INCH)
    text = fresh.get(f"/choices/{fresh.at}{INCH}?bracket=index%20gears&place=1")[1].decode()
    offered = dict(re.findall(r"<b>(\d+)</b><span>(\d+) teeth", text))
    assert len(offered) > 5
    for gear, count in offered.items():
        gears = list(job.setup.change["index gears"].gears)
        gears[1] = int(gear)
        assert machines.Case.of(job.with_gears("index gears", gears)).outcome.teeth == int(count)


def test_a_wrong_entry_is_told_beside_its_field_and_the_file_stays(fresh, window):
    before = (fresh.folder / LEFT_OUT).read_text()
    one = window().go(f"{fresh.url}job/{fresh.at}{LEFT_OUT}")
    one.page.fill("#f-work-teeth", "seventy")
    one.page.press("#f-work-teeth", "Tab")
    wait_until(lambda: one.page.locator("#f-work-teeth-e").count())
    assert 'it must be a whole number from 1 to 100000' in one.page.inner_text("#f-work-teeth-e")
    assert (fresh.folder / LEFT_OUT).read_text() == before
    one.page.fill("#f-work-teeth", "75")
    one.page.press("#f-work-teeth", "Tab")
    wait_until(lambda: not one.page.locator("#f-work-teeth-e").count())
    assert (fresh.folder / LEFT_OUT).read_text() == before.replace("teeth  = 74", "teeth  = 75")


def test_undo_reaches_over_a_restart_and_a_killed_server_loses_no_figure(own, window):
    before = (own.folder / LEFT_OUT).read_text()
    one = window().go(f"{own.url}job/{LEFT_OUT}")
    one.page.fill("#f-work-face-width", "40")
    one.page.press("#f-work-face-width", "Tab")
    wait_until(lambda: "face_width = 40" in (own.folder / LEFT_OUT).read_text())
    one.page.fill("#f-work-quality", "99")  # doesn't fit, and is kept as it was typed
    one.page.press("#f-work-quality", "Tab")
    wait_until(lambda: one.page.locator("#f-work-quality-e").count())
    own.stop()
    own.start_again()
    one.go(f"{own.url}job/{LEFT_OUT}")
    assert one.page.input_value("#f-work-quality") == "99" and one.page.input_value("#f-work-face-width") == "40"
    one.page.click("#undo")
    one.settled()
    assert one.page.input_value("#f-work-quality") == "7"
    one.page.click("#undo")
    wait_until(lambda: (own.folder / LEFT_OUT).read_text() == before)
    one.settled().page.click("#redo")
    wait_until(lambda: "face_width = 40" in (own.folder / LEFT_OUT).read_text())


def test_two_windows_see_each_other_and_what_another_program_writes_is_never_written_over(fresh, window):
    one, other = window(), window()
    for each in (one, other):
        each.go(f"{fresh.url}job/{fresh.at}{LEFT_OUT}")
    one.page.click("fieldset:has-text('differential') button:has-text('out')")
    wait_until(lambda: other.page.get_attribute("fieldset:has-text('differential') button:has-text('out')", "aria-pressed") == "true")
    path = fresh.folder / LEFT_OUT
    # Two that don't hear in time: what came first stays, and both are shown.
    stale = json.loads(fresh.get(f"/parts/{fresh.at}{LEFT_OUT}")[1])["digest"]
    path.write_text(path.read_text().replace("quality = 7", "quality = 6  # by hand"))
    body = json.dumps({"do": "lever", "lever": "differential", "position": "in", "digest": stale}).encode()
    status, told, _ = fresh.get(f"/do/{fresh.at}{LEFT_OUT}", body, Origin=f"http://{fresh.host}")
    assert status == 409 and b"quality = 6  # by hand" in told and b"quality = 7" in told
    assert "# by hand" in path.read_text()
    wait_until(lambda: one.page.input_value("#f-work-quality") == "6" and other.page.input_value("#f-work-quality") == "6")


def test_a_wrong_blank_is_traced_to_its_cause_and_cured(fresh, window):
    text = (fresh.folder / INCH).read_text()
    (fresh.folder / "seen.toml").write_text(f'{text}\n[seen]\nteeth = 35\nhand = "right"\n')
    one = window().go(f"{fresh.url}job/{fresh.at}seen.toml")
    one.page.click("#trace-go")
    for _ in range(8):
        wait_until(lambda: one.page.locator("#traced .said").count(), 30)
        found = machines.trace(machines.read_job(fresh.folder / "seen.toml"))
        if found.cure:
            break
        # At the machine an idler stands in the differential bracket that the sheet doesn't have.
        true = next(each for each in found if [fault.kind.kind for fault in each.faults] == ["idler-extra"])
        before = one.page.get_attribute("body", "data-digest")
        one.page.locator(".answers").get_by_role("button", name=found.next.check.outcome(true.scene), exact=True).click()
        wait_until(lambda b=before: one.page.get_attribute("body", "data-digest") != b)
        wait_until(lambda: "Going through" not in one.page.inner_text("#traced"), 30)
    wait_until(lambda: one.page.locator("text=EXPLAINED").count(), 30)
    assert machines.read_job(fresh.folder / "seen.toml").seen.checks
    one.page.click("text=Apply the cure")
    wait_until(lambda: "[seen]" not in (fresh.folder / "seen.toml").read_text())
    assert "✓ AS WANTED" in one.settled().verdict()
    assert "cured" in one.page.inner_text("#part-versions")


def test_hob_and_blank_turn_with_the_rates_of_the_set_up(fresh, window):
    one = window().go(f"{fresh.url}job/{fresh.at}{LEFT_OUT}")
    one.page.click("#gear-go")
    wait_until(lambda: one.page.evaluate("() => !!window.gearState && gearState().turns > 0.05"), 40)
    state = one.page.evaluate("() => gearState()")
    rates = machines.Case.of(machines.read_job(fresh.folder / LEFT_OUT)).rates
    assert abs(state["per_turn"]["table"]) == pytest.approx(abs(float(rates.table)), rel=1e-9)
    assert state["triangles"] > 10_000


def test_a_tapped_shaft_lights_its_way_from_the_motor_with_the_ratio_after_each_link(fresh, window):
    one = window().go(f"{fresh.url}job/{fresh.at}{LEFT_OUT}")
    one.page.click("#train-go")
    one.page.locator(".tapped[data-part='table']").dispatch_event("click", timeout=40_000)
    wait_until(lambda: one.page.locator("#train-said table").count())
    case = machines.Case.of(machines.read_job(fresh.folder / LEFT_OUT))
    last = one.page.inner_text("#train-said tr:last-child td:last-child")
    assert float(last.split("=")[-1].replace("\N{MINUS SIGN}", "-")) == pytest.approx(float(case.solution.rates["table"]), rel=1e-4)
    assert one.page.locator(".tapped.lit").count() > 6


def test_measures_say_how_much_deeper_and_are_kept_with_their_day(fresh, window):
    one = window().go(f"{fresh.url}job/{fresh.at}{INCH}")
    one.page.fill("#m-depth", "0.2")
    one.page.click("text=How much deeper?")
    wait_until(lambda: one.page.locator("#deeper-said").count())
    job = machines.read_job(fresh.folder / INCH)
    assert len(job.measured) == 1 and job.measured[0].date
    assert f"{machines.go_deeper(job).deeper / 25.4:.4f} in DEEPER" in one.page.inner_text("#deeper-said")
    assert "depth 0.2" in (one.page.text_content("#measured-before") or "")
