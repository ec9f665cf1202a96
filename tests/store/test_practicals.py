"""Practicals and the stations that join them."""

from __future__ import annotations

import re
import threading
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from dataclasses import FrozenInstanceError, replace
from datetime import timedelta

import pytest
import sqlalchemy as sa
from hypothesis import given
from hypothesis import strategies as st

from tests.store.scenario import HOURS, NOON, PLAN, later, photo, practical, station
from webcapture.store import corrections, photos, practicals, purge, stations
from webcapture.store.photos import known_files
from webcapture.store.practicals import ALPHABET, CODE_LENGTH, tidy_code
from webcapture.store.tables import Correction, Measurement, Photo, Station


def rows(session, table):
    return session.scalar(sa.select(sa.func.count()).select_from(table))


# ---- practicals


def test_a_practical_comes_back_as_it_was_planned(database):
    with database.writing() as session:
        made = practical(session)
    assert made.plan == PLAN
    assert (made.created_at, made.join_until) == (NOON, NOON + HOURS)
    with database.reading() as session:
        assert practicals.find(session, made.id) == made
        assert practicals.find(session, "nothing") is None


def test_what_is_handed_out_cannot_be_changed(database):
    with database.writing() as session, pytest.raises(FrozenInstanceError):
        practical(session).join_open = False


def test_the_newest_comes_first(database):
    with database.writing() as session:
        ids = [practical(session, later(days=n)).id for n in (1, 3, 2)]
        assert [found.id for found in practicals.all_of_them(session)] == [ids[1], ids[2], ids[0]]


def test_another_plan(database):
    other = replace(PLAN, title="Third run", lanes=(), keep_days=5, method=replace(PLAN.method, temperature_c=None))
    with database.writing() as session:
        made = practical(session)
        practicals.change(session, made.id, other)
        practicals.change(session, "gone", other)
    with database.reading() as session:
        assert practicals.find(session, made.id) == replace(made, plan=other)


# ---- join codes


def test_no_letter_of_a_code_is_taken_for_another():
    assert len(set(ALPHABET)) == len(ALPHABET) == 27
    assert set(ALPHABET) & set("ILO0125SZ") == set()


def test_codes_are_of_the_alphabet_and_unlike_each_other(sqlite):
    """150 codes hold about 33 of each letter; a letter that never came, or came twice too often, would be no chance."""
    with sqlite.writing() as session:
        codes = [practical(session).join_code for _ in range(150)]
    assert len(set(codes)) == len(codes)
    assert {len(code) for code in codes} == {CODE_LENGTH}
    counts = Counter("".join(codes))
    assert set(counts) == set(ALPHABET)
    assert max(counts.values()) < 2.2 * 150 * CODE_LENGTH / len(ALPHABET)


def test_a_code_in_use_is_drawn_again(sqlite, monkeypatch):
    drawn = iter("AAAAAA" + "AAAAAA" + "BBBBBB")
    monkeypatch.setattr(practicals.secrets, "choice", lambda _: next(drawn))
    with sqlite.writing() as session:
        assert [practical(session).join_code for _ in range(2)] == ["AAAAAA", "BBBBBB"]


@pytest.mark.parametrize(
    "typed", ["{}", " {} ", "{0[0]}{0[1]}{0[2]}-{0[3]}{0[4]}{0[5]}", "{0[0]} {0[1]}\t{0[2]}{0[3]}{0[4]}{0[5]}\n"]
)
def test_a_code_is_found_however_it_is_typed(database, typed):
    with database.writing() as session:
        made = practical(session)
        practical(session)
        for code in (made.join_code, made.join_code.lower()):
            assert practicals.by_code(session, typed.format(code)) == made


@pytest.mark.parametrize("typed", ["", "  ", "-", "%", "______", "' OR 1=1 --", "ABCDE", "\x00", "é" * 50])
def test_nothing_else_is_found(sqlite, typed):
    with sqlite.writing() as session:
        practical(session)
        assert practicals.by_code(session, typed) is None


@given(st.text())
def test_a_tidy_code_is_short_and_stays_as_it_is(code):
    tidy = tidy_code(code)
    assert len(tidy) <= 12
    assert re.fullmatch(r"\w*", tidy)
    assert tidy_code(tidy) == tidy


def test_joining_is_open_for_its_time_only(database):
    with database.writing() as session:
        made = practical(session)
    assert made.joinable(NOON)
    assert made.joinable(NOON + HOURS - timedelta(seconds=1))
    assert not made.joinable(NOON + HOURS)
    with database.writing() as session:
        practicals.set_joining(session, made.id, False, made.join_until)
        assert not practicals.find(session, made.id).joinable(NOON)
        practicals.set_joining(session, made.id, True, later(days=2))
        again = practicals.find(session, made.id)
        practicals.set_joining(session, "gone", True, NOON)
    assert again.joinable(later(days=1))
    assert not again.joinable(later(days=2))
    assert again.join_code == made.join_code


def test_a_new_code_leaves_the_stations(database):
    with database.writing() as session:
        made = practical(session)
        bench, token = stations.join(session, made.id, "Bench 1", NOON)
        practicals.renew_code(session, made.id)
        practicals.renew_code(session, "gone")
        assert practicals.by_code(session, made.join_code) is None
        assert practicals.find(session, made.id).join_code != made.join_code
        assert stations.by_token(session, token) == bench


def test_deleting_takes_everything_along_and_nothing_else(database):
    with database.writing() as session:
        gone, kept = station(session, "Bench 1"), station(session, "Bench 1")
        for n, bench in enumerate((gone, kept)):
            photo(session, bench.id, f"p{n}", content="ab"[n])
            photos.finish(session, f"p{n}", "1.0", b"result", "cd"[n] * 64, NOON)
            corrections.add(session, f"p{n}", {"kind": "front"}, "Bench 1", NOON)
        practicals.delete(session, gone.practical_id)
        practicals.delete(session, gone.practical_id)
        assert (stations.find(session, gone.id), photos.find(session, "p0")) == (None, None)
    with database.reading() as session:
        assert [rows(session, table) for table in (Station, Photo, Measurement, Correction)] == [1, 1, 1, 1]
        assert stations.find(session, gone.id) is None
        assert photos.find(session, "p1").station_id == kept.id
        assert known_files(session) == {"b" * 64, "d" * 64}


# ---- stations


def test_a_station_is_known_by_its_token_alone(database):
    with database.writing() as session:
        made = practical(session)
        one, token = stations.join(session, made.id, "Bench 1", NOON)
        two, other = stations.join(session, made.id, "Bench 2", later(minutes=1))
    assert len({token, other, one.id, two.id}) == 4
    with database.reading() as session:
        assert stations.by_token(session, token) == one
        assert stations.by_token(session, other) == two
        assert stations.find(session, one.id) == one
        for wrong in ("", token[:-1], token.lower(), one.id, stations.digest_of(token)):
            assert stations.by_token(session, wrong) is None
        assert stations.of_practical(session, made.id) == [one, two]


def test_the_token_is_nowhere_in_the_database(sqlite, tmp_path):
    """Who gets hold of the file cannot pose as a station. 32 random bytes are 43 letters of base64 (RFC 4648)."""
    with sqlite.writing() as session:
        bench, token = stations.join(session, practical(session).id, "Bench 1", NOON)
        stored = session.scalar(sa.select(Station.token).where(Station.id == bench.id))
    assert len(token) == 43
    assert stored == stations.digest_of(token)
    content = b"".join(file.read_bytes() for file in tmp_path.glob("records.sqlite3*"))
    assert stored.encode() in content
    assert token.encode() not in content


def test_a_label_that_is_taken_gets_a_number(database):
    with database.writing() as session:
        made, other = practical(session), practical(session)
        labels = [stations.join(session, made.id, "Owls", NOON)[0].label for _ in range(4)]
        elsewhere = stations.join(session, other.id, "Owls", NOON)[0].label
    assert labels == ["Owls", "Owls (2)", "Owls (3)", "Owls (4)"]
    assert elsewhere == "Owls"


def test_many_join_at_once_under_one_label(database):
    with database.writing() as session:
        made = practical(session)
    barrier = threading.Barrier(16)

    def join(_):
        barrier.wait()
        with database.writing() as session:
            return stations.join(session, made.id, "Owls", NOON)[0].label

    with ThreadPoolExecutor(16) as pool:
        labels = list(pool.map(join, range(16)))
    assert set(labels) == {"Owls", *(f"Owls ({n})" for n in range(2, 17))}


def test_a_deleted_station_takes_its_photos_along(database):
    with database.writing() as session:
        bench = station(session)
        photo(session, bench.id)
        stations.delete(session, bench.id)
        stations.delete(session, bench.id)
    with database.reading() as session:
        assert photos.find(session, "p1") is None
        assert practicals.find(session, bench.practical_id) is not None


# ---- what is kept no longer


def test_kept_so_many_days_after_the_last_photo(database):
    """30 days: a practical of day 0 with photos of days 5 and 10 goes after day 40, not after days 30 or 35."""
    with database.writing() as session:
        bench = station(session)
        for n, day in enumerate((10, 5)):
            photo(session, bench.id, f"p{n}", "ab"[n], later(days=day))
        assert purge.overdue(session, later(days=40)) == []
        assert purge.overdue(session, later(days=40, seconds=1)) == [bench.practical_id]


def test_without_photos_counted_from_the_setting_up(database):
    """Stations without photos do not count."""
    with database.writing() as session:
        bench = station(session)
        assert purge.overdue(session, later(days=30)) == []
        assert purge.overdue(session, later(days=30, seconds=1)) == [bench.practical_id]


def test_each_practical_has_its_own_time(database):
    with database.writing() as session:
        short = practical(session, plan=replace(PLAN, keep_days=1))
        long = practical(session, plan=replace(PLAN, keep_days=90))
        photo(session, stations.join(session, long.id, "Bench 1", NOON)[0].id)
        assert purge.purge(session, later(days=60)) == [short.id]
        assert purge.purge(session, later(days=60)) == []
        assert [found.id for found in practicals.all_of_them(session)] == [long.id]
        assert purge.purge(session, later(days=91)) == [long.id]
        assert known_files(session) == set()
