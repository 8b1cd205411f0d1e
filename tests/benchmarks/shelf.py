"""How quick the shelf is over a large folder: the index made anew, brought up, and searched, by itself and by the page.

    python tests/benchmarks/shelf.py [JOBS]

Ten thousand jobs are made of the orders in `scenarios/`, each with a count and title of its own.
"""

from __future__ import annotations

import os
import random
import re
import shutil
import statistics
import sys
import tempfile
import time
from pathlib import Path

from bench_page import start
from handlead.viz.bench_files.shelf import Shelf

ROOT = Path(__file__).parents[2]

#: What people type, from the first letters to figures.
WORDS = (
    "", "w", "winch", "order 77", "42 teeth", "module 3 left", "8 dp", "lead 647", "74 teeth module 3 helical left",
    "corvane", "pellarn straight", "53.1", "nothing of the kind",
)  # fmt: skip


def pile(folder: Path, jobs: int) -> None:
    """So many jobs, of every order that is one file."""
    texts = [path.read_text() for path in sorted((ROOT / "scenarios").glob("*/job.toml"))]
    texts = [text for text in texts if re.search(r"^hob *= *\"", text, re.M) is None and '.toml"' not in text]
    draw = random.Random(1)
    for number in range(jobs):
        text = texts[number % len(texts)]
        text = re.sub(r'^title *= *"', f'title = "Order {number}, ', text, count=1, flags=re.M)
        text = re.sub(r"^teeth *= *[0-9]+", f"teeth = {draw.randint(12, 140)}", text, count=1, flags=re.M)
        (folder / f"order-{number:05d}.toml").write_text(text)


def main(jobs: int) -> None:
    folder = Path(tempfile.mkdtemp())
    pile(folder, jobs)
    shelf = Shelf(folder)
    began = time.perf_counter()
    shelf.refresh()
    print(f"index of {jobs} jobs made anew: {time.perf_counter() - began:.1f} s")
    began = time.perf_counter()
    shelf.refresh()
    print(f"brought up with nothing changed: {1000 * (time.perf_counter() - began):.0f} ms")
    times = [_timed(lambda words=words: shelf.find(words)) for words in WORDS for _ in range(5)]  # type: ignore[misc]
    print(f"search: median {statistics.median(times):.1f} ms, worst of {len(times)} {max(times):.1f} ms")
    shelf.close()
    _served(folder)
    shutil.rmtree(folder)


def _timed(act: object) -> float:
    began = time.perf_counter()
    act()  # type: ignore[operator]
    return 1000 * (time.perf_counter() - began)


def _served(folder: Path) -> None:
    """The same by the page: what a browser gets for what is typed."""
    from urllib.parse import urlencode
    from urllib.request import urlopen

    process, url, _ = start(folder)
    try:
        began = time.perf_counter()
        urlopen(url, timeout=120).read()
        print(f"shelf's page, first: {1000 * (time.perf_counter() - began):.0f} ms")

        def found(words: str) -> bytes:
            return urlopen(f"{url}found?{urlencode({'words': words})}", timeout=60).read()

        times = [_timed(lambda words=words: found(words)) for words in WORDS for _ in range(5)]  # type: ignore[misc]
        print(f"typed to found, by the page: median {statistics.median(times):.1f} ms, worst {max(times):.1f} ms")
    finally:
        process.kill()


if __name__ == "__main__":
    os.environ.setdefault("PYTHONWARNINGS", "ignore")
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000)
