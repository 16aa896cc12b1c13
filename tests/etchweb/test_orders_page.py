"""*Orders* on the page: what is due, one order, the locked proof, two phones, what is gone."""

import os
import time
from dataclasses import replace
from datetime import date

import pytest

from etchweb.drafts.forms import for_order
from etchweb.drafts.store import Drafts
from etchweb.orders.letters import marked
from etchweb.orders.presenter import PHOTO_MISSING, SURFACE_GONE, Prepared, due_words, item_view
from etchwire.calls.json_values import from_json_value
from etchwire.calls.orders import ItemEntry
from etchwire.retention import DAY_S, DRAFTS, EARLIEST_S, ORDERED_DRAFTS
from support.fakes.fake_catalogue import ITEM, ORDER, ORDER_LINE
from support.fakes.fake_daemon import ETCH

LARGEST_PAGE_BYTES = 40_000
TYPED = {
    "customer": "Ada", "due_on": "2026-12-01", "note": "", "may_use_photo_on": "",
    "title": "a dog", "width_mm": "90", "height_mm": "89,5", "surface": ITEM["surface"],
    "place": "dishwasher", "count": "3", "text": "Rex\r\n1999", "price": "15,50",
}  # fmt: skip


def change_item(daemon, **changes):
    daemon.answers["order"] = ORDER | {"items": [ORDER["items"][0] | changes]}


def test_an_order_is_taken_with_its_first_item(phone, daemon):
    answer = phone.press("orders/new", form=TYPED)

    assert answer.headers["Location"].endswith("/orders/3")
    order = daemon.said["save_order"]["order"]
    assert (order["customer"], order["due_on"]) == ("Ada", "2026-12-01")
    (item,) = order["items"]
    assert (item["height_mm"], item["count"], item["text"]) == (89.5, 3, "Rex\n1999")


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"customer": " "}, "no name of a customer"),
        ({"due_on": "Friday"}, "is no date"),
        ({"width_mm": "wide"}, "Width, mm must be"),
        ({"count": "2.5"}, "a whole number"),
        ({"count": "0"}, "How many must be"),
        ({"place": "bath"}, "where it will live cannot be"),
        ({"price": "-1"}, "The price must be"),
    ],
)
def test_an_order_that_cannot_be_is_refused_and_what_was_typed_stays(phone, daemon, wrong, words):
    answer = phone.press("orders/new", form=TYPED | {"title": "kept as typed"} | wrong)

    assert answer.status_code == 422
    assert words.lower() in answer.text.lower()
    assert 'value="kept as typed"' in answer.text
    assert "save_order" not in daemon.said


def test_a_change_says_which_version_it_was_made_of(phone, daemon):
    phone.press("orders/3", form=TYPED | {"version": "4"})

    said = daemon.said["save_order"]
    assert (said["id"], said["version"]) == (3, 4)
    assert [one["id"] for one in said["order"]["items"]] == [7]


def test_two_phones_that_change_one_order_are_told(phone, daemon):
    daemon.refuse("Cy changed order 3 at 08:00 UTC, while you had it open. Look at it as it is.")

    answer = phone.press("orders/3", form=TYPED | {"version": "3"})

    assert answer.status_code == 409
    assert "Cy changed order 3 at 08:00 UTC" in answer.text


def test_an_item_is_changed_added_and_taken_out(phone, daemon):
    phone.press("orders/3/item", form=TYPED | {"version": "4", "item": "7"})
    changed = daemon.said["save_order"]["order"]["items"]
    phone.press("orders/3/item", form=TYPED | {"version": "4", "item": ""})
    added = daemon.said["save_order"]["order"]["items"]
    phone.press("orders/3/item", form={"version": "4", "item": "7", "do": "remove"})

    assert [(one["id"], one["count"]) for one in changed] == [(7, 3)]
    assert [one["id"] for one in added] == [7, 0]
    assert daemon.said["save_order"]["order"]["items"] == []


def test_a_yes_names_what_was_shown_and_how_it_came(phone, daemon):
    page = phone.look("/orders/3").text
    form = {"item": "7", "answer": "yes", "way": "by message", "shown_sha256": "ef" * 32}

    assert phone.press("orders/3/proof", form=form).status_code == 303

    assert f'name="shown_sha256" value="{"ef" * 32}"' in page
    said = daemon.said["note_proof"]
    assert (said["item"], said["answer"], said["way"]) == (7, "yes", "by message")
    assert said["shown_sha256"] == "ef" * 32


@pytest.mark.parametrize(
    "wrong", [{"item": "9"}, {"answer": "perhaps"}, {"answer": "changed"}, {"way": "by pigeon"}]
)
def test_an_answer_that_nobody_gave_is_refused(phone, daemon, wrong):
    form = {"item": "7", "answer": "yes", "way": "by message"} | wrong

    assert phone.press("orders/3/proof", form=form).status_code == 422
    assert "note_proof" not in daemon.said


def test_a_yes_is_not_offered_before_the_proof_was_shown_as_it_is_now(phone, daemon):
    (shown,) = ORDER["items"][0]["proofs"]
    change_item(daemon, proofs=[shown | {"is_current": False}])

    page = phone.look("/orders/3").text

    assert "They said yes" not in page
    assert "was shown to" in page


def test_names_stand_enlarged_with_digits_and_unusual_letters_marked(phone):
    page = phone.look("/orders/3").text

    assert '<b class="digit">1999</b>' in page
    assert '<mark title="latin small letter e with diaeresis">ë</mark>' in page


def test_letters_that_look_alike_or_cannot_be_seen_are_told_apart():
    """Names as Unicode's own character database has them."""
    parts = marked("Аda\u200b 2\u0662")  # a Cyrillic A, a zero-width space, an Arabic two

    assert [(one.kind, one.name) for one in parts if one.name] == [
        ("unusual", "cyrillic capital letter a"),
        ("unusual", "zero width space"),
        ("unusual", "arabic-indic digit two"),
    ]
    assert [one.text for one in parts] == ["А", "da", "□", " ", "2", "\u0662"]


def test_an_untested_pairing_warns_before_it_is_made(phone, daemon):
    assert "no check strip on it went through scouring" in phone.look("/orders/3").text

    change_item(daemon, trials=["scouring"])

    assert "no check strip" not in phone.look("/orders/3").text


def test_a_surface_that_is_gone_is_said_and_the_order_is_shown(phone, daemon):
    change_item(daemon, is_surface_known=False, item=ITEM | {"surface": "gone <b>"})

    page = phone.look("/orders/3").text

    assert SURFACE_GONE in page
    assert "<option selected>gone &lt;b&gt;</option>" in page


def test_a_picture_that_is_gone_is_said(phone, daemon):
    change_item(daemon, item=ITEM | {"draft": "0123456789abcdef"})

    page = phone.look("/orders/3").text

    assert PHOTO_MISSING in page
    assert 'href="/new?order=3&amp;item=7"' in page


@pytest.mark.parametrize(
    ("prepared", "words"),
    [
        ({}, []),
        ({"photo_sha256": "cd" * 32}, ["is not the one of the list"]),
        ({"size_mm": (80.0, 90.0)}, ["at another size than the order’s"]),
        ({"size_mm": (None, None)}, []),
    ],
)
def test_a_photo_that_was_changed_since_and_another_size_are_said(prepared, words):
    item = ITEM | {"photo_sha256": "ab" * 32}
    entry = from_json_value(ORDER["items"][0] | {"item": item}, ItemEntry)
    as_listed = Prepared(photo_sha256="ab" * 32, size_mm=(90.0, 90.0), has_picture=True)

    faults = item_view(entry, replace(as_listed, **prepared))["faults"]

    assert len(faults) == len(words)
    assert all(word in fault for word, fault in zip(words, faults, strict=True))


def test_an_order_is_deleted_only_when_somebody_is_sure(phone, daemon):
    unsure = phone.press("orders/3/forget")
    assert (unsure.status_code, "forget_order" in daemon.said) == (422, False)

    phone.press("orders/3/forget", form={"sure": "yes"})

    assert daemon.said["forget_order"]["id"] == 3


def test_deleting_takes_every_file_of_it_along(phone, daemon, tmp_path):
    """The fake's tile is run 7, with a photo of the tile; another job's files stay."""
    photo, job, other = f"tile-{'1' * 64}.jpg", "ab" * 32, "cd" * 32
    judged = {"id": 1, "verdict": "pale", "cause": "", "note": "", "photo": photo,
              "at_utc": "2026-11-25T18:00:00Z", "who": ""}  # fmt: skip
    daemon.answers["run"] = ETCH | {"verdicts": [judged]}
    draft = Drafts(tmp_path / "drafts").begin("x")
    change_item(daemon, item=ITEM | {"draft": draft.id})
    gone = [
        tmp_path / f"pictures/{job}.png",
        tmp_path / f"pictures/{job}-small.jpg",
        tmp_path / f"pictures/{photo}",
        tmp_path / f"made-from/{job}/photo",
        tmp_path / f"drafts/{draft.id}/draft.json",
    ]
    kept = [tmp_path / f"pictures/{other}.png", tmp_path / f"made-from/{other}/photo"]
    for path in (*gone, *kept):
        path.parent.mkdir(parents=True, exist_ok=True)
        path.touch()

    phone.press("orders/3/forget", form={"sure": "yes"})

    assert not any(path.exists() for path in gone)
    assert all(path.exists() for path in kept)
    assert daemon.said["forget_order"]["id"] == 3


def test_a_draft_for_an_order_outlasts_the_week_that_others_have(tmp_path):
    drafts = Drafts(tmp_path)
    ordered = [for_order(drafts.begin("x"), {"order": "3", "item": "7"}) for _ in range(60)]
    plain = [drafts.begin("x") for _ in range(5)]
    for number, draft in enumerate((*ordered, *plain)):
        drafts.keep(draft)
        old_s = EARLIEST_S + 100 * DAY_S + number
        os.utime(drafts.folder_of(draft.id), (old_s, old_s))

    drafts.clear_old(EARLIEST_S + 200 * DAY_S, of_orders=ORDERED_DRAFTS)
    assert {one.id for one in drafts.all() if one.item} == {one.id for one in ordered}
    assert len(drafts.all()) == len(ordered) + DRAFTS.spared

    drafts.clear_old(EARLIEST_S + 900 * DAY_S, of_orders=ORDERED_DRAFTS)
    assert len([one for one in drafts.all() if one.item]) == ORDERED_DRAFTS.spared


def test_no_such_order_is_a_page_that_says_so(phone):
    answer = phone.look("/orders/99")

    assert answer.status_code == 404
    assert "no order 99" in answer.text


@pytest.mark.parametrize(
    ("due_on", "words"),
    [
        ("2026-11-28", "due today"),
        ("2026-11-29", "due tomorrow"),
        ("2026-12-24", "due 24 Dec 2026"),
        ("2026-11-27", "1 day late"),
        ("2026-11-01", "27 days late"),
        ("", "no day named"),
        ("2026-02-31", "no day named"),
    ],
)
def test_a_day_is_said_as_a_person_says_it(due_on, words):
    assert due_words(due_on, date(2026, 11, 28)) == words


def test_a_page_of_orders_stays_small_whatever_customers_are_called(phone, daemon):
    """300 open orders with the longest names there may be: a page holds 40 of them."""
    longest = ORDER_LINE | {"customer": "Ǻ" * 80}
    daemon.answers["orders"] = lambda **asked: {
        "orders": [longest | {"id": 2**40 + number} for number in range(asked["limit"])],
        "total": 300,
        "next_from": asked["from_place"] + asked["limit"],
    }

    page = phone.look("/orders?from=40")

    assert len(page.data) <= LARGEST_PAGE_BYTES
    assert page.text.count("order-entry") == 40
    assert "More, 220 left" in page.text
    assert 'href="/orders?from=80"' in page.text


def test_who_may_only_watch_sees_orders_and_changes_none(pair_phone):
    watching = pair_phone("watch", time.time())

    assert watching.look("/orders").status_code == 200
    assert "They said yes" not in watching.look("/orders/3").text
    for address in ("new", "3", "3/item", "3/proof", "3/forget"):
        assert watching.press(f"orders/{address}", form=TYPED).status_code == 403


def test_the_page_needs_no_script(phone):
    assert "<script" not in phone.look("/orders").text
    assert "<script" not in phone.look("/orders/3").text
