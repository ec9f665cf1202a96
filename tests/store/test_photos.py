"""Photos from arrival to result, and the corrections on top."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest
import sqlalchemy as sa

from tests.store.scenario import LEASE, NOON, digest, later, photo, practical, station
from webcapture.store import corrections, photos, stations
from webcapture.store.photos import IdTaken, known_files
from webcapture.store.records import MEASURED, MEASURING, REFUSED, WAITING
from webcapture.store.tables import Correction

TROUBLE = {"code": "no-card", "message": "No card.", "hint": "Lay the strip on the card."}


def finish(session, photo_id="p1", software="1.0", result=b"result", page="e"):
    return photos.finish(session, photo_id, software, result, digest(page), later(minutes=5))


def state(session, photo_id="p1"):
    return photos.find(session, photo_id).state


# ---- accepting


def test_accepting_twice_is_accepting_once(database):
    """A phone that heard no answer sends again: the record of the first time stands, whatever has become of it."""
    with database.writing() as session:
        bench = station(session)
        first, new = photos.accept(session, "p1", bench.id, "a.jpg", digest("a"), 10, NOON)
    assert new
    assert (first.state, first.tries, first.received_at, first.trouble) == (WAITING, 0, NOON, None)
    with database.writing() as session:
        again = photos.accept(session, "p1", bench.id, "b.jpg", digest("a"), 10, later(hours=1))
        assert again == (first, False)
        photos.claim(session, NOON, LEASE)
        finish(session)
        info, new = photos.accept(session, "p1", bench.id, "a.jpg", digest("a"), 10, later(hours=1))
    assert (info.state, new) == (MEASURED, False)


def test_an_id_stands_for_one_photo_of_one_station(database):
    with database.writing() as session:
        bench, other = station(session), station(session)
        photo(session, bench.id)
        for station_id, content in ((bench.id, "b"), (other.id, "a"), (other.id, "b")):
            with pytest.raises(IdTaken) as refused:
                photo(session, station_id, content=content)
            assert refused.value.code == "id-taken"
            assert refused.value.hint
        assert photos.find(session, "p1").digest == digest("a")
        assert photos.of_station(session, other.id) == []


def test_the_same_bytes_under_two_ids_are_two_photos(database):
    with database.writing() as session:
        bench = station(session)
        photo(session, bench.id, "p1")
        photo(session, bench.id, "p2")
        assert len(photos.of_station(session, bench.id)) == 2
        photos.delete(session, "p1")
        assert known_files(session) == {digest("a")}


def test_many_send_the_same_photo_at_once(database):
    with database.writing() as session:
        bench = station(session)
    barrier = threading.Barrier(16)

    def send(_):
        barrier.wait()
        with database.writing() as session:
            return photos.accept(session, "p1", bench.id, "a.jpg", digest("a"), 10, NOON)[1]

    with ThreadPoolExecutor(16) as pool:
        assert sorted(pool.map(send, range(16))) == [False] * 15 + [True]


def test_lists_are_in_order(database):
    with database.writing() as session:
        made = practical(session)
        one, two = (stations.join(session, made.id, "Bench", NOON)[0] for _ in range(2))
        for n, (bench, minute) in enumerate([(one, 3), (two, 2), (one, 1)]):
            photo(session, bench.id, f"p{n}", now=later(minutes=minute))
        photo(session, station(session).id, "elsewhere")
        assert [p.id for p in photos.of_station(session, one.id)] == ["p0", "p2"]
        assert [p.id for p in photos.of_practical(session, made.id)] == ["p2", "p1", "p0"]


# ---- measuring


def test_the_oldest_is_claimed_first_and_each_once(database):
    with database.writing() as session:
        bench = station(session)
        for n, minute in enumerate((3, 1, 2)):
            photo(session, bench.id, f"p{n}", now=later(minutes=minute))
    claimed = []
    for _ in range(4):
        with database.writing() as session:
            claimed.append(photos.claim(session, later(hours=1), LEASE))
    assert [c and c.id for c in claimed] == ["p1", "p2", "p0", None]
    assert {(c.state, c.tries) for c in claimed[:3]} == {(MEASURING, 1)}


def test_many_claim_at_once_and_nobody_twice(database):
    with database.writing() as session:
        bench = station(session)
        for n in range(40):
            photo(session, bench.id, f"p{n}")
    barrier = threading.Barrier(8)

    def claim_all(_):
        barrier.wait()
        mine = []
        while True:
            with database.writing() as session:
                claimed = photos.claim(session, NOON, LEASE)
            if claimed is None:
                return mine
            mine.append(claimed.id)

    with ThreadPoolExecutor(8) as pool:
        claimed = [one for mine in pool.map(claim_all, range(8)) for one in mine]
    assert sorted(claimed) == sorted(f"p{n}" for n in range(40))


def test_a_lease_that_ran_out_is_taken_over(database):
    with database.writing() as session:
        photo(session, station(session).id)
        photos.claim(session, NOON, LEASE)
        assert photos.claim(session, NOON + LEASE, LEASE) is None
        again = photos.claim(session, NOON + LEASE + timedelta(microseconds=1), LEASE)
        assert (again.id, again.tries) == ("p1", 2)
        assert photos.claim(session, NOON + LEASE + timedelta(seconds=1), LEASE) is None


def test_what_is_measured_waits_no_more(database):
    with database.writing() as session:
        photo(session, station(session).id)
        photos.claim(session, NOON, LEASE)
        assert finish(session)
        assert state(session) == MEASURED
        assert photos.claim(session, later(days=1), LEASE) is None
        found = photos.latest(session, "p1")
    assert (found.software, found.result, found.page, found.made_at) == (
        "1.0",
        b"result",
        digest("e"),
        later(minutes=5),
    )


def test_finishing_twice_keeps_the_first(database):
    """Two measured it, because the first one's lease had run out."""
    with database.writing() as session:
        photo(session, station(session).id)
        assert finish(session)
        assert not finish(session, result=b"other", page="f")
        assert photos.latest(session, "p1").result == b"result"
        assert known_files(session) == {digest("a"), digest("e")}


def test_finishing_what_was_deleted(database):
    with database.writing() as session:
        photo(session, station(session).id)
        photos.claim(session, NOON, LEASE)
        photos.delete(session, "p1")
        photos.delete(session, "p1")
        assert not finish(session)
        photos.refuse(session, "p1", TROUBLE)
        photos.put_back(session, "p1")
        assert photos.find(session, "p1") is None
        assert photos.latest(session, "p1") is None
        assert known_files(session) == set()


def test_refusing(database):
    with database.writing() as session:
        photo(session, station(session).id)
        photos.claim(session, NOON, LEASE)
        photos.refuse(session, "p1", TROUBLE)
        assert photos.claim(session, later(days=1), LEASE) is None
    with database.reading() as session:
        assert (photos.find(session, "p1").state, photos.find(session, "p1").trouble) == (REFUSED, TROUBLE)


def test_who_gave_up_late_does_not_undo_a_result(database):
    with database.writing() as session:
        photo(session, station(session).id)
        finish(session)
        photos.refuse(session, "p1", TROUBLE)
        photos.put_back(session, "p1")
        assert (photos.find(session, "p1").state, photos.find(session, "p1").trouble) == (MEASURED, None)


def test_a_result_that_comes_late_counts(database):
    with database.writing() as session:
        photo(session, station(session).id)
        photos.refuse(session, "p1", TROUBLE)
        assert finish(session)
        assert (photos.find(session, "p1").state, photos.find(session, "p1").trouble) == (MEASURED, None)


def test_putting_back(database):
    with database.writing() as session:
        photo(session, station(session).id)
        photos.claim(session, NOON, LEASE)
        photos.put_back(session, "p1")
        assert state(session) == WAITING
        assert photos.claim(session, NOON, LEASE).tries == 2
        photos.refuse(session, "p1", TROUBLE)
        photos.put_back(session, "p1")
        assert state(session) == REFUSED


def test_letting_go_at_the_start(database):
    with database.writing() as session:
        bench = station(session)
        for n in range(4):
            photo(session, bench.id, f"p{n}", now=later(minutes=n))
        for _ in range(3):
            photos.claim(session, NOON, LEASE)
        finish(session, "p0")
        assert photos.let_go(session) == 2
        assert [state(session, f"p{n}") for n in range(4)] == [MEASURED, WAITING, WAITING, WAITING]


def test_measuring_anew_keeps_older_results(database):
    with database.writing() as session:
        bench = station(session)
        for n in range(4):
            photo(session, bench.id, f"p{n}", now=later(minutes=n))
        finish(session, "p0", "1.0")
        finish(session, "p1", "1.1")
        photos.refuse(session, "p2", TROUBLE)
        assert photos.measure_anew(session, "1.1") == 2
        assert photos.measure_anew(session, "1.1") == 0
        assert [state(session, f"p{n}") for n in range(4)] == [WAITING, MEASURED, WAITING, WAITING]
        assert photos.find(session, "p2").trouble is None
        assert photos.latest(session, "p0").software == "1.0"
        assert photos.claim(session, NOON, LEASE).id == "p0"
        assert finish(session, "p0", "1.1", b"newer", "f")
        assert photos.latest(session, "p0").result == b"newer"
        assert known_files(session) >= {digest("e"), digest("f")}


def test_what_a_software_refused_waits_again_only_for_another(database):
    with database.writing() as session:
        bench = station(session)
        photo(session, bench.id, "p0")
        for software, again in (("1.0", 0), ("1.0", 0), ("1.1", 1), ("1.1", 0), ("1.2", 1)):
            assert photos.measure_anew(session, software) == again
            photos.claim(session, NOON, LEASE)
            photos.refuse(session, "p0", TROUBLE)
            assert state(session, "p0") == REFUSED


def test_the_latest_of_many(database):
    with database.writing() as session:
        bench = station(session)
        for n in range(3):
            photo(session, bench.id, f"p{n}")
        finish(session, "p0", "1.0", b"old")
        finish(session, "p1", "1.0", b"one")
        finish(session, "p0", "1.1", b"new")
        found = photos.latest_of(session, ["p0", "p1", "p2", "gone"])
        assert {key: info.result for key, info in found.items()} == {"p0": b"new", "p1": b"one"}
        assert photos.latest_of(session, []) == {}


# ---- corrections


def test_corrections_are_kept_in_their_order(database):
    changes = [
        {"kind": "front", "s_mm": 100.25, "lane": 1},
        {"kind": "name", "label": "½ “leaf”"},
        {"kind": "follow", "key": None},
    ]
    with database.writing() as session:
        photo(session, station(session).id)
        added = [corrections.add(session, "p1", c, "Bench 1", later(seconds=n)) for n, c in enumerate(changes)]
    with database.reading() as session:
        assert corrections.history(session, "p1") == added
        assert corrections.in_force(session, ["p1", "p2"]) == {"p1": added, "p2": []}
        assert [info.change for info in added] == changes
        assert corrections.history(session, "p2") == []


def test_an_undone_correction_stays_in_the_history(database):
    with database.writing() as session:
        photo(session, station(session).id)
        one, two, three = (corrections.add(session, "p1", {"n": n}, "Bench 1", NOON) for n in range(3))
        assert corrections.undo(session, two.id, "p1", "lead", later(minutes=1))
    with database.writing() as session:
        assert not corrections.undo(session, two.id, "p1", "Bench 1", later(minutes=2))
        assert corrections.in_force(session, ["p1"]) == {"p1": [one, three]}
        undone = corrections.history(session, "p1")[1]
    assert (undone.id, undone.change, undone.by) == (two.id, {"n": 1}, "Bench 1")
    assert (undone.undone_at, undone.undone_by) == (later(minutes=1), "lead")


def test_a_correction_is_undone_on_its_own_photo_only(database):
    with database.writing() as session:
        bench = station(session)
        photo(session, bench.id, "p1")
        photo(session, bench.id, "p2")
        made = corrections.add(session, "p1", {}, "Bench 1", NOON)
        assert not corrections.undo(session, made.id, "p2", "Bench 1", NOON)
        assert not corrections.undo(session, made.id + 1, "p1", "Bench 1", NOON)
        assert corrections.in_force(session, ["p1", "p2"]) == {"p1": [made], "p2": []}


def test_corrections_belong_to_a_photo(database):
    with database.writing() as session:
        photo(session, station(session).id)
        corrections.add(session, "p1", {}, "Bench 1", NOON)
        photos.delete(session, "p1")
    with database.reading() as session:
        assert session.scalar(sa.select(sa.func.count()).select_from(Correction)) == 0
    with pytest.raises(sa.exc.IntegrityError), database.writing() as session:
        corrections.add(session, "p1", {}, "Bench 1", NOON)
