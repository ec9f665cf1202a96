"""gunicorn as this tool runs it. Its own module, because gunicorn can be imported on a UNIX only."""

from __future__ import annotations

import signal
from collections.abc import Callable, Mapping
from types import FrameType
from typing import TYPE_CHECKING, Any

from gunicorn.app.base import BaseApplication
from gunicorn.workers.gthread import ThreadWorker

if TYPE_CHECKING:
    from _typeshed.wsgi import WSGIApplication


class Worker(ThreadWorker):  # type: ignore[misc]
    """The threaded worker, which also stops when Ctrl+C meets it while it hands a connection to a thread.

    gunicorn's own handler closes the thread pool from within the signal; where the pool's lock is held at that moment the
    worker waits for itself, and only the parent's patience ends it. Stopping as for SIGTERM takes no lock.
    """

    def run(self) -> None:
        super().run()
        # The parent, met by the same Ctrl+C, asks again. Python lets go of its handlers before the process has ended: met
        # then, the worker would die of the question, and the terminal would be told. Ignored, not blocked: a thread of a
        # library, started before, would still take it.
        for question in (signal.SIGINT, signal.SIGQUIT, signal.SIGTERM):
            signal.signal(question, signal.SIG_IGN)

    def handle_quit(self, sig: int, frame: FrameType | None) -> None:
        self.handle_exit(sig, frame)


class Server(BaseApplication):  # type: ignore[misc]
    """gunicorn told everything by its maker: no configuration file, no environment, no command line."""

    def __init__(self, options: Mapping[str, Any], make_app: Callable[[], WSGIApplication]) -> None:
        self._options, self._make_app = options, make_app
        super().__init__()

    def load_config(self) -> None:
        for name, value in {**self._options, "worker_class": Worker}.items():
            self.cfg.set(name, value)

    def load(self) -> WSGIApplication:
        return self._make_app()
