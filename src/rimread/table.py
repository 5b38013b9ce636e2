"""Tables as people's spreadsheets write them: CSV read a row at a time, problems told by line.

Read are: UTF-8 with or without a byte order mark, UTF-16 with one, else Windows-1252; commas,
semicolons or tabs between cells; decimal points or commas; a first line ``sep=;``; units in headers
(``d1 (mm)``, ``d1 [µm]``, ``d1_mm``) or cells (``3.42 mm``), converted to the unit asked for.
"""

from __future__ import annotations

import codecs
import csv
import re
import unicodedata
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType

__all__ = ["Problem", "Row", "Table", "open_table"]

_UNITS: Mapping[str, Mapping[str, float]] = {
    "": {},
    "mm": {"mm": 1.0, "μm": 1e-3, "um": 1e-3, "cm": 10.0, "in": 25.4, "inch": 25.4},
    "deg": {"deg": 1.0, "°": 1.0, "degree": 1.0, "degrees": 1.0},
    "HBW": {"hbw": 1.0, "hb": 1.0, "bhn": 1.0},
    "s": {"s": 1.0, "sec": 1.0},
}
"""Unit asked for: units taken and what one of them is in it (an inch is 25.4 mm exactly)."""

_MOST_LETTERS, _MOST_HEADERS = 40, 12  # of a file that a message repeats
_LARGEST = 1e12  # beyond it a number is a slip of the pen in any unit
_MARKS = {".": "point", ",": "comma"}
_DELIMITERS = {";": "semicolon", "\t": "tab", ",": "comma"}

_ANY_UNIT = "|".join(re.escape(unit) for units in _UNITS.values() for unit in units)
_HEADER = re.compile(
    rf"(.+?)\s*(?:\[([^\]]*)\]|\(([^)]*)\)|[/,]\s*({_ANY_UNIT})|(?:\s+in\s+|[\s_]+)({_ANY_UNIT}))"
)
_NUMBER = re.compile(r"([-+]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:e[-+]?\d+)?)\s*([^\d.,]*)")
_GROUPS = re.compile(r"[-+]?\d{1,3}(?:[.,' ]\d{3})+(?:[.,]\d+)?")


@dataclass(frozen=True, slots=True)
class Problem:
    """Why a line of a table, or a folder, is left out.

    Parameters
    ----------
    line : int
        Its number, the first is 1; 0 where it is a folder and no line that is left out.
    message : str
        One sentence.
    texts, others : mapping of str to str
        Cells as in a `Row`, as far as it is known which of them belongs to which column.
    code : str
        What it is, for programs.
    """

    line: int
    message: str
    texts: Mapping[str, str] = field(default_factory=dict, compare=False, repr=False)
    others: Mapping[str, str] = field(default_factory=dict, compare=False, repr=False)
    code: str = "bad-line"

    def __str__(self) -> str:
        return f"line {self.line}: {self.message}" if self.line else self.message


@dataclass(frozen=True, slots=True)
class Row:
    """One line that can be used.

    Parameters
    ----------
    line : int
        Of the file, the first is 1.
    texts : mapping of str to str
        Cell of each column that was asked for, "" when it is empty or there is no such column.
    numbers : mapping of str to float or None
        Of each numeric column, in the unit asked for; None when empty or no such column.
    others : mapping of str to str
        Cells of all other columns by header as written: the lab's own.
    """

    line: int
    texts: Mapping[str, str]
    numbers: Mapping[str, float | None]
    others: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class _Column:
    name: str  # as asked for, else as written
    place: int
    unit: str  # as written, "" when the header names none


@dataclass(frozen=True, slots=True)
class Table:
    """A CSV file whose header has been read and judged.

    Parameters
    ----------
    path : Path
        The file.
    headers : tuple of str
        As written, in order.
    """

    path: Path
    headers: tuple[str, ...]
    _encoding: str
    _delimiter: str
    _header_line: int
    _known: Mapping[str, _Column]
    _others: tuple[_Column, ...]
    _required: frozenset[str]
    _numeric: Mapping[str, str]
    _texts: frozenset[str]

    @property
    def others(self) -> tuple[str, ...]:
        """Headers of the columns that were not asked for."""
        return tuple(column.name for column in self._others)

    def rows(self) -> Iterator[Row | Problem]:
        """Rows in order, one held at a time; empty lines are passed over."""
        numbers = _Numbers(self._delimiter)
        for line, cells in _lines(self.path, self._encoding, self._delimiter):
            if isinstance(cells, Problem):
                yield cells
            elif line > self._header_line and any(cells):
                yield self._row(line, cells, numbers)

    def _row(self, line: int, cells: list[str], numbers: _Numbers) -> Row | Problem:
        texts = dict.fromkeys(self._texts, "")
        too_many = any(cells[len(self.headers) :])
        there = 0 if too_many else len(cells)
        texts |= {name: cells[c.place] for name, c in self._known.items() if c.place < there}
        others = {c.name: cells[c.place] for c in self._others if c.place < there}
        if len(cells) < len(self.headers) or too_many:
            return Problem(
                line,
                f"has {len(cells)} cells and the header {len(self.headers)}; a cell that holds a "
                f"{_DELIMITERS[self._delimiter]} needs quotation marks around it",
                texts,
                others,
            )
        values: dict[str, float | None] = dict.fromkeys(self._numeric)
        for name, column in self._known.items():
            if not texts[name]:
                if name in self._required:
                    return Problem(
                        line, f"{_quoted(self.headers[column.place])} is empty", texts, others
                    )
            elif name in self._numeric:
                try:
                    values[name] = numbers.read(texts[name], self._numeric[name], column.unit, line)
                except ValueError as error:
                    return Problem(
                        line, f"{_quoted(self.headers[column.place])} {error}", texts, others
                    )
        return Row(line, texts, values, others)


def open_table(
    path: Path,
    *,
    required: Collection[str],
    optional: Collection[str] = (),
    numeric: Mapping[str, str] = MappingProxyType({}),
) -> Table:
    """Read and judge the header of a CSV file.

    Parameters
    ----------
    path : Path
        The file.
    required : collection of str
        Columns that must be there, with a value in every row. Names are held against headers
        without regard to capitals, spaces, hyphens, and the unit.
    optional : collection of str
        Columns that may be there.
    numeric : mapping of str to str
        Those of the required and optional columns that hold numbers, with the unit asked for:
        "mm", "deg", "HBW", "s", or "" for a plain number.

    Raises
    ------
    ValueError
        If the file is empty, lacks a required column, has one twice, or names a unit that is none
        of the quantity.
    OSError
        If it cannot be opened.
    """
    wanted = {_key(name): name for name in (*required, *optional)}
    if not set(numeric) <= set(wanted.values()) or not set(numeric.values()) <= set(_UNITS):
        raise ValueError(
            f"numeric columns are among those asked for, their units among {', '.join(_UNITS)} "
            f"(got {dict(numeric)})"
        )
    path = Path(path)
    encoding = _encoding_of(path)
    line, headers, delimiter = _header(path, encoding)
    columns = [_column(place, text, wanted, numeric) for place, text in enumerate(headers)]
    names = [column.name for column in columns]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise ValueError(f"{path}: there are two columns {_quoted(twice[0])} ({_listed(headers)})")
    missing = [name for name in required if name not in names]
    if missing:
        raise ValueError(
            f"{path}: no column {' and none '.join(map(repr, missing))}; line {line} has "
            f"{_listed(headers)}"
        )
    for column in columns:
        if column.name in numeric:
            _factor(column.unit, numeric[column.name], f"{path}: {_quoted(headers[column.place])}")
    known = set(wanted.values())
    return Table(
        path=path,
        headers=tuple(headers),
        _encoding=encoding,
        _delimiter=delimiter,
        _header_line=line,
        _known={column.name: column for column in columns if column.name in known},
        _others=tuple(column for column in columns if column.name not in known),
        _required=frozenset(required),
        _numeric=dict(numeric),
        _texts=frozenset(known),
    )


# -- header ---------------------------------------------------------------------------------------


def _header(path: Path, encoding: str) -> tuple[int, list[str], str]:
    """Line number, headers and delimiter; the first of semicolon, tab, comma that is there."""
    delimiter = ""
    with path.open(encoding=encoding, errors="replace", newline="") as file:
        for line, text in enumerate(file, start=1):
            if line == 1 and text.casefold().startswith("sep="):
                delimiter = text[4:5]
                if delimiter not in _DELIMITERS:
                    raise ValueError(
                        f"{path}: cells are parted by , ; or tab (got {_quoted(text.strip())})"
                    )
            elif text.lstrip().startswith("{"):
                raise ValueError(
                    f"{path} looks like results of rimread measure --json, not like a table: the "
                    "first line of a table names the columns"
                )
            elif text.strip():
                bare = re.sub(r'"[^"]*"', "", text)
                delimiter = delimiter or next((d for d in _DELIMITERS if d in bare), ",")
                break
        else:
            raise ValueError(f"{path}: the file is empty; its first line must name the columns")
    for at, cells in _lines(path, encoding, delimiter):
        if at >= line and not isinstance(cells, Problem):
            while cells and not cells[-1]:  # spreadsheets leave empty columns behind
                cells.pop()
            return at, [text or f"column {k}" for k, text in enumerate(cells, start=1)], delimiter
    raise ValueError(f"{path}: line {line} must name the columns; is a quotation mark missing?")


def _column(
    place: int, header: str, wanted: Mapping[str, str], numeric: Mapping[str, str]
) -> _Column:
    if _key(header) in wanted:
        return _Column(wanted[_key(header)], place, "")
    match = _HEADER.fullmatch(unicodedata.normalize("NFKC", header).casefold())
    if match is None or _key(match[1]) not in wanted:
        return _Column(header, place, "")
    name = wanted[_key(match[1])]
    if name in numeric and match[5] and match[5] not in _UNITS[numeric[name]]:
        return _Column(header, place, "")  # U_hbw is another figure, and no U in a wrong unit
    unit = next((group for group in match.groups()[1:] if group), "")
    return _Column(name, place, unit.strip() if name in numeric else "")


def _listed(headers: Sequence[str]) -> str:
    """Headers as a message tells them, the first of many."""
    more = len(headers) - _MOST_HEADERS
    told = ", ".join(map(_quoted, headers[:_MOST_HEADERS]))
    return f"{told} and {more} more" if more > 0 else told


def _quoted(text: str) -> str:
    """Text of a file in quotation marks, the beginning of a long one."""
    return repr(text if len(text) <= _MOST_LETTERS else f"{text[: _MOST_LETTERS - 1]}…")


def _key(name: str) -> str:
    """A header without what people write differently."""
    return re.sub(r"[\s_-]+", "_", unicodedata.normalize("NFKC", name).casefold().strip())


def _encoding_of(path: Path) -> str:
    """UTF-16 by its mark, UTF-8 when all bytes are, else what Windows spreadsheets write."""
    with path.open("rb") as file:
        if file.read(2) in (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE):
            return "utf-16"
        file.seek(0)
        decoder = codecs.getincrementaldecoder("utf-8")()
        try:
            while piece := file.read(1 << 20):
                decoder.decode(piece)
            decoder.decode(b"", final=True)
        except UnicodeDecodeError:
            return "cp1252"
    return "utf-8-sig"


# -- cells ----------------------------------------------------------------------------------------


def _lines(path: Path, encoding: str, delimiter: str) -> Iterator[tuple[int, list[str] | Problem]]:
    """Number of the line a row starts on, and its cells without surrounding spaces."""
    with path.open(encoding=encoding, errors="replace", newline="") as file:
        reader = csv.reader(file, delimiter=delimiter)
        while True:
            line = reader.line_num + 1
            try:
                cells = next(reader, None)
            except csv.Error as error:
                yield line, Problem(line, f"is no line of a table ({error})")
                continue
            if cells is None:
                return
            if any("\n" in cell or "\r" in cell for cell in cells):
                yield (
                    line,
                    Problem(
                        line,
                        f"a cell runs on to line {reader.line_num}; is a quotation mark missing?",
                    ),
                )
            else:
                yield line, [cell.strip() for cell in cells]


class _Numbers:
    """How a file writes numbers; the first with a decimal mark decides for the rest."""

    def __init__(self, delimiter: str) -> None:
        self._delimiter = delimiter
        self._mark = ""
        self._since = 0

    def read(self, text: str, unit: str, header_unit: str, line: int) -> float:
        """Value in `unit`; a unit in the cell wins over the header's."""
        plain = unicodedata.normalize("NFKC", text).casefold().strip()
        match = _NUMBER.fullmatch(plain)
        if match is None:
            if _GROUPS.fullmatch(plain):
                raise ValueError(
                    f"must be written without marks at thousands (got {_quoted(text)})"
                )
            raise ValueError(f"must be a number (got {_quoted(text)})")
        written, own = match[1], match[2].strip()
        factor = _factor(own or header_unit, unit, "")
        mark = next((m for m in _MARKS if m in written), "")
        if mark == "," and self._delimiter == "," and _GROUPS.fullmatch(written):
            point, whole = written.replace(",", "."), written.replace(",", "")
            raise ValueError(
                f"could be {point} or {whole}; write it with a point (got {_quoted(text)})"
            )
        if mark and self._mark and mark != self._mark:
            raise ValueError(
                f"has a decimal {_MARKS[mark]} where line {self._since} has a decimal "
                f"{_MARKS[self._mark]} (got {_quoted(text)})"
            )
        value = float(written.replace(",", ".")) * factor
        if not abs(value) <= _LARGEST:
            raise ValueError(f"must lie within ±{_LARGEST:g} (got {_quoted(text)})")
        if mark and not self._mark:
            self._mark, self._since = mark, line
        return value


def _factor(written: str, unit: str, where: str) -> float:
    """What one of the unit as written is in the unit asked for."""
    if not written:
        return 1.0
    known = _UNITS[unit]
    plain = unicodedata.normalize("NFKC", written).casefold()  # the micro sign as Greek mu
    if plain not in known:
        taken = ", ".join(known) or "none"
        raise ValueError(f"{where} has the unit {_quoted(written)}; taken are: {taken}".strip())
    return known[plain]
