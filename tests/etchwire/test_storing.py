"""Files that are in place whole or not at all, and cards that take nothing."""

import errno
import os
import sqlite3

import pytest

from etchwire.storing import fault_of_card, file_sha256, settle, write_whole


def test_a_file_is_replaced_in_one_step_and_nothing_lies_beside_it(tmp_path):
    path = tmp_path / "draft.json"
    write_whole(path, "old")
    write_whole(path, b"new")

    assert path.read_bytes() == b"new"
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.tries_writing(
    "etchdaemon/configuration/pin_map.py",
    "etchdaemon/service/link/measured.py",
    "etchwire/storing.py",
)
def test_what_cannot_be_written_leaves_the_old_file_and_no_half_one(tmp_path):
    path = tmp_path / "draft.json"
    write_whole(path, "old")
    there = tmp_path / "folder"
    (there / "inside").mkdir(parents=True)

    with pytest.raises(OSError, match="directory"):
        write_whole(there, "a file cannot take the place of a folder")

    assert path.read_text() == "old"
    assert sorted(entry.name for entry in tmp_path.iterdir()) == ["draft.json", "folder"]


def full_database(path):
    with sqlite3.connect(path) as book:
        book.execute("PRAGMA max_page_count = 1")
        book.execute("CREATE TABLE large (text)")


def read_only_database(path):
    sqlite3.connect(path).close()
    path.write_bytes(b"")
    with sqlite3.connect(f"file:{path}?mode=ro", uri=True) as book:
        book.execute("CREATE TABLE one (text)")


@pytest.mark.parametrize(
    ("fails", "said"), [(full_database, "no room left"), (read_only_database, "only be read")]
)
@pytest.mark.filterwarnings("ignore:unclosed database")
def test_what_sqlite_says_of_a_card_is_told_in_the_same_words(tmp_path, fails, said):
    with pytest.raises(sqlite3.Error) as failed:
        fails(tmp_path / "page.sqlite3")

    assert said in fault_of_card(failed.value)


@pytest.mark.parametrize(
    ("error", "said"),
    [
        (OSError(errno.ENOSPC, ""), "no room left"),
        (OSError(errno.EDQUOT, ""), "no room left"),
        (OSError(errno.EFBIG, ""), "no room left"),
        (OSError(errno.EROFS, ""), "only be read"),
        (OSError(errno.EIO, ""), "reports a fault"),
        (OSError(errno.EACCES, ""), None),
        (sqlite3.OperationalError("locked"), None),
        (ValueError("no"), None),
    ],
)
def test_only_what_is_the_cards_fault_is_said_to_be(error, said):
    found = fault_of_card(error)

    assert found is None if said is None else said in found


def test_the_fault_behind_an_error_of_ours_is_found():
    ours = OSError("The page's database cannot be used.")
    ours.__cause__ = OSError(errno.ENOSPC, "")

    assert "no room left" in fault_of_card(ours)


def test_a_folder_is_settled_too(tmp_path):
    settled = []

    settle(tmp_path, fsync=lambda descriptor: settled.append(os.fstat(descriptor).st_ino))

    assert settled == [tmp_path.stat().st_ino]


def test_a_file_hashes_to_the_published_example(tmp_path):
    # FIPS 180-4's example “abc” (NIST, “SHA256.pdf” of the examples with intermediate values)
    (tmp_path / "abc").write_bytes(b"abc")

    assert file_sha256(tmp_path / "abc") == (
        "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    )
