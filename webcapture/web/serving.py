"""Running the web tool: gunicorn where it can run, waitress elsewhere.

One worker process with threads, because the last pictures are kept in its memory and the image libraries let go of the
interpreter while they work. The worker makes the application, not its parent: image libraries that have started threads do
not survive a fork.
"""

from __future__ import annotations

import errno
import os
import socket
import sys
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from webcapture.errors import UsageError
from webcapture.store.authority import Papers, papers
from webcapture.store.lead import has_passphrase
from webcapture.store.store import Store
from webcapture.web import WebConfig, create_app
from webcapture.web.addresses import own_addresses, own_names
from webcapture.web.greeting import Where, say
from webcapture.web.language import check_language
from webcapture.web.measuring import warm_up

if TYPE_CHECKING:
    from _typeshed.wsgi import StartResponse, WSGIApplication, WSGIEnvironment

LAST_PORT = 65_535


@dataclass(frozen=True, slots=True)
class Door:
    """How the tool is reached."""

    host: str = "127.0.0.1"
    port: int = 8000
    https: bool = False
    """Encrypted, with a certificate of this installation's own."""
    trusted: tuple[str, ...] = ()
    """Names under which it may be asked for, besides this computer's own."""
    behind_proxy: bool = False
    """A reverse proxy stands before it and says, in X-Forwarded headers, who asks and under which name."""


def serve(door: Door, data: Path | None, examples: Path | None = None, *, lang: str = "") -> None:
    """Serve the web tool until it is stopped; ``data`` is the folder of the records, or None to keep none.

    ``lang`` is the language of every page, empty for what each reader's browser asks for. Raises UsageError where the address
    cannot be used, https cannot be had, or the language is not at hand.
    """
    check_address(door.host, door.port)
    check_language(lang)
    config = WebConfig(
        examples=examples,
        data=data,
        foreman=data is not None,
        host=door.host,
        trusted_hosts=door.trusted,
        behind_proxy=door.behind_proxy,
        papers=_papers(door, data) if door.https else None,
        lang=lang,
    )
    run = _with_gunicorn if can_fork() else _with_waitress
    run(door.host, door.port, config)


def _papers(door: Door, data: Path | None) -> Papers:
    """The certificates for https; raises UsageError where they cannot be had."""
    if not can_fork():
        hint = "Put it behind a reverse proxy with https: the README shows how."
        raise UsageError("On this system the tool itself cannot serve https.", hint)
    if data is None:
        raise UsageError("Without a folder of records there is no place for certificates.", "Name one with --data.")
    return papers(data / "https", [*own_addresses(door.host), *sorted(own_names()), *door.trusted], datetime.now(UTC))


def can_fork() -> bool:
    """Whether gunicorn runs here: it needs a UNIX."""
    return hasattr(os, "fork") and sys.platform != "emscripten"


def check_address(host: str, port: int) -> None:
    """Raise UsageError, saying what to do, where nothing can listen on that address."""
    try:
        if not 0 <= port <= LAST_PORT:
            raise OverflowError(port)
        found = socket.getaddrinfo(host or None, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE)
        family, kind, _, _, address = found[0]
        with socket.socket(family, kind) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            probe.bind(address)
    except (OSError, OverflowError) as error:
        raise _unusable(host, port, error) from error


def _unusable(host: str, port: int, error: Exception) -> UsageError:
    number = getattr(error, "errno", None)
    if number == errno.EADDRINUSE:
        return UsageError(f"Something else already uses port {port}.", "Stop it, or choose another port with --port.")
    if number in {errno.EACCES, errno.EPERM}:
        return UsageError(f"This account may not use port {port}.", "Choose a port above 1023 with --port.")
    return UsageError(
        f"The address {host} with port {port} cannot be used.",
        "Give an address of this computer, or 0.0.0.0 for all of them, and a port up to 65535.",
    )


def _announce(config: WebConfig, port: int) -> None:
    """Say where the tool is and what to do next, once it listens on ``port``."""
    say(Where(config.host, port, config.papers, config.data is not None, _setup_key(config)))


def _setup_key(config: WebConfig) -> str | None:
    """The key for setting the lead's passphrase, while there is none and records are kept."""
    if config.data is None:
        return None
    store = Store(config.data, config.database)
    try:
        with store.database.reading() as session:
            return None if has_passphrase(session) else config.setup_key
    finally:
        store.close()  # this process is not the one that serves


def make_app(config: WebConfig, closing: list[Callable[[], None]] | None = None) -> WSGIApplication:
    """The application as a server runs it: libraries loaded, and no thread lost to a phone that left.

    What has to be called before the process ends is added to ``closing``.
    """
    app = create_app(config)
    warm_up()
    if closing is not None and "foreman" in app.extensions:
        closing.append(app.extensions["foreman"].stop)
    return give_up_on_stalled(app.wsgi_app, config.settings.web.stall_s)


def give_up_on_stalled(app: WSGIApplication, stall_s: float) -> WSGIApplication:
    """Wrap ``app``: a connection that stays silent for ``stall_s`` while sending is given up (gunicorn waits for ever)."""

    def wrapped(environ: WSGIEnvironment, start: StartResponse) -> Iterable[bytes]:
        connection = environ.get("gunicorn.socket")
        if connection is not None:
            connection.settimeout(stall_s)
        return app(environ, start)

    return wrapped


def _with_waitress(host: str, port: int, config: WebConfig) -> None:
    import waitress  # noqa: PLC0415 - only where gunicorn cannot run

    closing: list[Callable[[], None]] = []
    app = make_app(config, closing)
    web = config.settings.web
    server = waitress.create_server(
        app, host=host or "0.0.0.0", port=port, threads=web.threads, max_request_body_size=web.max_request_bytes
    )
    _announce(config, int(server.effective_port) if hasattr(server, "effective_port") else port)
    try:
        server.run()
    finally:
        _close(closing)


def _with_gunicorn(host: str, port: int, config: WebConfig) -> None:
    from webcapture.web.unix import Server  # noqa: PLC0415 - not to be had everywhere

    closing: list[Callable[[], None]] = []  # filled in the worker, where it is used
    options = {**_gunicorn_options(host, port, config), "worker_exit": lambda _server, _worker: _close(closing)}
    try:
        Server(options, partial(make_app, config, closing)).run()
    except SystemExit as stop:
        if stop.code:
            raise


def _close(closing: list[Callable[[], None]]) -> None:
    while closing:
        closing.pop()()


def _gunicorn_options(host: str, port: int, config: WebConfig) -> dict[str, Any]:
    bind = f"[{host}]:{port}" if ":" in host else f"{host or '0.0.0.0'}:{port}"
    memory, encrypted = Path("/dev/shm"), config.papers
    return {
        "bind": [bind],
        "workers": 1,
        "threads": config.settings.web.threads,
        "worker_tmp_dir": str(memory) if os.access(memory, os.W_OK) else None,
        "graceful_timeout": config.settings.web.stop_s,
        "control_socket_disable": True,
        "loglevel": "warning",
        "when_ready": lambda arbiter: _announce(config, int(arbiter.LISTENERS[0].sock.getsockname()[1])),
        **({"certfile": str(encrypted.certificate), "keyfile": str(encrypted.key)} if encrypted else {}),
    }
