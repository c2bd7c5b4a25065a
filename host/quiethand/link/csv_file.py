"""CSV to motion: whole blocks of lines as numbers at once, and every mistake with its line."""

from __future__ import annotations

import csv
import warnings
from typing import Final

import numpy as np
from numpy.typing import NDArray

from quiethand.bow.model import Setup
from quiethand.errors import InputError
from quiethand.link.csv_header import CLIPPED, Columns, columns_of
from quiethand.motion.block import MotionBlock
from quiethand.motion.building import Builder
from quiethand.motion.calibration import Scales
from quiethand.motion.facts import Damage, RecordingFacts, keep
from quiethand.motion.timed import Rows, TimedGroup, TimedSegment

__all__ = ["CsvMotion"]

LINE_LIMIT: Final = 65_536  # bytes without a line end: no table of numbers has such lines
HEADER_LINES: Final = 1000  # blank lines and comments before the header
_WORDS: Final = {"true": 1.0, "false": 0.0}  # as a notebook writes them


class CsvMotion:
    """Reads one CSV: `feed` bytes, `finish`, `facts`, as the stream of frames does. Bad numbers raise.

    Args:
        where: the file's name, for messages.
    """

    def __init__(self, setup: Setup | None, where: str) -> None:
        self.facts = RecordingFacts(mode="csv")
        self._where = where
        self._builder = Builder(self.facts, setup)
        self._columns: Columns | None = None
        self._held = b""
        self._line = 0  # lines taken so far
        self._plain = True  # no quotes and no words in the columns so far
        self._order = 0
        self._zero_s: float | None = None
        self._last_s = 0.0
        self._segment = TimedSegment(0, "first", 0)

    def feed(self, data: bytes) -> list[MotionBlock]:
        """Take the next bytes.

        Raises:
            InputError: no header, a column missing, a value that is not a finite number, time that runs backward.
        """
        self.facts.bytes_read += len(data)
        whole, newline, rest = (self._held + data).rpartition(b"\n")
        self._held = rest
        if len(rest) > LINE_LIMIT:
            raise InputError(
                f"a line over {LINE_LIMIT} bytes long", where=f"{self._where}: line {self._line + 1}",
                do="is this a CSV of numbers?",
            )  # fmt: skip
        return self._lines(whole + newline) if newline else []

    def finish(self) -> list[MotionBlock]:
        """No more bytes come. A last line without its end counts if it is complete."""
        blocks: list[MotionBlock] = []
        if self._held.strip():
            columns = self._columns
            if columns is not None and self._held.count(columns.delimiter.encode()) < columns.count - 1:
                self.facts.torn_tail = True
                self.facts.bad_lines += 1
                offset = self.facts.bytes_read - len(self._held)
                keep(self.facts.damages, Damage("bad_line", offset, len(self._held), 1, "the last line is cut off"))
            else:
                blocks += self._lines(self._held + b"\n")
        if self._columns is None:
            raise InputError("there is no line in it", where=self._where, do="is this the file you meant?")
        if self._order:
            blocks += self._blocks(self._segment.close())
            self._builder.closed(self._segment)
            self._builder.current(None)
        return blocks

    def _lines(self, data: bytes) -> list[MotionBlock]:
        while self._columns is None:
            if not data:
                return []
            head, _, data = data.partition(b"\n")
            self._line += 1
            self._header(head)
        if not data.strip():
            self._line += data.count(b"\n")
            return []
        numbers = self._quick(data, self._columns) if self._plain else None
        if numbers is None:
            line, numbers = self._careful(data, self._columns)
        else:
            line = np.arange(self._line + 1, self._line + len(numbers) + 1)
        self._line += data.count(b"\n")
        return self._take(numbers, line, self._columns)

    def _header(self, line: bytes) -> None:
        if self._line == 1:
            line = line.removeprefix(b"\xef\xbb\xbf")
        if line.strip() and not line.startswith(b"#"):
            try:
                text = line.decode("utf-8").strip("\r")
            except UnicodeDecodeError:
                where = f"{self._where}: line {self._line}"
                raise InputError("the header is not UTF-8", where=where, do="save it as UTF-8") from None
            self._columns = columns_of(text, self._where)
        elif self._line > HEADER_LINES:
            raise InputError(f"no header in the first {HEADER_LINES} lines", where=self._where, do="write one")

    def _quick(self, data: bytes, columns: Columns) -> NDArray[np.float64] | None:
        """All fields as numbers at once, shape (n, 7 or 9); None where anything is not plain."""
        data = data.replace(b"\r\n", b"\n")
        if b'"' in data or b"\n\n" in data or data.startswith(b"\n"):
            return None
        delimiter = columns.delimiter.encode()
        lines = data.count(b"\n")
        whole = np.frombuffer(data, dtype=np.uint8)
        ends = np.flatnonzero(whole == ord("\n"))
        # One row short of a field and another with one too many would pass unseen by the total alone.
        marks = np.searchsorted(np.flatnonzero(whole == ord(delimiter)), ends)
        if not np.array_equal(marks, (columns.count - 1) * np.arange(1, lines + 1)):
            return None
        flat = data[:-1].replace(b"\n", b",")
        if delimiter != b",":
            if b"," in data:
                return None
            flat = flat.replace(delimiter, b",")
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("error")  # numpy only warns of a field that is no number
                numbers = np.fromstring(flat.decode("ascii"), sep=",")
        except (ValueError, DeprecationWarning, UnicodeDecodeError):
            return None
        if numbers.size != lines * columns.count:
            return None
        return numbers.reshape(lines, columns.count)[:, list(columns.places)]

    def _careful(self, data: bytes, columns: Columns) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
        """Line by line: words in other columns, quotes, blank lines, and the message for what is wrong."""
        lines, rows = [], []
        text = data.decode("utf-8", "replace")
        for number, line in enumerate(text.split("\n")[:-1], self._line + 1):
            if not line.strip() or line.startswith("#"):
                continue
            fields = next(csv.reader([line], delimiter=columns.delimiter), [])
            lines.append(number)
            rows.append([self._number(fields, i, columns, number) for i in range(len(columns.places))])
        self._plain = self._plain and len(rows) == len(text.split("\n")) - 1
        return np.array(lines, dtype=np.int64), np.array(rows, dtype=np.float64).reshape(-1, len(columns.places))

    def _number(self, fields: list[str], i: int, columns: Columns, line: int) -> float:
        name, place = columns.names[i], columns.places[i]
        field = fields[place].strip() if place < len(fields) else ""
        if name in CLIPPED and field.lower() in _WORDS:
            return _WORDS[field.lower()]
        try:
            return float(field)
        except ValueError:
            what = f"{name} is {field[:40]!r}, not a number" if field else f"{name} is missing"
            raise InputError(what, where=f"{self._where}: line {line}", do="mend the line or leave it out") from None

    def _take(self, numbers: NDArray[np.float64], line: NDArray[np.int64], columns: Columns) -> list[MotionBlock]:
        if not len(numbers):
            return []
        if not np.isfinite(numbers).all():
            row, column = np.argwhere(~np.isfinite(numbers))[0]
            raise InputError(
                f"{columns.names[column]} is {numbers[row, column]}, not a finite number",
                where=f"{self._where}: line {line[row]}", do="leave the line out: a gap is dealt with",
            )  # fmt: skip
        time_s = numbers[:, 0] * columns.factors[0]
        steps = np.diff(time_s, prepend=self._last_s if self._zero_s is not None else time_s[0])
        if steps.min() < 0:
            row = int(np.argmax(steps < 0))
            raise InputError(
                f"time runs backward, by {-steps[row]:.6g} s to {time_s[row]:.6g} s",
                where=f"{self._where}: line {line[row]}", do="split the file there: one CSV is one run of time",
            )  # fmt: skip
        if self._zero_s is None:
            self._zero_s = float(time_s[0])
        self._last_s = float(time_s[-1])
        values = numbers[:, 1:] * np.array(columns.factors[1:])
        scale = self._builder.calibrate(Scales(clip_told=columns.names[-2:] == CLIPPED))
        order = np.arange(self._order + 1, self._order + len(numbers) + 1)
        self._order += len(numbers)
        rows = Rows(line, order, time_s - self._zero_s, values, np.full(len(numbers), scale, dtype=np.int64))
        if self.facts.segments == 0:
            self.facts.segments = 1
        blocks = self._blocks(self._segment.push(rows))
        self._builder.current(self._segment)
        return blocks

    def _blocks(self, groups: list[TimedGroup]) -> list[MotionBlock]:
        made = (self._builder.from_times(self._segment, group, lines=True) for group in groups)
        return [block for block in made if block is not None]
