"""The lead's passphrase, sessions, and the limit on guesses."""

from __future__ import annotations

import hashlib
import unicodedata
from datetime import timedelta

import pytest
import sqlalchemy as sa

from tests.store.scenario import NOON, later
from webcapture.store import lead
from webcapture.store.tables import Guess, LeadSession, Setting

WORDS = "grün wie ein Blatt"
DAY = timedelta(hours=12)
WITHIN = timedelta(minutes=10)


def test_the_passphrase(database):
    with database.writing() as session:
        assert not lead.has_passphrase(session)
        assert not lead.passphrase_is(session, "")
        assert not lead.passphrase_is(session, WORDS)
        lead.set_passphrase(session, WORDS)
    with database.reading() as session:
        assert lead.has_passphrase(session)
        assert lead.passphrase_is(session, WORDS)
        for wrong in ("", WORDS[:-1], WORDS + "x", WORDS.upper(), WORDS.replace("ü", "u")):
            assert not lead.passphrase_is(session, wrong)


def test_however_a_keyboard_composes_it(sqlite):
    """ "ü" is one character or two; phones add a space behind a word that they completed."""
    with sqlite.writing() as session:
        lead.set_passphrase(session, unicodedata.normalize("NFD", WORDS))
        assert lead.passphrase_is(session, unicodedata.normalize("NFC", WORDS) + " ")


def test_only_a_salted_hash_is_kept(sqlite):
    """scrypt as Python's own library has it (RFC 7914), with a salt of its own each time."""
    stored = []
    for _ in range(2):
        with sqlite.writing() as session:
            lead.set_passphrase(session, WORDS)
            stored.append(session.get(Setting, lead.PASSPHRASE).value)
    assert stored[0] != stored[1]
    salt, known = (bytes.fromhex(part) for part in stored[1].split(":"))
    assert len(salt) >= 16
    assert known == hashlib.scrypt(WORDS.encode(), salt=salt, n=2**15, r=8, p=1, dklen=32, maxmem=2**26)


def test_scrypt_of_the_standard():
    """RFC 7914, section 12: scrypt("pleaseletmein", "SodiumChloride", 16384, 8, 1), first bytes (from memory)."""
    found = hashlib.scrypt(b"pleaseletmein", salt=b"SodiumChloride", n=16384, r=8, p=1, dklen=64)
    assert found.hex().startswith("7023bdcb3afd7348461c06cd81fd38eb")


def test_a_session_lasts_its_time(database):
    with database.writing() as session:
        token = lead.sign_in(session, NOON, DAY)
    with database.reading() as session:
        assert lead.is_signed_in(session, token, NOON)
        assert lead.is_signed_in(session, token, NOON + DAY - timedelta(seconds=1))
        assert not lead.is_signed_in(session, token, NOON + DAY)
        for wrong in ("", token[:-1], token + "x"):
            assert not lead.is_signed_in(session, wrong, NOON)
        assert token not in session.scalars(sa.select(LeadSession.token)).all()


def test_sessions_that_ended_are_forgotten(database):
    with database.writing() as session:
        lead.sign_in(session, NOON, DAY)
        lead.sign_in(session, later(days=1), DAY)
        assert session.scalar(sa.select(sa.func.count()).select_from(LeadSession)) == 1


def test_signing_out_is_for_one_device(database):
    with database.writing() as session:
        one, two = lead.sign_in(session, NOON, DAY), lead.sign_in(session, NOON, DAY)
        lead.sign_out(session, one)
        lead.sign_out(session, one)
        assert not lead.is_signed_in(session, one, NOON)
        assert lead.is_signed_in(session, two, NOON)


def test_another_passphrase_signs_everybody_out(database):
    with database.writing() as session:
        lead.set_passphrase(session, WORDS)
        tokens = [lead.sign_in(session, NOON, DAY) for _ in range(3)]
        lead.set_passphrase(session, "another one entirely")
        assert [lead.is_signed_in(session, token, NOON) for token in tokens] == [False] * 3
        assert not lead.passphrase_is(session, WORDS)
        assert lead.passphrase_is(session, "another one entirely")


def left(session, kind="passphrase", now=NOON, most=5):
    return lead.guesses_left(session, kind, now, WITHIN, most)


def test_guesses_are_counted_over_all_devices(database):
    """Nothing of a device is even given: five wrong tries are five, whoever made them."""
    with database.writing() as session:
        seen = [left(session)]
        for n in range(6):
            lead.count_guess(session, "passphrase", later(seconds=n), WITHIN)
            seen.append(left(session, now=later(seconds=n)))
    assert seen == [5, 4, 3, 2, 1, 0, 0]


def test_guesses_are_forgotten_after_their_time(database):
    with database.writing() as session:
        for n in range(3):
            lead.count_guess(session, "passphrase", later(minutes=4 * n), WITHIN)
        assert [left(session, now=later(minutes=m)) for m in (8, 9, 10, 14, 18)] == [2, 2, 3, 4, 5]


def test_kinds_of_guesses_are_counted_each_for_itself(database):
    with database.writing() as session:
        lead.count_guess(session, "passphrase", NOON, WITHIN)
        lead.count_guess(session, "code", later(minutes=5), timedelta(seconds=30))
        assert left(session, "code", later(minutes=5)) == 4
        assert left(session, "passphrase", later(minutes=5)) == 4


def test_old_guesses_do_not_pile_up(database):
    with database.writing() as session:
        for n in range(10):
            lead.count_guess(session, "code", later(hours=n), WITHIN)
        assert session.scalar(sa.select(sa.func.count()).select_from(Guess)) == 1


@pytest.mark.parametrize("words", ["", " ", "x" * 10_000, "\x00", "🌿🌿🌿🌿🌿"])
def test_any_text_can_be_tried(sqlite, words):
    with sqlite.writing() as session:
        lead.set_passphrase(session, WORDS)
        assert not lead.passphrase_is(session, words)
