"""How quick the page is on this machine: ready, first paint, tap to verdict, blank, plan, records, weight, memory.

    python tests/benchmarks/bench_page.py [TAPS]

Taps go through a real browser on the order whose machine has most links. The
search over ten thousand jobs is `shelf.py`'s.
"""

from __future__ import annotations

import os
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from playwright.sync_api import sync_playwright

ROOT = Path(__file__).parents[2]
FLAGS = ["--no-sandbox", "--disable-quic", "--no-first-run", "--disable-background-networking"]

#: A tap on a gear until the verdict stands in the page, in ms: two places in turn, and as many gears of each as the
#: drawer has, so that hardly any set-up comes twice.
TAPS = """async ([bracket, gears, taps]) => {
  const out = [];
  for (let k = 0; k < taps; k++) {
    const before = document.body.dataset.digest, start = performance.now();
    const row = gears[k % 2];
    change({ do: "gear", bracket, place: String(k % 2), teeth: row[(k >> 1) * (1 + 2 * (k % 2)) % row.length] });
    while (document.body.dataset.digest === before && performance.now() - start < 5000) await new Promise((done) => setTimeout(done, 0));
    out.push(performance.now() - start);
    await new Promise((done) => setTimeout(done, 250));
  }
  return out;
}"""


#: Orders that are tapped, each with the bracket: the machine that takes longest, and the one with most links.
DRUM = "92-cloud-drum-wheel"
TAPPED = {"82-crowned-pinion": "index gears", "14-bell-cam-wheel": "inner index gears"}


def start(folder: Path) -> tuple[subprocess.Popen[str], str, float]:
    """The command, its address, and how long until it answers, in s."""
    began = time.perf_counter()
    process = subprocess.Popen(
        [sys.executable, "-m", "handlead.viz", "bench", str(folder), "--port", "0", "--no-browser"],
        stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert process.stdout
    url = re.search(r"http://\S+", process.stdout.readline())[0]  # type: ignore[index]
    from urllib.request import urlopen

    while True:
        try:
            urlopen(url + "static/bench.css", timeout=1).read()
            return process, url, time.perf_counter() - began
        except OSError:
            time.sleep(0.01)


def memory_mb(process: subprocess.Popen[str]) -> float:
    """What the server itself holds; its two workers are processes of their own."""
    status = Path(f"/proc/{process.pid}/status").read_text()
    return int(re.search(r"VmRSS:\s+(\d+)", status)[1]) / 1024  # type: ignore[index]


def main(taps: int) -> None:
    folder = Path(tempfile.mkdtemp())
    for name in (*TAPPED, "08-inch-winch", "21-idler-left-out"):
        shutil.copy(ROOT / "scenarios" / name / "job.toml", folder / f"{name}.toml")
    for path in (ROOT / "scenarios" / DRUM).glob("*.csv"):
        shutil.copy(path, folder)
    shutil.copy(ROOT / "scenarios" / DRUM / "job.toml", folder / f"{DRUM}.toml")
    process, url, ready = start(folder)
    print(f"server ready {ready:.2f} s")
    try:
        with sync_playwright() as plays:
            browser = plays.chromium.launch(executable_path=shutil.which("chromium"), args=FLAGS)
            _page(browser, process, url, taps)
            browser.close()
        _finished(url)
    finally:
        process.kill()
    shutil.rmtree(folder)


def _finished(url: str) -> None:
    """Readings of a finished gear kept one by one, and its records asked, in ms as a program waits for them."""
    import json
    from urllib.request import Request, urlopen

    def ask(what: str, **body: object) -> float:
        began = time.perf_counter()
        data = json.dumps(body).encode()
        with urlopen(Request(f"{url}finished-{what}/{DRUM}.toml", data, {"x-bench": "1"})) as answer:
            answer.read()
        return 1000 * (time.perf_counter() - began)

    kept = [ask("keep", fields={f"t:{at}": str(at % 7)}) for at in range(66)]
    print(f"a reading kept: median {statistics.median(kept):.0f} ms, worst {max(kept):.0f} ms")
    ask("choose", names=["runout.csv", "pitch.csv", "helix-left.csv", "helix-right.csv"], counted="")
    first = ask("ask")
    print(f"four records asked: {first:.0f} ms, {first / max(ask('ask'), 0.1):.0f} times as long as once they are known")


def _busy_ms(process: subprocess.Popen[str]) -> float:
    """Processor time of the server itself so far."""
    tasks = Path(f"/proc/{process.pid}/task")
    return sum(int((one / "schedstat").read_text().split()[0]) for one in tasks.iterdir()) / 1e6


def _processor(process: subprocess.Popen[str], url: str, name: str, bracket: str, gears: list[list[int]]) -> None:
    """What the answer to a tap costs the server, as a program asks for it, against proving the job alone."""
    import json
    from urllib.request import Request, urlopen

    from handlead import machines

    def ask(path: str, body: object = None) -> dict[str, object]:
        data = json.dumps(body).encode() if body else None
        with urlopen(Request(url + path, data, {"x-bench": "1"})) as answer:
            told: dict[str, object] = json.loads(answer.read())
            return told

    digest, costs = ask(f"parts/{name}.toml")["digest"], []
    for teeth in (gears[0] * 60)[:60]:
        before = _busy_ms(process)
        what = {"do": "gear", "bracket": bracket, "place": "0", "teeth": teeth, "digest": digest}
        digest = ask(f"do/{name}.toml", what)["digest"]
        costs.append(_busy_ms(process) - before)
    job = machines.read_job(ROOT / "scenarios" / name / "job.toml")
    machines.prove(job)
    start = time.process_time()
    for _ in range(10):
        machines.prove(machines.read_job(ROOT / "scenarios" / name / "job.toml"))
    alone = 100 * (time.process_time() - start)
    print(f"  processor: median {statistics.median(costs):.0f} ms, worst {max(costs):.0f} ms, "
          f"{statistics.median(costs) / alone:.1f} times reading and proving the job")  # fmt: skip


#: The gears that are offered for two places of a bracket.
OFFERED = """([name, bracket]) => Promise.all(['0', '1'].map(place =>
  ask(`/choices/${name}.toml?bracket=${encodeURIComponent(bracket)}&place=${place}`)
  .then(a => a.text()).then(t => [...t.matchAll(/data-teeth="(\\d+)"/g)].map(m => Number(m[1])))))"""


def _page(browser: object, process: subprocess.Popen[str], url: str, taps: int) -> None:
    page = browser.new_page()  # type: ignore[attr-defined]
    weight = [0]
    page.on("response", lambda answer: weight.__setitem__(0, weight[0] + int(answer.headers.get("content-length", 0))))
    page.goto(f"{url}job/14-bell-cam-wheel.toml")
    page.wait_for_timeout(3000)
    paint = page.evaluate("() => performance.getEntriesByName('first-contentful-paint')[0].startTime")
    print(f"first paint {paint:.0f} ms; weight without meshes {weight[0] / 1000:.0f} kB")
    before = memory_mb(process)
    for name, bracket in TAPPED.items():
        page.goto(f"{url}job/{name}.toml")
        page.wait_for_timeout(2000)
        gears = page.evaluate(OFFERED, [name, bracket])
        page.evaluate(TAPS, [bracket, gears, 6])
        told = page.evaluate(TAPS, [bracket, gears, taps])
        page.wait_for_timeout(1500)
        late = sum(one > 150 for one in told)
        print(f"{name}: tap to verdict of {taps}: median {statistics.median(told):.0f} ms, worst {max(told):.0f} ms, {late} over 150")
        _processor(process, url, name, bracket, gears)
    print(f"memory of the server before the taps {before:.0f} MB, after {memory_mb(process):.0f} MB")
    blanks = page.evaluate(
        """async () => { const out = []; for (const job of ['14-bell-cam-wheel', '08-inch-winch', '21-idler-left-out']) {
        const start = performance.now(); await ask('/blank/' + job + '.toml'); out.push(performance.now() - start); } return out; }"""
    )
    print("blank", ", ".join(f"{ms:.0f} ms" for ms in blanks))
    first, whole = page.evaluate(
        """async () => { const start = performance.now(), asked = { held: [], feed: false, top: 4 }; let first = 0, whole = 0;
        ask('/plan/08-inch-winch.toml', asked).then(() => { whole = performance.now() - start; });
        while (!first && !whole) { await new Promise((on) => setTimeout(on, 100));
          const html = await (await ask('/plan/08-inch-winch.toml', { ...asked, so_far: true })).text();
          if (html.includes('best so far')) first = performance.now() - start; }
        while (!whole) await new Promise((on) => setTimeout(on, 50));
        return [first || whole, whole]; }"""
    )
    print(f"plan, first answer {first:.0f} ms, whole {whole:.0f} ms")


if __name__ == "__main__":
    os.environ.setdefault("PYTHONWARNINGS", "ignore")
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
