"""What tests of several subjects of the daemon begin with."""

import pytest

from support.harnesses.logbooks import LONG_S, Disk, logbook_on


@pytest.fixture
def logbook(tmp_path):
    """A logbook that knows the practice laser, tile, paint and recipe."""
    with logbook_on(Disk(tmp_path / "logbook.sqlite3"), confirm_timeout_s=LONG_S) as logbook:
        logbook.introduce_practice()
        yield logbook
