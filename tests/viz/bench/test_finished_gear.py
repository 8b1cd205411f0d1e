"""Records of a finished gear on the page: typed, taken in, asked, and what was found put into the machine's file."""

import html
import itertools
import json
import re
import shutil
from types import SimpleNamespace

import pytest
from handlead import machines
from handlead.machines.gear_records.records import Said, read_record, record_of
from handlead.machines.machine_files.catalogue import shipped_machines
from handlead.machines.setups.case import Case
from handlead.viz.bench_files.versions import digest_of
from handlead.viz.bench_gear.answering import _to_type
from handlead.viz.command import main

from .conftest import SCENARIOS, serve, wait_until

_count = itertools.count(1)

DRUM = SCENARIOS / "92-cloud-drum-wheel"
INCH = SCENARIOS / "08-inch-winch"
LEVEL = SCENARIOS / "94-footlight-roller"


@pytest.fixture(scope="module")
def running(tmp_path_factory):
    page = serve(tmp_path_factory.mktemp("finished"))
    yield page
    page.stop()


@pytest.fixture
def shop(running, request):
    """A folder in the one that is served, with an order in it and no record yet; and what its page is asked by."""
    return Shop(running, f"{re.sub(r'[^a-z]', '-', request.node.name)[5:45]}{next(_count)}")


class Shop:
    def __init__(self, served, at):
        self.served, self.at, self.folder = served, at, served.folder / at
        self.folder.mkdir()
        self.copy(DRUM)

    def copy(self, order, *names):
        for name in ("job.toml", *names):
            shutil.copy(order / name, self.folder / name)
        return self

    @property
    def address(self):
        return f"{self.served.url}finished/{self.at}/job.toml"

    def post(self, what, query="", **body):
        data = body.pop("content", None) or json.dumps(body).encode()
        status, answer, _ = self.served.get(f"/finished-{what}/{self.at}/job.toml{query}", data, x_bench="1")
        return status, answer.decode()

    def told(self, what, query="", **body):
        status, answer = self.post(what, query, **body)
        assert status == 200, answer
        return json.loads(answer)

    def type(self, **fields):
        return self.told("keep", fields={key.replace("_", ":"): value for key, value in fields.items()})


RUNOUT = [-3, -2, -1.5, -1, -1, -0.5, 1, 1, 1, 1.5, 2, 2.5, 2, 2, 1.5, 1.5, 0.5, 0, 0, -1.5, -2.5, -2]


def runout_typed(shop):
    """What the order's own record of the runout says, as somebody at the machine types it."""
    head = {"every": "3", "counted": "clockwise", "date": "2026-11-09", "name": "typed.csv"}
    return shop.type(**head, **{f"t_{at}": f"{value:g}" for at, value in enumerate(RUNOUT)})


def words_of(page):
    """What an HTML text says, without its tags."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).split())


def test_what_was_typed_is_the_record_that_the_dial_showed_and_gets_the_answer_of_the_command(shop, capsys):
    runout_typed(shop)
    assert shop.told("save")["saved"] == "typed.csv"
    typed, kept = (read_record(path, 66) for path in (shop.folder / "typed.csv", DRUM / "runout.csv"))
    assert typed.kind == kept.kind and typed.counted == kept.counted and typed.division_um == kept.division_um
    assert (typed.readings.um == kept.readings.um).all() and (typed.readings.tooth == kept.readings.tooth).all()
    answer = shop.post("ask")[1]
    answer = answer[answer.index('id="answer-words">') + 18 : answer.index('</div>')]
    assert main(["inspect", str(shop.folder / "job.toml"), str(shop.folder / "typed.csv")]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert words_of(answer) == said.removeprefix("Cloud drum, helical wheel on Tesmore D2 ")


def test_everything_wrong_with_a_typed_record_stands_at_its_field_at_once(shop):
    # While it is typed only what was typed wrong is told, not what is still missing.
    told = shop.type(t_0="1", t_1="1.o", t_2="2;3")
    assert set(told["wrong"]) == {"t:1", "t:2"} and "is no number" in told["wrong"]["t:1"]
    shop.type(quantity="pitch single", unit="um", date="last week", division="a hair")
    told = shop.told("save")
    assert "saved" not in told and not list(shop.folder.glob("*.csv"))
    wrong = dict(re.findall(r'id="e-([\w:]+)">([^<]+)<', told["sheet"]))
    assert set(wrong) == {"t:1", "t:2", "flank", "counted", "date", "division"}
    assert "choose the flank" in wrong["flank"] and "is no day" in wrong["date"]


def test_too_few_readings_and_a_unit_that_cannot_be_are_told(shop):
    shop.type(counted="clockwise", t_0="1", t_1="2")
    assert "2 readings tell nothing" in shop.told("save")["sheet"]
    shop.type(unit="in", **{f"t_{at}": str(at) for at in range(8)})
    # Not before all is typed: half a record may well look like another unit.
    assert shop.type(t_8="9")["wrong"] == {}
    assert 'is "in" their unit?' in html.unescape(shop.told("save")["sheet"])


def test_a_record_is_written_over_only_by_whoever_says_so_and_what_was_there_is_kept(shop):
    (shop.folder / "typed.csv").write_text("somebody else's")
    runout_typed(shop)
    told = shop.told("save")
    assert told["there"] and (shop.folder / "typed.csv").read_text() == "somebody else's"
    assert shop.told("save", over="another text")["there"]
    assert shop.told("save", over=told["there"])["saved"] == "typed.csv"
    assert "quantity: runout" in (shop.folder / "typed.csv").read_text()
    kept = shop.served.folder / ".bench" / "versions" / shop.at / "typed.csv" / "000001.toml"
    assert kept.read_text() == "somebody else's"
    # And brought back; what it took the place of, likewise.
    assert "be used for this gear" in shop.post("back", name="typed.csv")[1]
    assert (shop.folder / "typed.csv").read_text() == "somebody else's"
    listed = shop.post("back", name="typed.csv")[1]
    assert "quantity: runout" in (shop.folder / "typed.csv").read_text() and 'data-back="typed.csv"' in listed
    assert shop.post("back", name="none.csv")[0] == 400


def test_a_record_never_lands_outside_the_folder_of_its_job(shop):
    for name in ("../out.csv", "/etc/out.csv", ".hidden.csv", "job.toml"):
        runout_typed(shop)
        shop.type(name=name)
        assert shop.post("save")[0] == 400
    assert not (shop.served.folder / "out.csv").exists()
    assert shop.told("take", "?file=..%2F..%2Fnew.csv", content=(DRUM / "runout.csv").read_bytes())["saved"] == "new.csv"
    assert (shop.folder / "new.csv").read_bytes() == (DRUM / "runout.csv").read_bytes()
    for name, kept in (("a*b%3F%0A.CSV", "a-b--.csv"), ("..%5C..%5C.csv", "record.csv"), (f"{'x' * 200}.csv", f"{'x' * 80}.csv")):
        assert shop.told("take", f"?file={name}", content=(DRUM / "runout.csv").read_bytes())["saved"] == kept
    assert shop.post("take", "?file=runout.exe", content=(DRUM / "runout.csv").read_bytes())[0] == 400


def test_a_file_that_cannot_be_used_is_not_taken_and_every_line_of_it_is_named(shop):
    bad = "# quantity: pitch cumulativ\n# unit: um\n# flank: right\ntooth, deviation\n1, 0\n2, x\n99, 4\n"
    told = shop.told("take", "?file=bad.csv", content=bad.encode())
    said = " ".join(told["faults"])
    assert 'Did you mean "pitch cumulative"?' in said and "counted" in said
    assert "line 6: deviation" in said and "line 7: tooth: 99 is no tooth of this gear" in said
    assert not (shop.folder / "bad.csv").exists()


XML = """<measurement><pitch_cumulative_right unit="um" flank="right" %s>
%s</pitch_cumulative_right></measurement>"""


def test_xml_says_which_way_its_teeth_are_counted_or_is_told_so(shop):
    rows = "".join(f'<reading tooth="{tooth}" value="{tooth % 7}"/>\n' for tooth in range(1, 67))
    content = (XML % ("", rows)).encode()
    told = shop.told("take", "?file=checker.xml", content=content)
    assert "which way the teeth are counted" in " ".join(told["faults"])
    shop.post("choose", names=[], counted="clockwise")
    told = shop.told("take", "?file=checker.xml", content=content)
    assert told["saved"] == "checker.xml" and "pitch cumulative, right flank, 66 readings" in told["records"]


def test_a_record_beside_the_job_that_is_not_of_this_gear_cannot_be_ticked(shop):
    text = (DRUM / "pitch.csv").read_text().replace("66; -5,1", "67; -5,1")
    (shop.folder / "other.csv").write_text(text)
    listed = shop.post("choose", names=["other.csv"], counted="")[1]
    assert "data-record" not in listed and "67 is no tooth of this gear" in html.unescape(listed)


def test_a_note_is_no_record_and_a_folder_full_of_them_is_said_to_hold_more(shop):
    (shop.folder / "notes.txt").write_text("Ask Wen for the arbor.")
    for number in range(103):
        (shop.folder / f"r{number:03d}.csv").write_text("")
    (shop.folder / "zz.csv").write_bytes((DRUM / "runout.csv").read_bytes())
    listed = shop.post("choose", names=["zz.csv"], counted="")[1]
    assert "notes.txt" not in listed and 'data-record="zz.csv" checked' in listed and "5 more lie here" in listed


def test_a_record_is_opened_again_as_it_was_read_and_kept_the_same(shop):
    shop.copy(DRUM, "helix-left.csv")
    sheet = shop.told("correct", name="helix-left.csv")["sheet"]
    assert 'value="-19.2 -18.24' in sheet
    # What is typed and isn't kept goes only where that is sure.
    assert "isn't kept" in shop.told("correct", name="helix-left.csv")["ask"]
    told = shop.told("save")
    assert shop.told("save", over=told["there"])["saved"] == "helix-left.csv"
    again, before = (read_record(path, 66) for path in (shop.folder / "helix-left.csv", DRUM / "helix-left.csv"))
    assert again.readings.um.tolist() == before.readings.um.tolist() and again.date == before.date
    assert again.readings.height == pytest.approx(before.readings.height)


@pytest.mark.parametrize(("order", "unit", "heights"), [(INCH, "tenths", "in"), (LEVEL, "divisions", "mm")])
def test_fields_come_in_the_units_of_the_job_and_heights_in_the_words_of_its_machine(shop, order, unit, heights):
    shop.copy(order)
    sheet = shop.type(quantity="helix")["sheet"]
    assert f'<option value="{unit}" selected>' in sheet and f'<option value="{heights}" selected>' in sheet
    assert f"heights, {'towards the tailstock' if order is LEVEL else 'up'} is plus" in sheet
    face = machines.read_job(order / "job.toml").work.face_width
    places = [float(one) for one in re.findall(r'data-where="1 ([-\d.]+)"', sheet)]
    assert len(places) == 11 and 0.5 * face < (places[-1] - places[0]) * (25.4 if heights == "in" else 1) < face


def test_the_height_at_which_a_gear_was_read_round_goes_into_its_record(shop):
    shop.copy(INCH)
    shop.type(unit="um", counted="clockwise", height="-0.5", name="low.csv", **{f"t_{at}": str(at % 5) for at in range(12)})
    assert shop.told("save")["saved"] == "low.csv"
    assert read_record(shop.folder / "low.csv", 35).at_height == pytest.approx(-12.7)
    assert 'value="-0.5 in"' in shop.told("correct", name="low.csv")["sheet"]
    assert "runout, 0.50 in below mid-face, 12 readings" in shop.post("choose", names=["low.csv"], counted="")[1]


@pytest.mark.parametrize(("order", "name", "height"), [(INCH, "0.50 in above mid-face", "0.5"), (DRUM, "12.7 mm above mid-face", "12.7")])
def test_a_record_to_be_typed_next_is_called_by_its_height_once_in_the_units_of_the_job(order, name, height):
    found = SimpleNamespace(case=Case.of(machines.read_job(order / "job.toml")))
    record = record_of(Said("", "runout", "", "clockwise", at_height=12.7), [(float(at), 0.0, 0.0) for at in range(1, 9)], 1.0)
    told, fields = _to_type(found, record)
    assert told == f"runout, {name}"
    assert dict(fields)["height"] == height


def test_that_nobody_knows_the_first_tooth_goes_into_the_record_and_stays_in_it_when_it_is_opened_again(shop):
    shop.type(**{"unit": "um", "counted": "clockwise", "first tooth": "unknown", "name": "begun.csv"}, **{f"t_{at}": str(at % 5) for at in range(12)})
    assert shop.told("save")["saved"] == "begun.csv"
    assert not read_record(shop.folder / "begun.csv", 66).marked
    assert '<option value="unknown" selected>' in shop.told("correct", name="begun.csv")["sheet"]
    assert shop.told("save")["saved"] == "begun.csv"
    assert not read_record(shop.folder / "begun.csv", 66).marked


def test_the_record_that_would_tell_parts_apart_is_begun_with_a_tap(shop):
    runout_typed(shop)
    assert shop.told("save")["saved"]
    answer = shop.post("ask")[1]
    assert "that tells them apart" in html.unescape(answer)
    begun = json.loads(html.unescape(re.search(r'data-begin="([^"]+)"', answer)[1]))
    sheet = shop.told("correct", fields=begun)["sheet"]
    assert f'<option value="{begun["quantity"]}" selected>' in sheet
    assert not begun["flank"] or f'<option value="{begun["flank"]}" selected>' in sheet
    # The way of counting is that of the record before; nothing that was typed goes without being asked.
    assert '<option value="clockwise" selected>' in sheet
    shop.type(t_0="1", h_0_0="1")
    assert "isn't kept" in shop.told("correct", fields=begun)["ask"]


def test_readings_that_lost_their_field_are_not_dropped_in_silence(shop):
    runout_typed(shop)
    told = shop.type(every="6")
    assert "11 readings were typed that have no field any more" in told["sheet"]
    assert "saved" not in shop.told("save")
    assert "22 of 22 read" in shop.type(every="3")["sheet"]


def test_what_would_be_written_is_shown_first_and_then_stands_in_the_machines_file(shop):
    shop.copy(DRUM, "runout.csv", "helix-right.csv")
    names = ["runout.csv", "helix-right.csv"]
    shop.post("choose", names=names, counted="")
    answer = shop.post("ask")[1]
    assert "it ships with the program" in answer and "write-go" not in answer
    assert shop.told("copy")["saved"] == "tesmore-d2.toml"
    answer = shop.post("ask")[1]
    before = re.search(r'data-before="(\w+)"', answer)[1]
    machine = shop.folder / "tesmore-d2.toml"
    assert "is written as an imperfection" in answer and "[[imperfection]]" not in machine.read_text()
    assert shop.post("write", names=names, counted="", before="something else")[0] == 400
    assert "stands in tesmore-d2.toml now" in shop.post("write", names=names, counted="", before=before)[1]
    job = machines.read_job(shop.folder / "job.toml")
    assert {one.kind for one in job.machine.imperfections} == {"work runout", "once per turn"}
    # Asked again with the same records there is nothing new to write, and it can be undone on the machine's page.
    assert shop.post("write", names=names, counted="", before=before)[0] == 400
    assert "found on a finished gear" in shop.served.get(f"/machine/{shop.at}/tesmore-d2")[1].decode()


def test_a_machine_out_of_the_folder_is_not_written_into(shop):
    shop.copy(DRUM, "runout.csv")
    away = shop.served.folder.parent / f"away-{shop.at}.toml"
    away.write_bytes(shipped_machines()["tesmore-d2"].read_bytes())
    text = (shop.folder / "job.toml").read_text()
    (shop.folder / "job.toml").write_text(text.replace('"tesmore-d2"', f'"../../{away.name}"'))
    shop.post("choose", names=["runout.csv"], counted="")
    answer = html.unescape(shop.post("ask")[1])
    assert "lies out of this folder" in answer and "write-go" not in answer
    before = digest_of(away.read_text())
    assert shop.post("write", names=["runout.csv"], counted="", before=before)[0] == 400
    assert "[[imperfection]]" not in away.read_text()


def test_charts_and_the_simulated_gears_report_come_as_pictures_and_paper(shop):
    shop.copy(DRUM, "runout.csv")
    at = f"{shop.at}/job.toml"
    assert b"<svg" in shop.served.get(f"/finished-chart/0/{at}?r=runout.csv")[1]
    assert shop.served.get(f"/finished-chart/1/{at}?r=runout.csv")[0] == 400
    for page in ("paper", "report"):
        assert shop.served.get(f"/finished-{page}/{at}?r=runout.csv")[1].startswith(b"%PDF")
    assert shop.served.get(f"/finished-report/{at}")[1].startswith(b"%PDF")
    assert shop.served.get(f"/finished-paper/{at}?r=gone.csv")[0] == 400


def paste(page, text):
    """A column out of a table, into the field in hand."""
    page.evaluate(
        """text => { const data = new DataTransfer(); data.setData("text", text);
        document.activeElement.dispatchEvent(new ClipboardEvent("paste", { clipboardData: data, bubbles: true, cancelable: true })); }""",
        text,
    )


def test_readings_are_typed_with_enter_and_pasted_kept_over_a_reload_and_asked(shop, window):
    from axe_playwright_python.sync_playwright import Axe

    one = window(800, 1280, has_touch=True)
    page = one.page
    page.goto(f"{shop.served.url}job/{shop.at}/job.toml")
    page.click("#finished-go")
    page.fill("#k-every", "3")
    page.press("#k-every", "Tab")
    wait_until(lambda: page.locator("[data-reading]").count() == 22)
    assert page.get_attribute("[data-reading='t:0']", "inputmode") == "decimal"
    page.focus("[data-reading='t:0']")
    for value in RUNOUT[:3]:
        page.keyboard.type(f"{-value:g}" if value < 0 else f"{value:g}")
        page.locator("#sign").tap()  # a number pad may have no minus
        page.keyboard.press("Enter")
    assert page.evaluate("() => document.activeElement.dataset.reading") == "t:3"
    paste(page, "\n".join(f"{value:g}".replace(".", ",") for value in RUNOUT[3:]))
    wait_until(lambda: page.inner_text("#taken") == "22 of 22 read")
    # With the places beside them readings go where they belong: spaces 7 and 4.
    paste(page, "7\t8,5\n4\t9")
    assert [page.input_value(f"[data-reading='t:{at}']") for at in (1, 2)] == ["9", "8,5"]
    page.fill("[data-reading='t:1']", "-2")
    page.fill("[data-reading='t:2']", "-1.5")
    page.reload()  # at once: what was typed last goes to the disk as the page is left
    assert [page.input_value(f"[data-reading='t:{at}']") for at in (1, 2, 21)] == ["-2", "-1.5", "-2"]
    page.click("#save-go")
    wait_until(lambda: "choose which way" in page.inner_text("#e-counted"))
    wait_until(lambda: page.evaluate("() => document.activeElement.id") == "k-counted")
    page.select_option("#k-counted", "clockwise")
    page.click("#save-go")
    wait_until(lambda: page.is_checked("[data-record='job-runout.csv']"))
    assert page.input_value("[data-reading='t:0']") == "" and page.input_value("#k-counted") == "clockwise"
    page.click("#ask-go")
    page.wait_for_selector("#answer-words")
    assert "the blank on its arbor" in page.inner_text("#answer-words")
    wait_until(lambda: page.evaluate("() => document.querySelector('.chart img').naturalWidth > 300"))
    # The answer too is for every reader, and for every width.
    assert not [each for each in Axe().run(page).response["violations"] if each["impact"] in ("serious", "critical")]
    for width in (1440, 390):
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("() => document.documentElement.scrollWidth <= innerWidth"), width
    page.uncheck("[data-record='job-runout.csv']")
    assert "ask again" in page.inner_text("#ask-said")
