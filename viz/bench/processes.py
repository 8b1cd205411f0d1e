"""The processes that work for the page: what takes longer than a tap never keeps one waiting."""

from __future__ import annotations

import asyncio
import ctypes
import multiprocessing
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from pathlib import Path
from typing import Any

from handlead.viz.bench_desk import doing, work

_CONTEXT = multiprocessing.get_context("spawn")

#: Told to whoever asked for something that a later question has taken the place of.
LEFT = "the job was changed meanwhile; ask again"


#: A process that holds more than this after an answer, in MB, makes room for a fresh one.
_MOST_MB = 320


def held_mb(process: int) -> float:
    """What a process holds in memory, in MB; 0 where the system doesn't tell."""
    try:
        fields = Path(f"/proc/{process}/status").read_text(encoding="ascii").split()
        return int(fields[fields.index("VmRSS:") + 1]) / 1024
    except (OSError, ValueError):
        return 0.0


def give_back() -> None:
    """Memory that was let go of, meshes and sheets above all, back to the system, where its library can."""
    with suppress(OSError, AttributeError, TypeError):
        ctypes.CDLL(None).malloc_trim(0)


class WorkProcess:
    """A process of its own, one question at a time: those that wait can be left, and the one at work cut off.

    `at` is the question that it works on.
    """

    def __init__(self) -> None:
        self._turn = asyncio.Lock()
        self.at: tuple[Any, ...] | None = None
        self._start()

    def _start(self) -> None:
        # With a queue of its own: one that a process was writing into when it was cut off can't be read on.
        self._told = _CONTEXT.SimpleQueue()
        self._pool = ProcessPoolExecutor(1, _CONTEXT, initializer=work.begin, initargs=(self._told,))

    @property
    def is_idle(self) -> bool:
        """Whether nothing is worked on, and nothing waits."""
        return not self._turn.locked()

    async def answer(self, key: tuple[Any, ...], function: Callable[..., Any], is_wanted: Callable[[], bool]) -> Any:
        """What the function gives for the rest of the key.

        Raises `NotDone` where nobody wants it when its turn comes, or where it is cut off.
        """
        async with self._turn:
            if not is_wanted():
                raise doing.NotDone(LEFT)
            self.at = key
            try:
                return await asyncio.wrap_future(self._pool.submit(work.answered, function, *key[1:]))
            except BrokenProcessPool:
                # Cut off, or ended from outside: the next question starts a new one.
                self._start()
                raise doing.NotDone(LEFT) from None
            finally:
                self.at = None
                self._renew()

    def _renew(self) -> None:
        """A fresh process in place of one that has grown: it loads what it needs before anybody asks again."""
        if any(held_mb(one) > _MOST_MB for one in self._pool._processes or ()):
            self._pool.shutdown(wait=False)
            self._start()
            self._pool.submit(work.warm)

    def cut_off(self) -> None:
        """End what is worked on; what waits comes next."""
        for one in list((self._pool._processes or {}).values()):
            one.kill()

    def found_so_far(self) -> Iterator[tuple[tuple[Any, ...], Any]]:
        """What it told since it was last asked: the question, and what there is of its answer.

        It has to be listened to whether or not anybody asks: a process that nobody hears would stand still.
        """
        while not self._told.empty():
            yield self._told.get()

    def shut(self) -> None:
        """End it."""
        self._pool.shutdown(wait=False, cancel_futures=True)
