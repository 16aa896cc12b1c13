"""A customer's name stays in the logbook and on the page: not in logs, alerts, MQTT or a bundle."""

import json
import logging
from contextlib import closing

import pytest

from etchdaemon.errors import CommandRefused, LogbookUnavailable
from etchdaemon.logbook.schema.opening import open_logbook
from etchdaemon.rpc.dispatcher import Dispatcher
from etchweb.alerts.news import news_of
from etchweb.drafts.forms import for_order
from etchweb.drafts.store import Drafts
from etchweb.fleet.topics import values_of
from etchwire.calls.client import DaemonClient
from etchwire.calls.orders import SaveOrder
from etchwire.catalogue.orders import OrderRecord
from etchwire.errors import Refused
from support.fakes.fake_daemon import JOB, STATES, snapshot
from support.harnesses.catalogue_bench import NoLoop
from support.harnesses.logbooks import LONG_S, OPENED_UTC, Disk, logbook_on

CANARY = "Canaria Piepmatz"
ITEM = {
    "title": f"{CANARY}.jpg", "width_mm": 90.0, "height_mm": 90.0, "surface": "satin",
    "text": CANARY,
}  # fmt: skip
ORDER = {"customer": CANARY, "note": CANARY, "items": [ITEM]}


@pytest.fixture
def disk(tmp_path):
    return Disk(tmp_path / "logbook.sqlite3")


@pytest.fixture
def logbook(disk):
    with logbook_on(disk, confirm_timeout_s=LONG_S) as logbook:
        yield logbook


def test_a_record_that_does_not_fit_is_logged_without_what_it_holds(logbook, disk, caplog):
    logbook.note("save_order", order=ORDER)
    disk._book.execute(
        "CREATE TRIGGER none_more BEFORE INSERT ON customer_order BEGIN"
        " SELECT RAISE(ABORT, 'none'); END"
    )

    with pytest.raises(LogbookUnavailable, match="does not fit"):
        logbook.note("save_order", order=ORDER)

    assert "a record does not fit the logbook: save_order" in caplog.text
    assert CANARY not in caplog.text


def test_nothing_that_is_refused_or_goes_wrong_is_logged_with_a_name(logbook, tmp_path, caplog):
    caplog.set_level(logging.DEBUG)
    logbook.note("save_order", order=ORDER)
    for wrong in ({"id": 1, "version": 9}, {"id": 99}):
        with pytest.raises(CommandRefused):
            logbook.note("save_order", order=ORDER, **wrong)
    order = OrderRecord.from_table(ORDER)
    with (
        Dispatcher(tmp_path / "socket", NoLoop(), logbook),
        DaemonClient(tmp_path / "socket") as client,
    ):
        client.ask(SaveOrder(order=order, who=CANARY))
        with pytest.raises(Refused):
            client.ask(SaveOrder(order=order, id=1, version=9))

    assert CANARY not in caplog.text


@pytest.mark.parametrize("state", STATES)
def test_a_picture_for_an_order_is_called_by_its_numbers_in_alerts_and_mqtt(tmp_path, state):
    draft = for_order(Drafts(tmp_path).begin(f"{CANARY}.jpg"), {"order": "3", "item": "7"})
    shown = snapshot(state, job={**JOB, "title": draft.title})

    told = json.dumps([values_of(shown), [str(one) for one in news_of(shown)]])

    assert draft.title == "order 3, item 7"
    assert CANARY not in told


def test_the_logbook_itself_holds_the_name_so_that_these_tests_can_fail(logbook, disk):
    logbook.note("save_order", order=ORDER)
    logbook.close()

    with closing(open_logbook(disk.path, at_utc=OPENED_UTC)[0]) as book:
        assert book.execute("SELECT customer FROM customer_order").fetchall() == [(CANARY,)]
