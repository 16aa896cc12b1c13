"""The sum beside a backup: on the disk before it, gone after it."""

from pathlib import Path

import pytest

from etchdaemon.logbook.backup.sums import is_as_written, put_in_place, remove

NO_ROOM = OSError(28, "No space left on device")


def names_in(folder):
    return sorted(path.name for path in folder.iterdir())


def test_a_backup_has_its_name_only_once_its_sum_is_on_the_disk(tmp_path):
    arriving, settled = tmp_path / "half", []
    arriving.write_bytes(b"everything")

    def note(descriptor):
        settled.append((Path(f"/proc/self/fd/{descriptor}").readlink(), names_in(tmp_path)))

    put_in_place(arriving, tmp_path / "whole", fsync=note)

    before, after = ["half", "whole.sha256"], ["whole", "whole.sha256"]
    assert settled == [
        (tmp_path / "whole.sha256", before), (tmp_path, before), (tmp_path, after),
    ]  # fmt: skip
    assert is_as_written(tmp_path / "whole")


@pytest.mark.parametrize("failing", range(3))
def test_a_card_that_fails_leaves_neither_a_backup_nor_its_sum(tmp_path, failing):
    arriving, done = tmp_path / "half", []
    arriving.write_bytes(b"everything")

    def fail(_):
        done.append(1)
        if len(done) > failing:
            raise NO_ROOM

    with pytest.raises(OSError, match="No space"):
        put_in_place(arriving, tmp_path / "whole", fsync=fail)

    assert {"whole", "whole.sha256"}.isdisjoint(names_in(tmp_path))


def test_a_backup_goes_with_its_sum(tmp_path):
    (tmp_path / "half").write_bytes(b"everything")
    put_in_place(tmp_path / "half", tmp_path / "whole")

    remove(tmp_path / "whole")

    assert names_in(tmp_path) == []


@pytest.mark.parametrize("line", ["{}  whole\n", "{} *whole\n", "\\{}  who\\\\le\n"])
def test_a_sum_that_somebody_made_with_the_system_s_program_counts_too(tmp_path, line):
    (tmp_path / "whole").write_bytes(b"")
    empty = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"  # FIPS 180-4, of ""
    (tmp_path / "whole.sha256").write_text(line.format(empty))

    assert is_as_written(tmp_path / "whole")
