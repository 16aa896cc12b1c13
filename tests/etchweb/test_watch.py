import html
import re
import time
from datetime import timedelta

import pytest

from etchdaemon.service.job.inspection import IS_READY
from etchweb.auth.roles import Role
from etchweb.run.cautions import CAUTIONS
from etchweb.run.interlock_presenter import LOOKED
from etchweb.run.stream import MAX_STREAMS
from etchweb.run.views import CAUTIONS_UNREAD, OTHER_PICTURE, STOP_ELSEWHERE
from etchweb.text.emergencies import LOCAL_RULES_FIRST
from etchweb.text.timestamps import clock_time
from etchwire.errors import Refused
from support.fakes.fake_daemon import (
    BOX,
    GONE,
    HELD_BECAUSE,
    JOB,
    LID_TRIP,
    ORIGIN_SHIFTED,
    QUESTIONS,
    SHA256,
    STATES,
    box,
    preflight,
)
from support.fakes.fake_unfinished import LEFT

READY = {"cautions": "read", "tile": SHA256}
METHODS = [("hold", "hold"), ("hold-now", "hold_now"), ("resume", "resume"), ("stop", "stop")]


def button_of(page, action):
    form = re.search(rf'action="/{action}".*?<button([^>]*)>', page.text, re.DOTALL)
    return form[1] if form else None


@pytest.mark.parametrize("state", STATES)
def test_every_state_has_a_page_with_its_sentence(phone, daemon, state):
    daemon.tell(state)

    page = phone.look()

    assert page.status_code == 200
    said = html.unescape(page.text)
    assert STATES[state]["sentence"].removesuffix(HELD_BECAUSE).strip() in said
    assert state != "held" or HELD_BECAUSE in said


def test_a_daemon_that_is_away_is_told_and_can_still_be_asked_to_stop(phone, daemon):
    daemon.go_away()

    page = phone.look()

    assert page.status_code == 200
    assert GONE in page.text
    assert "disabled" not in button_of(page, "stop")


@pytest.mark.parametrize(
    ("lines", "words"), [(0, None), (1, "1 line: blanks"), (3, "3 lines: blanks, comments")]
)
def test_a_file_that_was_tidied_says_of_how_many_lines(phone, daemon, lines, words):
    daemon.tell("loaded", job={**JOB, "tidied_lines": lines})

    page = phone.look()

    assert words is None or words in page.text
    assert ("<dt>Tidied</dt>" in page.text) == (words is not None)


def test_a_safety_relay_that_is_down_asks_for_the_button_before_arming(phone, daemon):
    request = "The safety relay is down. Close the lid, press the button at the machine, then arm."
    daemon.tell("loaded", may=["unload"], interlocks=box(request=request))

    page = phone.look()

    assert page.text.index(request) < page.text.index("Get ready")
    assert "The safety relay was last seen to fall on 2026-11-23." in page.text


def test_only_what_may_be_asked_can_be_pressed(phone, daemon):
    daemon.tell("etching", may=["hold", "stop"])

    page = phone.look()

    assert "disabled" not in button_of(page, "hold")
    assert "disabled" in button_of(page, "hold-now")
    assert button_of(page, "resume") is None


def test_resume_stands_in_the_place_of_hold_while_held(phone, daemon):
    daemon.tell("held")

    page = phone.look()

    assert "disabled" not in button_of(page, "resume")
    assert button_of(page, "hold") is None


@pytest.mark.parametrize(("action", "method"), METHODS)
def test_pressing_asks_the_daemon_and_shows_the_page_again(phone, daemon, action, method):
    answer = phone.press(action)

    assert daemon.asked == [method]
    assert (answer.status_code, answer.location) == (303, "/")


def test_a_script_gets_its_answer_as_json(phone, daemon):
    answer = phone.press("hold", Accept="application/json")

    assert answer.json == {"sentence": ""}


@pytest.mark.parametrize(
    ("kind", "status"), [("refused", 409), ("job", 422), ("busy", 503), ("internal", 502)]
)
def test_a_refusal_is_shown_in_the_daemons_own_words(phone, daemon, kind, status):
    daemon.refuse("Nothing is being etched.", kind)

    page, answer = phone.press("hold"), phone.press("hold", Accept="application/json")

    assert (page.status_code, answer.status_code) == (status, status)
    assert "Nothing is being etched." in page.text
    assert answer.json == {"sentence": "Nothing is being etched."}


def test_pressing_stop_while_the_daemon_is_away_says_where_else_to_stop(phone, daemon):
    daemon.go_away()

    page = phone.press("stop")

    assert page.status_code == 503
    assert STOP_ELSEWHERE in page.text


def test_every_caution_stands_before_the_start(phone, daemon):
    daemon.tell("loaded")

    text = phone.look().text

    assert all(caution.look_at in text for caution in CAUTIONS)
    assert text.index(CAUTIONS[-1].look_at) < text.index("Get ready")


def test_cautions_this_phone_read_today_are_folded_and_their_box_is_ticked_anew(phone, daemon):
    daemon.tell("loaded")
    assert '<details class="cautions-fold" open>' in phone.look().text

    phone.press("arm", form=READY)

    text = phone.look().text
    assert '<details class="cautions-fold">' in text
    assert "read here today at" in text
    assert '<input type="checkbox" name="cautions" value="read" required>' in text


def test_cautions_that_another_phone_read_are_open_on_this_one(phone, daemon, pair_phone):
    daemon.tell("loaded")
    pair_phone(Role.OPERATE, time.time()).press("arm", form=READY)

    assert '<details class="cautions-fold" open>' in phone.look().text


def test_cautions_that_were_read_yesterday_are_open_again(phone, daemon, app):
    daemon.tell("loaded")
    phone.press("arm", form=READY)
    read = app.extensions["etchweb"].cautions_read
    read.update({holder: at - timedelta(days=1) for holder, at in read.items()})

    assert '<details class="cautions-fold" open>' in phone.look().text


def test_an_end_after_closing_time_is_said_before_anything_is_asked(phone, daemon):
    late = "This would end at 18:20 and its last look come at 18:50, after closing time at 18:30."
    daemon.tell("loaded", asked_at_start={"long_run": None, "stays": late, "too_late": late})

    text = phone.look().text

    assert text.index(late) < text.index(CAUTIONS[0].look_at)


def test_a_start_that_closing_time_forbids_says_so_and_cannot_be_pressed(phone, daemon):
    late = "This would end at 18:20 and its last look come at 18:50, after closing time at 18:30."
    start = re.compile(r'data-may="start"( disabled)?')
    daemon.tell("armed", asked_at_start={"long_run": None, "stays": late, "too_late": None})
    with_somebody = phone.look().text
    closed = {"long_run": None, "stays": late, "too_late": late}
    daemon.tell("armed", may=["disarm"], asked_at_start=closed)
    too_late = phone.look().text

    assert start.search(with_somebody)[1] is None
    assert start.search(too_late)[1]
    assert late in too_late
    assert 'data-late="somebody stays"' in with_somebody  # another draws the page anew
    assert 'data-late="too late"' in too_late


def test_the_page_does_not_renew_itself_while_the_cautions_are_read(phone, daemon):
    daemon.tell("etching")
    assert 'http-equiv="refresh"' in phone.look().text

    daemon.tell("loaded")
    assert 'http-equiv="refresh"' not in phone.look().text


def test_getting_ready_hands_the_answers_to_the_box_when_the_cautions_are_read(phone, daemon):
    daemon.tell("loaded")
    answers = {"answer lens": "yes", "answer focus": "spacer", "answer coated hours ago": "14,5"}

    phone.press("arm", form=READY | answers)

    assert daemon.said["arm"] == {
        "answers": {"lens": True, "focus": "spacer", "coated hours ago": 14.5},
        "test_heartbeat": False,
        "acknowledge": [],
    }


def test_an_answer_left_out_is_left_to_the_box_to_ask_for(phone, daemon):
    daemon.tell("loaded")

    phone.press("arm", form=READY | {"answer coated hours ago": "a while", "answer focus": " "})

    assert daemon.said["arm"]["answers"] == {"coated hours ago": "a while"}


def test_what_has_to_be_read_of_the_check_stands_before_the_start(phone, daemon):
    daemon.tell("loaded", job=JOB | {"preflight": preflight("acknowledge", ORIGIN_SHIFTED)})

    page = phone.look()
    phone.press("arm", form=READY | {"has read": ["shifts its origin"]})

    assert "Line 4: The file moves its own origin." in page.text
    assert daemon.said["arm"]["acknowledge"] == ["shifts its origin"]


def test_what_the_check_found_is_said(phone, daemon):
    daemon.tell("loaded")

    assert IS_READY in phone.look().text


def test_a_start_says_who_knows_and_who_stays(phone, daemon):
    daemon.tell("armed")

    phone.press("start", form={"tile": SHA256, "long run": "known", "who stays": " Ada "})

    assert daemon.said["start"] == {
        "acknowledge_long_run": True, "stays_until_end": "Ada", "acknowledge": [],
    }  # fmt: skip


def test_a_start_needs_the_picture_that_was_looked_at(phone, daemon):
    daemon.tell("armed")

    answer = phone.press("start", form={"tile": "cd" * 32})

    assert (answer.status_code, daemon.asked) == (409, [])


def test_every_question_of_the_box_stands_on_the_page_in_its_group(phone, daemon):
    daemon.tell("loaded")

    text = phone.look().text

    for title in ("For today", "For the bed", "For this tile"):
        assert title in text
    assert all(f'name="answer {question["key"]}"' in text for question in QUESTIONS)


def test_while_arming_the_page_says_what_to_do_at_the_machine(phone, daemon):
    daemon.tell("arming")

    page = phone.look()

    assert "button there" in page.text
    assert button_of(page, "start") is None


def test_only_an_armed_box_can_be_started(phone, daemon):
    daemon.tell("armed")

    assert "disabled" not in button_of(phone.look(), "start")


def test_a_trip_is_told_and_resets_by_its_own_name(phone, daemon):
    daemon.tell("tripped")

    page = phone.look()
    phone.press("reset", form={"name": ["lid closed"]})

    assert LID_TRIP["sentence"] in page.text
    assert daemon.said["reset"] == {"names": ["lid closed"]}


FIRE = {**LID_TRIP, "name": "no flame or smoke", "reaction": "emergency"}


def test_an_emergency_comes_first_with_three_steps_and_the_rest_folded_away(phone, daemon):
    daemon.tell("tripped", interlocks=box(trips=[LID_TRIP, FIRE]))

    before, rest = phone.look().text.split('<details class="else">')

    assert "<title>Fire or smoke in the box – Etchwarden</title>" in before
    assert before.index("Fire or smoke in the box</h1>") < before.index("<ol>")
    assert before.count("<li>") == 3
    assert LOCAL_RULES_FIRST in before
    assert "stops" not in before
    assert 'class="bench"' not in before
    assert "<h1" not in rest
    assert 'data-may="reset"' in rest


@pytest.mark.parametrize("path", ["/new", "/logbook", "/machine", "/phones", "/nowhere"])
def test_an_emergency_is_said_first_on_every_other_page_with_the_way_to_what_to_do(
    phone, stranger, daemon, app, path
):
    listener = app.extensions["etchweb"].listener
    listener.start()
    wait_until(listener, lambda snapshot: snapshot is not None)
    before = phone.look(path).text
    daemon.tell("idle", interlocks=box(trips=[FIRE]))
    wait_until(listener, lambda snapshot: snapshot.interlocks.trips)
    page = phone.look(path).text
    listener.end()

    assert "Fire or smoke" not in before
    assert page.index("Fire or smoke in the box: what to do") < page.index("<header")
    assert "<title>Fire or smoke in the box – " in page
    assert "Fire or smoke" not in stranger.look(path).text


def wait_until(listener, holds):
    report = listener.report
    while not holds(report.snapshot):
        report = listener.wait_for_news(report.number, 5.0)


def test_a_round_is_asked_and_answered(phone, daemon):
    daemon.tell("etching", may=["answer_round"], interlocks=box(is_round_asking=True))

    page = phone.look()
    phone.press("answer-round")

    assert "within reach" in page.text
    assert daemon.asked == ["answer_round"]


def test_a_look_after_the_end_is_asked_for_and_answered(phone, daemon):
    look = box(is_look_asked=True, asked_for="The etch ended 15 min ago. Look whether it glows.")
    daemon.tell("complete", may=["answer_round"], interlocks=look)

    page = phone.look()
    phone.press("answer-round")

    assert "The etch ended 15 min ago." in page.text
    assert LOOKED in page.text
    assert daemon.asked == ["answer_round"]


def trip_event(number, rule, kind="trip"):
    return {
        "id": number,
        "at_utc": f"2026-11-25T17:1{number}:00+00:00",
        "kind": kind,
        "at_s": 60.0 * number,
        "text": "The lid is open.",
        "details": {"rule": rule},
    }


def card_of(page):
    (card,) = re.findall(r'<section class="stops".*?</section>', page.text, re.DOTALL)
    return " ".join(html.unescape(re.sub(r"<[^>]*>", " ", card)).split())


def test_a_cause_that_was_mended_is_told_as_past_and_so_is_one_that_waits_for_its_reset(
    phone, daemon
):
    events = [trip_event(1, "cool enough"), trip_event(2, "", "resumed"),
              trip_event(3, "guard well"), trip_event(4, "lid closed")]  # fmt: skip
    daemon.answers["run_events"] = {"events": events, "next_after": None}
    run = {**STATES["held"]["run"], "held_because": "The lid is open."}
    both = box(trips=[LID_TRIP], rules=BOX["rules"])

    daemon.tell("held", run=run, interlocks=box(trips=[LID_TRIP]))
    while_open = card_of(phone.look())
    daemon.tell("held", run=run, interlocks=both)
    once_closed = card_of(phone.look())
    daemon.tell("held", run=run)
    once_reset = card_of(phone.look())

    at_13, at_14 = (clock_time(events[index]["at_utc"]) for index in (2, 3))
    earlier = f"The program that watches the interlocks failed at {at_13} , running again, reset."
    assert LID_TRIP["sentence"] in while_open
    assert "Next: Close the lid." in while_open
    assert f"The lid was opened at {at_14} , closed again. " in once_closed
    assert "Next: Press Reset. Reset" in once_closed
    assert f"The lid was opened at {at_14} , closed again, reset. Next: Press Res" in once_reset
    assert all(earlier in card for card in (while_open, once_closed, once_reset))
    assert "is open" not in once_closed + once_reset
    assert "temperature" not in once_reset  # it went on since


def test_a_hold_names_the_phone_that_asked_for_it(pair_phone, daemon):
    daemon.tell("etching")
    ann = pair_phone(Role.WATCH, time.time())

    for action in ("hold", "hold-now", "stop"):
        ann.press(action)

    told = {name: daemon.said[name]["who"] for name in ("hold", "hold_now", "stop")}
    assert set(told.values()) == {"a phone to watch"}


def test_everything_the_box_watches_is_said_in_words(phone, daemon):
    daemon.tell("loaded")

    text = phone.look().text

    told = (
        "as it should be, for 12 min", "No air flows, just now", "not heard from<",
        "because the paddle flutters.", BOX["lacks"][0],
    )  # fmt: skip
    for words in told:
        assert words in text


@pytest.mark.parametrize(
    ("form", "status", "sentence"),
    [
        ({"tile": SHA256}, 422, CAUTIONS_UNREAD),
        ({**READY, "cautions": "later"}, 422, CAUTIONS_UNREAD),
        ({"cautions": "read"}, 409, OTHER_PICTURE),
        ({**READY, "tile": "cd" * 32}, 409, OTHER_PICTURE),
    ],
)
def test_getting_ready_waits_for_a_look(phone, daemon, form, status, sentence):
    daemon.tell("loaded")

    answer = phone.press("arm", form=form)

    assert answer.status_code == status
    assert sentence in answer.text
    assert daemon.asked == []


def test_polling_gives_what_the_page_says(phone, daemon):
    daemon.tell("etching")

    assert phone.look("/watch.json").json["rows_done"] == "412"


def test_the_ninth_stream_is_asked_to_poll(phone):
    streams = [phone.look("/watch/stream") for _ in range(MAX_STREAMS)]

    ninth = phone.look("/watch/stream")

    assert [stream.status_code for stream in streams] == [200] * MAX_STREAMS
    assert ninth.status_code == 503
    assert int(ninth.headers["Retry-After"]) > 0


def test_a_stream_that_closes_makes_room(phone):
    streams = [phone.look("/watch/stream") for _ in range(MAX_STREAMS)]

    streams[0].close()

    assert phone.look("/watch/stream").status_code == 200


def test_a_stream_starts_with_everything(phone, app, daemon):
    listener = app.extensions["etchweb"].listener
    daemon.go_away()
    listener.listen_once()

    stream = phone.look("/watch/stream")
    first = next(stream.iter_encoded()).decode()
    listener.end()

    assert stream.mimetype == "text/event-stream"
    assert '"scene":"away"' in first
    assert list(stream.iter_encoded()) == []


@pytest.mark.parametrize("state", ["tripped", "failed", "idle"])
def test_an_etch_that_was_cut_short_is_offered_on_the_bench(phone, daemon, state):
    daemon.tell(state, unfinished=LEFT)

    assert 'href="/logbook/6/take-up-again"' in phone.look().text


def test_what_is_left_of_an_etch_says_so_on_the_bench(phone, daemon):
    rest = JOB | {"continues_run_id": 6, "rows_above": 412}
    daemon.tell("loaded", job=rest, unfinished=LEFT)

    text = phone.look().text

    assert "What is left of etch 6" in text
    assert '<rect data-tile="etched" x="0" y="0" width="100.0" height="41.2"/>' in text
    assert "take-up-again" not in text


def test_a_phone_that_watches_is_told_who_can_take_it_up(daemon, pair_phone):
    daemon.tell("idle", unfinished=LEFT)

    text = pair_phone(Role.WATCH, time.time()).look().text

    assert "Etch 6 came as far as row 412 of 1000." in text
    assert "Continuing takes a phone that may operate" in text
    assert "take-up-again" not in text


def test_nothing_is_offered_to_be_taken_up_after_a_whole_etch(phone, daemon):
    daemon.tell("complete")

    assert "take-up-again" not in phone.look().text


def test_what_happened_is_told_beside_the_tile(phone, daemon):
    for state in ("held", "stopped"):
        daemon.tell(state)
        assert "Held at the end of row 160: you asked for it." in phone.look().text


def test_the_tile_is_shown_although_the_logbook_cannot_be_asked(phone, daemon):
    def answer(**_):
        raise Refused("busy", "the logbook is being copied")

    daemon.tell("etching")
    daemon.answers["run_events"] = answer

    assert phone.look().status_code == 200


@pytest.mark.parametrize(
    ("asked", "names"),
    [
        ({}, []),
        ({"long_run": "This runs for 40 minutes."}, ["long run"]),
        ({"stays": "This would end at 19:00."}, ["who stays"]),
        ({"stays": "This would end at 19:00.", "too_late": "It is too late today."}, []),
    ],
)
def test_a_start_asks_people_only_for_what_applies(phone, daemon, asked, names):
    daemon.tell("armed", asked_at_start=asked)

    text = phone.look().text

    assert [name for name in ("long run", "who stays") if f'name="{name}"' in text] == names
    assert all(sentence in text for sentence in [*asked.values()][-1:])


def test_how_much_of_the_starting_minute_is_left_is_told(phone, daemon):
    daemon.tell("armed")

    assert "42 s left to start." in phone.look().text


@pytest.mark.parametrize(
    ("state", "what"), [("arming", "Now show that somebody"), ("armed", "Start the etch")]
)
def test_what_a_person_has_a_minute_for_stands_before_what_is_loaded(phone, daemon, state, what):
    daemon.tell(state)

    text = phone.look().text

    assert text.index(what) < text.index("Laser, tile and paint")


@pytest.mark.parametrize(
    ("state", "is_told"), [("idle", True), ("loaded", True), ("etching", False)]
)
def test_nobody_is_asked_to_press_the_stop_button_while_it_etches(phone, daemon, state, is_told):
    daemon.tell(state)

    assert phone.look().text.count("Press the stop button.") == is_told


def test_etching_it_again_is_folded_away_from_an_etch_that_ended(phone, daemon):
    daemon.tell("stopped")

    again = phone.look().text.partition('<details class="again">')[2]

    assert "Get ready" in again.partition("</details>\n<details")[0]


def test_why_etching_it_again_came_to_nothing_is_not_folded_away(phone, daemon):
    failed = {**box()["arming"], "failed_because": "nobody pressed the button"}
    daemon.tell("stopped", interlocks=box(arming=failed))

    again = phone.look().text.partition('<details class="again" open>')[2]

    assert "Nobody pressed the button." in again
