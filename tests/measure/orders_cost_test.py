"""What the page *Orders* costs: `pytest -m measure tests/measure/orders_cost_test.py -s`.

300 orders are open and 5,000 done, in a real logbook on this machine's disk; all are invented.
"""

from contextlib import closing

import pytest

from etchdaemon.logbook.schema.opening import open_logbook
from etchdaemon.logbook.schema.steps import transaction
from etchdaemon.logbook.write.entries import write_start
from etchdaemon.logbook.write.insert_statements import Stamp
from etchdaemon.logbook.write.order_entries import add_orders
from etchweb.app import create_app
from etchwire.catalogue.orders import OrderRecord
from measure.costs import heading, tell, timed_ms
from support.harnesses.logbooks import LONG_S, OPENED_UTC, STARTED_UTC, Disk, logbook_on
from support.samples.sheets import sheet_of

pytestmark = pytest.mark.measure

OPEN, DONE = 300, 5_000
STAMP = Stamp("Ada", OPENED_UTC, "")
ITEM = {"title": "a dog", "width_mm": 90.0, "height_mm": 90.0, "surface": "satin"}


def test_the_page_with_300_open_orders_and_5000_done(tmp_path):
    heading(f"Orders, {OPEN} open and {DONE} done")
    path = tmp_path / "logbook.sqlite3"
    with closing(open_logbook(path, at_utc=OPENED_UTC)[0]) as book, transaction(book):
        fill(book)
    with logbook_on(Disk(path), confirm_timeout_s=LONG_S) as logbook:
        client = create_app(logbook, tmp_path, open_to_loopback=True).test_client()
        for address in ("/orders", "/orders?from=280", "/orders?done=yes", "/orders/1"):
            page = client.get(address)
            took = timed_ms(lambda _, address=address: client.get(address), 10)
            assert page.status_code == 200
            assert len(page.data) <= 40_000
            tell(f"{address}, {len(page.data) / 1000:.1f} KB", took)


def fill(book):
    """Write orders, each done one with a tile that was judged good."""
    orders = [
        OrderRecord(customer=f"customer {n}", due_on=f"2026-12-{1 + n % 28:02}", items=[ITEM])
        for n in range(OPEN + DONE)
    ]
    add_orders(book, orders=orders, stamp=STAMP)
    write_start(
        book, sheet=sheet_of(), started_at_utc=STARTED_UTC, is_clock_synchronised=True, notes={}
    )
    names = [row[1] for row in book.execute("PRAGMA table_info(run)") if row[1] != "id"]
    copied = ", ".join(names)
    for n in range(DONE):
        book.execute(
            "INSERT INTO assignment (gcode_sha256, item_id, at_utc, who) VALUES ('', ?, ?, '')",
            (OPEN + n + 1, OPENED_UTC),
        )
        book.execute(f"INSERT INTO run ({copied}) SELECT {copied} FROM run WHERE id = 1")
        book.execute(
            "UPDATE run SET ended = 'complete', assignment_id = ? WHERE id = ?", (n + 1, n + 2)
        )
        book.execute(
            "INSERT INTO verdict (run_id, verdict, cause, note, photo, at_utc, after_run_id, who)"
            " VALUES (?, 'good', '', '', '', ?, 0, '')",
            (n + 2, OPENED_UTC),
        )
