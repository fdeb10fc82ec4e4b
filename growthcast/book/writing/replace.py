"""Replacing files of a book: under its lock, whole or not at all, each change in the journal.

The order is: read and compare, write temporary files beside their targets and flush them to the
disk, write the journal's line, then rename. A process killed in between leaves every file whole,
old or new; the next writer completes or sweeps away what it left beside them.
"""

from __future__ import annotations

import contextlib
import errno
import os
import time
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from growthcast.book.files import FILES
from growthcast.book.findings import refusal
from growthcast.book.words import printable
from growthcast.book.writing import journal
from growthcast.errors import FileChanged, NotWritten, UsageError

Files = Mapping[str, bytes | None]
"""Bytes of files by name, ``None`` for one that is not there."""
_TRIES, _PAUSE_S = 6, 0.1  # a file open elsewhere may be let go of within half a second


def read_file(folder: Path, name: str) -> bytes | None:
    """Return a file's bytes as they are now, ``None`` where there is no such file.

    ``NotWritten`` where it is there and cannot be read.
    """
    try:
        return (folder / name).read_bytes()
    except FileNotFoundError:
        return None
    except OSError as error:
        raise _trouble(name, error) from error


def replace_files(
    folder: Path, new: Files, old: Files, said: journal.Entry = journal.Entry()
) -> journal.Entry:
    """Replace files of a book, all under its lock, each in one step; return the journal's entry.

    The lock may be held already by this thread (``with book_lock(folder): ...``), which is how a
    caller reads, decides and replaces without another writer in between::

        with book_lock(folder):
            old = {"tanks.csv": read_file(folder, "tanks.csv")}
            said = Entry("import", "2 tanks from practice.xlsx")
            replace_files(folder, {"tanks.csv": new}, old, said)

    Parameters
    ----------
    folder
        The book's folder.
    new
        The whole new bytes of each file by its plain name, as ``trims.csv``; ``None`` removes it.
        Files whose bytes do not change are left alone.
    old
        The bytes from which the new ones were made, ``None`` for a file that was not there; one
        for each name in ``new``.
    said
        What the journal says of the change; its id, its time and its files are added here.

    Raises
    ------
    FileChanged
        A file is not what ``old`` says: read it again, decide again. Nothing was changed.
    NotWritten
        No permission, no room, a file open elsewhere (also where a spreadsheet's own mark beside
        it says so), the lock taken: a sentence says which.
        Nothing was changed: files already replaced were put back, or are named.
    ValueError
        A name that is no plain file name.
    """
    for name in new:  # text from a person never becomes a path
        kept = name in {"", "..", journal.JOURNAL, journal.LOCK}
        if kept or name != Path(name).name or {"\\", "\0", ":"} & {*name}:
            raise ValueError(f"{name!r} is not a plain file name")
    with journal.book_lock(folder):
        for name in new:
            _compare(name, read_file(folder, name), old[name])
        _closed_elsewhere(folder, new)
        changed = {name: data for name, data in new.items() if data != old[name]}
        splices = {name: journal.splice_of(old[name], data) for name, data in changed.items()}
        entry = said.stamped(splices)
        if changed:
            _carry_out(folder, old, changed, entry)
        return entry


def write_new(folder: Path, files: Mapping[str, bytes], summary: str) -> None:
    """Write the files of a new book into a folder, made if it is not there; raise as above."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        reason = error.strerror or "no reason given"
        raise NotWritten(f"the folder {folder} cannot be made ({reason})") from error
    replace_files(folder, files, dict.fromkeys(files), journal.Entry("start", summary))


def _closed_elsewhere(folder: Path, names: Iterable[str]) -> None:
    """Refuse a file that a spreadsheet says it has open: its next save would write over ours."""
    for name in names:
        for mark in (f".~lock.{name}#", f"~${name}"):
            if (folder / mark).exists():
                raise NotWritten(refusal("open-in-spreadsheet", name=name, mark=mark))


def _compare(name: str, now: bytes | None, old: bytes | None) -> None:
    if now != old:
        raise FileChanged(refusal("changed-meanwhile", name=name))


def _carry_out(folder: Path, old: Files, new: Files, entry: journal.Entry) -> None:
    """Write the temporary files, the journal's line and then the files themselves."""
    targets = {name: (folder / name).resolve() for name in new}  # a link stays a link
    written: list[Path] = []
    done: list[str] = []
    size: int | None = None
    name = next(iter(new))
    try:
        for name, data in new.items():
            if targets[name].exists() and not os.access(targets[name], os.W_OK):
                raise PermissionError(errno.EACCES, "the file is write-protected")
            written.append(journal.temporary(targets[name]))
            _write(written[-1], data or b"", targets[name])
        name = journal.JOURNAL
        size = journal.append_line(folder, entry)
        for name, data in new.items():
            _compare(name, read_file(folder, name), old[name])
            _put(targets[name], has_bytes=data is not None)
            done.append(name)
    except (OSError, NotWritten) as error:
        _put_back(targets, {name: old[name] for name in done})
        for leftover in written:
            with contextlib.suppress(OSError):
                leftover.unlink(missing_ok=True)
        if size is not None:
            with contextlib.suppress(OSError):
                journal.shorten(folder, size)
        if isinstance(error, NotWritten):
            raise
        raise _trouble(name, error) from error
    for parent in {target.parent for target in targets.values()} | {folder}:
        _flush_folder(parent)


def _write(path: Path, data: bytes, like: Path | None = None, mode: int = 0o666) -> None:
    """Write a new file, with the permissions of another where that is there, onto the disk."""
    path.unlink(missing_ok=True)
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
    with journal.opened(path, flags, mode) as stream:
        if like and like.exists() and hasattr(os, "fchown"):
            seen = like.stat()
            with contextlib.suppress(OSError):  # an owner is kept where one may give files away
                os.fchown(stream, seen.st_uid, seen.st_gid)
            with contextlib.suppress(OSError):
                os.fchmod(stream, seen.st_mode & 0o7777)
        journal.write_all(stream, data)


def _put(target: Path, *, has_bytes: bool) -> None:
    """Rename a temporary file to its target, or remove the target; wait a little where held."""
    for attempt in range(_TRIES):
        try:
            if has_bytes:
                os.replace(journal.temporary(target), target)  # noqa: PTH105 - the atomic call itself
            else:
                target.unlink(missing_ok=True)
                journal.temporary(target).unlink(missing_ok=True)
        except PermissionError:  # on some systems a file open elsewhere cannot be replaced
            if attempt == _TRIES - 1:
                raise
            time.sleep(_PAUSE_S)
        else:
            return


def _put_back(targets: Mapping[str, Path], old: Files) -> None:
    """Put files back that were replaced before a later one could not be."""
    for name, data in old.items():
        try:
            if data is not None:
                _write(journal.temporary(targets[name]), data, targets[name])
            _put(targets[name], has_bytes=data is not None)
        except OSError as error:
            raise NotWritten(refusal("not-put-back", name=name, journal=journal.JOURNAL)) from error


def _flush_folder(folder: Path) -> None:
    """Flush a folder's names to the disk, where the system can."""
    with contextlib.suppress(OSError), journal.opened(folder, os.O_RDONLY) as stream:
        os.fsync(stream)


_FULL = {errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC)}


def _trouble(name: str, error: OSError) -> NotWritten:
    """Return why a file could not be written, in a sentence."""
    if error.errno in _FULL:
        return NotWritten(refusal("disk-full", name=name))
    if error.errno == errno.EROFS:
        return NotWritten(refusal("disk-closed", name=name))
    if isinstance(error, PermissionError):
        return NotWritten(refusal("file-held", name=name))
    reason = error.strerror or "no reason given"
    return NotWritten(refusal("file-trouble", name=name, reason=reason))


@contextmanager
def refusals_in_words(file: Path) -> Iterator[None]:
    """Turn what the system says of a file into a sentence."""
    try:
        yield
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise UsageError(f'"{printable(str(file))}" cannot be written: {reason}') from error


def check_place(folder: Path, file: Path) -> None:
    """Refuse a place where nothing can be written, and the files of the book in a folder."""
    named = printable(str(file))
    with refusals_in_words(file):
        if not file.parent.is_dir():
            raise UsageError(f'there is no folder for "{named}"; make it first')
        if file.is_dir():
            raise UsageError(f'"{named}" is a folder; name a file in it')
        for name in FILES:
            kept = folder / name
            if file.exists() and kept.exists() and file.samefile(kept):
                raise UsageError(f'"{named}" is {name} of the book; write elsewhere')


def write_whole(file: Path, content: bytes, mode: int = 0o666) -> None:
    """Write a file in one step: a reader finds the old one or the new one, never a part."""
    beside = file.parent / f".growthcast-{os.getpid()}{file.suffix}"
    with refusals_in_words(file):
        try:
            _write(beside, content, mode=mode)
            beside.replace(file)
        except BaseException:
            beside.unlink(missing_ok=True)
            raise
