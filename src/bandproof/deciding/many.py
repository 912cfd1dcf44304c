"""Decides the claims of several arrangements side by side, in worker processes that can be ended from outside.

A worker encodes one arrangement and decides its claims one at a time. A worker with nothing left to do helps with the
arrangement that has most claims waiting. Which worker decides a claim, and after which others, changes nothing in the
answer (see `bandproof.deciding.one`).

A worker that overstays a limit by more than its own checks can explain, or that dies, is replaced; the claim it was at
is undecided and the rest go on. Workers ignore Ctrl-C: the parent hears it, ends them, and keeps what is finished.
"""

from __future__ import annotations

import gc
import multiprocessing
import os
import signal
import time
import traceback
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from multiprocessing import resource_tracker
from multiprocessing.connection import Connection, wait

from bandproof.deciding.cases import Case, Observer, SilenceObserver
from bandproof.deciding.one import Decider, unanswered
from bandproof.findings.finding import Finding, out_of_memory
from bandproof.findings.limits import Limits, resident_megabytes
from bandproof.findings.reasons import OutOfMemory, OutOfTime, Reason, WorkerDied
from bandproof.text.errors import CrossCheckError

#: Seconds a worker may overstay a time limit before it is ended from outside: one long solver query.
_GRACE_SECONDS = 2.0

#: How far a worker may pass a memory limit before it is ended from outside.
_GRACE_MEMORY = 1.1

#: How often limits are looked at from outside, in seconds.
_LOOK_EVERY = 0.1

#: How many new objects a worker makes before Python looks for cycles among them.
_OBJECTS_BETWEEN_LOOKS = 400_000

#: A helper process costs one more encoding, which this many waiting claims are worth.
_WORTH_HELPING = 2


def processors() -> int:
    """How many processors this process may use."""
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:
        return os.cpu_count() or 1


def decide_all(
    cases: Sequence[Case],
    wanted: Sequence[Iterable[int]],
    limits: Limits,
    processes: int,
    observer: Observer,
    *,
    silent: SilenceObserver,
) -> None:
    """Decide the claims numbered in `wanted[i]` of `cases[i]`, telling `observer` of each finding as it comes.

    `silent` is told of each case what falls silent in it, as soon as a worker has found that out.

    CrossCheckError, and no further answer, when two parts of the program contradict each other in any of them.
    """
    floor = _Floor(cases, [deque(numbers) for numbers in wanted], limits, observer, silent)
    try:
        floor.run(max(1, processes))
    finally:
        floor.clear()


# -------------------------------------------------------------------------------------------------- inside a worker


def _work(line: Connection, limits: Limits) -> None:
    """Serve the parent until it hangs up: a case to encode, or the number of a claim to decide."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    import bandproof.certificates.checks  # noqa: PLC0415  (what takes time to load is loaded before any limit runs)
    import bandproof.engines.run  # noqa: F401, PLC0415  (as above)

    # Formulas are many small objects that live long and hold no cycles: looking for cycles among them costs much.
    gc.freeze()
    gc.set_threshold(_OBJECTS_BETWEEN_LOOKS, 20, 20)
    line.send(None)
    decider: Decider | None = None
    while True:
        try:
            message = line.recv()
            if isinstance(message, Case):
                decider = None  # let go of the former arrangement before the next one takes memory
                decider = Decider(message)
                gc.freeze()
                line.send(decider.quiet)
            elif decider is not None:
                finding = decider.decide(decider.case.claims[message], limits)
                line.send(finding)
                if out_of_memory(finding):
                    return  # memory once taken is seldom given back, and the next claim should not suffer for it
        except EOFError:
            return
        except CrossCheckError as contradiction:
            line.send(str(contradiction))
        except Exception:  # noqa: BLE001  (whatever it is, it is a defect, and the parent must hear of it)
            line.send(traceback.format_exc())


# ---------------------------------------------------------------------------------------------------- in the parent


class _Worker:
    """A worker process and what it is at: a claim of a case or, while `claim` is None, encoding it.

    It says so when it is ready for its first case; of a case that is encoded it says what falls silent in it.
    """

    def __init__(self, limits: Limits) -> None:
        context = multiprocessing.get_context("spawn")
        self.line, theirs = context.Pipe()
        self.process = context.Process(target=_work, args=(theirs, limits), name="bandproof worker", daemon=True)
        with _deaf_to_interrupts():
            self.process.start()
        theirs.close()
        self.case: int | None = None
        self.claim: int | None = None
        self.busy = False
        self.since = 0.0

    def give(self, message: Case | int) -> None:
        """Send work; the clock starts."""
        self.busy, self.since = True, time.monotonic()
        try:
            self.line.send(message)
        except OSError:
            return  # it has died; the broken line is heard of when its answer is waited for

    def end(self) -> None:
        """End the process, whatever it is at."""
        self.process.kill()
        self.process.join()
        self.line.close()


@contextmanager
def _deaf_to_interrupts() -> Iterator[None]:
    """Hold Ctrl-C back while a process is made, which inherits that: it may be hit before it can say so itself."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    resource_tracker.ensure_running()  # made along with the first process, it would end the holding back
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _death(code: int | None) -> WorkerDied:
    """How a process ended, from its exit code: Python gives a signal as a negative number."""
    return WorkerDied(signal=-code) if code is not None and code < 0 else WorkerDied(status=code)


class _Floor:
    """The parent's side: workers, what waits for each case, and what is told to the observer."""

    def __init__(
        self,
        cases: Sequence[Case],
        waiting: list[deque[int]],
        limits: Limits,
        observer: Observer,
        silent: SilenceObserver,
    ) -> None:
        self._cases = cases
        self._waiting = waiting
        self._limits = limits
        self._observer = observer
        self._silent = silent
        self._workers: list[_Worker] = []
        self._opened: set[int] = set()

    def run(self, processes: int) -> None:
        """Work until nothing waits and nobody is busy."""
        while True:
            while len(self._workers) < min(processes, sum(map(len, self._waiting))) and self._choose() is not None:
                self._workers.append(_Worker(self._limits))
            if not self._workers:
                return
            ready = set(wait([w.line for w in self._workers], timeout=_LOOK_EVERY))
            for worker in list(self._workers):
                if worker.line in ready:
                    self._hear(worker)
                else:
                    self._look_after(worker)

    def clear(self) -> None:
        """End every worker."""
        while self._workers:
            self._workers.pop().end()

    def _choose(self) -> int | None:
        """The case a free worker should open: one nobody has opened, else the one with most claims waiting."""
        fresh = [n for n, waiting in enumerate(self._waiting) if waiting and n not in self._opened]
        if fresh:
            return fresh[0]
        most = max(range(len(self._waiting)), key=lambda n: len(self._waiting[n]), default=None)
        if most is None:
            return None
        served = any(w.case == most for w in self._workers)
        enough = len(self._waiting[most]) >= (_WORTH_HELPING if served else 1)
        return most if enough else None

    def _assign(self, worker: _Worker) -> None:
        """Give a free worker its next claim, or another case; without either it goes home."""
        if worker.case is not None and self._waiting[worker.case]:
            worker.claim = self._waiting[worker.case].popleft()
            worker.give(worker.claim)
            return
        worker.case = None
        worker.case = self._choose()
        if worker.case is None:
            self._dismiss(worker)
            return
        self._opened.add(worker.case)
        worker.claim = None
        worker.give(self._cases[worker.case])

    def _dismiss(self, worker: _Worker) -> None:
        self._workers.remove(worker)
        worker.end()

    def _hear(self, worker: _Worker) -> None:
        try:
            message = worker.line.recv()
        except (EOFError, OSError):
            worker.process.join()
            code = worker.process.exitcode
            if worker.case is None:
                how = f"signal {-code}" if code is not None and code < 0 else f"exit code {code}"
                message = f"a worker process could not start ({how})"
                raise CrossCheckError(message) from None
            self._give_up(worker, _death(code))
            return
        if isinstance(message, str):
            raise CrossCheckError(message)
        worker.busy = False
        if worker.case is not None and worker.claim is None:
            self._silent(worker.case, message)
        if isinstance(message, Finding) and worker.case is not None and worker.claim is not None:
            self._observer(worker.case, worker.claim, message)
            worker.claim = None
            if out_of_memory(message):
                self._dismiss(worker)
                return
        self._assign(worker)

    def _look_after(self, worker: _Worker) -> None:
        """End a worker that has overstayed a limit."""
        if worker.case is None or not worker.busy:
            return
        limits = self._limits
        if limits.seconds is not None:
            # Encoding is shared by all claims that wait for it, and so is the time it may take.
            share = 1 if worker.claim is not None else max(1, len(self._waiting[worker.case]))
            if time.monotonic() - worker.since > limits.seconds * share + _GRACE_SECONDS:
                self._give_up(worker, OutOfTime(limits.seconds))
                return
        if limits.megabytes is not None:
            used = resident_megabytes(worker.process.pid or 0)
            if used is not None and used > limits.megabytes * _GRACE_MEMORY:
                self._give_up(worker, OutOfMemory(limits.megabytes))

    def _give_up(self, worker: _Worker, reason: Reason) -> None:
        """End a worker. The claim it was at is undecided; if it was encoding, all that wait for it are."""
        seconds = time.monotonic() - worker.since
        self._dismiss(worker)
        if worker.case is None or not worker.busy:
            return
        lost = [worker.claim] if worker.claim is not None else list(self._waiting[worker.case])
        if worker.claim is None:
            self._waiting[worker.case].clear()
        for claim in lost:
            left = unanswered(self._cases[worker.case].claims[claim], reason, seconds=seconds)
            self._observer(worker.case, claim, left)
