"""Whether ten hours at the machine make the server grow: what it and its workers hold after a warm-up, and at the end.

    python tests/benchmarks/bench_soak.py [ACTIONS]

One action is what a hand does in four to ten seconds: a gear tapped, a lever, the head, a figure typed, undo; with the
windows, blanks, remedies, plans, sheets and solids that go with them, over several jobs on several machines. 5000 of
them are ten hours. Every answer is looked at: one that breaks inside stops the run.
"""

from __future__ import annotations

import http.client
import json
import os
import random
import shutil
import signal
import socket
import sys
import tempfile
import time
from pathlib import Path
from urllib.parse import quote

from bench_page import ROOT, start

ORDERS = ("01-fly-winch-pair/pinion", "08-inch-winch/job", "11-thunder-run-pinion/job", "14-bell-cam-wheel/job",
          "21-idler-left-out/job", "03-no-differential/job", "82-crowned-pinion/job", "05-two-start-hob/job")  # fmt: skip

#: How often each is done, of a thousand actions.
OFTEN = {"gear": 545, "lever": 110, "swivel": 80, "field": 80, "undo": 80, "look": 60, "choices": 40, "plan": 2, "sheet": 1,
         "solid": 1, "train": 1}  # fmt: skip


def memory_mb(pid: int) -> float:
    """What a process holds in memory, in MB: libraries that others use as well are counted whole."""
    fields = Path(f"/proc/{pid}/status").read_text().split()
    return int(fields[fields.index("VmRSS:") + 1]) / 1024


def children(pid: int) -> list[int]:
    """The processes that work for the server."""
    return [int(one) for one in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]


class Hand:
    """Somebody who taps: asks as the page does."""

    def __init__(self, url: str) -> None:
        self.host = url.split("//")[1].strip("/")
        self.line = http.client.HTTPConnection(self.host, timeout=120)
        self.refused = 0

    def ask(self, method: str, path: str, body: object = None) -> bytes:
        """An answer; one that broke inside stops the run."""
        headers = {"x-bench": "1", "content-type": "application/json"}
        self.line.request(method, path, json.dumps(body) if body is not None else None, headers)
        answer = self.line.getresponse()
        told = answer.read()
        if answer.status >= 500:
            raise SystemExit(f"{path}: {answer.status} {told[:300]!r} on {body}")
        self.refused += answer.status >= 400
        return told

    def digest(self, name: str) -> str:
        return str(json.loads(self.ask("GET", f"/parts/{name}"))["digest"])

    def window(self, name: str) -> socket.socket:
        """A window that listens."""
        host, port = self.host.split(":")
        line = socket.create_connection((host, int(port)))
        line.sendall(
            f"GET /live?job={quote(name)} HTTP/1.1\r\nHost: {self.host}\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
            f"Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\nSec-WebSocket-Version: 13\r\nOrigin: http://{self.host}\r\n\r\n".encode()
        )
        return line


def act(hand: Hand, name: str, job: object, chance: random.Random) -> None:
    """One action, and what the page asks for after it."""
    kind = chance.choices(list(OFTEN), list(OFTEN.values()))[0]
    brackets = [bracket for bracket, mounted in job.setup.change.items() if hasattr(mounted, "gears")]  # type: ignore[attr-defined]
    bracket = chance.choice(brackets)
    levers = list(job.machine.levers.items())  # type: ignore[attr-defined]
    what: dict[str, object] | None = None
    if kind == "gear":
        what = {"do": "gear", "bracket": bracket, "place": "0", "teeth": chance.randint(20, 90)}
    elif kind == "lever" and levers:
        lever, kept = chance.choice(levers)
        what = {"do": "lever", "lever": lever, "position": chance.choice(list(kept.positions))}
    elif kind == "swivel":
        what = {"do": "swivel", "degrees": str(chance.randint(0, 30)), "minutes": str(chance.randint(0, 59)), "turn": "clockwise"}
    elif kind == "field":
        what = {"do": "field", "path": "work.face_width", "value": str(chance.randint(1, 60))}
    elif kind == "undo":
        what = {"do": "undo"}
    elif kind == "look":
        hand.ask("GET", f"/job/{name}")
    elif kind == "choices":
        hand.ask("GET", f"/choices/{name}?bracket={quote(bracket)}&place=0")
    elif kind == "plan":
        hand.ask("POST", f"/plan/{name}", {"held": [], "feed": False, "top": 2})
    else:
        hand.ask("GET", {"sheet": f"/sheet/pdf/{name}", "solid": f"/solid/{name}"}.get(kind, f"/train/{name}"))
    if what:
        hand.ask("POST", f"/do/{name}", {**what, "digest": hand.digest(name), "window": "hand"})
        # A hand that taps on leaves most blanks behind.
        if chance.random() < 0.03:
            hand.ask("GET", f"/blank/{name}")
            hand.ask("GET", f"/remedies/{name}")


def main(actions: int) -> None:
    """Print what is held after a quarter of the actions, when all has been used once, at the end, and how much more that is."""
    from handlead import machines

    folder, chance = Path(tempfile.mkdtemp()), random.Random(4)
    jobs = {}
    for order in ORDERS:
        name = order.replace("/", "-") + ".toml"
        shutil.copy(ROOT / "scenarios" / f"{order}.toml", folder / name)
        jobs[name] = machines.read_job(folder / name)
    process, url, _ = start(folder)
    began, hand, windows = time.monotonic(), Hand(url), []
    held: list[tuple[int, float, float]] = []
    try:
        name = next(iter(jobs))
        for number in range(actions):
            if number % 25 == 0:
                name = chance.choice(list(jobs))
                windows.append(hand.window(name))
                if len(windows) > 3:
                    windows.pop(0).close()
            act(hand, name, jobs[name], chance)
            if number + 1 in (actions // 4, actions // 2, actions):
                time.sleep(2)
                held.append((number + 1, memory_mb(process.pid), sum(map(memory_mb, children(process.pid)))))
                print(f"after {number + 1} actions, {time.monotonic() - began:.0f} s: server {held[-1][1]:.0f} MB, "
                      f"its workers {held[-1][2]:.0f} MB", flush=True)  # fmt: skip
    finally:
        process.kill()
        shutil.rmtree(folder, ignore_errors=True)
    print(f"server {held[-1][1] / held[0][1]:.2f} times what it held warmed up, workers {held[-1][2] / held[0][2]:.2f} times; "
          f"{hand.refused} of {actions} answered that it can't be done")  # fmt: skip


if __name__ == "__main__":
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))  # so that the server ends with it
    os.environ.setdefault("PYTHONWARNINGS", "ignore")
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5000)
