"""The page *Continue this etch*, against a daemon that the test moves."""

import html
import re
import time

import pytest

from etchweb.auth.roles import Role
from etchweb.reentry.presenter import reentry_view, row_from_text
from etchweb.reentry.views import NO_ROW, NOT_CONFIRMED
from etchwire.calls.json_values import from_json_value
from etchwire.calls.machine import UnfinishedRun
from etchwire.errors import Refused
from support.fakes.fake_daemon import GONE, STAYS, STOPPED_ETCH, box
from support.fakes.fake_unfinished import (
    BY_CUT,
    BY_EYE,
    BY_LINE,
    BY_TWO_ROWS,
    NOT_KEPT,
    OF_A_BENCH,
    answer_unfinished,
)

PAGE = "/logbook/6/take-up-again"
AGAIN = "origin set again"
KEPT = "tile and head have not moved"


def look(phone, query=""):
    return html.unescape(phone.look(PAGE + query).text)


def say(phone, **form):
    return phone.press(PAGE.lstrip("/"), form={"do": "load", **form})


def test_what_is_known_and_what_is_not_is_said(phone):
    text = look(phone)

    assert all(sentence in text for sentence in (*BY_EYE["known"], *BY_EYE["unknown"]))
    assert "588 rows, 100 × 58.8 mm, from row 413 on" in text
    assert "In doubt take the row above." in text


def test_what_the_box_asks_for_at_the_machine_is_said_before_the_rest_is_loaded(phone, daemon):
    relay = "The safety relay is down. Set it with its button at the machine."
    daemon.tell("stopped", interlocks=box(request=relay))

    text = look(phone)

    assert text.index(relay) < text.index("Load the rest")


def test_a_rest_that_would_end_after_closing_time_says_so_where_it_is_loaded(phone, daemon):
    asked = []

    def answer(lasts_s):
        asked.append(lasts_s)
        return {"stays": STAYS}

    before = phone.look(PAGE).text
    daemon.answers["confirmations"] = answer
    page = phone.look(f"{PAGE}?by=eye&row=901").text

    assert STAYS not in before
    assert page.index(STAYS) < page.index("Load the rest")
    assert asked == [100 * 2.46]  # rows 901 to 1000, at what one lasts


def test_the_row_the_record_ends_with_is_proposed(phone):
    assert re.search(r'name="row"[^>]*value="413"', look(phone))


def test_the_tile_that_was_cut_is_left_out_of_a_bench(phone, daemon):
    daemon.answers["unfinished"] = answer_unfinished(OF_A_BENCH)

    text = look(phone)
    led_to = re.search(r'href="([^"]*)">Leave the tile in pocket 3 out[^<]*pocket 5: Zoe<', text)[1]
    page = phone.look(led_to).text

    assert "500 rows, 100 × 50.0 mm, from row 501 on" in page
    row = re.search(r'name="row"[^>]*value="(\d+)"', page)[1]
    say(phone, by="eye", row=row, confirm=KEPT)
    assert daemon.said["reenter"]["row"] == 500


def test_where_the_cut_was_logged_nobody_is_asked_for_a_row(phone, daemon):
    daemon.answers["unfinished"] = answer_unfinished(BY_CUT)

    text = look(phone)

    assert 'name="row"' not in text
    assert "?by=eye" in text
    assert 'name="row"' in look(phone, "?by=eye")


@pytest.mark.parametrize(("told", "choices"), [(BY_EYE, [AGAIN]), (BY_CUT, [KEPT, AGAIN])])
def test_nobody_can_say_that_nothing_moved_where_the_place_is_lost(phone, daemon, told, choices):
    daemon.answers["unfinished"] = answer_unfinished(told)

    assert re.findall(r'name="confirm" value="([^"]*)"', look(phone)) == choices


def test_a_row_told_by_eye_reaches_the_daemon_counted_from_nought(phone, daemon):
    answer = say(phone, by="eye", row="420", confirm=AGAIN)

    assert (answer.status_code, answer.location) == (303, "/")
    assert daemon.said["reenter"] == {"run": 6, "confirm": AGAIN, "row": 419, "accept_gap": False}


def test_where_the_cut_counts_no_row_is_sent(phone, daemon):
    daemon.answers["unfinished"] = answer_unfinished(BY_CUT)

    say(phone, row="420", confirm=KEPT)

    assert daemon.said["reenter"] == {"run": 6, "confirm": KEPT, "row": None, "accept_gap": False}


def test_of_two_rows_that_the_record_names_a_person_chooses_one(phone, daemon):
    daemon.answers["unfinished"] = answer_unfinished(BY_TWO_ROWS)

    text = look(phone)
    unsaid = say(phone, by="two", confirm=KEPT)
    say(phone, by="two", row="414", confirm=KEPT)

    assert re.findall(r'type="radio" name="row" value="([^"]*)"', text) == ["413", "414"]
    assert "Row 414; it goes on 99.3 mm from the left edge, give or take 0.40 mm" in text
    assert "In doubt take the row above." in text
    assert "?by=eye" in text
    assert (unsaid.status_code, NO_ROW in unsaid.text) == (422, True)
    assert daemon.said["reenter"] == {"run": 6, "confirm": KEPT, "row": 413, "accept_gap": False}


def test_of_another_programs_file_the_gap_is_shown_and_accepted_and_no_row_is_asked_for(
    phone, daemon
):
    daemon.answers["unfinished"] = answer_unfinished(BY_LINE)

    text = look(phone)
    say(phone, confirm=KEPT, accept_gap="yes")

    assert "Up to 3.4 mm of the stroke that was cut stay unburnt." in text
    assert 'type="checkbox" name="accept_gap"' in text
    assert "by=eye" not in text
    assert "from row" not in text
    assert daemon.said["reenter"] == {"run": 6, "confirm": KEPT, "row": None, "accept_gap": True}


def test_another_row_is_shown_without_a_script_and_nothing_is_loaded(phone, daemon):
    answer = say(phone, by="eye", row="500", do="show")

    assert answer.location == f"{PAGE}?by=eye&row=500"
    assert daemon.asked == []
    text = look(phone, "?by=eye&row=500")
    assert "501 rows, 100 × 50.1 mm, from row 500 on" in text
    assert "<strong data-below>49.9</strong>" in text


@pytest.mark.parametrize(
    ("form", "sentence"),
    [
        ({"by": "eye", "row": "", "confirm": AGAIN}, NO_ROW),
        ({"by": "eye", "row": "0", "confirm": AGAIN}, NO_ROW),
        ({"by": "eye", "row": "row twelve", "confirm": AGAIN}, NO_ROW),
        ({"by": "eye", "row": "9" * 5000, "confirm": AGAIN}, NO_ROW),
        ({"by": "eye", "row": "12"}, NOT_CONFIRMED),
        ({"by": "eye", "row": "12", "confirm": "yes"}, NOT_CONFIRMED),
    ],
)
def test_what_is_missing_is_said_and_nothing_is_loaded(phone, daemon, form, sentence):
    answer = say(phone, **form)

    assert answer.status_code == 422
    assert sentence in answer.text
    assert daemon.asked == []


def test_a_refusal_keeps_the_row_and_the_choice(phone, daemon):
    daemon.refuse("head position unknown")

    answer = say(phone, by="eye", row="420", confirm=AGAIN)

    assert answer.status_code == 409
    assert "Head position unknown." in answer.text
    assert re.search(r'name="row"[^>]*value="420"', answer.text)
    assert f'value="{AGAIN}" required checked' in answer.text


def test_a_script_is_told_where_to_look_next(phone):
    form = {"do": "load", "by": "eye", "row": "420", "confirm": AGAIN}

    answer = phone.press(PAGE.lstrip("/"), form=form, Accept="application/json")

    assert answer.json == {"sentence": "", "next": "/"}


def test_an_etch_whose_job_is_gone_says_so_and_offers_nothing(phone, daemon):
    daemon.answers["unfinished"] = answer_unfinished(NOT_KEPT)

    text = look(phone)

    assert NOT_KEPT["why_not"] in text
    assert "<button" not in text


def test_below_the_last_row_nothing_is_left(phone):
    assert "nothing is left" in look(phone, "?by=eye&row=5000")


@pytest.mark.parametrize("query", ["?by=eye&row=-3", "?row=%F0%9F%94%A5", "?by=eye&row=1e9"])
def test_a_senseless_row_in_the_address_is_left_out(phone, query):
    assert re.search(r'name="row"[^>]*value="413"', look(phone, query))


def test_an_unknown_etch_is_not_found_and_a_daemon_that_is_away_is_told(phone, daemon):
    assert phone.look("/logbook/999/take-up-again").status_code == 404

    daemon.go_away()
    answer = phone.look(PAGE)

    assert answer.status_code == 503
    assert GONE in answer.text


def test_a_phone_that_only_watches_is_kept_out(daemon, pair_phone):
    watcher = pair_phone(Role.WATCH, time.time())

    assert watcher.look(PAGE).status_code == 403
    assert say(watcher, by="eye", row="420", confirm=AGAIN).status_code == 403
    assert daemon.asked == []


def test_the_page_of_an_etch_leads_there_only_where_there_is_something_to_take_up(phone, daemon):
    assert f'href="{PAGE}"' in phone.look("/logbook/6").text
    assert "take-up-again" not in phone.look("/logbook/7").text

    gone_on = BY_EYE | {
        "may": False,
        "continued_by": 9,
        "why_not": "Etch 9 has gone on with etch 6.",
    }
    daemon.answers["unfinished"] = answer_unfinished(gone_on)
    page = phone.look("/logbook/6").text

    assert "Etch 9 has gone on with etch 6." in page
    assert 'href="/logbook/9"' in page
    assert "take-up-again" not in page


def test_an_etch_is_shown_although_the_daemon_cannot_say_what_is_left_of_it(phone, daemon):
    def refuse(**_):
        raise Refused("busy", "the logbook is being copied")

    daemon.answers["unfinished"] = refuse

    page = phone.look("/logbook/6")

    assert page.status_code == 200
    assert "take-up-again" not in page.text


def test_an_etch_that_is_under_way_is_not_asked_about(phone, daemon):
    daemon.answers["run"] = STOPPED_ETCH | {"ended": None, "etched_rows": None}

    assert "Continue this etch" not in phone.look("/logbook/6").text


@pytest.mark.parametrize(
    ("text", "row"), [("1", 0), (" 413 ", 412), ("007", 6), ("0", None), ("-1", None), ("", None)]
)
def test_people_count_rows_from_one(text, row):
    assert row_from_text(text) == row


def test_a_line_that_was_moved_past_the_picture_stays_on_it():
    answer = answer_unfinished(BY_EYE)(run=6, row=4000)
    outlook = from_json_value(answer, UnfinishedRun)

    view = reentry_view(outlook, row=4000, is_by_eye=True)

    assert (view["row"], view["rest"]) == (1000, None)
