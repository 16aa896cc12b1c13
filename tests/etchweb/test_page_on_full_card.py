"""Everything that the page writes, on a card with no room and on one that can only be read.

Each walk is what a person does; every step is tried on a card that takes nothing, and then again
on one that does. A real child makes the mural first, and others copy the photos; the rest is
worked out here.
"""

import io
import json
import threading
import time

import pytest

from darkroom.camera import Shot, photograph
from darkroom.tile import SURFACES, etch
from darkroom.two_tiles import two_tiles
from etchproof.layout.job import read_card_file
from etchweb.alerts.alerting import AlertDetector
from etchweb.alerts.outbox import AlertPreferences, Outbox
from etchweb.app import create_app
from etchweb.auth.roles import Role
from etchweb.auth.store import Store
from etchweb.cards import views as cards
from etchweb.daemon.listener import DaemonReport
from etchweb.drafts import views as new_picture
from etchweb.previews.store import keep_picture
from etchweb.server.page_database import StoreUnusable
from etchweb.storage.kept_for import KEPT_KINDS
from etchweb.workers.work import WorkQueue
from etchwire.alert_policy import Alert
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_SURFACES
from etchwire.packing import unpack
from etchwire.retention import DAY_S
from support.fakes.card_book import CardBook
from support.fakes.catalogue_answers import HEAD, SURFACE, craft
from support.fakes.fake_daemon import ETCH, JOB, MACHINE, snapshot
from support.fakes.memory_storage import memory_card
from support.harnesses.kept_templates import TEMPLATES
from support.harnesses.page_bench import draw_picture
from support.harnesses.work_here import queue_here, work_here
from support.samples.photo_files import encoded, scene

pytestmark = pytest.mark.slow

PATIENCE_S = 600.0  # only what hangs takes so long: a late picture is shown as one still in work
NOW_S = 1_800_000_000.0
PAIR = json.dumps([HEAD.name, SURFACE.name])
NOTHING = AlertPreferences(channels=(), kinds=(), held_long_s=600.0)
PHOTO = encoded(scene(120, 80), "JPEG")
TONES = dict.fromkeys(("lighter", "contrast", "local_contrast", "sharpness", "open_shadows"), "0")
LETTERING = {
    "text": "Ida", "font": "DejaVu Sans", "stand": "top", "ink": "black on white", "shape": "oval",
}  # fmt: skip
TILE = {
    "pair": json.dumps([PRACTICE_HEADS["practice-20w"].name, PRACTICE_SURFACES[0].name]),
    "place_width_mm": "110", "place_height_mm": "110", "spacing_mm": "0.1", "finds": "power",
    "low_feed": "2000", "high_feed": "4000", "low_percent": "50", "high_percent": "90",
    "speeds": "3", "powers": "3",
}  # fmt: skip


@pytest.fixture
def card(tmp_path):
    with memory_card(tmp_path / "card") as card:
        yield card


@pytest.fixture
def store(card):
    return Store(card.folder)


@pytest.fixture
def app(daemon, card, monkeypatch):
    """The page with its folder on the card; whoever looks waits until the work is over."""
    monkeypatch.setattr(new_picture, "WAIT_S", PATIENCE_S)
    monkeypatch.setattr(new_picture, "LOOK_AT_PHOTO_S", PATIENCE_S)
    monkeypatch.setattr(cards, "WAIT_S", PATIENCE_S)
    app = create_app(daemon, card.folder, open_to_loopback=True)
    app.jinja_env.bytecode_cache = TEMPLATES
    app.extensions["etchweb works"] = queue_here()
    return app


@pytest.fixture
def tried(card):
    """Take a step on a card that takes nothing: it is refused, nothing is changed; then take it."""

    def tried(step, *, leave_bytes=0):
        before = card.files()
        for spoil, mend, said in (
            (lambda: card.fill(leave_bytes), card.make_room, "no room left"),
            (card.make_read_only, card.mend, "only be read"),
        ):
            spoil()
            refused = step()
            files = card.files()
            mend()
            assert (refused.status_code, said in refused.text) == (507, True), refused.text
            assert files == before
        done = step()
        assert done.status_code in (200, 303), done.text
        return done

    return tried


@pytest.fixture
def look(app, phone):
    """Look at a page, and have the work done meanwhile that a press before has begun.

    So nothing is made before the card is spoilt, however quick the work is.
    """
    may_begin = threading.Event()

    def launch(program):
        assert may_begin.wait(PATIENCE_S)
        return work_here(program)

    def look(address):
        may_begin.set()
        try:
            return phone.look(address)
        finally:
            may_begin.clear()

    app.extensions["etchweb works"] = WorkQueue(launch=launch)
    return look


def photo(data=PHOTO):
    return {"photo": (io.BytesIO(data), "photo.jpg", "image/jpeg")}


@pytest.mark.tries_writing(
    "etchweb/bench/views.py",
    "etchweb/drafts/store.py",
    "etchweb/drafts/views.py",
    "etchweb/previews/store.py",
    "etchweb/designs/making.py",
    "etchweb/drafts/making.py",
    "etchweb/storage/made_from.py",
)
def test_a_picture_comes_to_the_bench_although_every_step_was_refused_once(
    phone, daemon, card, tried
):
    daemon.answers |= craft()
    size = {"width_mm": "24", "height_mm": "16", "pair": PAIR}

    answer = tried(lambda: phone.press("new", form=photo()))
    draft = answer.location.removesuffix("/tile").strip("/")
    tried(lambda: phone.press(f"{draft}/tile", form=size))
    tried(lambda: phone.press(f"{draft}/cut", form={"left": "0", "top": "0", "wide": "100"}))
    tried(lambda: phone.look(f"/{draft}/look"))
    tried(lambda: phone.press(f"{draft}/look", form={"halftone": "jarvis", **TONES}))
    tried(lambda: phone.press(f"{draft}/design", form=LETTERING))
    tried(lambda: phone.look(f"/{draft}/design"))
    tried(lambda: phone.look(f"/{draft}/proof"))
    laid = {"jig": "Signs", "pocket-1": draft.removeprefix("new/")}
    assert tried(lambda: phone.press("bench", form=laid)).location == "/"
    daemon.said.clear()
    assert tried(lambda: phone.press(f"{draft}/bench")).location == "/"

    gcode_sha256 = daemon.said["load"]["sheet"].gcode_sha256
    assert (card.folder / f"pictures/{gcode_sha256}.png").exists()
    daemon.answers["run"] = {**ETCH, "gcode_sha256": gcode_sha256}
    assert tried(lambda: phone.press("new/same-again/7")).location.endswith("/proof")


@pytest.mark.tries_writing("etchweb/drafts/mural_making.py")
def test_a_mural_is_made_once_there_is_room(app, phone, daemon, card, tried):
    daemon.answers |= craft()
    wall = {"width_mm": "24", "height_mm": "16", "columns": "2", "rows": "1", "joint_mm": "2"}
    draft = phone.press("new", form=photo()).location.removesuffix("/tile").strip("/")
    tried(lambda: phone.press(f"{draft}/tile", form=wall | {"pair": PAIR}))
    works_here, app.extensions["etchweb works"] = app.extensions["etchweb works"], WorkQueue()
    card.fill()

    by_child = phone.look(f"/{draft}/proof")

    assert (by_child.status_code, "no room left" in by_child.text) == (507, True)
    card.make_room()
    app.extensions["etchweb works"] = works_here
    assert "2 × 1 tiles" in tried(lambda: phone.look(f"/{draft}/proof")).text


@pytest.mark.tries_writing("etchweb/bench/jig_views.py")
def test_a_jig_s_first_corner_is_kept_once_there_is_room(phone, daemon, tried):
    daemon.tell("idle", machine=MACHINE | {"controller_state": "Idle"})
    jig = {"name": "Two", "columns": "2", "rows": "1", "pitch_x_mm": "60", "pitch_y_mm": "40",
           "width_mm": "50", "height_mm": "40", "exhaust": "left"}  # fmt: skip

    tried(lambda: phone.press("bench/jig", form=jig | {"corner": "first"}))

    assert "Measured: " in phone.look("/bench/jig").text


@pytest.mark.tries_writing("etchweb/storage/kept_for.py")
def test_how_long_photos_are_kept_is_chosen_although_the_card_took_nothing_at_first(phone, tried):
    chosen = {kind.name: "for ever" for kind in KEPT_KINDS}

    assert tried(lambda: phone.press("storage", form=chosen)).location == "/storage"


@pytest.mark.tries_writing(
    "etchweb/cards/workflow.py",
    "etchweb/storage/card_files.py",
    "etchweb/cards/making.py",
    "etchweb/cards/step_views.py",
)
def test_a_test_tile_is_made_and_read_although_every_step_was_refused_once(
    look, phone, daemon, card, tried
):
    book = CardBook(daemon)
    tried(lambda: phone.press("test-tiles/new", form=TILE))
    tried(lambda: look("/test-tiles/1"))
    tried(lambda: phone.press("test-tiles/1/bench"))
    book.burn(1)
    tile = read_card_file(card.folder / "test-tiles/card-1/job")
    taken = photograph(etch(tile, SURFACES["willing"]), Shot(width_px=1600, height_px=1200))
    sent = {"wiped": "yes"}

    tried(lambda: phone.press("test-tiles/1/photos", form=sent | photo(taken.getvalue())))
    tried(lambda: look("/test-tiles/1"))
    cell = next(iter(tile.cells()))
    tried(lambda: phone.press("test-tiles/1/marks", form={"mark": "rubs off", "patch": cell}))
    page = tried(lambda: look("/test-tiles/1"))

    assert "rubs off" in page.text


@pytest.mark.tries_writing("etchweb/catalogue/lots.py", "etchweb/catalogue/white_making.py")
def test_two_tiles_are_compared_once_there_is_room(phone, tried):
    both = photograph(two_tiles(94, 91), Shot(fill=1.28)).getvalue()

    answer = tried(lambda: phone.press("lots/compare", form=photo(both)))

    assert "darker by" in answer.text


@pytest.mark.tries_writing("etchweb/orders/list_views.py")
def test_a_list_of_orders_is_taken_whole_once_there_is_room(phone, daemon, card, tried):
    taken = []
    daemon.answers |= craft() | {"add_orders": lambda **said: taken.append(said) or {"id": 3}}

    def send():
        text = io.BytesIO(b"name,file,size,count\nAda,dog.jpg,24x16,1\n")
        sent = {"list": (text, "list.csv"), "photo": [(io.BytesIO(PHOTO), "dog.jpg")]}
        return phone.press("orders/list", form=sent | {"pair": PAIR, "place": "wall"})

    tried(send)

    (draft,) = (card.folder / "drafts").iterdir()
    assert (draft / "photo").read_bytes() == PHOTO
    (order,) = json.loads(unpack(taken[-1]["orders_packed"]))
    assert [item["draft"] for item in order["items"]] == [draft.name]


@pytest.mark.tries_writing("etchweb/storage/tile_photos.py")
@pytest.mark.parametrize("leave_bytes", [0, 4096])  # 4096: for the photo, not for what is made
def test_a_verdict_with_a_photo_is_kept_once_there_is_room(phone, daemon, card, tried, leave_bytes):
    verdict = {"verdict": "good", "cause": "", "note": ""}

    tried(lambda: phone.press("logbook/7/verdict", form=verdict | photo()), leave_bytes=leave_bytes)

    assert (card.folder / "pictures" / daemon.said["save_verdict"]["photo"]).exists()


def test_the_rest_of_a_picture_shows_the_whole_one_once_the_card_takes_its_name(
    phone, daemon, card
):
    whole, rest = "a" * 64, "b" * 64
    keep_picture(draw_picture(card.folder), folder=card.folder / "pictures", gcode_sha256=whole)
    daemon.tell("loaded", job=JOB | {"sha256": rest, "picture_sha256": whole})
    card.make_read_only()

    refused = phone.look(f"/picture/{rest}.png")

    assert (refused.status_code, "only be read" in refused.text) == (507, True)
    card.mend()
    with phone.look(f"/picture/{rest}.png") as shown:
        assert shown.status_code == 200


@pytest.mark.tries_writing("etchweb/server/page_database.py")
def test_a_phone_is_paired_and_shut_out_once_there_is_room(phone, stranger, store, tried):
    store.add_code("123456", Role.WATCH, time.time())

    tried(lambda: stranger.press("pair", form={"code": "123456"}))
    (paired,) = store.phones()
    tried(lambda: phone.press(f"phones/{paired.id}/forget", form={"sure": "yes"}))

    assert store.phones() == ()


def test_a_paired_phone_stops_an_etch_while_the_card_takes_nothing(card, pair_phone, daemon):
    long_ago_s = time.time() - 2 * DAY_S  # so that it would be noted that it was seen
    paired = pair_phone(Role.OPERATE, long_ago_s)
    daemon.tell("etching")
    card.fill()

    answer = paired.press("stop")

    assert answer.status_code == 303
    assert daemon.asked == ["stop"]


def test_news_waits_for_room_in_the_outbox_and_is_told_once(card):
    everything = AlertPreferences(channels=("webhook",), kinds=frozenset(Alert), held_long_s=600.0)
    outbox = Outbox(card.folder, everything)
    noticing = AlertDetector("left", outbox)
    noticing.note(DaemonReport(1, snapshot("etching"), ""), NOW_S)
    ended = DaemonReport(2, snapshot("complete"), "")

    card.fill()
    with pytest.raises(StoreUnusable, match="no room left"):
        noticing.note(ended, NOW_S)
    card.make_room()
    noticing.note(ended, NOW_S)
    noticing.note(ended, NOW_S)

    letter = outbox.next_due(NOW_S)
    assert "Lighthouse at dusk" in letter.title + letter.text
    outbox.note_sent(letter)
    assert outbox.next_due(NOW_S) is None


@pytest.mark.parametrize("begin", [Store, lambda folder: Outbox(folder, NOTHING)])
def test_a_store_that_cannot_be_begun_says_so(card, begin):
    card.fill()

    with pytest.raises(StoreUnusable, match="no room left"):
        begin(card.folder)

    card.make_room()
    begin(card.folder)
