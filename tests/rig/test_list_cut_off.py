"""A page that dies over a list of orders: nothing is doubled when it is sent again, none is lost.

Page, daemon and logbook are the real ones, in memory; photos are our own invention.
"""

import io
import threading
from contextlib import suppress

import pytest

from etchweb.app import create_app
from etchweb.auth.codes import form_token
from etchweb.auth.store import Store
from etchweb.daemon.daemon_socket import SocketDaemon
from etchweb.orders.list_views import IMPORTED
from etchwire.calls.orders import AddOrders, Order
from support.harnesses.shop_in_memory import ORIGIN, ShopInMemory
from support.samples.photo_files import encoded, scene

pytestmark = pytest.mark.slow

LIST = b"name,file,size,count\nAda,dog.jpg,6x4,1\nAda,cat.jpg,4x6,1\nBen,dog.jpg,6x4,2\n"
PATIENCE_S = 60.0


class DyingPage(SocketDaemon):
    """The end of a page whose process is gone before it asks for one kind of call."""

    def __init__(self, path, dies_before):
        super().__init__(path)
        self._dies_before = dies_before
        self.is_dead = threading.Event()
        self.is_over = threading.Event()

    def ask(self, call):
        if isinstance(call, self._dies_before):
            self.is_dead.set()
            self.is_over.wait()  # nothing is cleaned up, as after a kill
            raise SystemExit
        return super().ask(call)


@pytest.fixture
def shop(tmp_path):
    with ShopInMemory(tmp_path) as shop:
        yield shop


@pytest.fixture
def kill_over_list(shop):
    """Return a call that sends the list, and kills the page before a kind of call."""
    begun = []

    def kill(dies_before):
        page = DyingPage(shop.folder / "s", dies_before)
        app = create_app(page, shop.page_folder, open_to_loopback=True)
        thread = threading.Thread(target=until_killed, args=(shop, app))
        begun.append((page, thread))
        thread.start()
        assert page.is_dead.wait(PATIENCE_S)

    yield kill
    for page, thread in begun:
        page.is_over.set()
        thread.join(PATIENCE_S)


def until_killed(shop, app):
    with suppress(SystemExit):
        send(shop, app)


def send(shop, app, **changed):
    page = app.test_client().get("/orders/list").text
    pair = page.split('<option value="', 1)[1].split('"', 1)[0].replace("&#34;", '"')
    photos = [(io.BytesIO(encoded(scene(60 + n, 60), "JPEG")), name)
              for n, name in enumerate(("dog.jpg", "cat.jpg"))]  # fmt: skip
    form = {
        "form_token": form_token(Store(shop.page_folder).secret, "loopback"),
        "list": (io.BytesIO(LIST), "orders.csv"), "photo": photos, "pair": pair,
        "place": "wall",
    }  # fmt: skip
    return app.test_client().post("/orders/list", data=form | changed, headers={"Origin": ORIGIN})


def items_of(shop):
    lines = shop.logbook.ask("orders")["orders"]
    return [
        (line["id"], line["customer"], [one["item"]["title"] for one in
         shop.logbook.ask("order", id=line["id"])["items"]])
        for line in lines
    ]  # fmt: skip


WHOLE = [(1, "Ada", ["dog.jpg", "cat.jpg"]), (2, "Ben", ["dog.jpg"])]


@pytest.fixture
def born_again(shop):
    """Return a call that begins the page of a new process, on the same folder."""
    apps = []

    def begin():
        daemon = SocketDaemon(shop.folder / "s")
        apps.append(create_app(daemon, shop.page_folder, open_to_loopback=True))
        return apps[-1]

    yield begin
    for app in apps:
        for draft in app.extensions["etchweb drafts"].all():
            app.extensions["etchweb works"].forget(draft.id)


@pytest.mark.parametrize(("dies_before", "kept"), [(AddOrders, []), (Order, WHOLE)],
                         ids=["before the logbook", "before the pictures are linked"])  # fmt: skip
def test_a_list_sent_again_after_the_page_was_killed_is_taken_whole_and_once(
    shop, kill_over_list, born_again, dies_before, kept
):
    kill_over_list(dies_before)
    assert items_of(shop) == kept

    app = born_again()
    answer = send(shop, app)

    assert answer.status_code == 303, answer.text
    assert items_of(shop) == WHOLE
    drafts = app.extensions["etchweb drafts"].all()
    assert sorted((draft.order, draft.item) for draft in drafts) == [(1, 1), (1, 2), (2, 3)]
    # The third time nothing had died: it is said, and another day makes it another list.
    refused = send(shop, app)
    assert (refused.status_code, IMPORTED in refused.text) == (422, True)
    assert send(shop, app, due_on="2026-12-24").status_code == 303
    assert len(items_of(shop)) == 4


def test_an_order_finds_its_picture_though_the_page_was_killed_before_it_was_linked(
    kill_over_list, born_again
):
    kill_over_list(Order)

    app = born_again()
    page = app.test_client().get("/orders/2").text

    assert "The proof" in page
    (ours,) = (one for one in app.extensions["etchweb drafts"].all() if one.item is not None)
    assert (ours.order, ours.item) == (2, 3)
