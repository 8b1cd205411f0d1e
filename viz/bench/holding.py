"""What the server holds while it runs: shelf, processes that work, windows that listen; nothing that no file has."""

from __future__ import annotations

import asyncio
import gc
import itertools
import json
from collections import OrderedDict
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

from handlead.machines.toml.errors import HandleadError
from handlead.viz.bench_desk import doing, work
from handlead.viz.bench_desk.desk import Desk
from handlead.viz.bench_drawn import parts
from handlead.viz.bench_files.shelf import Shelf
from handlead.viz.bench_files.versions import digest_of, text_or_none
from starlette.concurrency import run_in_threadpool
from starlette.requests import HTTPConnection
from starlette.websockets import WebSocket, WebSocketDisconnect

from .processes import WorkProcess, give_back

#: How often files that a window shows are looked at, in seconds.
_LOOK_AGAIN = 0.7

#: After so many looks memory that was let go of is given back.
_EVERY_SO_OFTEN = 60

#: So much of plans, blanks, meshes and pictures is kept for the next window that asks, in bytes.
_KEPT_BYTES = 4_000_000

#: What is worked on for a job as it is, and for none that it was.
_LAST_ONLY = ("blank", "remedies", "plan", "traced", "inspected")


class Bench:
    """What the server holds: shelf, processes that work, windows that listen. Nothing that a file hasn't."""

    def __init__(self, folder: Path) -> None:
        self.shelf = Shelf(folder)
        # Two: a plan never keeps a blank waiting.
        self._quick, self._slow = WorkProcess(), WorkProcess()
        self._kept: OrderedDict[tuple[Any, ...], Any] = OrderedDict()
        self._asked: dict[tuple[Any, ...], asyncio.Future[Any]] = {}
        self._latest: dict[tuple[str, str], tuple[Any, ...]] = {}
        self._found_so_far: dict[tuple[Any, ...], tuple[Any, int]] = {}
        self._shares: dict[tuple[Any, ...], Any] = {}
        self.windows: dict[WebSocket, tuple[str, str]] = {}
        self._last: dict[str, str] = {}
        self._writing = asyncio.Lock()

    # -- work that takes longer

    async def later(self, function: Callable[..., Any], *given: Any, slow: bool = False) -> Any:
        """What a function of `work` gives for these; kept, and asked for once however many windows want it.

        What may take many seconds is `slow`. Of a job's blanks, remedies and plans only the last that was asked for is
        worked on: a hand that taps on has left the others. Raises `NotDone` for those.
        """
        key = (function.__name__, *given)
        if key in self._kept:
            self._kept.move_to_end(key)
            return self._kept[key]
        if key not in self._asked:
            self._asked[key] = asyncio.ensure_future(self._ask(key, function, slow))
        try:
            found = await asyncio.shield(self._asked[key])
        finally:
            if key in self._asked and self._asked[key].done():
                del self._asked[key]
        if isinstance(found, work.NoAnswer):
            raise doing.NotDone(found.words)
        self._kept[key] = found
        while len(self._kept) > 1 and sum(map(_bytes, self._kept.values())) > _KEPT_BYTES:
            self._kept.popitem(last=False)
        return found

    async def _ask(self, key: tuple[Any, ...], function: Callable[..., Any], slow: bool) -> Any:
        source = key[1] if len(key) > 1 and isinstance(key[1], work.Source) else None
        of = (key[0], source.name) if source and key[0] in _LAST_ONLY else None
        if of:
            self._latest[of] = key
        if slow and self._slow.at and self._is_left(self._slow.at, key):
            self._slow.cut_off()
        process = self._slow if slow or (not self._quick.is_idle and self._slow.is_idle) else self._quick
        return await process.answer(key, function, lambda: of is None or self._latest[of] == key)

    def _is_left(self, at: tuple[Any, ...], key: tuple[Any, ...]) -> bool:
        """Whether nobody waits for what is worked on any more: the same of the same job comes after it, or no window
        shows its job."""
        if at[0] not in _LAST_ONLY or not isinstance(at[1], work.Source):
            return False
        shown = any(shows == at[1].name for shows, _ in self.windows.values())
        return not shown or (at[0] == key[0] and at[1].name == key[1].name)

    def kept(self, function: str, digest: str, key: tuple[Any, ...]) -> Any:
        """What a function gave for a job's text, known by its digest; None where that isn't kept."""
        for (name, source, *given), found in self._kept.items():
            if name == function and tuple(given) == key and digest_of(source.text) == digest:
                return found
        return None

    def so_far(self, key: tuple[Any, ...] = ()) -> tuple[Any, int]:
        """What has been found for a question that is still worked on, None for nothing yet; and how many
        there were, each better than the one before."""
        for process in (self._quick, self._slow):
            for asked, found in process.found_so_far():
                self._found_so_far = {one: had for one, had in self._found_so_far.items() if one in self._asked}
                self._shares = {one: had for one, had in self._shares.items() if one in self._asked}
                if asked in self._asked and not isinstance(found, tuple):
                    self._shares[asked] = found
                elif asked in self._asked:
                    _, before = self._found_so_far.get(asked, (None, 0))
                    self._found_so_far[asked] = (found, before + any(one.offered for one in found))
        return self._found_so_far.get(key, (None, 0))

    def share(self, key: tuple[Any, ...]) -> Any:
        """How far a question that is worked on has got, as `so_far` last heard; None where nothing was told."""
        return self._shares.get(key)

    def source(self, desk: Desk) -> work.Source:
        """The job's text for `work`."""
        return work.Source(desk.text, desk.name, str(desk.path.parent), desk.shelf.stamp(desk.name))

    # -- windows

    async def listen(self, socket: WebSocket) -> None:
        """A window that listens until it is closed; what was changed since its text was made it is told at once."""
        await socket.accept()
        name, had = socket.query_params.get("job", ""), socket.query_params.get("had")
        try:
            now = await run_in_threadpool(text_or_none, self.shelf.path(name))
            if now is not None and all(shown != name for shown, _ in self.windows.values()):
                self._last[name] = digest_of(now)
            self.windows[socket] = (name, socket.query_params.get("window", "")[:40])
            if had and now is not None and digest_of(now) != had:
                await socket.send_text(json.dumps({"digest": digest_of(now), "outside": True}))
            while True:
                await socket.receive_text()
        except (WebSocketDisconnect, HandleadError):
            pass
        finally:
            self.windows.pop(socket, None)

    async def tell(self, name: str, digest: str, outside: bool = False, but: str = "") -> None:
        """Every window on this job what its file is now, `but` for the one that changed it."""
        self._last[name] = digest
        for window, (shows, called) in list(self.windows.items()):
            if shows == name and (called != but or not but):
                with suppress(RuntimeError, WebSocketDisconnect):
                    await window.send_text(json.dumps({"digest": digest, "outside": outside}))

    async def watch(self) -> None:
        """Look at the files that windows show, again and again: other programs change them too."""
        for number in itertools.count(1):
            await asyncio.sleep(_LOOK_AGAIN)
            if not number % _EVERY_SO_OFTEN:
                await run_in_threadpool(give_back)
            self.so_far()
            for name in {shows for shows, _ in self.windows.values()}:
                with suppress(HandleadError):
                    text = await run_in_threadpool(text_or_none, self.shelf.path(name))
                    digest = digest_of(text) if text is not None else ""
                    if text is not None and self._last.setdefault(name, digest) != digest:
                        await self.tell(name, digest, outside=True)

    async def warm(self) -> None:
        """Have the processes, and this one, load what they need while nobody waits."""
        asked = (process.answer(("warm",), work.warm, lambda: True) for process in (self._slow, self._quick))
        with suppress(HandleadError):
            _, text = await asyncio.gather(*asked)
            await run_in_threadpool(parts.warm, text)
        # What is loaded stays: no collection of what nobody needs goes through it again while somebody taps.
        gc.collect()
        gc.freeze()

    def shut(self) -> None:
        """End the processes."""
        for process in (self._quick, self._slow):
            process.shut()


def _bytes(found: Any) -> int:
    """About what an answer weighs."""
    whole = found if isinstance(found, bytes | str) else getattr(found, "svg", b"")
    return len(whole) + 20_000


def bench_of(asked: HTTPConnection) -> Bench:
    """What the server holds, for whoever answers a request or a window."""
    bench: Bench = asked.app.state.bench
    return bench
