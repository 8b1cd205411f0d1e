"""What the server holds while it runs: shelf, processes that work, windows that listen; nothing that no file has."""

from __future__ import annotations

import asyncio
import json
import multiprocessing
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from pathlib import Path
from typing import Any

from handlead.machines.toml.errors import HandleadError
from handlead.viz.bench_files.shelf import Shelf
from handlead.viz.bench_files.versions import digest_of, text_or_none
from starlette.concurrency import run_in_threadpool
from starlette.websockets import WebSocket, WebSocketDisconnect

from . import doing, work
from .desk import Desk

#: How often files that a window shows are looked at, in seconds.
_LOOK_AGAIN = 0.7

#: Plans, blanks and pictures that are kept for the next window that asks.
_KEPT = 48


class Bench:
    """What the server holds: shelf, processes that work, windows that listen. Nothing that a file hasn't."""

    def __init__(self, folder: Path) -> None:
        self.shelf = Shelf(folder)
        self._start()
        self._kept: OrderedDict[tuple[Any, ...], Any] = OrderedDict()
        self._asked: dict[tuple[Any, ...], asyncio.Future[Any]] = {}
        self._found_so_far: dict[tuple[Any, ...], Any] = {}
        self.windows: dict[WebSocket, tuple[str, str]] = {}
        self._last: dict[str, str] = {}
        self._writing = asyncio.Lock()

    # -- work that takes longer

    def _start(self) -> None:
        """Two processes: a plan never keeps a blank waiting."""
        context = multiprocessing.get_context("spawn")
        self._told = context.SimpleQueue()
        self._quick, self._slow = (
            ProcessPoolExecutor(1, mp_context=context, initializer=work.begin, initargs=(self._told,))
            for _ in range(2)
        )

    async def later(self, function: Callable[..., Any], *given: Any, slow: bool = False) -> Any:
        """What a function of `work` gives for these; kept, and asked for once however many windows want it."""
        key = (function.__name__, *given)
        if key in self._kept:
            self._kept.move_to_end(key)
            return self._kept[key]
        if key not in self._asked:
            pool = self._slow if slow else self._quick
            self._asked[key] = asyncio.wrap_future(pool.submit(work.answered, function, *given))
        try:
            found = await asyncio.shield(self._asked[key])
        except BrokenProcessPool:
            # A process that was ended from outside: the next question starts a new one.
            self._start()
            raise doing.NotDone("the work was cut off; ask again") from None
        finally:
            self._asked.pop(key, None)
        if isinstance(found, work.NoAnswer):
            raise doing.NotDone(found.words)
        self._kept[key] = found
        while len(self._kept) > _KEPT:
            self._kept.popitem(last=False)
        return found

    def kept(self, function: str, digest: str, key: tuple[Any, ...]) -> Any:
        """What a function gave for a job's text, known by its digest; None where that isn't kept."""
        for (name, source, *given), found in self._kept.items():
            if name == function and tuple(given) == key and digest_of(source.text) == digest:
                return found
        return None

    def so_far(self, key: tuple[Any, ...] = ()) -> Any:
        """What has been found for a question that is still worked on; None for nothing yet.

        The processes are listened to whether or not anybody asks: one that nobody hears would stand still.
        """
        while not self._told.empty():
            asked, found = self._told.get()
            self._found_so_far = {one: had for one, had in self._found_so_far.items() if one in self._asked}
            if asked in self._asked:
                self._found_so_far[asked] = found
        return self._found_so_far.get(key)

    def source(self, desk: Desk) -> work.Source:
        """The job's text for `work`."""
        return work.Source(desk.text, desk.name, str(desk.path.parent))

    # -- windows

    async def tell(self, name: str, digest: str, outside: bool = False, but: str = "") -> None:
        """Every window on this job what its file is now, `but` for the one that changed it."""
        self._last[name] = digest
        for window, (shows, called) in list(self.windows.items()):
            if shows == name and (called != but or not but):
                with suppress(RuntimeError, WebSocketDisconnect):
                    await window.send_text(json.dumps({"digest": digest, "outside": outside}))

    async def watch(self) -> None:
        """Look at the files that windows show, again and again: other programs change them too."""
        while True:
            await asyncio.sleep(_LOOK_AGAIN)
            self.so_far()
            for name in {shows for shows, _ in self.windows.values()}:
                with suppress(HandleadError):
                    text = await run_in_threadpool(text_or_none, self.shelf.path(name))
                    digest = digest_of(text) if text is not None else ""
                    if text is not None and self._last.setdefault(name, digest) != digest:
                        await self.tell(name, digest, outside=True)

    def warm(self) -> None:
        """Have the processes load what they need while nobody waits."""
        for pool in (self._quick, self._slow):
            pool.submit(work.warm)

    def shut(self) -> None:
        """End the processes."""
        for pool in (self._quick, self._slow):
            pool.shutdown(wait=False, cancel_futures=True)
