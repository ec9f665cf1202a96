"""The vault: a file is there whole or not at all."""

from __future__ import annotations

import hashlib
import os
import random
import shutil
import signal
import stat
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor

import pytest

from tests.house.source import ROOT
from webcapture.store.files import Vault

ROUNDS, MOST_ROUNDS = 15, 60
"""At least so many kills; on a busy machine more, until one has met a file half written."""


def files(folder):
    return sorted(path for path in folder.rglob("*") if path.is_file())


@pytest.fixture
def vault(tmp_path):
    return Vault(tmp_path / "files")


def test_named_by_content(vault, tmp_path):
    """SHA-256 of "abc" as FIPS 180-2, appendix B.1, gives it (from memory)."""
    digest = vault.put(b"abc")
    assert digest == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert vault.read(digest) == b"abc"
    assert [path.name for path in files(tmp_path)] == [digest]


def test_the_same_bytes_are_one_file(vault, tmp_path):
    digests = {vault.put(b"same") for _ in range(3)}
    vault.put(b"other")
    assert len(digests) == 1
    assert len(files(tmp_path)) == 2


def test_the_same_bytes_from_many_threads(vault, tmp_path):
    data = [bytes([n % 3]) * 200_000 for n in range(60)]
    with ThreadPoolExecutor(12) as pool:
        digests = list(pool.map(vault.put, data))
    assert [vault.read(digest) for digest in digests] == data
    assert len(files(tmp_path)) == 3


def test_empty_bytes_are_bytes(vault):
    assert vault.read(vault.put(b"")) == b""


def test_removed_once_and_again(vault, tmp_path):
    digest = vault.put(b"abc")
    vault.remove(digest)
    vault.remove(digest)
    assert files(tmp_path) == []
    with pytest.raises(FileNotFoundError):
        vault.read(digest)
    assert vault.put(b"abc") == digest


@pytest.mark.parametrize(
    "hostile",
    [
        "",
        "..",
        "../../etc/passwd",
        "a" * 63,
        "a" * 65,
        "A" * 64,
        "g" * 64,
        "/" + "a" * 63,
        "a" * 64 + "\n",
        "a" * 32 + "/" + "a" * 31,
    ],
)
def test_what_is_no_digest_is_refused(vault, hostile):
    for use in (vault.read, vault.remove, lambda digest: vault.sweep([digest])):
        with pytest.raises(ValueError, match="digest"):
            use(hostile)


def test_sweeping(vault, tmp_path):
    """What was never finished and what nobody knows goes; what is missing is told; what is known stays."""
    kept, unknown = vault.put(b"kept"), vault.put(b"unknown")
    folder = tmp_path / "files" / kept[:2]
    (folder / "tmp1234.part").write_bytes(b"half")
    (tmp_path / "files" / "stray.txt").write_text("x")
    misplaced = tmp_path / "files" / "zz"
    (misplaced / "deep").mkdir(parents=True)
    (misplaced / kept).write_bytes(b"kept")
    missing = hashlib.sha256(b"missing").hexdigest()
    assert vault.sweep({kept, missing}) == [missing]
    assert files(tmp_path) == [folder / kept]
    assert vault.read(kept) == b"kept"
    with pytest.raises(FileNotFoundError):
        vault.read(unknown)


def test_a_full_disk_leaves_nothing_behind(vault, tmp_path, monkeypatch):
    def full(_):
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", full)
        with pytest.raises(OSError, match="No space"):
            vault.put(b"abc")
    assert files(tmp_path) == []


@pytest.mark.skipif(os.name != "posix", reason="folders are flushed on POSIX systems only")
def test_flushed_before_and_after_the_rename(vault, monkeypatch):
    """The order that makes a file durable: its bytes, then its name, then the folder that holds the name."""
    seen = []
    flush, rename = os.fsync, type(vault._folder).replace

    def flushed(handle):
        seen.append("folder" if stat.S_ISDIR(os.fstat(handle).st_mode) else "file")
        flush(handle)

    def renamed(path, target):
        seen.append("rename")
        return rename(path, target)

    monkeypatch.setattr(os, "fsync", flushed)
    monkeypatch.setattr(type(vault._folder), "replace", renamed)
    vault.put(b"abc")
    assert seen == ["file", "rename", "folder", "folder"]


WRITER = """
import os, sys, pathlib
from webcapture.store.files import Vault
vault = Vault(pathlib.Path(sys.argv[1]))
rest = os.urandom(12_000_000)
print("ready", flush=True)
for n in range(1000):
    print(vault.put(n.to_bytes(4, "big") + rest), flush=True)
"""
DYING = """
import resource, signal, sys, pathlib
from webcapture.store.files import Vault
signal.signal(signal.SIGXFSZ, signal.SIG_DFL)
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[2]), int(sys.argv[2])))
Vault(pathlib.Path(sys.argv[1])).put(bytes(3_000_000))
"""


def killed_while_writing(folder, moment):
    """Digests that a process had been told are on disk before it was killed, so many seconds after it began."""
    run = [sys.executable, "-c", WRITER, str(folder)]
    with subprocess.Popen(run, cwd=ROOT, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout.readline() == "ready\n"
        time.sleep(moment)
        process.kill()
        said = process.stdout.read()
    return {line.strip() for line in said.splitlines(keepends=True) if line.endswith("\n")}


def torn(folder):
    """Final names under which not all of the bytes lie."""
    whole = [path for path in files(folder) if len(path.name) == 64]
    return [path.name for path in whole if hashlib.sha256(path.read_bytes()).hexdigest() != path.name]


def test_a_killed_process_leaves_no_torn_file(tmp_path):
    """Killed at random moments: every file under a final name is whole, and what was promised is there."""
    moments = random.Random(7)
    unfinished = 0
    for n in range(MOST_ROUNDS):
        if n >= ROUNDS and unfinished:
            break
        folder = tmp_path / str(n)
        promised = killed_while_writing(folder, moments.uniform(0.005, 0.15))
        found = files(folder)
        whole = {path.name for path in found if len(path.name) == 64}
        unfinished += len(found) - len(whole)
        assert torn(folder) == []
        assert promised <= whole
        assert Vault(folder).sweep(whole) == []
        assert {path.name for path in files(folder)} == whole
        shutil.rmtree(folder)
    assert unfinished > 0, "no kill met a file half written: the test says nothing"


@pytest.mark.skipif(os.name != "posix", reason="the limit on a file's size is a POSIX one")
@pytest.mark.parametrize("size", [0, 1, 4096, 1_000_001, 2_999_999])
def test_a_process_that_dies_at_a_certain_byte_leaves_no_torn_file(tmp_path, size):
    """The system itself ends the process at that byte (setrlimit, RLIMIT_FSIZE: SIGXFSZ), after writing those before it."""
    run = [sys.executable, "-c", DYING, str(tmp_path), str(size)]
    assert subprocess.run(run, cwd=ROOT, check=False).returncode == -signal.SIGXFSZ
    assert torn(tmp_path) == []
    left = files(tmp_path)
    assert [(path.suffix, path.stat().st_size) for path in left] == [(".part", size)]
    assert Vault(tmp_path).sweep([]) == []
    assert files(tmp_path) == []
