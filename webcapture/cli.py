"""The command line: prints the card, measures photos, shows the demonstration, serves the web tool.

Exit status: 0, all measured; 1, at least one photo could not be measured; 2, wrong usage. Errors go to standard error in
plain words, never as a traceback. What a command needs is loaded by that command, so that help and the card wait for none
of the image libraries.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import warnings
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import webcapture
from webcapture.arguments import Parser, add_address, add_door, command, spot_place
from webcapture.card.layout import LAYOUTS, PAPERS_MM, card_layout
from webcapture.errors import Unexpected, Unreadable, UsageError, WebcaptureError

DONE, SOME_FAILED, WRONG_USAGE = 0, 1, 2
STOPPED, PIPE_CLOSED = 130, 141
"""As shells report a program ended by Ctrl+C, or by a reader that left."""
PNG_DPI = 300

Json = dict[str, Any]


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit status."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")  # a terminal without “ or ± still gets its text
    try:
        with warnings.catch_warnings():
            if not sys.warnoptions:
                # What a library remarks on a photo's metadata is none of its owner's business; python -X dev shows it.
                warnings.simplefilter("ignore")
            status = _run(arguments)
        sys.stdout.flush()
    except BrokenPipeError:
        return _pipe_closed()
    except KeyboardInterrupt:
        _say("Stopped.")
        return STOPPED
    except Exception as fault:
        if sys.flags.dev_mode:
            raise
        return _refuse(_as_usage(fault))
    return status


def _run(arguments: Sequence[str] | None) -> int:
    """Parse and carry out; argparse ends the program by itself after help and version."""
    try:
        options = build_parser().parse_args(arguments)
        status: int = options.run(options)
    except SystemExit as stop:
        return stop.code if isinstance(stop.code, int) else DONE
    return status


# --- commands


def _card(options: argparse.Namespace) -> int:
    from webcapture.card.printing import card_pdf, card_png, geometry_json  # noqa: PLC0415 - see the top

    card = card_layout(options.layout, options.paper)
    ending = options.out.suffix.lower()
    if ending not in {".pdf", ".png"}:
        raise UsageError(f"A card cannot be written as “{options.out.name}”.", "End the file's name in .pdf or .png.")
    write_file(options.out, card_pdf(card) if ending == ".pdf" else card_png(card, options.dpi))
    if options.geometry:
        write_file(options.geometry, (geometry_json(card) + "\n").encode())
    _say(f"Wrote {options.out}. Print it at 100 % and check that its ruler measures 100 mm.")
    return DONE


def _measure(options: argparse.Namespace) -> int:
    from webcapture.report.table import photo_text  # noqa: PLC0415 - see the top

    webcapture.measure_photo  # noqa: B018 - loaded now, so that a missing library is said once
    check_target(options.json, options.photos)
    compared = _compared(options)
    if options.annotated:
        make_folder(options.annotated)
    names = annotated_names(options.photos, options.annotated) if options.annotated else {}
    entries = []
    for n, photo in enumerate(options.photos, 1):
        entry = measured(photo, names.get(n - 1), options.relative_to, compared)
        entries.append(entry)
        _report_progress(n, len(options.photos), entry)
        if options.json is None:
            print(photo_text(entry), end="\n\n" if n < len(options.photos) else "\n", flush=True)
    if options.json is not None:
        write_json(entries, None if options.json == "-" else Path(options.json))
    return SOME_FAILED if any(entry["error"] for entry in entries) else DONE


def _demo(options: argparse.Namespace) -> int:
    from webcapture.demo import run_demo  # noqa: PLC0415 - see the top

    return run_demo(options.out, serve=not options.no_serve, host=options.host, port=options.port)


def _serve(options: argparse.Namespace) -> int:
    from webcapture.web.serving import Door, serve  # noqa: PLC0415 - see the top

    door = Door(options.host, options.port, options.https, tuple(options.trusted_host), options.behind_proxy)
    serve(door, options.data, lang=options.lang)
    return DONE


# --- measuring


Compared = tuple[Any, Any]
"""A plan and a library, see :mod:`webcapture.reference.asked`."""


def _compared(options: argparse.Namespace) -> Compared | None:
    if options.method is None and not options.references:
        return None
    from webcapture.reference.asked import comparison  # noqa: PLC0415 - see the top

    return comparison(options.method, options.references)


def measured(
    photo: Path,
    annotated: Path | None = None,
    relative_to: tuple[int, int, int] | None = None,
    compared: Compared | None = None,
) -> Json:
    """The entry of one photo file; what goes wrong with it stands in the entry. Writes its annotated picture if asked to."""
    from webcapture.report.export import as_dict, error_dict  # noqa: PLC0415 - see the top

    name = photo.name or str(photo)
    try:
        result = webcapture.measure_photo(read_photo_file(photo), name)
        entry = as_dict(result, relative_to)
        if compared is not None:
            from webcapture.report.names import names_dict  # noqa: PLC0415 - only where somebody asked

            entry["names"] = names_dict(result, *compared)
        picture = webcapture.annotated_jpeg(result) if annotated else b""
    except WebcaptureError as error:
        return {**error_dict(name, error), "file": str(photo), "annotated": None}
    except Exception as fault:  # whatever it is, one photo must not cost the others
        return {**error_dict(name, _unexpected(fault)), "file": str(photo), "annotated": None}
    if annotated:
        write_file(annotated, picture)
    return {**entry, "file": str(photo), "annotated": str(annotated) if annotated else None}


def _unexpected(fault: Exception) -> Unexpected:
    if sys.flags.dev_mode:
        raise fault
    message = f"A fault in the program stopped this measurement ({type(fault).__name__}: {fault})."
    return Unexpected(message, f"{Unexpected.default_hint} python -X dev shows where it is.")


def read_photo_file(photo: Path) -> bytes:
    """The file's bytes; raises Unreadable, saying why, for what is not a readable file."""
    if photo.is_dir():
        raise Unreadable(f"“{photo}” is a folder, not a photo.", f"Name the photos in it, for example {photo}/*.jpg.")
    try:
        return photo.read_bytes()
    except FileNotFoundError:
        raise Unreadable(f"There is no file “{photo}”.") from None
    except (OSError, ValueError) as error:
        raise Unreadable(f"The file “{photo}” cannot be read ({_reason(error)}).") from None


def annotated_names(photos: Sequence[Path], folder: Path) -> dict[int, Path]:
    """Where each photo's annotated picture goes, by the photo's place in the list: never one over another, nor over a photo."""
    taken = {_place(photo) for photo in photos}
    names = {}
    for n, photo in enumerate(photos):
        names[n] = next(path for path in _candidates(folder, photo.stem) if _place(path) not in taken)
        taken.add(_place(names[n]))
    return names


def _candidates(folder: Path, stem: str) -> Iterator[Path]:
    yield folder / f"{stem}-annotated.jpg"
    number = 2
    while True:
        yield folder / f"{stem}-{number}-annotated.jpg"
        number += 1


def _place(path: Path) -> str:
    """One name for one file, also where capitals do not count."""
    return os.path.realpath(path).lower()


def _report_progress(n: int, count: int, entry: Json) -> None:
    """A line for each of many photos, and for each that failed."""
    error = entry["error"]
    if error:
        _say(f"{entry['file']}: {error['message']} {error['hint']}".rstrip())
    elif count > 1:
        strips = len(entry["strips"])
        spots = sum(len(lane["spots"]) for strip in entry["strips"] for lane in strip["lanes"])
        _say(f"[{n}/{count}] {entry['file']}: {_count(strips, 'strip')}, {_count(spots, 'spot')}")


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def check_target(target: str | None, photos: Sequence[Path]) -> None:
    """Raise UsageError where the results would be written over one of the photos."""
    if target is not None and _place(Path(target)) in {_place(photo) for photo in photos}:
        raise UsageError(f"The results would be written over the photo “{target}”.", "Give --json another name.")


def write_json(entries: list[Json], target: Path | None) -> None:
    """The entries as JSON text into a file, or alone on standard output for None."""
    text = json.dumps(entries, indent=1, allow_nan=False) + "\n"
    if target is None:
        sys.stdout.write(text)
    else:
        write_file(target, text.encode())


# --- files and words


def write_file(path: Path, data: bytes) -> None:
    """Write a file; raises UsageError, saying what to do, where that is not possible."""
    try:
        path.write_bytes(data)
    except FileNotFoundError:
        raise UsageError(f"There is no folder “{path.parent}”.", "Make it first, or choose another place.") from None
    except OSError as error:
        hint = "Choose another place, or make room there."
        raise UsageError(f"“{path}” cannot be written ({_reason(error)}).", hint) from None


def make_folder(folder: Path) -> None:
    """Make a folder, with those above it, if it is not there; raises UsageError where that is not possible."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UsageError(f"The folder “{folder}” cannot be made ({_reason(error)}).", "Choose another place.") from None


def _reason(error: Exception) -> str:
    return (getattr(error, "strerror", None) or str(error)).lower()


def _as_usage(fault: Exception) -> UsageError:
    """What stopped the program, in words."""
    if isinstance(fault, UsageError):
        return fault
    if isinstance(fault, ImportError):
        return UsageError(f"A library is missing: {fault.name}.", "Install what requirements.txt lists.")
    if isinstance(fault, OSError):
        return UsageError(f"The system refused something: {_reason(fault)}.", "Check the files and folders named.")
    hint = "Please report it; python -X dev shows where."
    return UsageError(f"A fault in the program stopped it ({type(fault).__name__}: {fault}).", hint)


def _say(words: str) -> None:
    print(words, file=sys.stderr, flush=True)


def _refuse(error: UsageError) -> int:
    _say(f"{error.message} {error.hint}".rstrip())
    return WRONG_USAGE


def _pipe_closed() -> int:
    """Whoever read our output has left: say nothing, and keep Python from saying it at exit."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return PIPE_CLOSED


# --- arguments


def build_parser() -> argparse.ArgumentParser:
    """All commands and their arguments; the guide prints them from here."""
    parser = Parser(
        prog="python -m webcapture",
        description="Measures paper chromatograms from photos taken on a printed calibration card.",
    )
    parser.add_argument("--version", action="version", version=f"webcapture {webcapture.__version__}")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)
    _add_card(commands)
    _add_measure(commands)
    _add_demo(commands)
    _add_serve(commands)
    return parser


def _add_card(commands: Any) -> None:
    sub = command(commands, "card", _card, "write the calibration card to print", "Print it at 100 %.")
    sub.add_argument("--layout", choices=LAYOUTS, default="sheet", help="sheet: one wide bay (default); tray: six bays")
    sub.add_argument("--paper", choices=tuple(PAPERS_MM), default="a4", help="size of the page (default: a4)")
    sub.add_argument("--out", type=Path, required=True, metavar="FILE", help="FILE.pdf, or FILE.png")
    sub.add_argument("--dpi", type=int, default=PNG_DPI, metavar="N", help=f"resolution of a PNG (default: {PNG_DPI})")
    sub.add_argument("--geometry", type=Path, metavar="FILE", help="also write where the bays are, as JSON")


def _add_measure(commands: Any) -> None:
    sub = command(commands, "measure", _measure, "measure photos", "Without --json it prints a table.")
    sub.add_argument("photos", nargs="+", type=Path, metavar="PHOTO", help="JPEG, PNG or WebP files")
    sub.add_argument("--json", metavar="FILE", help="write the results as JSON; “-” for standard output")
    sub.add_argument("--annotated", type=Path, metavar="DIR", help="also write an annotated JPEG a photo into DIR")
    sub.add_argument(
        "--method",
        type=Path,
        metavar="FILE",
        help="how the sheets were run and what is in their lanes: also tell what spots are consistent with",
    )
    sub.add_argument(
        "--references",
        action="append",
        default=[],
        metavar="FILE",
        help="references as CSV, or one of the tables that come along: workshop, cations, amino-acids, amino-acids-salt; can be given more than once",
    )
    sub.add_argument(
        "--relative-to", type=spot_place, metavar="BAY.LANE.SPOT", help="also give R_rel to that spot of each photo"
    )


def _add_demo(commands: Any) -> None:
    sub = command(commands, "demo", _demo, "measure the example photos that come with the tool, then serve them")
    sub.add_argument(
        "--out", type=Path, default=Path("demo-out"), metavar="DIR", help="where to write (default: demo-out)"
    )
    sub.add_argument("--no-serve", action="store_true", help="only measure")
    add_address(sub)


def _add_serve(commands: Any) -> None:
    sub = command(commands, "serve", _serve, "serve the web tool", "To let phones in, use --host 0.0.0.0.")
    add_address(sub)
    sub.add_argument(
        "--data",
        type=Path,
        default=Path("data"),
        metavar="DIR",
        help="folder of the records: practicals, photos, results (default: data)",
    )
    sub.add_argument(
        "--lang",
        default="",
        metavar="CODE",
        help="language of every page (default: what each reader's browser asks for)",
    )
    add_door(sub)
