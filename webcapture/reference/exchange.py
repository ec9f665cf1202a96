"""Reference values as CSV, in and out; and the published tables that come with the program.

One header line, one line a value, UTF-8. Columns, in any order (required ones marked *):

==================  ========================================================================================
``substance`` *      its name
``mobile_phase`` *   components and proportions, see :mod:`webcapture.reference.method`
``paper`` *          as its packet says
``temperature_c``    °C; empty where not noted
``locating``         locating agent; empty where there is none
``rf`` *             0 to 1
``sd``, ``n``        standard deviation of one value on a new sheet, and the number of values; empty where the source gives none
``sd_within``, ``freedom_within``  standard deviation within one sheet and its degrees of freedom; empty where not known
``colour``, ``colour_hex``  after locating, in words and as #rrggbb
``mark`` *           ``published``, ``own runs`` or ``invented``
``source`` *         where the value can be looked up
==================  ========================================================================================

Semicolons between the cells are read too, then with decimal commas as well as points: spreadsheets write both where the comma
is the decimal sign. On the way out a cell that a spreadsheet would take for a formula gets an apostrophe in front, which is
taken off again on the way in. Nothing is read unless everything can be: all faults are told at once, with their lines.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from importlib.resources import files

from webcapture.errors import UsageError
from webcapture.reference.library import Value
from webcapture.reference.method import MethodUnclear, method_of
from webcapture.settings import DEFAULTS, CompareSettings

COLUMNS = (
    *("substance", "mobile_phase", "paper", "temperature_c", "locating", "rf", "sd", "n"),
    *("sd_within", "freedom_within", "colour", "colour_hex", "mark", "source"),
)
REQUIRED = ("substance", "mobile_phase", "paper", "rf", "mark", "source")
TABLES = ("cations", "amino-acids", "amino-acids-salt", "workshop")
"""What comes with the program: three published tables, and the demonstration's invented dyes."""

LONGEST = 500
"""Characters of a cell; the longest source of the shipped tables has some hundred."""
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "'")
_NUMBER = re.compile(r"[+-]?\d+(?:\.\d+)?(?:e[+-]?\d+)?")
_ANY = method_of("water", "any")
"""Stands in where a line's method cannot be read, so that its other faults are found too."""
NO_NAME = re.compile(r"[\x00-\x1f\x7f\ue000\ufffe\uffff]")
"""Characters that stand in no name."""


@dataclass(frozen=True, slots=True)
class Fault:
    """Something on one line that cannot be read."""

    line: int
    """From 1, the header's; of a value over several lines, its last."""
    text: str


class ImportRefused(UsageError):
    """A file of references with faults; nothing of it was read."""

    default_hint = "Mend these lines and read the file again: nothing was taken over."

    def __init__(self, faults: Sequence[Fault]) -> None:
        super().__init__("\n".join(f"Line {fault.line}: {fault.text}" for fault in faults))
        self.faults = tuple(faults)


def read_csv(data: bytes | str, settings: CompareSettings = DEFAULTS.compare) -> tuple[Value, ...]:
    """The values in a CSV file; raises ImportRefused with all its faults where there are any."""
    text = _text(data, settings.csv_bytes)
    head, _, _ = text.partition("\n")
    apart = ";" if head.count(";") > head.count(",") else ","
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=apart, strict=True)
    faults: list[Fault] = []
    values: list[tuple[int, Value]] = []
    try:
        header = _header(next(reader, []))
        for cells in reader:
            _read_row(cells, header, reader.line_num, apart == ";", values, faults)
    except csv.Error as error:
        faults.append(Fault(reader.line_num, f"The quotes or lines of the file are broken ({error})."))
    faults += _twice(values)
    if faults:
        raise ImportRefused(sorted(faults, key=lambda fault: fault.line))
    return tuple(value for _, value in values)


def write_csv(values: Iterable[Value]) -> str:
    """The values as CSV; reading it gives the same values."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    writer.writerows([_guarded(cell) for cell in _cells(value)] for value in values)
    return out.getvalue()


def shipped(name: str) -> tuple[Value, ...]:
    """One of the tables that come with the program; ``name`` is one of ``TABLES``."""
    if name not in TABLES:
        raise UsageError(f"There is no table “{name}”.", f"Choose one of {', '.join(TABLES)}.")
    return read_csv((files("webcapture.reference") / "tables" / f"{name}.csv").read_bytes())


# ---- in


def _text(data: bytes | str, most: int) -> str:
    """The file's text, without a byte order mark."""
    size = len(data if isinstance(data, bytes) else data.encode())
    if size > most:
        raise ImportRefused([Fault(1, f"The file has {size} bytes, and {most} are read at most.")])
    try:
        text = data.decode("utf-8-sig") if isinstance(data, bytes) else data.removeprefix("\ufeff")
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        raise ImportRefused([Fault(line, "This is not UTF-8: save the file as “CSV UTF-8”.")]) from error
    return text


def _header(cells: Sequence[str]) -> list[str]:
    names = [" ".join(cell.split()).casefold().replace(" ", "_") for cell in cells]
    faults = [f"There is no column “{name}”; the columns are {', '.join(COLUMNS)}." for name in names if name not in COLUMNS]  # fmt: skip
    faults += [f"The column “{name}” is missing." for name in REQUIRED if name not in names]
    faults += [f"The column “{name}” is there twice." for name in dict.fromkeys(names) if names.count(name) > 1]
    if faults:
        raise ImportRefused([Fault(1, fault) for fault in faults])
    return names


def _read_row(
    cells: Sequence[str], header: Sequence[str], line: int, comma: bool, values: list[tuple[int, Value]], faults: list[Fault]
) -> None:  # fmt: skip
    """One line's value onto ``values``, or its faults onto ``faults``; an empty line is none."""
    if not any(cell.strip() for cell in cells):
        return
    if len(cells) != len(header):
        faults.append(Fault(line, f"{len(cells)} cells under {len(header)} columns: put a cell with the separator in it into quotes."))  # fmt: skip
        return
    row = _Row({name: _unguarded(cell.strip()) for name, cell in zip(header, cells, strict=True)}, comma)
    value = row.value()
    if value is not None and not row.troubles:
        values.append((line, value))
    faults += [Fault(line, trouble) for trouble in row.troubles]


class _Row:
    """One line being read, with what is wrong with it."""

    def __init__(self, cells: dict[str, str], comma: bool) -> None:
        self.cells = cells
        self.comma = comma
        self.troubles: list[str] = [f"{name}: a character that no name has." for name, cell in cells.items() if NO_NAME.search(cell)]  # fmt: skip
        self.troubles += [f"{name}: {len(cell)} characters, and {LONGEST} are read at most." for name, cell in cells.items() if len(cell) > LONGEST]  # fmt: skip
        self.troubles += [f"{name}: empty." for name in REQUIRED if not cells[name]]

    def value(self) -> Value | None:
        """The line's value; it counts only where there are no troubles, which are all found on the way."""
        rf, temperature = self.number("rf"), self.number("temperature_c")
        sd, within = self.number("sd"), self.number("sd_within")
        n, freedom = self.whole("n", 1), self.whole("freedom_within", 0)
        try:
            method = method_of(self.cells["mobile_phase"], self.cells["paper"], temperature, self.get("locating"))
        except MethodUnclear as error:
            self.troubles.append(f"{error.message} {error.hint}")
            method = _ANY
        try:
            return Value(
                self.cells["substance"], method, 0.0 if rf is None else rf, self.cells["mark"].casefold(), self.cells["source"], sd=sd, n=n, sd_within=within,
                freedom_within=freedom, colour=self.get("colour"), hex=self.get("colour_hex").casefold(),
            )  # fmt: skip
        except UsageError as error:
            self.troubles.append(error.message)
            return None

    def get(self, name: str) -> str:
        return self.cells.get(name, "")

    def number(self, name: str) -> float | None:
        """The cell's number; None where it is empty or wrong."""
        text = self.get(name)
        plain = text.replace(",", ".") if self.comma else text
        if not text:
            return None
        if not _NUMBER.fullmatch(plain.casefold()) or not math.isfinite(float(plain)):
            say = " Write it with a decimal point." if "," in text else ""
            self.troubles.append(f"{name}: “{text}” is not a number.{say}")
            return None
        return float(plain)

    def whole(self, name: str, otherwise: int) -> int:
        """The cell's whole number."""
        text = self.get(name)
        if not text:
            return otherwise
        if not text.isascii() or not text.isdigit() or len(text) > 9:
            self.troubles.append(f"{name}: “{text[:20]}” is not a whole number.")
            return otherwise
        return int(text)


def _twice(values: Sequence[tuple[int, Value]]) -> Iterator[Fault]:
    first: dict[object, int] = {}
    for line, value in values:
        if value.identity in first:
            yield Fault(line, f"{value.substance} stands on line {first[value.identity]} already, under the same method from the same source.")  # fmt: skip
        first.setdefault(value.identity, line)


def _unguarded(cell: str) -> str:
    return cell[1:] if cell[:1] == "'" and cell[1:].startswith(_FORMULA) else cell


# ---- out


def _cells(value: Value) -> list[str]:
    method = value.method
    numbers = (value.rf, value.sd, value.n, value.sd_within, value.freedom_within or None)
    rf, sd, n, within, freedom = ("" if number is None else str(number) for number in numbers)
    temperature = "" if method.temperature_c is None else str(method.temperature_c)
    return [
        value.substance, method.mobile_phase.text, method.paper, temperature, method.locating, rf, sd, n,
        within, freedom, value.colour, value.hex, value.mark, value.source,
    ]  # fmt: skip


def _guarded(cell: str) -> str:
    """A cell that no spreadsheet takes for a formula; a plain number is none."""
    return f"'{cell}" if cell.startswith(_FORMULA) and not _NUMBER.fullmatch(cell) else cell
