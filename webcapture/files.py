"""Files that the command line reads and writes: whatever is wrong with one is said before anything is measured, or costs nothing else.

Besides ``store/`` the only module that writes to the disk.
"""

from __future__ import annotations

import os
import stat
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from webcapture.errors import Unreadable, UsageError
from webcapture.settings import DEFAULTS

ELSEWHERE = "Choose another place, or make room there."
Marks = frozenset[object]
"""What tells a file from others; two paths that share one of them lead to the same file."""


# --- reading


def read_photo_file(photo: Path, most: int = DEFAULTS.photo.max_bytes) -> bytes:
    """The file's bytes; raises Unreadable, saying why, for what is not a readable file, and TooLarge beyond ``most`` bytes.

    No more than that is ever read: a file says its size, and what has none, such as a pipe or a device, is asked for one byte
    more and then left.
    """
    from webcapture.imaging.photo import check_size  # noqa: PLC0415 - its libraries are loaded only where photos are read

    if photo.is_dir():
        raise Unreadable(f"“{photo}” is a folder, not a photo.", f"Name the photos in it, for example {photo}/*.jpg.")
    try:
        with photo.open("rb") as file:
            check_size(_said_size(file), most)
            data = file.read(most + 1)
    except FileNotFoundError:
        raise Unreadable(f"There is no file “{photo}”.") from None
    except (OSError, ValueError) as error:
        raise Unreadable(f"The file “{photo}” cannot be read ({reason(error)}).") from None
    check_size(len(data), most, all_of_it=False)
    return data


def _said_size(file: IO[bytes]) -> int:
    """Bytes of a file on a disk; 0 of all else, which does not know."""
    told = os.fstat(file.fileno())
    return told.st_size if stat.S_ISREG(told.st_mode) else 0


# --- one file under two names


@dataclass(frozen=True, slots=True)
class Named:
    """A file that the command line names."""

    what: str
    """How people call what is in it: “the photo”, “the results”."""
    path: Path
    option: str = ""
    """Which option names it; only of what is written."""


def check_targets(sources: Iterable[Named], targets: Iterable[Named]) -> None:
    """Raise UsageError where a target would be written over a source, or over another target."""
    taken: dict[object, tuple[Named, bool]] = {}
    for source in sources:
        taken |= dict.fromkeys(marks(source.path), (source, True))
    for target in targets:
        own = marks(target.path)
        for mark in own & taken.keys():
            raise _in_the_way(target, *taken[mark])
        taken |= dict.fromkeys(own, (target, False))


def _in_the_way(target: Named, other: Named, is_source: bool) -> UsageError:
    if is_source:
        message = f"{_capital(target.what)} would be written over {other.what} “{other.path}”."
    else:
        message = f"{_capital(target.what)} and {other.what} would both be written to “{target.path}”."
    return UsageError(message, f"Give {target.option} another name.")


def _capital(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}"


def marks(path: Path) -> Marks:
    """One name for one file, also where capitals do not count; and its number on the disk, which a hard link shares."""
    name: object = os.path.realpath(path).lower()
    try:
        told = path.stat()
    except (OSError, ValueError):
        return frozenset({name})
    # A disk that numbers no files, as some network drives, says 0 of every one.
    return frozenset({name, (told.st_dev, told.st_ino)} if told.st_ino else {name})


def annotated_names(photos: Sequence[Path], folder: Path, others: Iterable[Path] = ()) -> dict[int, Path]:
    """Where each photo's annotated picture goes, by the photo's place in the list: never one over another, a photo or one of ``others``."""
    taken = {mark for path in (*photos, *others) for mark in marks(path)}
    names = {}
    for n, photo in enumerate(photos):
        names[n] = next(path for path in _candidates(folder, photo.stem) if not marks(path) & taken)
        taken |= marks(names[n])
    return names


def _candidates(folder: Path, stem: str) -> Iterator[Path]:
    yield folder / f"{stem}-annotated.jpg"
    number = 2
    while True:
        yield folder / f"{stem}-{number}-annotated.jpg"
        number += 1


# --- writing


def check_writable(path: Path) -> None:
    """Raise UsageError where a file could not be written there. Changes nothing that is there, and leaves nothing behind."""
    real = Path(os.path.realpath(path))
    try:
        if not real.exists():
            with tempfile.TemporaryFile(dir=real.parent):
                pass  # nameless where the system knows how: the one sure way to ask whether files can be made here
        elif real.is_file() or real.is_dir():
            with real.open("ab"):
                pass
        # All else is a pipe or a device, which opening alone may change: writing will show.
    except (OSError, ValueError) as error:
        raise _unwritable(path, error) from None


def write_file(path: Path, data: bytes) -> None:
    """Write a file; raises UsageError, saying what to do, where that is not possible. A new file is there whole or not at all."""
    new = not os.path.lexists(path)
    try:
        path.write_bytes(data)
    except (OSError, ValueError) as error:
        if new and path.is_file():
            path.unlink()
        raise _unwritable(path, error) from None


def _unwritable(path: Path, error: Exception) -> UsageError:
    if not path.parent.exists():
        return UsageError(f"There is no folder “{path.parent}”.", "Make it first, or choose another place.")
    return UsageError(f"“{path}” cannot be written ({reason(error)}).", ELSEWHERE)


def make_folder(folder: Path) -> None:
    """Make a folder, with those above it, if it is not there; raises UsageError where that is not possible."""
    check_folder(folder)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UsageError(f"The folder “{folder}” cannot be made ({reason(error)}).", "Choose another place.") from None


def check_folder(folder: Path) -> None:
    """Raise UsageError where something else than a folder bears that name, or the name of one above it."""
    for part in (folder, *folder.parents):
        if os.path.lexists(part):
            if not part.is_dir():
                message = f"The folder “{folder}” cannot be made: “{part}” is no folder."
                raise UsageError(message, "Name a folder, or a name that is not taken.")
            return


def reason(error: Exception) -> str:
    """Why the system refused something, in its own words."""
    return (getattr(error, "strerror", None) or str(error)).lower()
