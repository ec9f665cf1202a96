"""The lead: one passphrase for the installation, sessions that expire, and a limit on guesses for all alike."""

from __future__ import annotations

import hashlib
import hmac
import secrets
import unicodedata
from datetime import datetime, timedelta

from sqlalchemy import delete as deletion
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from webcapture.store.stations import digest_of
from webcapture.store.tables import Guess, LeadSession, Setting

PASSPHRASE = "passphrase"
COST = {"n": 2**15, "r": 8, "p": 1, "maxmem": 2**26}
"""Of scrypt (RFC 7914): 32 MB and about a tenth of a second a try, as OWASP's password storage cheat sheet asks at least for
(n = 2^15 with p = 3, or 2^16 with p = 2; from memory); guesses are limited besides."""


def has_passphrase(session: Session) -> bool:
    """Whether one was set."""
    return session.get(Setting, PASSPHRASE) is not None


def set_passphrase(session: Session, words: str) -> None:
    """Set or replace it; every device has to sign in anew."""
    salt = secrets.token_bytes(16)
    value = f"{salt.hex()}:{_hash(words, salt).hex()}"
    session.merge(Setting(name=PASSPHRASE, value=value))
    session.execute(deletion(LeadSession))


def passphrase_is(session: Session, words: str) -> bool:
    """Whether these are the words."""
    row = session.get(Setting, PASSPHRASE)
    if row is None:
        return False
    salt, known = (bytes.fromhex(part) for part in row.value.split(":"))
    return hmac.compare_digest(_hash(words, salt), known)


def sign_in(session: Session, now: datetime, lasts: timedelta) -> str:
    """A token for this device's cookie."""
    token = secrets.token_urlsafe(32)
    session.execute(deletion(LeadSession).where(LeadSession.until < now))
    session.add(LeadSession(token=digest_of(token), until=now + lasts))
    return token


def is_signed_in(session: Session, token: str, now: datetime) -> bool:
    """Whether this token is a lead's and has not expired."""
    row = session.get(LeadSession, digest_of(token))
    return row is not None and now < row.until


def sign_out(session: Session, token: str) -> None:
    """Forget this device."""
    session.execute(deletion(LeadSession).where(LeadSession.token == digest_of(token)))


def guesses_left(session: Session, kind: str, now: datetime, within: timedelta, most: int) -> int:
    """How many wrong tries of that kind are still allowed, over all devices: a limit for each would only ask for many."""
    recent = select(func.count()).select_from(Guess).where(Guess.kind == kind, Guess.at > now - within)
    return max(most - (session.scalar(recent) or 0), 0)


def count_guess(session: Session, kind: str, now: datetime, within: timedelta) -> None:
    """Count a wrong try; old ones are forgotten."""
    session.execute(deletion(Guess).where(Guess.kind == kind, Guess.at < now - 2 * within))
    session.add(Guess(kind=kind, at=now))


def _hash(words: str, salt: bytes) -> bytes:
    # Keyboards differ in how they compose a letter: RFC 8265, 4.2.2, asks for normalisation form C (from memory).
    tidy = unicodedata.normalize("NFC", words.strip())
    return hashlib.scrypt(tidy.encode(), salt=salt, dklen=32, **COST)
