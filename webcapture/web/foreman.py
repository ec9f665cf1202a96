"""Measures accepted photos in the background, each in a process of its own, and forgets what is kept no longer.

A photo that was accepted is measured, whatever happens: what a stopped or killed tool left over is begun anew at the next
start, and a photo whose process dies is tried again, alone, so that it cannot take the blame or the neighbours with it.
"""

from __future__ import annotations

import io
import logging
import multiprocessing
import os
import signal
import threading
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import CancelledError, Executor, Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from multiprocessing import resource_tracker
from pathlib import Path

from PIL import Image

import webcapture
from webcapture.errors import Unexpected, WebcaptureError
from webcapture.settings import Settings
from webcapture.store import photos
from webcapture.store.codec import dumped
from webcapture.store.purge import purge
from webcapture.store.records import PhotoInfo
from webcapture.store.store import Store

LOG = logging.getLogger("webcapture.web")


@dataclass(frozen=True, slots=True)
class Done:
    """A measured photo, ready to be stored."""

    result: bytes
    """See :mod:`webcapture.store.codec`."""
    page: bytes
    """The rectified page, a JPEG."""


@dataclass(frozen=True, slots=True)
class Declined:
    """Why a photo cannot be measured. A value, because an exception loses its hint between processes."""

    code: str
    message: str
    hint: str


Work = Callable[[bytes, str, Settings], Done | Declined]
"""(the file's bytes, its name, settings) to what came of it; called in another process."""


def measure(data: bytes, name: str, settings: Settings) -> Done | Declined:
    """Measure one photo."""
    try:
        result = webcapture.measure_photo(data, name=name, settings=settings, with_page=True)
    except WebcaptureError as error:
        return Declined(error.code, error.message, error.hint)
    page = io.BytesIO()
    assert result.page is not None, "asked for"
    Image.fromarray(result.page.pixels).save(page, "JPEG", quality=settings.report.jpeg_quality)
    return Done(dumped(result), page.getvalue())


def _measure_file(work: Work, file: Path, name: str, settings: Settings) -> Done | Declined:
    """Reads the photo in the process that measures it.

    Handing the bytes over would fill the pipe to the processes: where one dies meanwhile, Python before 3.11.5 waits for ever
    to write the rest (CPython issue 94777).
    """
    return work(file.read_bytes(), name, settings)


def _prepare_process() -> None:
    """A process whose parent was killed must not stay behind."""
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _load() -> None:
    """Takes as long as loading does, so that another process is started for the next of these."""
    webcapture.measure_photo  # noqa: B018 - the package's face loads what is behind it when first used


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


@dataclass(frozen=True, slots=True)
class _Task:
    """A photo in work."""

    photo: PhotoInfo
    begun: datetime
    executor: Executor


class Foreman:
    """Hands waiting photos to processes and stores what comes back. One an installation."""

    def __init__(
        self, store: Store, settings: Settings, work: Work = measure, executor: Callable[[], Executor] | None = None
    ) -> None:
        """``executor`` makes what runs ``work``; by default processes, which are ready before the first photo comes."""
        self._store, self._settings, self._work = store, settings, work
        self._new_executor = executor or self._processes
        self._executor: Executor | None = None
        self._running: dict[Future[Done | Declined], _Task] = {}
        self._held: PhotoInfo | None = None
        self._deaths: Counter[str] = Counter()
        self._wake, self._stopping = threading.Event(), threading.Event()
        self._door = threading.Condition()
        self._coming_in = 0
        self._next_purge: datetime | None = None
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        """Begin to measure, with what was left over."""
        self._thread = threading.Thread(target=self._run, name="foreman", daemon=True)
        self._thread.start()

    def notify(self) -> None:
        """Say that a photo has come in."""
        self._wake.set()

    def stop(self) -> None:
        """End at once; photos in work wait again, for the next start."""
        self._stopping.set()
        self._wake.set()
        if self._thread is not None:
            self._thread.join()
            self._thread = None

    @contextmanager
    def accepting(self) -> Iterator[None]:
        """While a file is on disk that no record points to yet: nothing is swept meanwhile."""
        with self._door:
            self._coming_in += 1
        try:
            yield
        finally:
            with self._door:
                self._coming_in -= 1
                self._door.notify_all()

    def purge(self) -> list[str]:
        """Forget what is kept no longer, records and files, once nothing is being accepted; gives the practicals' ids."""
        with self._store.database.writing() as session:
            gone = purge(session, datetime.now(UTC))
        self.sweep()
        return gone

    def sweep(self) -> None:
        """Remove the files that nothing points to."""
        with self._door:
            self._door.wait_for(lambda: self._coming_in == 0)
            missing = self._store.sweep()
        if missing:
            LOG.error("%d files of records are missing in the data folder", len(missing))

    # --- its thread

    def _run(self) -> None:
        self._guarded(self._take_up)
        self._guarded(self._make_ready)
        while not self._stopping.is_set():
            self._guarded(self._round)
            self._wake.wait(self._settings.room.look_s)
            self._wake.clear()
        self._end_processes()
        self._guarded(self._wind_up)

    def _guarded(self, step: Callable[[], None]) -> None:
        """A full disk or a locked database now must not end the measuring for ever."""
        try:
            step()
        except Exception:
            LOG.exception("the foreman stumbled and goes on")

    def _take_up(self) -> None:
        with self._store.database.writing() as session:
            photos.let_go(session)
            photos.measure_anew(session, webcapture.__version__)

    def _make_ready(self) -> None:
        """Start the processes, and load the libraries there: the first photo of a class must not wait for that."""
        if self._new_executor == self._processes:
            self._executor = self._executor or self._processes()
            for _ in range(self._settings.room.processes):
                self._executor.submit(_load)

    def _round(self) -> None:
        self._collect()
        self._end_overdue()
        while len(self._running) < self._settings.room.processes and not self._stopping.is_set():
            if not self._begin_next():
                break
        now = datetime.now(UTC)
        if self._next_purge is None or now >= self._next_purge:
            self._next_purge = now + timedelta(hours=self._settings.room.purge_every_h)
            self.purge()

    def _begin_next(self) -> bool:
        """Begin with the next photo; False where there is none, or one has to wait until it is alone."""
        if any(task.photo.tries > 1 for task in self._running.values()):
            return False
        photo = self._held or self._claim()
        self._held = None
        if photo is None:
            return False
        if photo.tries > 1 and self._running:
            self._held = photo
            return False
        self._begin(photo)
        return True

    def _claim(self) -> PhotoInfo | None:
        lease = timedelta(seconds=2 * self._settings.room.lease_s)  # ended here sooner, see _end_overdue
        with self._store.database.writing() as session:
            return photos.claim(session, datetime.now(UTC), lease)

    def _begin(self, photo: PhotoInfo) -> None:
        file = self._store.vault.path(photo.digest)
        if not file.is_file():
            self._refuse(photo, Declined("unreadable", "The photo's file is gone.", "Take the photo again."))
            return
        try:
            future = self._submit(file, photo)
        except BrokenProcessPool:  # it broke while nothing was in work: no fault of this photo
            self._drop(self._executor)
            future = self._submit(file, photo)
        future.add_done_callback(lambda _: self._wake.set())

    def _submit(self, file: Path, photo: PhotoInfo) -> Future[Done | Declined]:
        if self._executor is None:
            self._executor = self._new_executor()
        future = self._executor.submit(_measure_file, self._work, file, photo.name, self._settings)
        self._running[future] = _Task(photo, datetime.now(UTC), self._executor)
        return future

    def _collect(self) -> None:
        for future in [f for f in self._running if f.done()]:
            self._take(self._running.pop(future), future)

    def _take(self, task: _Task, future: Future[Done | Declined]) -> None:
        try:
            outcome = future.result()
        except BrokenProcessPool:
            self._drop(task.executor)
            self._died(task.photo)
        except CancelledError:
            self._put_back(task.photo)
        except Exception:
            LOG.exception("measuring failed unexpectedly")
            self._refuse(task.photo, _unexpected())
        else:
            self._store_outcome(task.photo, outcome)

    def _store_outcome(self, photo: PhotoInfo, outcome: Done | Declined) -> None:
        if isinstance(outcome, Declined):
            self._refuse(photo, outcome)
            return
        with self.accepting():
            page = self._store.vault.put(outcome.page)
            self._finish(photo, outcome, page)

    def _finish(self, photo: PhotoInfo, outcome: Done, page: str) -> None:
        with self._store.database.writing() as session:
            photos.finish(session, photo.id, webcapture.__version__, outcome.result, page, datetime.now(UTC))

    def _died(self, photo: PhotoInfo) -> None:
        """The process was killed, by a fault in an image library or for want of memory."""
        LOG.error("the process that measured a photo died (try %d)", photo.tries)
        # Counted anew by each foreman: when the whole tool is killed, processes die first, and no photo is to blame.
        self._deaths[photo.id] += 1
        if self._deaths[photo.id] >= self._settings.room.tries:
            self._refuse(photo, _unexpected())
        else:
            self._put_back(photo)

    def _put_back(self, photo: PhotoInfo) -> None:
        with self._store.database.writing() as session:
            photos.put_back(session, photo.id)

    def _refuse(self, photo: PhotoInfo, why: Declined) -> None:
        trouble = {"code": why.code, "message": why.message, "hint": why.hint}
        with self._store.database.writing() as session:
            photos.refuse(session, photo.id, trouble)

    def _end_overdue(self) -> None:
        """A measurement that takes for ever is ended with its process, and then counts as one that died."""
        latest = datetime.now(UTC) - timedelta(seconds=self._settings.room.lease_s)
        if any(task.begun < latest for task in self._running.values()):
            self._end_processes()

    def _end_processes(self) -> None:
        # Public only from Python 3.14 on, as kill_workers.
        for process in list((getattr(self._executor, "_processes", None) or {}).values()):
            process.kill()

    def _processes(self) -> Executor:
        if hasattr(signal, "pthread_sigmask"):
            # Ctrl+C is the tool's to hear: what this thread blocks, its processes inherit, from their first moment on.
            # Python's own helper process comes first, because starting it takes such a block away again.
            resource_tracker.ensure_running()
            signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
        return ProcessPoolExecutor(
            self._settings.room.processes,
            mp_context=multiprocessing.get_context("spawn"),
            initializer=_prepare_process,
        )

    def _drop(self, broken: Executor | None) -> None:
        if broken is not None:
            broken.shutdown(wait=False, cancel_futures=True)
        if self._executor is broken:
            self._executor = None
            self._make_ready()

    def _wind_up(self) -> None:
        """Store what was finished in the last moment; what was not waits again."""
        if self._executor is not None:
            self._executor.shutdown(wait=True, cancel_futures=True)
        left = [] if self._held is None else [self._held]
        for future, task in self._running.items():
            if future.cancelled() or future.exception() is not None:
                left.append(task.photo)
            else:
                self._store_outcome(task.photo, future.result())
        for photo in left:
            self._put_back(photo)


def _unexpected() -> Declined:
    return Declined(
        Unexpected.code,
        "Something went wrong inside the tool while it measured this photo.",
        "Take the photo again. If it happens again, tell whoever runs this tool.",
    )
