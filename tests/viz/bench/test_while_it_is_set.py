"""What is tapped while the machine is set: the head, gears held fast, gears that would cut another gear, jobs alike."""

import json
import re

import pytest
from handlead import machines

from .conftest import wait_until

LEFT_OUT = "21-idler-left-out-job.toml"
INCH = "08-inch-winch-job.toml"
BARE = "03-no-differential-job.toml"


def post(served, address, **what):
    body = json.dumps(what).encode()
    return served.get(address, body, Origin=f"http://{served.host}")


def text_of(answer):
    assert answer[0] == 200, answer[1]
    return answer[1].decode()


def test_a_gear_of_another_count_or_hand_says_why_no_deviation_stands_beside_it(served):
    told = text_of(served.get(f"/choices/{INCH}?bracket=index%20gears&place=1"))
    job = machines.read_job(served.folder / INCH)
    for gear, words in re.findall(r"<b>(\d+)</b><span>([^<]*)</span>", told):
        gears = list(job.setup.change["index gears"].gears)
        gears[1] = int(gear)
        made = machines.Case.of(job.with_gears("index gears", gears)).outcome
        assert ("another count" in words) == (made.is_steady and made.teeth != 35)
    # The same count of the other hand: the idler that is missing is put in, and taken out again.
    told = text_of(served.get(f"/choices/{LEFT_OUT}?bracket=differential%20gears&place=idler%200"))
    assert re.search(r"74 teeth, left, [+-]?[\d.]+ µm", told)
    told = text_of(served.get(f"/choices/{LEFT_OUT}?bracket=differential%20gears&place=0"))
    assert "74 teeth, right, wrong hand: no deviation to tell" in told


def test_a_bracket_that_is_held_fast_keeps_its_gears_in_every_set_up_that_is_planned(served):
    stands = machines.read_job(served.folder / LEFT_OUT).setup.change["feed gears"]
    told = text_of(post(served, f"/plan/{LEFT_OUT}", held=["feed gears"], feed=False, top=3))
    work = told.split("<h3>Its mate")[0]
    gears = re.findall(r"feed gears (\d[^;<]*)", work)
    assert gears and {each.split(" +")[0] for each in gears} == {str(stands).split(" +")[0]}
    # Nothing held: others are found.
    free = text_of(post(served, f"/plan/{LEFT_OUT}", held=[], feed=False, top=8)).split("<h3>Its mate")[0]
    assert set(re.findall(r"feed gears (\d[^;<]*)", free)) - {str(stands)}


def test_a_set_up_is_taken_as_it_was_listed_even_when_the_job_was_changed_since(served):
    copy = "taken.toml"
    (served.folder / copy).write_text((served.folder / BARE).read_text())
    told = text_of(post(served, f"/plan/{copy}", held=[], feed=False, top=4))
    digest = json.loads(text_of(served.get(f"/parts/{copy}")))["digest"]
    of, key = digest, [[], False, 4]
    plain = re.sub("</?b>", "", told.split("<h3>The same gear")[0])
    listed_all = re.findall(r'<p class="small">([^<]*index gears[^<]*)</p>', plain)
    assert len(listed_all) > 1
    for number in (0, 1):
        what = {"do": "planned", "of": of, "plan": key, "member": 0, "number": number, "digest": digest}
        digest = json.loads(text_of(post(served, f"/do/{copy}", **what)))["digest"]
        job = machines.read_job(served.folder / copy)
        assert listed_all[number] == "; ".join(f"{name} {mounted}" for name, mounted in job.setup.change.items())
        assert machines.prove(job).is_as_wanted


@pytest.mark.parametrize(("member", "number"), [(0, 99), (7, 0), (0, -1), (0, "0"), (None, 0), (0, None)])
def test_a_set_up_that_isn_t_on_the_list_is_answered_in_words(served, member, number):
    text_of(post(served, f"/plan/{INCH}", held=[], feed=False, top=1))
    digest = json.loads(text_of(served.get(f"/parts/{INCH}")))["digest"]
    what = {"do": "planned", "of": digest, "plan": [[], False, 1], "member": member, "number": number, "digest": digest}
    status, told, _ = post(served, f"/do/{INCH}", **what)
    assert status == 400 and b"no such set-up among those" in told


@pytest.mark.parametrize(
    ("address", "body"),
    [("do", b"[1]"), ("do", b"not JSON"), ("plan", b"7"), ("plan", b'{"held": 3, "top": "x"}'),
     ("do", b'{"do": "gear", "bracket": "index gears", "place": "99", "teeth": 30}')],
)  # fmt: skip
def test_what_no_page_asks_breaks_nothing(served, address, body):
    status, told, _ = served.get(f"/{address}/{INCH}", body, Origin=f"http://{served.host}")
    assert status in (200, 400, 409) and b"broke" not in told


def test_a_plan_shows_the_best_so_far_without_a_way_to_take_it(served):
    told = text_of(post(served, f"/plan/{INCH}", held=[], feed=False, top=2, so_far=True))
    assert "Nothing found yet" in told or "The best so far" in told
    assert "Take this set-up" not in told


def test_the_head_is_set_in_degrees_and_minutes_and_the_wrong_way_is_seen(served, window):
    (served.folder / "head.toml").write_text((served.folder / INCH).read_text())
    one = window().go(f"{served.url}job/head.toml")
    for turn, verdict in (("clockwise", "✗ NOT AS WANTED"), ("counter-clockwise", "✓ AS WANTED")):
        one.page.select_option("#dial-w", turn)
        one.page.click("#dial-set")
        wait_until(lambda verdict=verdict: verdict in one.settled().verdict())
        setup = machines.read_job(served.folder / "head.toml").setup
        assert (setup == machines.read_job(served.folder / INCH).setup) == (turn == "counter-clockwise")
    assert "17° 23′" in one.page.inner_text("#part-setup")


def test_a_job_is_copied_without_what_was_seen_and_stands_beside_as_cut_before(served):
    (served.folder / "once.toml").write_text((served.folder / INCH).read_text() + "\n[seen]\nteeth = 35\n")
    status, _, _ = served.get("/copy/once.toml", b"title=Winch+again", Origin=f"http://{served.host}",
                                    Content_Type="application/x-www-form-urlencoded")  # fmt: skip
    assert status == 200
    job = machines.read_job(served.folder / "winch-again.toml")
    assert job.title == "Winch again" and job.seen is None
    assert job.setup == machines.read_job(served.folder / INCH).setup
    served.get("/")
    told = json.loads(text_of(served.get("/parts/winch-again.toml")))["parts"]["drawing"]
    assert "Cut before, like this one" in told and 'href="/job/once.toml"' in told


@pytest.mark.parametrize("name", [INCH, LEFT_OUT])
def test_what_was_found_on_each_blank_stays_with_its_day(served, name):
    job = f"blanks-{name}"
    (served.folder / job).write_text((served.folder / name).read_text())
    served.get(f"/job/{job}")
    for value in ("33", "", "34"):
        digest = json.loads(text_of(served.get(f"/parts/{job}")))["digest"]
        text_of(post(served, f"/do/{job}", do="field", path="seen.teeth", value=value, digest=digest))
    told = json.loads(text_of(served.get(f"/parts/{job}")))["parts"]["found"]
    rows = re.findall(r"<b>(\d{4}-\d\d-\d\d)</b><span>([^<]*)</span>", told)
    assert [words for _, words in rows] == ["teeth 34", "teeth 33"]
