"""Which machine cuts which order, picked from the shelf: the table is the command's, and its rows lead to the jobs."""

import json

from handlead import machines
from handlead.machines.shop.survey import survey

from .conftest import wait_until

INCH, LARGE = "08-inch-winch-job.toml", "too-large.toml"


def test_orders_and_machines_are_picked_and_each_row_leads_to_its_job(served, window):
    text = (served.folder / INCH).read_text().replace("Inch winch", "Town gate")
    (served.folder / LARGE).write_text(text.replace("diametral_pitch = 8", "diametral_pitch = 1"))
    one = window()
    one.page.goto(f"{served.url}survey")
    for name in (INCH, LARGE):
        one.page.check(f"#jobs input[value='{name}']")
    for name in ("brinnock-20", "pellarn-4"):
        one.page.check(f"#machines input[value='{name}']")
    one.page.click("#survey-go")
    wait_until(lambda: "All 4 looked at." in one.page.inner_text("#survey"), 120)
    jobs = [machines.read_job(served.folder / name) for name in (INCH, LARGE)]
    wanted = survey(jobs, [machines.find_machine(name) for name in ("brinnock-20", "pellarn-4")])
    for job, rows in zip((INCH, LARGE), wanted.by_order.values(), strict=True):
        table = one.page.locator(f"h3:has(a[href='/job/{job}']) + table")
        shown = table.locator("tr:has(th[scope=row])").all_inner_texts()
        assert [words.split("\t")[0] for words in shown] == [row.machine for row in rows]
        assert ["✓" in words for words in shown] == [row.status == "can" for row in rows]
    # What is in the way stands under it.
    why = next(row for row in wanted.by_order[jobs[1].path] if row.status != "can").why
    assert why[:60] in one.page.inner_text("#survey")
    status, body, _ = served.get("/survey-paper")
    assert status == 200 and body.startswith(b"%PDF")
    one.page.click(f"h3 a[href='/job/{INCH}']")
    one.page.wait_for_url(f"**/job/{INCH}")


def test_a_row_of_another_machine_makes_a_job_on_that_with_the_set_up_that_was_found(served, window):
    one = window()
    one.page.goto(f"{served.url}survey")
    one.page.check(f"#jobs input[value='{INCH}']")
    for name in ("tesmore-d2", "pellarn-4"):
        one.page.check(f"#machines input[value='{name}']")
    one.page.click("#survey-go")
    wait_until(lambda: "All 2 looked at." in one.page.inner_text("#survey"), 120)
    # The job's own machine has its job already.
    assert one.page.locator("button[data-make]").count() == 1
    one.page.click(f"button[data-make='{INCH}'][data-on='tesmore-d2']")
    one.page.wait_for_url("**/job/*-on-*")
    made, before = (machines.read_job(served.folder / name) for name in (one.page.url.rsplit("/", 1)[1], INCH))
    assert made.machine.name == "Tesmore D2" and machines.prove(made).is_as_wanted
    assert made.work == before.work and made.title == f"{before.title}, on Tesmore D2"


def test_what_is_picked_must_be_there(served):
    def begin(**what):
        return served.get("/survey-start", json.dumps(what).encode(), Origin=f"http://{served.host}")

    assert begin(jobs=[], machines=[])[0] == 400
    assert begin(jobs=[INCH], machines=["../../etc/passwd"])[0] == 400
    assert begin(jobs=["../secret.toml"], machines=[])[0] == 400
