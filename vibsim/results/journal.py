"""A journal of records that survives whatever stops its writer: append only, every record whole or not there.

A record is magic, number, kind, length, the CRC-32 of what follows, then that. What a kill or a full disk leaves of a
record at the end is cut off when the journal is opened again; nothing before it is ever written again.
"""

from __future__ import annotations

import os
import struct
import time
import zlib
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import IO, NamedTuple

from vibsim.inputs.errors import InputError, VibsimError

HEAD = struct.Struct("<4sqiqI")
MAGIC = b"vsj1"
FLUSH_EVERY = 1.0  # s between forced writes to the disk; a crash of the machine loses no more than that


class Record(NamedTuple):
    kind: int
    number: int
    content: bytes


class Journal:
    """Writer of a journal. One at a time: a second is refused."""

    def __init__(self, path: Path):
        """Open or begin a journal, its folder made if it is not there. Raises VibsimError when another process writes
        it or it cannot be written."""
        self.path = path
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            self._file = path.open("ab", buffering=0)
        except OSError as error:
            raise VibsimError(f"{path}: cannot be written ({error.strerror})") from None
        if not _locked(self._file):
            self._file.close()
            raise VibsimError(f"{path}: another sweep is writing it; wait, or choose another name")
        self._end = _whole_length(path)
        self._file.truncate(self._end)
        self._flushed = time.monotonic()

    def add(self, kind: int, number: int, content: bytes) -> None:
        """Append a record. Raises VibsimError, the journal left as before, when the disk does not take it."""
        whole = HEAD.pack(MAGIC, number, kind, len(content), zlib.crc32(content)) + content
        try:
            written = 0
            while written < len(whole):
                written += self._file.write(whole[written:])
            if time.monotonic() - self._flushed > FLUSH_EVERY:
                self.sync()
        except OSError as error:
            self._file.truncate(self._end)
            raise VibsimError(
                f"{self.path}: cannot be written ({error.strerror}); all that was finished is kept"
            ) from None
        self._end += len(whole)

    def sync(self) -> None:
        os.fsync(self._file.fileno())
        self._flushed = time.monotonic()

    def close(self) -> None:
        if not self._file.closed:
            self.sync()
            self._file.close()

    def __enter__(self) -> Journal:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def _locked(file: IO[bytes]) -> bool:
    """Whether this process alone has the file now."""
    try:
        import fcntl
    except ImportError:  # a system without it
        return True
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def records(path: Path) -> Iterator[Record]:
    """All whole records of a journal, also of one that is being written. Raises InputError for what is none."""
    try:
        with path.open("rb") as file:
            yield from _records(file)
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror})") from None


def _records(file: IO[bytes]) -> Iterator[Record]:
    while True:
        head = file.read(HEAD.size)
        if len(head) < HEAD.size:
            return
        magic, number, kind, length, check = HEAD.unpack(head)
        if magic != MAGIC or length < 0:
            return
        content = file.read(length)
        if len(content) < length or zlib.crc32(content) != check:
            return
        yield Record(kind, number, content)


def _whole_length(path: Path) -> int:
    return sum(HEAD.size + len(record.content) for record in records(path))
