"""Files are replaced whole or not at all, under a lock, with a line in the journal."""

from __future__ import annotations

import errno
import hashlib
import json
import os
import stat
import threading

import pytest

from growthcast.book.writing import journal, replace
from growthcast.book.writing.journal import JOURNAL, LOCK, book_lock, entries, splice_of
from growthcast.book.writing.replace import (
    check_place,
    read_file,
    replace_files,
    write_new,
    write_whole,
)
from growthcast.book.writing.unlog import take_back
from growthcast.errors import FileChanged, NotWritten, UsageError

OLD, NEW = b"a,b\n1,2\n", b"a,b\n1,2\n3,\xe4\n"


@pytest.fixture
def book(tmp_path):
    folder = tmp_path / "book"
    folder.mkdir()
    (folder / "tanks.csv").write_bytes(OLD)
    return folder


def put(book, new=NEW, old=OLD, name="tanks.csv"):
    return replace_files(book, {name: new}, {name: old}, journal.Entry("test"))


def names(folder):
    return sorted(path.name for path in folder.iterdir())


def test_a_file_is_replaced_and_the_journal_says_how(book):
    entry = put(book)
    assert read_file(book, "tanks.csv") == NEW
    assert names(book) == [LOCK, JOURNAL, "tanks.csv"]
    [told] = entries(book)
    assert told == entry
    splice = told.files["tanks.csv"]
    assert (splice.at, splice.removed, splice.added) == (8, b"", b"3,\xe4\n")
    assert json.loads((book / JOURNAL).read_text())["command"] == "test"


def test_files_come_and_go(book):
    put(book, new=b"new", old=None, name="trims.csv")
    put(book, new=None)
    assert names(book) == [LOCK, JOURNAL, "trims.csv"]


def test_nothing_is_written_where_nothing_changes(book):
    put(book, new=OLD)
    assert names(book) == [LOCK, "tanks.csv"]


def test_a_file_changed_meanwhile_stops_all_of_them(book):
    (book / "areas.csv").write_bytes(b"other")
    with pytest.raises(FileChanged, match=r"areas.csv was changed by another program"):
        replace_files(
            book,
            {"tanks.csv": NEW, "areas.csv": NEW},
            {"tanks.csv": OLD, "areas.csv": b"as read"},
        )
    assert read_file(book, "tanks.csv") == OLD
    assert list(entries(book)) == []


def test_a_change_in_the_last_moment_is_seen(book, monkeypatch):
    """A spreadsheet takes no lock: the file is compared once more just before the rename."""
    append = journal.append_line

    def meanwhile(folder, entry):
        (folder / "tanks.csv").write_bytes(b"by a spreadsheet")
        return append(folder, entry)

    monkeypatch.setattr(journal, "append_line", meanwhile)
    with pytest.raises(FileChanged):
        put(book)
    assert read_file(book, "tanks.csv") == b"by a spreadsheet"
    assert list(entries(book)) == []
    assert names(book) == [LOCK, JOURNAL, "tanks.csv"]


@pytest.mark.parametrize(
    "name", ["../tanks.csv", "a/b.csv", "a\\b.csv", "", ".", "..", "C:x", "a\0b", JOURNAL, LOCK]
)
def test_names_never_become_paths(book, name):
    with pytest.raises(ValueError, match="not a plain file name"):
        put(book, name=name)
    assert names(book) == ["tanks.csv"]


def test_permissions_and_links_are_kept(book):
    elsewhere = book / "elsewhere"
    elsewhere.mkdir()
    (elsewhere / "shared.csv").write_bytes(OLD)
    (elsewhere / "shared.csv").chmod(0o640)
    (book / "areas.csv").symlink_to(elsewhere / "shared.csv")
    put(book, name="areas.csv")
    assert (book / "areas.csv").is_symlink()
    assert (elsewhere / "shared.csv").read_bytes() == NEW
    assert stat.S_IMODE((elsewhere / "shared.csv").stat().st_mode) == 0o640
    assert names(elsewhere) == ["shared.csv"]


@pytest.mark.parametrize("there", [b"another's\n", None])
def test_a_journal_that_is_a_link_is_not_followed(book, tmp_path, there):
    elsewhere = tmp_path / "elsewhere.jsonl"
    if there is not None:
        elsewhere.write_bytes(there)
    (book / JOURNAL).symlink_to(elsewhere)
    with pytest.raises(NotWritten, match=r"journal.jsonl in .* is a link"):
        put(book)
    with pytest.raises(NotWritten, match="is a link"):
        take_back(book)
    assert read_file(book, "tanks.csv") == OLD
    assert names(book) == [LOCK, JOURNAL, "tanks.csv"]
    assert (elsewhere.read_bytes() if elsewhere.exists() else None) == there


def failing(call, number, error):
    """Return a system call that fails from its n-th time on."""
    real, count = getattr(os, call), 0

    def fake(*arguments, **options):
        nonlocal count
        count += 1
        if count >= number:
            raise OSError(error, os.strerror(error))
        return real(*arguments, **options)

    return fake


@pytest.mark.parametrize(
    ("call", "number", "error", "said"),
    [
        ("write", 1, errno.ENOSPC, "no room left on the disk for tanks.csv"),
        ("write", 2, errno.ENOSPC, "no room left on the disk for journal.jsonl"),
        ("fsync", 1, errno.EDQUOT, "no room left on the disk for tanks.csv"),
        ("fsync", 2, errno.EIO, r"journal.jsonl cannot be written \(Input/output error\)"),
        ("replace", 1, errno.EACCES, "tanks.csv cannot be replaced: it is open in another program"),
        # How many files the lock itself opens depends on the lock's library.
        ("open", 3, errno.EROFS, r"(tanks.csv|journal.jsonl) is on a disk that cannot be"),
    ],
)
def test_trouble_is_a_sentence_and_nothing_is_lost(book, monkeypatch, call, number, error, said):
    put(book, name="areas.csv", old=None)  # the journal has a line
    journal = (book / JOURNAL).read_bytes()
    monkeypatch.setattr(replace, "_PAUSE_S", 0.0)
    with monkeypatch.context() as patch:
        patch.setattr(os, call, failing(call, number, error))
        with pytest.raises(NotWritten, match=said):
            put(book)
    assert read_file(book, "tanks.csv") == OLD
    assert (book / JOURNAL).read_bytes() == journal
    assert names(book) == [LOCK, "areas.csv", JOURNAL, "tanks.csv"]
    put(book)
    assert read_file(book, "tanks.csv") == NEW


def test_of_several_files_none_is_replaced_when_one_cannot_be(book, monkeypatch):
    (book / "areas.csv").write_bytes(OLD)
    real = os.replace

    def held(source, target):
        if str(target).endswith("tanks.csv"):
            raise PermissionError(errno.EACCES, "in use")
        return real(source, target)

    monkeypatch.setattr(replace, "_PAUSE_S", 0.0)
    monkeypatch.setattr(os, "replace", held)
    both = {"areas.csv": NEW, "tanks.csv": NEW}
    with pytest.raises(NotWritten, match=r"tanks.csv cannot be replaced"):
        replace_files(book, both, dict.fromkeys(both, OLD))
    assert read_file(book, "areas.csv") == read_file(book, "tanks.csv") == OLD
    assert list(entries(book)) == []


def test_a_write_protected_file_is_left_alone(book, monkeypatch):
    access = os.access
    monkeypatch.setattr(
        os, "access", lambda path, mode: access(path, mode) and str(path)[-9:] != "tanks.csv"
    )
    with pytest.raises(NotWritten, match=r"tanks.csv cannot be replaced: it is open .* or write-"):
        put(book)
    assert names(book) == [LOCK, "tanks.csv"]
    put(book, name="areas.csv", old=None)


@pytest.mark.parametrize("back", [True, False])
def test_what_came_and_went_is_put_back_where_a_later_file_is_held(book, monkeypatch, back):
    """Six tries; what cannot be put back either is in the journal, and its place is told."""
    (book / "closed.csv").write_bytes(OLD)
    real, tries = os.replace, []

    def held(source, target):
        if str(target).endswith("tanks.csv"):
            tries.append(target)
        if tries and (not back or str(target).endswith("tanks.csv")):
            raise PermissionError(errno.EACCES, "in use")
        return real(source, target)

    monkeypatch.setattr(replace, "_PAUSE_S", 0.0)
    monkeypatch.setattr(os, "replace", held)
    new = {"areas.csv": NEW, "closed.csv": None, "tanks.csv": NEW}
    old = {"areas.csv": None, "closed.csv": OLD, "tanks.csv": OLD}
    said = r"tanks.csv cannot be replaced" if back else r"closed.csv could not be put back; what it"
    with pytest.raises(NotWritten, match=said):
        replace_files(book, new, old)
    assert len(tries) == 6
    assert read_file(book, "tanks.csv") == OLD
    assert read_file(book, "areas.csv") is None
    if back:
        assert read_file(book, "closed.csv") == OLD
        assert [*entries(book)] == []
        assert names(book) == [LOCK, "closed.csv", JOURNAL, "tanks.csv"]
    else:
        [told] = entries(book)
        assert told.files["closed.csv"].removed == OLD


def test_a_file_held_for_a_moment_is_waited_for(book, monkeypatch):
    real, tries = os.replace, []

    def held(source, target):
        tries.append(target)
        if len(tries) < 3:
            raise PermissionError(errno.EACCES, "in use")
        return real(source, target)

    monkeypatch.setattr(replace, "_PAUSE_S", 0.0)
    monkeypatch.setattr(os, "replace", held)
    put(book)
    assert read_file(book, "tanks.csv") == NEW


def test_a_folder_that_may_not_be_written_in(book, monkeypatch):
    monkeypatch.setattr(os, "access", lambda path, mode: False)
    with pytest.raises(NotWritten, match="you may not write in"):
        put(book)
    assert names(book) == ["tanks.csv"]


def test_a_lock_held_elsewhere_is_said(book, monkeypatch):
    assert journal.PATIENCE_S >= 10
    monkeypatch.setattr(journal, "PATIENCE_S", 0.05)
    held, done = threading.Event(), threading.Event()

    def hold():
        with book_lock(book):
            held.set()
            done.wait(10)

    other = threading.Thread(target=hold)
    other.start()
    held.wait(10)
    try:
        with (
            pytest.raises(NotWritten, match="another growthcast has been writing"),
            book_lock(book),
        ):
            pass
    finally:
        done.set()
        other.join()


def test_the_lock_may_be_entered_again(book):
    with book_lock(book):
        put(book)
    assert read_file(book, "tanks.csv") == NEW


def test_a_torn_line_of_the_journal_is_passed_by(book):
    put(book)
    whole = (book / JOURNAL).read_bytes()
    (book / JOURNAL).write_bytes(whole + whole[: len(whole) // 2])
    put(book, new=OLD, old=NEW)
    assert [entry.files["tanks.csv"].added for entry in entries(book)] == [b"3,\xe4\n", b""]
    assert [entry.files["tanks.csv"].removed for entry in entries(book)] == [b"", b"3,\xe4\n"]


@pytest.mark.parametrize(
    ("old", "new", "splice"),
    [
        (b"", b"abc", (0, b"", b"abc")),
        (b"abc", b"", (0, b"abc", b"")),
        (b"aaa", b"aaaa", (3, b"", b"a")),
        (b"abcabc", b"abc", (3, b"abc", b"")),
        (b"xay", b"xbby", (1, b"a", b"bb")),
        (b"same 1 tail", b"same 23 tail", (5, b"1", b"23")),
        (None, b"ab", (0, b"", b"ab")),
        (b"ab", None, (0, b"ab", b"")),
    ],
)
def test_a_splice_is_the_least_that_makes_the_new_from_the_old(old, new, splice):
    s = splice_of(old, new)
    assert (s.at, s.removed, s.added) == splice
    for told, data in ((s.before, old), (s.after, new)):
        assert told == (None if data is None else hashlib.sha256(data).hexdigest())


def test_the_journals_lines_are_plain_text_and_a_torn_one_is_ended(book):
    """Two entries are two lines; what is no UTF-8 is escaped, and comes back byte for byte."""
    put(book, new=OLD + "ä".encode())
    put(book, old=OLD + "ä".encode())
    first, second, end = (book / JOURNAL).read_bytes().split(b"\n")
    assert "ä".encode() in first
    assert b"\\udce4" in second
    assert end == b""
    (book / JOURNAL).write_bytes(first)
    put(book, new=None, old=NEW)
    assert (book / JOURNAL).read_bytes().startswith(first + b"\n{")
    whole = [*entries(book)]
    assert [entry.files["tanks.csv"].removed for entry in whole] == [b"", NEW]
    assert [entry.files["tanks.csv"].after is None for entry in whole] == [False, True]
    with (book / JOURNAL).open("ab") as stream:  # lines of others, and entries that are none
        stream.write(b'7\n{"files": 1}\n{"files": {}, "visit": ["ab"]}\n\n')
    assert [*entries(book)] == whole


def test_the_journal_keeps_what_was_said_of_a_change(book):
    said = journal.Entry("log", "in words", "abc", ("v1", "a line"), "Ida")
    made = replace_files(book, {"tanks.csv": NEW}, {"tanks.csv": OLD}, said)
    nobody = replace_files(book, {"tanks.csv": OLD}, {"tanks.csv": NEW}, journal.Entry(by=""))
    assert [*entries(book)] == [made, nobody]
    assert (made.command, made.summary, made.takes_back) == ("log", "in words", "abc")
    assert (made.visit, made.by, nobody.by) == (("v1", "a line"), "Ida", None)
    assert made.id != nobody.id
    assert list(json.loads((book / JOURNAL).read_bytes().split(b"\n")[1])) == [
        *("id", "at", "command", "summary", "files")
    ]
    both = [journal.Entry(takes_back="a b"), journal.Entry(takes_back="c"), journal.Entry()]
    assert journal.undone(both) == {"a", "b", "c"}


@pytest.mark.parametrize("mark", [".~lock.tanks.csv#", "~$tanks.csv"])
def test_a_file_open_in_a_spreadsheet_is_left_alone(book, mark):
    (book / mark).write_bytes(b"somebody")
    with pytest.raises(NotWritten, match=r"tanks.csv is open in a spreadsheet"):
        put(book)
    assert read_file(book, "tanks.csv") == OLD
    put(book, name="areas.csv", old=None)


def test_what_a_killed_writer_left_is_completed_if_it_was_told(book):
    put(book)
    (book / "tanks.csv").write_bytes(OLD)  # as if killed just before the rename
    (book / ".tanks.csv.growthcast-new").write_bytes(NEW)
    with book_lock(book):
        assert read_file(book, "tanks.csv") == NEW
    assert names(book) == [LOCK, JOURNAL, "tanks.csv"]


@pytest.mark.parametrize("left", [b"", b"half of it", NEW])
def test_what_was_not_told_or_was_changed_since_is_swept_away(book, left):
    (book / ".tanks.csv.growthcast-new").write_bytes(left)
    put(book, new=b"x", old=None, name="areas.csv")
    assert read_file(book, "tanks.csv") == OLD
    put(book)
    (book / "tanks.csv").write_bytes(b"by a person")
    (book / ".tanks.csv.growthcast-new").write_bytes(left)
    with book_lock(book):
        assert read_file(book, "tanks.csv") == b"by a person"
    assert names(book) == [LOCK, "areas.csv", JOURNAL, "tanks.csv"]


@pytest.mark.parametrize(("left", "stays"), [(b"of a later writer", True), (b"", False)])
def test_a_removal_is_completed_and_a_file_put_back_after_it_stays(book, left, stays):
    """What is to be removed has an empty file beside it."""
    put(book, new=None)
    (book / "tanks.csv").write_bytes(OLD)
    (book / ".tanks.csv.growthcast-new").write_bytes(left)
    with book_lock(book):
        assert read_file(book, "tanks.csv") == (OLD if stays else None)
    assert names(book) == [LOCK, JOURNAL, *(["tanks.csv"] if stays else [])]


def test_of_several_files_a_killed_writer_left_each_is_completed_where_it_links_to(book):
    """The last line names both; one is not there yet, the other lies elsewhere."""
    elsewhere = book / "elsewhere"
    elsewhere.mkdir()
    (book / "tanks.csv").rename(elsewhere / "shared.csv")
    (book / "tanks.csv").symlink_to(elsewhere / "shared.csv")
    replace_files(book, {"tanks.csv": NEW, "areas.csv": OLD}, {"tanks.csv": OLD, "areas.csv": None})
    (elsewhere / "shared.csv").write_bytes(OLD)
    (book / "areas.csv").unlink()
    (elsewhere / ".shared.csv.growthcast-new").write_bytes(NEW)
    (book / ".areas.csv.growthcast-new").write_bytes(OLD)
    with book_lock(book):
        assert (read_file(book, "tanks.csv"), read_file(book, "areas.csv")) == (NEW, OLD)
    assert names(elsewhere) == ["shared.csv"]
    assert names(book) == [LOCK, "areas.csv", "elsewhere", JOURNAL, "tanks.csv"]


def test_what_is_left_is_looked_at_once_a_lock(book):
    (beside := book / ".tanks.csv.growthcast-new").write_bytes(b"of this writer")
    with book_lock(book):
        assert not beside.exists()
        beside.write_bytes(b"of this writer")
        with book_lock(book):
            assert beside.exists()


@pytest.mark.parametrize(
    ("error", "said"),
    [
        (OSError(errno.ENOSPC, "full"), "there is no room left on the disk for tanks.csv"),
        (OSError(errno.EDQUOT, "quota"), "there is no room left on the disk for tanks.csv"),
        (OSError(errno.EROFS, "read only"), "is on a disk that cannot be written"),
        (PermissionError(errno.EACCES, "no"), "is open in another program or write-protected"),
        (OSError(errno.EIO, "broken"), r"cannot be written \(broken\)"),
        (OSError(), "no reason given"),
    ],
)
def test_why_a_file_cannot_be_written_is_a_sentence(book, monkeypatch, error, said):
    def refuse(*_, **__):
        raise error

    monkeypatch.setattr(replace, "_write", refuse)
    with pytest.raises(NotWritten, match=said):
        put(book)
    assert names(book) == [LOCK, "tanks.csv"]


def test_a_file_of_ours_is_written_whole_and_in_no_place_of_the_books(book, tmp_path):
    file = tmp_path / "out.txt"
    for content in (b"one", b"two"):
        check_place(book, file)
        write_whole(file, content)
        assert file.read_bytes() == content
    assert names(tmp_path) == ["book", "out.txt", "shipped"]
    for wrong, said in (
        (tmp_path / "none" / "a.txt", "there is no folder for"),
        (book, "is a folder; name a file in it"),
        (book / "tanks.csv", "is tanks.csv of the book"),
    ):
        with pytest.raises(UsageError, match=said):
            check_place(book, wrong)
    check_place(book, book / "trims.csv")  # it is not there
    with pytest.raises(UsageError, match="cannot be written"):
        write_whole(book, b"a folder cannot be replaced")
    assert names(tmp_path) == ["book", "out.txt", "shipped"]


def test_files_of_a_new_book_replace_none(tmp_path, book):
    write_new(tmp_path / "a" / "b", {"tanks.csv": OLD}, "a new book")
    assert (tmp_path / "a" / "b" / "tanks.csv").read_bytes() == OLD
    with pytest.raises(FileChanged):
        write_new(book, {"tanks.csv": NEW}, "a new book")
    with pytest.raises(NotWritten, match="cannot be made"):
        write_new(book / "tanks.csv" / "in-a-file", {"tanks.csv": OLD}, "a new book")
