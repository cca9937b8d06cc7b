"""Walk the tables of a TIFF (classic and BigTIFF, both byte orders) within fixed bounds.

A TIFF is a chain of tables (image file directories); each entry names a tag, a type, a count and
either the value or where it lies. Exif blocks use the same tables. Nothing here trusts a count: a
value must lie inside the file, and lists are bounded.
"""

import struct
from collections.abc import Iterator
from dataclasses import dataclass, field
from math import isfinite

from imaging_requests.imaging.files.byte_source import ByteSource
from imaging_requests.imaging.files.refusals import damaged, truncated

TYPE_BYTES = {
    1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4,
    16: 8, 17: 8, 18: 8,
}  # fmt: skip
NUMBER_CODES = {
    1: "B", 3: "H", 4: "I", 6: "b", 7: "B", 8: "h", 9: "i", 11: "f", 12: "d", 13: "I",
    16: "Q", 17: "q", 18: "Q",
}  # fmt: skip
MAX_ENTRIES = 4_096
MAX_TABLES = 1_000
REAL_KINDS = (11, 12)
MAX_NUMBERS = 1_000_000
MAX_TEXT_BYTES = 65_536


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry of a table: the type, the count, and the position of its value in the file."""

    tag: int
    kind: int
    count: int
    value_at: int

    @property
    def value_bytes(self) -> int:
        """Length of the value in bytes."""
        return TYPE_BYTES[self.kind] * self.count


@dataclass(frozen=True, slots=True)
class Table:
    """One directory: its entries by tag, where it ends and where the next one is (0 = none)."""

    reader: "TableReader"
    entries: dict[int, Entry]
    end_at: int
    next_at: int

    def whole(self, tag: int, default: int) -> int:
        """Return the first whole number of a tag, or ``default`` if the tag is absent."""
        values = self.wholes(tag)
        return values[0] if values else default

    def wholes(self, tag: int) -> tuple[int, ...]:
        """Return all values of a tag of whole numbers; of any other kind, an empty tuple."""
        entry = self.entries.get(tag)
        if entry is None or entry.kind in REAL_KINDS:
            return ()
        return self.reader.numbers(entry)

    def ratio(self, tag: int) -> float | None:
        """Return the first fraction of a tag, or None if absent or without a sensible value."""
        entry = self.entries.get(tag)
        if entry is None or entry.count < 1:
            return None
        if entry.kind not in (5, 10):
            values = self.reader.numbers(entry)
            return float(values[0]) if values and isfinite(values[0]) else None
        code = "II" if entry.kind == 5 else "ii"
        raw = self.reader.source.read(entry.value_at, 8, f"tag {tag}")
        above, below = struct.unpack(self.reader.order + code, raw)
        return above / below if below else None

    def text(self, tag: int) -> str:
        """Return a text tag without padding, or an empty string."""
        return self.raw(tag, MAX_TEXT_BYTES).split(b"\0")[0].decode("utf-8", "replace").strip()

    def raw(self, tag: int, limit_bytes: int) -> bytes:
        """Return the bytes of a tag, or nothing if it is absent or longer than the limit."""
        entry = self.entries.get(tag)
        if entry is None or entry.value_bytes > limit_bytes:
            return b""
        return self.reader.source.read(entry.value_at, entry.value_bytes, f"tag {tag}")


@dataclass(slots=True)
class TableReader:
    """Reads tables from a source; ``base`` is where offsets count from (Exif inside JPEG: > 0)."""

    source: ByteSource
    order: str
    is_big: bool
    base: int = 0
    seen: set[int] = field(default_factory=set)

    def table(self, offset: int, what: str) -> Table:
        """Read the table at ``offset``.

        Raises ``HeaderError`` if it lies outside the file, was read before (a loop), or holds more
        entries than any picture needs.
        """
        start = self.base + offset
        if start in self.seen:
            raise damaged(f"{what} points back to a table that was read before")
        self.seen.add(start)
        if start >= self.source.size_bytes:
            raise truncated(
                f"{what} should begin at byte {start:,}", actual_bytes=self.source.size_bytes
            )
        head, entry_bytes, link_bytes = (8, 20, 8) if self.is_big else (2, 12, 4)
        (count,) = self._unpack("Q" if self.is_big else "H", start, head, what)
        if count == 0 or count > MAX_ENTRIES:
            raise damaged(f"{what} claims {count:,} entries")
        raw = self.source.read(start + head, count * entry_bytes, what)
        entries: dict[int, Entry] = {}
        for number in range(count):
            entry = self._entry(raw, number, start + head)
            if entry is not None:
                entries.setdefault(entry.tag, entry)
        link_at = start + head + count * entry_bytes
        link = self.source.peek(link_at, link_bytes)
        next_at = 0
        if len(link) == link_bytes:
            (next_at,) = struct.unpack(self.order + ("Q" if self.is_big else "I"), link)
        return Table(self, entries, link_at + link_bytes, next_at)

    def chain(self, offset: int, what: str) -> Iterator[Table]:
        """Yield the table at ``offset`` and those that follow it, ``MAX_TABLES`` at the most.

        Raises ``HeaderError`` for a table that is damaged or was read before.
        """
        table = self.table(offset, what)
        yield table
        for number in range(2, MAX_TABLES + 1):
            if not table.next_at:
                return
            table = self.table(table.next_at, f"the table of picture {number}")
            yield table

    def numbers(self, entry: Entry) -> tuple[int, ...]:
        """Return all numbers of an entry; texts and fractions give an empty tuple."""
        code = NUMBER_CODES.get(entry.kind)
        if code is None:
            return ()
        if entry.count > MAX_NUMBERS:
            raise damaged(f"tag {entry.tag} claims {entry.count:,} values")
        raw = self.source.read(entry.value_at, entry.value_bytes, f"the list of tag {entry.tag}")
        return struct.unpack(f"{self.order}{entry.count}{code}", raw)

    def _entry(self, raw: bytes, number: int, table_at: int) -> Entry | None:
        width, count_code, inline = (20, "Q", 8) if self.is_big else (12, "I", 4)
        at = number * width
        tag, kind = struct.unpack_from(self.order + "HH", raw, at)
        (count,) = struct.unpack_from(self.order + count_code, raw, at + 4)
        if kind not in TYPE_BYTES:
            return None
        value_at = table_at + at + width - inline
        if TYPE_BYTES[kind] * count > inline:
            (offset,) = struct.unpack_from(self.order + count_code, raw, at + width - inline)
            value_at = self.base + offset
        return Entry(tag, kind, count, value_at)

    def _unpack(self, code: str, offset: int, count: int, what: str) -> tuple[int, ...]:
        return struct.unpack(self.order + code, self.source.read(offset, count, what))


def open_tables(source: ByteSource, base: int = 0) -> tuple[TableReader, int]:
    """Read the eight or sixteen bytes that begin a TIFF; return the reader and the first offset.

    Raises ``HeaderError`` if the bytes are not the beginning of a TIFF.
    """
    head = source.read(base, 8, "the head of the file")
    order = {b"II": "<", b"MM": ">"}.get(head[:2])
    if order is None:
        raise damaged("its head names no byte order")
    (version,) = struct.unpack(order + "H", head[2:4])
    if version == 43:
        head = source.read(base, 16, "the head of the file")
        offset_bytes, zero = struct.unpack(order + "HH", head[4:8])
        if (offset_bytes, zero) != (8, 0):
            raise damaged("its BigTIFF head is not valid")
        return TableReader(source, order, True, base), struct.unpack(order + "Q", head[8:])[0]
    if version != 42:
        raise damaged(f"its head carries the number {version} instead of 42 or 43")
    return TableReader(source, order, False, base), struct.unpack(order + "I", head[4:])[0]
