"""A logbook of a box that has etched for years: runs and rows of our own invention, at once."""

from contextlib import closing

from etchdaemon.logbook.schema.opening import open_logbook
from etchdaemon.logbook.schema.steps import transaction
from etchdaemon.logbook.write.entries import write_start
from support.harnesses.logbooks import OPENED_UTC, STARTED_UTC
from support.samples.sheets import sheet_of

ROWS_A_RUN = 2000
_ROWS = """
    WITH RECURSIVE number (row) AS (
        SELECT 0 UNION ALL SELECT row + 1 FROM number WHERE row < :rows - 1
    )
    INSERT INTO run_row (run_id, row, samples, is_estimated, feed_mean_mm_per_min,
        feed_min_mm_per_min, feed_max_mm_per_min, power_mean_ratio, power_min_ratio,
        power_max_ratio, at_s)
    SELECT :run, row, 9 + row % 4, 0, 3980.5 + row % 37, 3970.25, 4011.75, 0.6, 0.59, 0.61,
        row * 1.7375 FROM number
"""


def write_large_logbook(path, *, megabytes):
    """Write one at `path`, through the schema as it is; return how many runs are in it."""
    book, _ = open_logbook(path, at_utc=OPENED_UTC)
    runs = 0
    with closing(book):
        while _bytes_of(book) < megabytes * 1e6:
            with transaction(book):
                for _ in range(50):
                    run = _begin(book, f"picture {runs}")
                    book.execute(_ROWS, {"run": run, "rows": ROWS_A_RUN})
                    runs += 1
    return runs


def _begin(book, title):
    run = write_start(
        book,
        sheet_of(ROWS_A_RUN, title=title),
        started_at_utc=STARTED_UTC,
        is_clock_synchronised=True,
        notes={"answers": {"lens": True, "focus": "spacer"}},
        continues_run=None,
    )
    book.execute(
        "UPDATE run SET ended = 'complete', because = 'All rows are etched.', ended_at_utc = ?,"
        " elapsed_s = 3475.0, etched_rows = rows WHERE id = ?",
        (STARTED_UTC, run),
    )
    return run


def _bytes_of(book):
    (pages,), (page_bytes,) = (
        book.execute(f"PRAGMA {what}").fetchone() for what in ("page_count", "page_size")
    )
    return pages * page_bytes
