"""What was accepted is measured, whatever happens to those who measure."""

from __future__ import annotations

import hashlib
import http.client
import os
import signal
import sqlite3
import threading
import time
import uuid
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tests.web.records import (
    PHOTO,
    PLAN,
    WORK,
    Inline,
    Room,
    close_room,
    finished,
    known_work,
    measured,
    open_room,
    send,
    send_and_wait,
    software,
    wait_until,
)
from tests.web.running import Running
from webcapture.settings import DEFAULTS, Settings
from webcapture.store import photos, practicals, stations
from webcapture.store.codec import loaded
from webcapture.store.records import PhotoInfo
from webcapture.store.store import Store
from webcapture.web.foreman import Declined, Done, Foreman


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Room]:
    opened = open_room(tmp_path, start=False)
    yield opened
    close_room(opened)


def info(room: Room, photo_id: str) -> PhotoInfo:
    with room.store.database.reading() as session:
        found = photos.find(session, photo_id)
    assert found is not None
    return found


def test_photo_is_measured_and_its_page_kept(room: Room) -> None:
    room.foreman.start()
    photo_id = send_and_wait(room.join("Bench 1"))
    with room.store.database.reading() as session:
        measurement = photos.latest(session, photo_id)
    assert measurement is not None
    assert measurement.software == software()
    assert len(loaded(measurement.result).strips) == 6
    assert room.store.vault.read(measurement.page) == measured().page


def test_photo_that_cannot_be_measured_says_why(room: Room) -> None:
    room.foreman.start()
    found = info(room, send_and_wait(room.join("Bench 1"), "no-card.jpg"))
    assert found.state == "refused"
    assert found.trouble == {
        "code": "no-card", "message": "No calibration card was recognised.", "hint": "Photograph the whole card.",
    }  # fmt: skip


def test_fault_inside_spoils_its_photo_only_and_tells_nothing(room: Room) -> None:
    room.foreman.start()
    bench = room.join("Bench 1")
    broken = info(room, send_and_wait(bench, "crash.jpg"))
    assert broken.trouble is not None
    assert broken.trouble["code"] == "unexpected"
    assert "secret" not in str(broken.trouble)
    assert info(room, send_and_wait(bench)).state == "measured"


def test_what_was_left_over_is_done_at_the_start(room: Room) -> None:
    """One waits, one was in work when the tool was killed: neither needs its lease to run out."""
    bench = room.join("Bench 1")
    send(bench, b"one")
    send(bench, b"two")
    with room.store.database.writing() as session:
        assert photos.claim(session, datetime.now(UTC), timedelta(hours=1)) is not None
    room.foreman.start()
    wait_until(lambda: finished(bench), 60)


def test_newer_software_measures_anew_and_keeps_what_was(room: Room) -> None:
    bench = room.join("Bench 1")
    photo_id = send(bench).json["id"]
    with room.store.database.writing() as session:
        photos.finish(session, photo_id, "0.0.1", b"old", "0" * 64, datetime.now(UTC))
    room.foreman.start()
    wait_until(lambda: finished(bench) and latest_software(room, photo_id) == software())
    with room.store.database.reading() as session:
        session.connection()
        counted = session.connection().exec_driver_sql("SELECT count(*) FROM measurement").scalar()
    assert counted == 2


def latest_software(room: Room, photo_id: str) -> str:
    with room.store.database.reading() as session:
        found = photos.latest(session, photo_id)
    assert found is not None
    return found.software


def test_purge_takes_records_and_files(tmp_path: Path) -> None:
    room = open_room(tmp_path)
    bench = room.join("Bench 1")
    send_and_wait(bench)
    assert len(list((tmp_path / "files").glob("*/*"))) == 2
    with room.store.database.writing() as session:
        practicals.change(session, room.practical, replace(PLAN, keep_days=-1))
    assert room.foreman.purge() == [room.practical]
    assert list((tmp_path / "files").glob("*/*")) == []
    assert bench.get("/work").status_code == 403
    close_room(room)


def test_nothing_is_swept_while_a_photo_is_coming_in(room: Room) -> None:
    """A file that is on disk already, its record not yet there, must outlast a sweep."""
    sweeper = threading.Thread(target=room.foreman.sweep)
    with room.foreman.accepting():
        digest = room.store.vault.put(b"coming in")
        sweeper.start()
        sweeper.join(0.3)
        assert sweeper.is_alive()
        assert room.store.vault.read(digest) == b"coming in"
    sweeper.join(10)
    with pytest.raises(FileNotFoundError):
        room.store.vault.read(digest)


def test_sweeping_leaves_what_records_need(room: Room) -> None:
    room.foreman.start()
    photo_id = send_and_wait(room.join("Bench 1"))
    room.foreman.sweep()
    assert room.store.vault.read(info(room, photo_id).digest) == b"strip 1.jpg"


# --- processes that die


def dies_by_name(data: bytes, name: str, settings: Settings) -> Done | Declined:
    """In a process of its own: ``always`` kills it each time, ``once`` the first time, which a file remembers."""
    mark = Path(data.decode())
    if name.startswith("always") or (name.startswith("once") and not mark.exists()):
        mark.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return Declined("no-card", "", "") if name.startswith("no-card") else known_done()


def known_done() -> Done:
    """Small, so that starting processes is all that takes time."""
    return Done(b"result", b"page")


def hangs(data: bytes, name: str, settings: Settings) -> Done | Declined:
    if name.startswith("hang"):
        time.sleep(600)
    return known_done()


def with_processes(tmp_path: Path, work: object, names: list[str], **changed: float) -> dict[str, PhotoInfo]:
    """Each photo's state after a foreman with real processes has done with all of them."""
    settings = replace(DEFAULTS, room=replace(DEFAULTS.room, **{"look_s": 0.05, **changed}))  # type: ignore[arg-type]
    store = Store(tmp_path / "data")
    ids = {name: str(uuid.uuid4()) for name in names}
    with store.database.writing() as session:
        practical = practicals.create(session, PLAN, datetime.now(UTC), timedelta(hours=1))
        bench, _ = stations.join(session, practical.id, "Bench 1", datetime.now(UTC))
        for name, photo_id in ids.items():
            data = str(tmp_path / f"{name}.mark").encode()
            photos.accept(session, photo_id, bench.id, name, store.vault.put(data), len(data), datetime.now(UTC))
    foreman = Foreman(store, settings, work)  # type: ignore[arg-type]
    foreman.start()

    def states() -> dict[str, PhotoInfo]:
        with store.database.reading() as session:
            return {i.name: i for i in photos.of_station(session, bench.id)}

    wait_until(lambda: all(i.state in {"measured", "refused"} for i in states().values()), 60)
    foreman.stop()
    found = states()
    store.close()
    return found


def test_photo_whose_process_dies_is_tried_again(tmp_path: Path) -> None:
    found = with_processes(tmp_path, dies_by_name, ["once", "good"])
    assert found["once"].state == "measured"
    assert found["once"].tries == 2
    assert found["good"].state == "measured"


def test_photo_that_kills_every_time_is_refused_and_nobody_else(tmp_path: Path) -> None:
    found = with_processes(tmp_path, dies_by_name, ["good 1", "always", "good 2", "good 3", "no-card"])
    assert found["always"].state == "refused"
    assert found["always"].trouble is not None
    assert found["always"].trouble["code"] == "unexpected"
    assert found["always"].tries == DEFAULTS.room.tries
    assert {found[name].state for name in ("good 1", "good 2", "good 3")} == {"measured"}
    assert found["no-card"].trouble is not None
    assert found["no-card"].trouble["code"] == "no-card"


def test_measurement_that_never_ends_is_ended(tmp_path: Path) -> None:
    found = with_processes(tmp_path, hangs, ["hang", "good"], lease_s=10.0, tries=1)
    assert found["hang"].state == "refused"
    assert found["good"].state == "measured"


def test_stopping_leaves_nothing_behind(tmp_path: Path) -> None:
    room = open_room(tmp_path)
    assert [thread.name for thread in threading.enumerate()].count("foreman") == 1
    room.foreman.stop()
    assert "foreman" not in [thread.name for thread in threading.enumerate()]
    bench = room.join("Bench 1")
    send(bench)
    assert not finished(bench)
    again = Foreman(room.store, DEFAULTS, known_work, Inline)
    again.start()
    wait_until(lambda: finished(bench))
    again.stop()
    close_room(room)


# --- the whole tool, killed


ROUNDS = 10
SERVED = """
from pathlib import Path
from webcapture.web.serving import Door, serve
serve(Door(port=0), Path({folder!r}))
"""


def put(port: int, token: str, photo_id: str, data: bytes) -> int:
    """Send a photo over a connection of its own; the status, or 0 where no answer came."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    headers = {"Cookie": f"station={token}", "Content-Type": "image/jpeg", "X-Name": "strip.jpg"}
    try:
        connection.request("PUT", f"{WORK}/photos/{photo_id}", data, headers)
        return connection.getresponse().status
    except (OSError, http.client.HTTPException):
        return 0
    finally:
        connection.close()


def send_until_killed(served: Running, token: str, after_s: float) -> dict[str, bytes]:
    """Upload from three connections, kill the tool with all its processes; what had been acknowledged until then."""
    acknowledged: dict[str, bytes] = {}
    stop = threading.Event()

    def sender(number: int) -> None:
        count = 0
        while not stop.is_set():
            count += 1
            photo_id, data = str(uuid.uuid4()), PHOTO.read_bytes() + b"\0" * (100 * number + count)
            if put(served.port, token, photo_id, data) == 201:
                acknowledged[photo_id] = data

    threads = [threading.Thread(target=sender, args=(number,)) for number in range(3)]
    for thread in threads:
        thread.start()
    wait_until(lambda: len(acknowledged) > 0, 60)  # on a busy machine too
    time.sleep(after_s)
    os.killpg(served.process.pid, signal.SIGKILL)
    stop.set()
    for thread in threads:
        thread.join()
    served.process.communicate()
    return acknowledged


@pytest.mark.slow
def test_every_acknowledged_photo_outlasts_a_kill(tmp_path: Path) -> None:
    store = Store(tmp_path)
    with store.database.writing() as session:
        practical = practicals.create(session, PLAN, datetime.now(UTC), timedelta(hours=1))
        bench, token = stations.join(session, practical.id, "Bench 1", datetime.now(UTC))
    program = SERVED.format(folder=str(tmp_path))
    acknowledged: dict[str, bytes] = {}
    for number in range(ROUNDS):
        acknowledged |= send_until_killed(Running(program), token, 0.03 * number)
    assert len(acknowledged) >= ROUNDS
    with store.database.reading() as session:
        kept = {i.id: i for i in photos.of_station(session, bench.id)}
    assert set(acknowledged) <= set(kept)
    for photo_id, data in acknowledged.items():
        assert kept[photo_id].digest == hashlib.sha256(data).hexdigest()
        assert store.vault.read(kept[photo_id].digest) == data
    last = Running(program)
    try:
        wait_until(lambda: counted(tmp_path, "waiting", "measuring") == 0, 300)
    finally:
        last.stop()
    with store.database.reading() as session:
        assert {photos.find(session, i).state for i in acknowledged} == {"measured"}  # type: ignore[union-attr]
        assert set(photos.latest_of(session, list(acknowledged))) == set(acknowledged)
    store.close()


def counted(folder: Path, *states: str) -> int:
    """How many photos are in one of these states, as another program sees the database."""
    with sqlite3.connect(folder / "records.sqlite3") as database:
        found = [state for (state,) in database.execute("SELECT state FROM photo")]
    return sum(state in states for state in found)


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM])
def test_tool_stops_at_once_in_the_middle_of_measuring(tmp_path: Path, how: signal.Signals) -> None:
    """Ctrl+C in a terminal reaches all processes: nothing complains, and what was in work waits for the next start."""
    store = Store(tmp_path)
    with store.database.writing() as session:
        practical = practicals.create(session, PLAN, datetime.now(UTC), timedelta(hours=1))
        _, token = stations.join(session, practical.id, "Bench 1", datetime.now(UTC))
    store.close()
    served = Running(SERVED.format(folder=str(tmp_path)))
    for number in range(4):
        assert put(served.port, token, str(uuid.uuid4()), PHOTO.read_bytes() + b"\0" * number) == 201
    wait_until(lambda: counted(tmp_path, "measuring") > 0, 60)
    os.killpg(served.process.pid, how) if how is signal.SIGINT else served.process.send_signal(how)
    complaints = served.process.communicate(timeout=30)[1]
    assert served.process.returncode == 0
    assert complaints == ""
    with sqlite3.connect(tmp_path / "records.sqlite3") as database:
        states = {state for (state,) in database.execute("SELECT DISTINCT state FROM photo")}
    assert states <= {"waiting", "measured"}
    assert "waiting" in states, "it measured all of them before it stopped"


def test_processes_are_ready_before_the_first_photo(tmp_path: Path) -> None:
    room = open_room(tmp_path, start=False)
    foreman = Foreman(room.store, DEFAULTS)
    foreman.start()
    wait_until(lambda: len(getattr(foreman._executor, "_processes", None) or {}) == DEFAULTS.room.processes)
    foreman.stop()
    room.store.close()
