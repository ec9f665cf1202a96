"""The command line: prints the card, measures photos, shows the demonstration, serves the web tool.

Exit status: 0, all measured; 1, at least one photo could not be measured; 2, wrong usage, or something could not be written.
Errors go to standard error in plain words, never as a traceback. What a command needs is loaded by that command, so that help and the card wait for none
of the image libraries.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import warnings
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import webcapture
from webcapture.arguments import Parser, add_address, add_door, command, spot_place
from webcapture.card.layout import LAYOUTS, PAPERS_MM, card_layout
from webcapture.errors import Unexpected, UsageError, WebcaptureError
from webcapture.files import (
    Named,
    annotated_names,
    check_folder,
    check_targets,
    check_writable,
    make_folder,
    read_photo_file,
    reason,
    write_file,
)

DONE, SOME_FAILED, WRONG_USAGE = 0, 1, 2
EXIT_STATUS = (
    "Exit status: 0, all measured; 1, a photo could not be measured; 2, wrong usage, or something could not be written."
)
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
    targets = [Named("the card", options.out, "--out")]
    targets += [Named("the geometry", options.geometry, "--geometry")] if options.geometry else []
    check_targets([], targets)
    for target in targets:
        check_writable(target.path)
    write_file(options.out, card_pdf(card) if ending == ".pdf" else card_png(card, options.dpi))
    if options.geometry:
        write_file(options.geometry, (geometry_json(card) + "\n").encode())
    _say(f"Wrote {options.out}. Print it at 100 % and check that its ruler measures 100 mm.")
    return DONE


def _measure(options: argparse.Namespace) -> int:
    webcapture.measure_photo  # noqa: B018 - loaded now, so that a missing library is said once
    compared = _compared(options)
    names = _targets(options)
    entries, unwritten = [], False
    for n, photo in enumerate(options.photos):
        entry = measured(photo, names.get(n), options.relative_to, compared)
        entries.append(entry)
        unwritten |= n in names and entry["error"] is None and entry["annotated"] is None
        _report_progress(n + 1, len(options.photos), entry)
        _tell(entry, options, last=n + 1 == len(options.photos))
    if options.json is not None:
        unwritten |= not _deliver(entries, options.json)
    if unwritten:
        return WRONG_USAGE
    return SOME_FAILED if any(entry["error"] for entry in entries) else DONE


def _targets(options: argparse.Namespace) -> dict[int, Path]:
    """The annotated pictures' names, by the photos' places; raises UsageError where anything cannot be written, or not without a loss.

    All of it before the first photo is measured: a class set takes minutes.
    """
    sources, folder = _sources(options), options.annotated
    names = annotated_names(options.photos, folder, [source.path for source in sources]) if folder else {}
    results = [] if options.json in {None, "-"} else [Named("the results", Path(options.json), "--json")]
    pictures = [Named("the folder of annotated pictures", folder, "--annotated")] if folder else []
    pictures += [Named("an annotated picture", name, "--annotated") for name in names.values()]
    check_targets(sources, [*pictures, *results])
    if folder:
        make_folder(folder)
    for target in results:
        check_writable(target.path)
    return names


def _sources(options: argparse.Namespace) -> list[Named]:
    """Every file that is read."""
    from webcapture.reference.asked import reference_files  # noqa: PLC0415 - see the top

    found = [Named("the photo", photo) for photo in options.photos]
    found += [Named("the method file", options.method)] if options.method else []
    return found + [Named("the references", file) for file in reference_files(options.references)]


def _tell(entry: Json, options: argparse.Namespace, last: bool) -> None:
    """One photo's table, or, where the numbers go elsewhere, only what they do not say."""
    from webcapture.report.table import photo_text, unrelated  # noqa: PLC0415 - see the top

    if options.json is None:
        print(photo_text(entry), end="\n" if last else "\n\n", flush=True)
    elif words := unrelated(entry):
        _say(f"{entry['file']}: {words}")


def _deliver(entries: list[Json], target: str) -> bool:
    """Write the results as JSON; where that fails after all, onto standard output. Whether they stand where they were to stand."""
    try:
        write_json(entries, None if target == "-" else Path(target))
    except UsageError as error:
        _say(f"{error.message} The results are printed on standard output instead. {error.hint}")
        write_json(entries, None)
        return False
    return True


def _demo(options: argparse.Namespace) -> int:
    from webcapture.demo import run_demo  # noqa: PLC0415 - see the top

    return run_demo(options.out, serve=not options.no_serve, host=options.host, port=options.port)


def _serve(options: argparse.Namespace) -> int:
    from webcapture.web.serving import Door, serve  # noqa: PLC0415 - see the top

    check_folder(options.data)
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
    """The entry of one photo file; what goes wrong with it stands in the entry.

    Writes its annotated picture if asked to; one that cannot be written costs no number, is said, and its place in the entry is None.
    """
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
    return {**entry, "file": str(photo), "annotated": _written(annotated, picture, photo) if annotated else None}


def _written(target: Path, picture: bytes, photo: Path) -> str | None:
    """Where an annotated picture was written; None, after saying why, where it could not be."""
    try:
        write_file(target, picture)
    except UsageError as error:
        _say(f"{photo}: its annotated picture is missing. {error.message} {error.hint}")
        return None
    return str(target)


def _unexpected(fault: Exception) -> Unexpected:
    if sys.flags.dev_mode:
        raise fault
    message = f"A fault in the program stopped this measurement ({type(fault).__name__}: {fault})."
    return Unexpected(message, f"{Unexpected.default_hint} python -X dev shows where it is.")


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


def write_json(entries: list[Json], target: Path | None) -> None:
    """The entries as JSON text into a file, or alone on standard output for None."""
    text = json.dumps(entries, indent=1, allow_nan=False) + "\n"
    if target is None:
        sys.stdout.write(text)
    else:
        write_file(target, text.encode())


# --- words


def _as_usage(fault: Exception) -> UsageError:
    """What stopped the program, in words."""
    if isinstance(fault, UsageError):
        return fault
    if isinstance(fault, ImportError):
        return UsageError(f"A library is missing: {fault.name}.", "Install what requirements.txt lists.")
    if isinstance(fault, OSError):
        where = f" (“{os.fsdecode(fault.filename)}”)" if isinstance(fault.filename, str | bytes) else ""
        return UsageError(
            f"The system refused something: {reason(fault)}{where}.", "Check the files and folders named."
        )
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
    sub = command(commands, "measure", _measure, "measure photos", f"Without --json it prints a table. {EXIT_STATUS}")
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
