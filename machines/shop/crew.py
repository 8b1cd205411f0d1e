"""Who does the work: pieces handed to any `concurrent.futures` executor, none lost and none counted twice.

There is no scheduler here: processes are the standard library's, a cluster is dask.distributed's.
"""

from __future__ import annotations

import itertools
import multiprocessing
import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Executor, Future, ProcessPoolExecutor, wait
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, TypeVar

from handlead.machines.toml.errors import HandleadError

Piece = TypeVar("Piece")
Result = TypeVar("Result")

#: Pieces that wait at each worker, so that none stands idle while the next is handed out.
_AHEAD = 3

#: How often a piece is handed out again whose worker was lost.
_MOST_TRIES = 3

#: How long a cluster's scheduler is waited for.
CLUSTER_ANSWERS_IN = "10s"

#: Workers of an executor that doesn't say how many it has.
_USUAL = 4


class WorkerLost(HandleadError):
    """A piece of work whose worker was lost every time it was tried."""


@dataclass(frozen=True)
class Crew:
    """An executor, or None for here and now; `at_once` is how many workers it has.

    `renew` opens another executor in place of one that broke; without it, one that broke stays broken.
    """

    executor: Executor | None = None
    at_once: int = 1
    renew: Callable[[], Executor] | None = None

    @classmethod
    def of(cls, executor: Executor | Crew | None) -> Crew:
        """The crew of any executor."""
        if isinstance(executor, Crew):
            return executor
        workers = getattr(executor, "_max_workers", None)
        return cls(executor, workers if isinstance(workers, int) else _USUAL)


def each_done(
    call: Callable[[Piece], Result], pieces: Iterable[Piece], executor: Executor | Crew | None = None
) -> Iterator[tuple[int, Result]]:
    """The number and result of every piece, as they come; each once, however many workers are lost on the way.

    `call` and pieces must be such as can be sent to another process. Only so many pieces are handed out as keep the
    workers busy, so that memory doesn't grow with their number. What `call` raises is raised here. Raises
    `WorkerLost` for a piece that was lost with its worker three times.
    """
    crew = Crew.of(executor)
    if crew.executor is None:
        yield from ((number, call(piece)) for number, piece in enumerate(pieces))
        return
    hands = _Hands(call, crew, crew.executor)
    coming = enumerate(pieces)
    try:
        while True:
            for number, piece in itertools.islice(coming, hands.room):
                hands.give(number, piece, 0)
            if not hands.waiting:
                return
            yield from hands.take()
    finally:
        for future in hands.waiting:
            future.cancel()


class _Hands:
    """Pieces that were handed out and haven't come back."""

    def __init__(self, call: Callable[[Any], Any], crew: Crew, executor: Executor) -> None:
        self.call, self.crew, self.executor = call, crew, executor
        self.waiting: dict[Future[Any], tuple[int, Any, int]] = {}
        self.again: deque[tuple[int, Any, int]] = deque()

    @property
    def room(self) -> int:
        """How many new pieces may be handed out; none while lost ones are tried again."""
        return 0 if self.again else max(0, _AHEAD * self.crew.at_once - len(self.waiting))

    def give(self, number: int, piece: Any, tries: int) -> None:
        """Hand a piece out; to a new executor where the old one broke."""
        try:
            future = self.executor.submit(self.call, piece)
        except BrokenExecutor:
            if self.crew.renew is None:
                raise
            self.executor = self.crew.renew()
            future = self.executor.submit(self.call, piece)
        self.waiting[future] = (number, piece, tries)

    def take(self) -> Iterator[tuple[int, Any]]:
        """What has come back; what was lost is handed out again, one by one, so that the guilty piece is found."""
        done, _ = wait(self.waiting, return_when=FIRST_COMPLETED)
        for future in done:
            number, piece, tries = self.waiting.pop(future)
            fault = None if future.cancelled() else future.exception()
            if future.cancelled() or (fault is not None and _is_loss(fault)):
                self.again.append((number, piece, tries + 1))
            elif fault is not None:
                raise fault
            else:
                yield number, future.result()
        if self.again and not self.waiting:
            number, piece, tries = self.again.popleft()
            if tries >= _MOST_TRIES:
                raise WorkerLost(f"piece {number + 1} of the work was lost with its worker {tries} times")
            self.give(number, piece, tries)


def _is_loss(fault: BaseException) -> bool:
    """Whether it says that a worker is gone, not that the work went wrong."""
    return isinstance(fault, BrokenExecutor) or type(fault).__name__ in (
        "KilledWorker",
        "LostDependencyError",
    )


@contextmanager
def processes(workers: int) -> Iterator[Crew]:
    """So many processes on this machine; one is here and now."""
    if workers <= 1:
        yield Crew()
        return
    opened: list[ProcessPoolExecutor] = []

    def renew() -> Executor:
        # Not forked: a copy of a program with threads may stand still for ever.
        method = "forkserver" if "forkserver" in multiprocessing.get_all_start_methods() else "spawn"
        context = multiprocessing.get_context(method)
        if method == "forkserver":
            context.set_forkserver_preload(["handlead.machines.planning.planning"])
        opened.append(ProcessPoolExecutor(workers, mp_context=context, initializer=_leave_stopping_to_others))
        return opened[-1]

    try:
        yield Crew(renew(), workers, renew)
    finally:
        for pool in opened:
            pool.shutdown(wait=True, cancel_futures=True)


def _leave_stopping_to_others() -> None:
    """A worker goes on when its user stops the program, which waits for it, and ends when the program is killed."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_the_program, daemon=True).start()


def _end_with_the_program() -> None:
    program = multiprocessing.parent_process()
    if program is not None:
        program.join()
        os._exit(1)


@contextmanager
def cluster(address: str) -> Iterator[Crew]:
    """The workers of a running dask.distributed cluster, which hands lost work out again by itself.

    Raises `HandleadError` where it isn't installed, and where no scheduler answers.
    """
    try:
        import distributed
    except ImportError:
        raise HandleadError('--dask needs dask.distributed: install "handlead[cluster]"') from None
    connect: Any = distributed.Client
    try:
        client = connect(address, timeout=CLUSTER_ANSWERS_IN, set_as_default=False)
    except (OSError, TimeoutError, ValueError) as fault:
        reason = str(fault).split("\n")[0]
        raise HandleadError(
            f"--dask {address}: no scheduler answers there ({reason}). Give the address that it prints"
        ) from None
    try:
        workers = sum(client.nthreads().values())
        if not workers:
            raise HandleadError(f"--dask {address}: its scheduler has no workers. Start some, then ask again")
        yield Crew(client.get_executor(pure=False), workers)
    finally:
        client.close()
