"""The real servers: what they say at the start, what they refuse, and that they hold out."""

from __future__ import annotations

import http.client
import os
import signal
import socket
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.web.running import WITH_GUNICORN, Running
from webcapture.errors import UsageError
from webcapture.settings import DEFAULTS
from webcapture.web import WebConfig, serving
from webcapture.web.security import POLICY

WITH_WAITRESS = (
    "from webcapture.web import serving; serving.can_fork = lambda: False; serving.serve(serving.Door(port=0), None)"
)


PATIENCE_S = 60
PATIENT = (
    "from webcapture.settings import Settings, WebSettings; from webcapture.web import WebConfig, serving;"
    f"config = WebConfig(Settings(web=WebSettings(stop_s={PATIENCE_S})), host='127.0.0.1');"
    "serving._with_gunicorn('127.0.0.1', 0, config)"
)


WITH_ONE_THREAD = (
    "from webcapture.settings import Settings, WebSettings; from webcapture.web import WebConfig, serving;"
    "config = WebConfig(Settings(web=WebSettings(threads=1, stall_s=1.0)), host='127.0.0.1');"
    "serving._with_gunicorn('127.0.0.1', 0, config)"
)


@pytest.fixture(params=[WITH_GUNICORN, WITH_WAITRESS], ids=["gunicorn", "waitress"])
def running(request: pytest.FixtureRequest) -> Iterator[Running]:
    server = Running(request.param)
    yield server
    if server.process.poll() is None:
        server.stop(signal.SIGKILL)


def test_serves_the_page_with_its_headers(running: Running) -> None:
    answer, page = running.get()
    assert answer.status == 200
    assert answer.headers["Content-Security-Policy"] == POLICY
    assert b"Take a photo" in page
    assert "Phones cannot reach it" in running.greeting
    assert "--host 0.0.0.0" in running.greeting


def test_stops_quietly(running: Running) -> None:
    running.get()
    status, complaints = running.stop()
    assert "Traceback" not in complaints
    assert status == 0


def test_ctrl_c_reaches_parent_and_worker_and_both_stop_at_once() -> None:
    """A terminal sends it to the whole group, at any moment: also while the worker takes in a connection."""
    for _ in range(5):
        server = Running(PATIENT)
        server.get()
        started = time.monotonic()
        os.killpg(server.process.pid, signal.SIGINT)
        _, complaints = server.process.communicate(timeout=4 * PATIENCE_S)
        # Else the parent's patience ended the worker. It is far more than a busy computer needs for stopping.
        assert time.monotonic() - started < PATIENCE_S
        assert server.process.returncode == 0
        assert complaints == ""


def test_measures_what_is_no_photo_to_a_clear_error(running: Running) -> None:
    """The real measurement, behind the real server."""
    connection = http.client.HTTPConnection("127.0.0.1", running.port, timeout=60)
    body = b'--x\r\nContent-Disposition: form-data; name="photo"; filename="a.jpg"\r\n\r\nnot a picture at all\r\n--x--\r\n'
    connection.request("POST", "/api/measure", body, {"Content-Type": "multipart/form-data; boundary=x"})
    answer = connection.getresponse()
    assert answer.status == 200
    assert b'"not-an-image"' in answer.read()


@pytest.fixture
def gunicorn() -> Iterator[Running]:
    server = Running(WITH_GUNICORN)
    yield server
    if server.process.poll() is None:
        server.stop(signal.SIGKILL)


def send_head(port: int, length: int) -> socket.socket:
    """A connection that has announced a body of ``length`` bytes and sent none of it."""
    line = socket.create_connection(("127.0.0.1", port), timeout=30)
    head = f"POST /api/measure HTTP/1.1\r\nHost: localhost\r\nContent-Type: multipart/form-data; boundary=x\r\nContent-Length: {length}\r\n\r\n"
    line.sendall(head.encode())
    return line


def test_announced_size_over_the_limit_is_refused_at_once(gunicorn: Running) -> None:
    with send_head(gunicorn.port, DEFAULTS.web.max_request_bytes + 1) as line:
        assert b" 413 " in line.recv(4096).split(b"\r\n")[0]


def test_pages_are_served_while_phones_stall(gunicorn: Running) -> None:
    """As many phones as a class has stop in the middle of sending; the page still comes."""
    stalled = [send_head(gunicorn.port, 1000) for _ in range(DEFAULTS.web.threads - 2)]
    started = time.monotonic()
    assert gunicorn.get()[0].status == 200
    assert time.monotonic() - started < 10
    for line in stalled:
        line.close()


def test_a_stalled_phone_gives_its_thread_back() -> None:
    server = Running(WITH_ONE_THREAD)
    try:
        started = time.monotonic()
        with send_head(server.port, 1000) as line:
            assert server.get()[0].status == 200
            assert 0.5 < time.monotonic() - started < 20
            assert b" 400 " in line.recv(4096).split(b"\r\n")[0]
    finally:
        server.stop(signal.SIGKILL)


def test_worker_that_dies_is_replaced(gunicorn: Running) -> None:
    assert gunicorn.get()[0].status == 200
    children = Path(f"/proc/{gunicorn.process.pid}/task/{gunicorn.process.pid}/children").read_text().split()
    os.kill(int(children[0]), signal.SIGKILL)
    deadline = time.monotonic() + 30
    while time.monotonic() < deadline:
        try:
            if gunicorn.get()[0].status == 200:
                return
        except OSError:
            time.sleep(0.1)
    pytest.fail("no new worker took over")


def test_a_silent_connection_is_given_up() -> None:
    """Plain sockets: the wrapper bounds how long the body may stay away, and leaves other servers alone."""
    ours, theirs = socket.socketpair()
    seen: list[float | None] = []

    def app(environ: dict[str, object], start: object) -> list[bytes]:
        seen.append(ours.gettimeout())
        return []

    wrapped = serving.give_up_on_stalled(app, 0.5)
    wrapped({"gunicorn.socket": ours}, None)
    wrapped({}, None)
    assert seen == [0.5, 0.5]
    with pytest.raises(TimeoutError):
        ours.recv(1)
    ours.close()
    theirs.close()


def test_a_port_in_use_is_said_in_plain_words() -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        with pytest.raises(UsageError) as caught:
            serving.serve(serving.Door(port=port), None)
    assert f"port {port}" in caught.value.message
    assert "--port" in caught.value.hint


@pytest.mark.parametrize(("host", "port"), [("192.0.2.77", 8000), ("no.such.name.invalid", 8000), ("127.0.0.1", 70000)])
def test_an_impossible_address_is_said_in_plain_words(host: str, port: int) -> None:
    with pytest.raises(UsageError) as caught:
        serving.check_address(host, port)
    assert caught.value.hint


def test_gunicorn_keeps_to_memory_and_opens_no_control_socket() -> None:
    options = serving._gunicorn_options("::", 8000, WebConfig())
    assert options["bind"] == ["[::]:8000"]
    assert options["control_socket_disable"] is True
    assert options["workers"] == 1
    assert "preload_app" not in options
