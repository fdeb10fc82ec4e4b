"""Columns of cells as codes into their distinct texts; whole blocks of plain bytes at once."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from growthcast.arrays import IntArray
from growthcast.book.book import Coded

__all__ = ["Coder", "split_block"]

_LONGEST = 30_000
_MOST_WORDS = 4  # cells of more than 32 bytes are read one by one
_HASH = np.uint64(0x9E3779B97F4A7C15)
_MASKS = np.array([(1 << (8 * n)) - 1 for n in range(9)], np.uint64)


class _KeyTable:
    """A hash table from whole numbers above 0 to codes, looked up a block at a time."""

    def __init__(self) -> None:
        self.bits = 10
        self.keys = np.zeros(1 << self.bits, np.uint64)
        self.codes = np.zeros(1 << self.bits, np.int32)
        self.size = 0

    def _slots(self, keys: NDArray[np.uint64]) -> IntArray:
        return ((keys * _HASH) >> np.uint64(64 - self.bits)).astype(np.int64)

    def find(self, keys: NDArray[np.uint64]) -> NDArray[np.int32]:
        """Return each key's code, -1 where the table does not hold it."""
        slots = self._slots(keys)
        held = self.keys[slots]
        codes = self.codes[slots]
        pending = np.flatnonzero(held != keys)
        while pending.size:
            absent = held[pending] == 0
            codes[pending[absent]] = -1
            pending = pending[~absent]
            slots[pending] = (slots[pending] + 1) & (self.keys.size - 1)
            held[pending] = self.keys[slots[pending]]
            codes[pending] = self.codes[slots[pending]]
            pending = pending[held[pending] != keys[pending]]
        return codes

    def add(self, keys: NDArray[np.uint64], codes: NDArray[np.int32]) -> None:
        """Hold distinct keys which the table does not hold yet."""
        self.size += keys.size
        if 2 * self.size > self.keys.size:
            full = self.keys != 0
            keys = np.concatenate([self.keys[full], keys])
            codes = np.concatenate([self.codes[full], codes])
            self.bits = max(self.bits + 1, int(4 * self.size - 1).bit_length())
            self.keys = np.zeros(1 << self.bits, np.uint64)
            self.codes = np.zeros(1 << self.bits, np.int32)
        slots = self._slots(keys)
        while keys.size:
            free = self.keys[slots] == 0
            self.keys[slots[free]] = keys[free]
            placed = self.keys[slots] == keys
            self.codes[slots[placed]] = codes[placed]
            keys, codes = keys[~placed], codes[~placed]
            slots = (slots[~placed] + 1) & (self.keys.size - 1)


@dataclass(frozen=True, slots=True)
class _Cells:
    """Where the cells of one column lie in a block of bytes."""

    block: bytes
    words: NDArray[np.uint64]  # the eight bytes from each place on
    starts: IntArray
    lengths: IntArray

    def text(self, index: int) -> str:
        start = int(self.starts[index])
        return self.block[start : start + int(self.lengths[index])].decode()

    def word(self, number: int) -> NDArray[np.uint64]:
        """Return the cells' n-th eight bytes, 0 where they are shorter."""
        left = np.clip(self.lengths - 8 * number, 0, 8)
        at = np.minimum(self.starts + 8 * number, self.words.size - 1)
        return np.asarray(self.words[at] & _MASKS[left], np.uint64)


def split_block(block: bytes, mark: str, width: int) -> list[_Cells] | None:
    """Return the cells of a block of lines by column; none unless every line is a plain row.

    A plain row has all of its cells, and its first cell has text and is no comment.
    """
    raw = np.frombuffer(block + b"\n" * 8, np.uint8)
    ends = np.flatnonzero((raw[:-8] == ord(mark)) | (raw[:-8] == 10))
    if not ends.size or ends.size % width or block[-1:] != b"\n":
        return None
    starts = np.concatenate([[0], ends[:-1] + 1])
    grid_ends, grid_starts = ends.reshape(-1, width), starts.reshape(-1, width)
    newline = raw[grid_ends] == 10
    if not newline[:, -1].all() or newline[:, :-1].any():
        return None
    first = raw[grid_starts[:, 0]]
    if ((first <= 32) | (first == ord("#")) | (first == ord(mark)) | (first > 126)).any():
        return None
    words = np.ndarray(len(block) + 1, "<u8", raw, strides=(1,)).astype(np.uint64)
    lengths = grid_ends - grid_starts
    if lengths.max() > _LONGEST:
        return None
    return [
        _Cells(block, words, np.ascontiguousarray(grid_starts[:, n]), lengths[:, n].copy())
        for n in range(width)
    ]


@dataclass
class Coder:
    """Collects one column: a code for each cell, and each distinct cell once; 0 is blank."""

    texts: dict[str, int] = field(default_factory=lambda: {"": 0})
    blocks: list[NDArray[np.int32]] = field(default_factory=list)
    tables: dict[int, _KeyTable] = field(default_factory=dict)

    def add(self, cells: tuple[str, ...]) -> None:
        """Add cells one by one."""
        texts = self.texts
        codes = [texts.setdefault(cell, len(texts)) for cell in cells]
        self.blocks.append(np.array(codes, np.int32))

    def add_block(self, cells: _Cells) -> None:
        """Add the cells of a block at once."""
        filled = np.flatnonzero(cells.lengths)
        codes = np.zeros(cells.lengths.size, np.int32)
        if filled.size:
            some = _Cells(cells.block, cells.words, cells.starts[filled], cells.lengths[filled])
            codes[filled] = self._codes(some)
        self.blocks.append(codes)

    def _codes(self, cells: _Cells) -> NDArray[np.int32]:
        count = (int(cells.lengths.max()) + 7) // 8
        if count > _MOST_WORDS:
            texts = self.texts
            each = (cells.text(index) for index in range(cells.starts.size))
            return np.array([texts.setdefault(text, len(texts)) for text in each], np.int32)
        keys = cells.word(0)
        for number in range(1, count):
            # both words become small numbers, which fit into one key together
            high = self._numbered(-2 * number, keys)
            low = self._numbered(1 - 2 * number, cells.word(number))
            keys = (high.astype(np.uint64) << np.uint64(32)) | low.astype(np.uint64)
        table = self.tables.setdefault(count, _KeyTable())
        codes = table.find(keys)
        missing = np.flatnonzero(codes < 0)
        if missing.size:
            fresh, first, back = np.unique(keys[missing], return_index=True, return_inverse=True)
            texts = self.texts
            each = (cells.text(index) for index in missing[first].tolist())
            new = np.array([texts.setdefault(text, len(texts)) for text in each], np.int32)
            table.add(fresh, new)
            codes[missing] = new[back]
        return codes

    def _numbered(self, name: int, keys: NDArray[np.uint64]) -> NDArray[np.int32]:
        """Return a small number above 0 for each distinct key."""
        table = self.tables.setdefault(name, _KeyTable())
        keys = keys + np.uint64(1)  # no bytes of text are all ones, so 0 stays free
        codes = table.find(keys)
        missing = codes < 0
        if missing.any():
            fresh, back = np.unique(keys[missing], return_inverse=True)
            new = np.arange(table.size + 1, table.size + 1 + fresh.size, dtype=np.int32)
            table.add(fresh, new)
            codes[missing] = new[back]
        return codes

    def coded(self) -> Coded:
        """Return the column collected so far."""
        if len(self.texts) == 1:  # a blank column takes no room
            size = sum(block.size for block in self.blocks)
            return Coded(np.broadcast_to(np.int32(0), size), ("",))
        return Coded(np.concatenate(self.blocks), tuple(self.texts))
