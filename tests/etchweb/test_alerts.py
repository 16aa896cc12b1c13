"""Alerts: what is told, once, by which ways, and what becomes of it when nobody takes it."""

import sqlite3

import pytest

from etchweb.alerts.alerting import AWAY_S, AlertDetector, AlertService, deliver_once
from etchweb.alerts.channels import Mail, NotDelivered, Webhook
from etchweb.alerts.news import news_of
from etchweb.alerts.outbox import FILE_NAME, GIVE_UP_AFTER_S, WAITS_S, AlertPreferences, Outbox
from etchweb.daemon.listener import DaemonReport, Listener
from etchweb.text.emergencies import LOCAL_RULES_FIRST
from etchwire.alert_policy import Alert
from support.fakes.alert_sinks import MailSink, WebSink, serving
from support.fakes.fake_daemon import HELD_BECAUSE, LID_TRIP, RUN, STATES, FakeDaemon, box, snapshot

NOW_S = 1_800_000_000.0
HELD_LONG_S = 600.0
PATIENCE_S = 60.0
EVERYTHING = AlertPreferences(
    channels=("webhook",), kinds=frozenset(Alert), held_long_s=HELD_LONG_S
)


@pytest.fixture
def outbox(tmp_path):
    return Outbox(tmp_path, EVERYTHING)


@pytest.fixture
def web():
    with serving(WebSink()) as sink:
        yield sink


@pytest.fixture
def mail():
    with serving(MailSink()) as sink:
        yield sink


def news(state, **changes):
    return news_of(snapshot(state, **changes))


def worth_telling(found):
    return [one for one in found if one.kind is not None]


def kinds(outbox, now_s=NOW_S):
    found = []
    while letter := outbox.next_due(now_s):
        found.append(letter.kind)
        outbox.note_sent(letter)
    return found


@pytest.mark.parametrize(
    ("state", "kind", "words"),
    [
        ("complete", Alert.FINISHED, "It took 42 min. Cool first"),
        ("stopped", Alert.STOPPED, "You stopped it. 412 of 1\u202f000 rows are etched."),
        ("tripped", Alert.STOPPED, "The lid was opened."),
        ("failed", Alert.FAILED, "Cable lost."),
        ("held", Alert.HELD, f"{HELD_BECAUSE} At rest after 413 rows; the beam is off."),
    ],
)
def test_an_end_and_a_hold_are_news_with_their_reason(state, kind, words):
    told = worth_telling(news(state))[0]

    assert told.kind is kind
    assert "Lighthouse at dusk" in told.title
    assert words in told.text


@pytest.mark.parametrize(
    "state", sorted(set(STATES) - {"complete", "stopped", "tripped", "failed", "held"})
)
def test_everything_else_is_no_news(state):
    assert worth_telling(news(state)) == []


def test_news_is_told_once_however_often_it_is_heard(outbox):
    outbox.note("left", (), NOW_S)

    for second in range(3):
        outbox.note("left", news("held"), NOW_S + second)

    assert kinds(outbox, NOW_S + 3) == [Alert.HELD]


def test_two_holds_at_the_same_row_are_two_pieces_of_news(outbox):
    for told in ((), news("held"), news("etching"), news("held")):
        outbox.note("left", told, NOW_S)

    assert len(kinds(outbox)) == 2


def test_a_page_started_again_tells_nothing_twice(tmp_path, outbox):
    outbox.note("left", (), NOW_S)
    outbox.note("left", news("held"), NOW_S)
    outbox.note_sent(outbox.next_due(NOW_S))

    again = Outbox(tmp_path, EVERYTHING)
    again.note("left", news("held"), NOW_S + 60)

    assert kinds(again, NOW_S + 60) == []


def test_what_was_not_delivered_before_a_restart_is_delivered_after_it(tmp_path, outbox):
    outbox.note("left", (), NOW_S)
    outbox.note("left", news("complete"), NOW_S)

    assert kinds(Outbox(tmp_path, EVERYTHING)) == [Alert.FINISHED]


def test_an_etch_that_ended_while_the_page_was_down_is_told_when_it_is_back(tmp_path, outbox):
    outbox.note("left", (), NOW_S)

    again = Outbox(tmp_path, EVERYTHING)
    again.note("left", news("complete"), NOW_S + 60)

    assert kinds(again, NOW_S + 60) == [Alert.FINISHED]


def test_an_end_that_was_there_before_this_box_was_is_old_news(outbox):
    outbox.note("left", news("complete"), NOW_S)
    outbox.note("right", news("held"), NOW_S)

    assert kinds(outbox) == [Alert.HELD]


def test_a_hold_that_lasts_is_told_again_once(outbox):
    for late_s in (0, HELD_LONG_S - 1, HELD_LONG_S, HELD_LONG_S + 1, 10 * HELD_LONG_S):
        outbox.note("left", news("held"), NOW_S + late_s)

    assert kinds(outbox, NOW_S + 1e5 / 20) == [
        Alert.HELD,
        Alert.HELD_LONG,
    ]


def test_only_what_is_asked_for_is_told(tmp_path):
    wanted = AlertPreferences(
        channels=("webhook", "mail"), kinds={Alert.FAILED}, held_long_s=HELD_LONG_S
    )
    outbox = Outbox(tmp_path, wanted)
    for told in ((), news("held"), news("failed")):
        outbox.note("left", told, NOW_S)

    assert kinds(outbox) == [Alert.FAILED] * 2


FLAME = {**LID_TRIP, "name": "no flame or smoke", "reaction": "emergency", "phase": "idle",
         "sentence": "Fire or smoke in the box. Cut the mains."}  # fmt: skip
IN_MID_ETCH = ("etching", "holding", "held")


@pytest.mark.fault("fire while nothing is etched, every page closed")
@pytest.mark.parametrize("state", ["idle", "loaded", "armed", "etching", "complete", "failed"])
def test_an_emergency_is_told_at_any_time_and_once(outbox, state):
    outbox.note("left", news(state), NOW_S)
    fire = news(state, interlocks=box(trips=(FLAME,)))
    for second in range(3):
        outbox.note("left", fire, NOW_S + second)

    letter = outbox.next_due(NOW_S + 3)

    assert letter.kind == Alert.EMERGENCY
    assert letter.title == "Fire or smoke in the box"
    assert "1. Cut the mains supply" in letter.text
    assert LOCAL_RULES_FIRST in letter.text
    assert kinds(outbox, NOW_S + 3) == [Alert.EMERGENCY]


def test_an_emergency_that_is_there_when_the_page_is_started_is_told(outbox):
    outbox.note("left", news("idle", interlocks=box(trips=(FLAME,))), NOW_S)

    assert kinds(outbox) == [Alert.EMERGENCY]


def test_a_second_emergency_is_told_and_the_first_not_again_when_one_is_reset(outbox):
    welded = {**FLAME, "name": "loop open when off", "sentence": "Cut the mains supply now."}
    for trips in ((), (FLAME,), (FLAME, welded), (FLAME,)):
        outbox.note("left", news("idle", interlocks=box(trips=trips)), NOW_S)

    assert len(kinds(outbox)) == 2


@pytest.mark.fault("trip after the end, every page closed")
@pytest.mark.parametrize(("phase", "told"), [("idle", 1), ("armed", 0), ("etching", 0)])
def test_a_trip_after_the_end_is_told_but_not_one_that_somebody_at_the_machine_sees(
    outbox, phase, told
):
    trip = {**LID_TRIP, "name": "lid contacts agree", "phase": phase}
    outbox.note("left", news("complete"), NOW_S)
    outbox.note("left", news("complete", interlocks=box(trips=(trip,))), NOW_S)

    assert kinds(outbox) == [Alert.TRIPPED] * told


def test_a_board_that_tells_of_no_edge_any_more_is_told_of_once(outbox):
    outbox.note("left", news("etching"), NOW_S)
    without_edges = news("etching", interlocks=box(board_trouble="Edges are lost"))
    for second in range(3):
        outbox.note("left", without_edges, NOW_S + second)

    letter = outbox.next_due(NOW_S + 3)

    assert (letter.kind, letter.text) == (Alert.TRIPPED, "Edges are lost.")
    assert len(kinds(outbox, NOW_S + 3)) == 1


@pytest.mark.fault("watch round asks, every page closed")
def test_a_watch_round_that_asks_is_told_each_time_with_what_to_do(outbox):
    asking = box(is_round_asking=True, asked_for="Is somebody there? Press the button.")
    outbox.note("left", news("etching"), NOW_S)
    for report in (asking, asking, box(), asking):
        outbox.note("left", news("etching", interlocks=report), NOW_S)

    letter = outbox.next_due(NOW_S)

    assert (letter.kind, letter.text) == (Alert.ROUND, "Is somebody there? Press the button.")
    assert len(kinds(outbox)) == 2


def test_each_look_after_the_end_is_told(outbox):
    outbox.note("left", news("complete"), NOW_S)
    for minutes in (15, 15, 30):
        look = box(is_look_asked=True, asked_for=f"The etch ended {minutes} min ago.")
        outbox.note("left", news("complete", interlocks=look), NOW_S)

    assert kinds(outbox) == [Alert.LOOK] * 2


@pytest.mark.fault("daemon dies or hangs in mid-etch, every page closed")
@pytest.mark.parametrize("state", IN_MID_ETCH)
def test_a_daemon_that_dies_in_mid_etch_is_told_once(tmp_path, outbox, state):
    noticing = AlertDetector("left", outbox)
    noticing.note(DaemonReport(1, snapshot(state), ""), NOW_S)
    while letter := outbox.next_due(NOW_S):
        outbox.note_sent(letter)
    away = DaemonReport(2, None, "The daemon is away.")
    for second in (0, AWAY_S - 0.1):
        noticing.note(away, NOW_S + second)
    before = kinds(outbox, NOW_S + AWAY_S)
    for second in (AWAY_S, AWAY_S + 1):
        noticing.note(away, NOW_S + second)
    again = AlertDetector("left", Outbox(tmp_path, EVERYTHING))  # the page is started anew, too
    again.note(DaemonReport(3, snapshot("idle"), ""), NOW_S + 60)

    assert before == []
    assert kinds(outbox, NOW_S + 60) == [Alert.CUT_OFF]


@pytest.mark.fault("daemon dies or hangs in mid-etch, every page closed")
def test_an_etch_of_which_only_the_end_of_all_power_is_known_was_cut_off(tmp_path, outbox):
    AlertDetector("left", outbox).note(DaemonReport(1, snapshot("etching"), ""), NOW_S)

    after = AlertDetector("left", Outbox(tmp_path, EVERYTHING))
    after.note(DaemonReport(1, snapshot("idle"), ""), NOW_S + 3600)

    assert kinds(outbox, NOW_S + 3600) == [Alert.CUT_OFF]


@pytest.mark.parametrize("state", sorted(set(STATES) - set(IN_MID_ETCH) - {"resuming", "stopping"}))
def test_a_daemon_that_goes_while_nothing_is_etched_is_no_news(outbox, state):
    noticing = AlertDetector("left", outbox)
    noticing.note(DaemonReport(1, snapshot(state), ""), NOW_S)
    noticing.note(DaemonReport(2, None, "away"), NOW_S)
    noticing.note(DaemonReport(2, None, "away"), NOW_S + 2 * AWAY_S)

    assert kinds(outbox, NOW_S + 60) == []


def test_a_daemon_that_is_away_for_a_moment_is_no_news(outbox):
    noticing = AlertDetector("left", outbox)
    for heard_at_s in range(0, 60, 3):
        noticing.note(DaemonReport(heard_at_s, snapshot("etching"), ""), NOW_S + heard_at_s)
        noticing.note(DaemonReport(heard_at_s + 1, None, "away"), NOW_S + heard_at_s + 1)

    assert kinds(outbox, NOW_S + 60) == []


def test_a_letter_of_a_later_release_is_delivered_all_the_same(tmp_path, outbox):
    outbox.note("left", (), NOW_S)
    outbox.note("left", news("failed"), NOW_S)
    with sqlite3.connect(tmp_path / FILE_NAME) as book:
        book.execute("UPDATE letter SET kind = 'flooded'")

    assert outbox.next_due(NOW_S).kind == "flooded"


def test_what_comes_to_nothing_is_tried_again_later_and_later(outbox):
    outbox.note("left", (), NOW_S)
    outbox.note("left", news("failed"), NOW_S)
    now_s, waited_s = NOW_S, []
    while letter := outbox.next_due(now_s):
        wait_s = outbox.note_failed(letter, now_s)
        if wait_s is None:
            break
        assert outbox.next_due(now_s + wait_s - 0.1) is None
        waited_s.append(wait_s)
        now_s += wait_s

    assert waited_s[: len(WAITS_S)] == list(WAITS_S)
    assert GIVE_UP_AFTER_S - WAITS_S[-1] <= sum(waited_s) <= GIVE_UP_AFTER_S


@pytest.mark.parametrize("jump_s", [-1e8, 1e8])
def test_a_clock_that_jumps_neither_loses_news_nor_tells_it_twice(outbox, jump_s):
    outbox.note("left", (), NOW_S)
    outbox.note("left", news("held"), NOW_S)
    outbox.note("left", news("held"), NOW_S + jump_s)

    told = kinds(outbox, NOW_S + jump_s)

    assert told[0] == Alert.HELD
    assert told.count(Alert.HELD) == 1


def test_the_outbox_is_asked_only_when_something_changed(outbox):
    asked = []
    noticing = AlertDetector("left", outbox)
    outbox.note, note = lambda *said: (asked.append(said), note(*said)), outbox.note

    for number in range(8):
        told = snapshot("etching", run={**RUN, "etched_rows": number})
        noticing.note(DaemonReport(number, told, ""), NOW_S + number)
    noticing.note(DaemonReport(9, None, "The daemon is away."), NOW_S + 9)

    assert len(asked) == 1


def test_a_webhook_gets_one_json_object_with_its_secret(web, outbox):
    outbox.note("left", (), NOW_S)
    outbox.note("left", news("held"), NOW_S)

    assert deliver_once(outbox, {"webhook": Webhook(url=web.url, secret="s3")}, NOW_S)

    ((headers, told),) = web.posts
    assert headers["Authorization"] == "Bearer s3"
    assert headers["Idempotency-Key"] == told["id"]
    assert (told["machine"], told["kind"]) == ("left", "held")
    assert told["at_utc"] == "2027-01-15T08:00:00+00:00"
    assert not deliver_once(outbox, {}, NOW_S)


@pytest.mark.parametrize("status", [301, 303, 404, 500])
def test_a_webhook_that_does_not_take_it_gets_the_same_again(web, outbox, status):
    web.statuses = [status]
    hook = {"webhook": Webhook(url=web.url)}
    outbox.note("left", (), NOW_S)
    outbox.note("left", news("held"), NOW_S)

    deliver_once(outbox, hook, NOW_S)
    assert not deliver_once(outbox, hook, NOW_S)
    deliver_once(outbox, hook, NOW_S + WAITS_S[0])

    assert len({told["id"] for _, told in web.posts}) == 1
    assert len(web.posts) == 2
    assert outbox.next_due(NOW_S + GIVE_UP_AFTER_S) is None


def test_a_mail_says_which_machine_and_what(mail, outbox):
    way = Mail(host="127.0.0.1", port=mail.port, sender="box@shop.example",
               recipients=("ann@shop.example",), security="none")  # fmt: skip
    outbox.note("left\nlaser", (), NOW_S)
    outbox.note("left\nlaser", news("tripped"), NOW_S)

    deliver_once(outbox, {"webhook": way}, NOW_S)

    (told,) = mail.mails
    assert told["Subject"] == "left laser: Stopped: Lighthouse at dusk"
    assert told["To"] == "ann@shop.example"
    assert "The lid was opened." in told.get_content()
    assert outbox.next_due(NOW_S) is None


def test_a_mail_host_that_refuses_gets_it_again(mail, outbox):
    way = Mail(host="127.0.0.1", port=mail.port, sender="box@shop.example",
               recipients=("ann@shop.example",), security="none")  # fmt: skip
    outbox.note("left", (), NOW_S)
    outbox.note("left", news("held"), NOW_S)
    mail.refuses = True
    deliver_once(outbox, {"webhook": way}, NOW_S)
    mail.refuses = False

    deliver_once(outbox, {"webhook": way}, NOW_S + WAITS_S[0])

    assert len(mail.mails) == 1


@pytest.mark.parametrize("security", ["starttls", "tls", "none"])
def test_a_host_that_is_not_there_is_a_sentence_and_no_secret(outbox, security):
    outbox.note("left", (), NOW_S)
    outbox.note("left", news("held"), NOW_S)
    ways = [
        Webhook(url="http://127.0.0.1:9/", secret="s3cret"),
        Mail(host="127.0.0.1", port=9, sender="a@b.example", recipients=("a@b.example",),
             security=security, user="ann", password="s3cret"),
    ]  # fmt: skip
    for way in ways:
        with pytest.raises(NotDelivered) as told:
            way.send(outbox.next_due(NOW_S))

        assert "s3cret" not in str(told.value)


def test_a_mail_host_without_encryption_never_hears_the_password(mail, outbox):
    outbox.note("left", (), NOW_S)
    outbox.note("left", news("held"), NOW_S)
    way = Mail(host="127.0.0.1", port=mail.port, sender="a@b.example",
               recipients=("a@b.example",), user="ann", password="s3cret")  # fmt: skip

    with pytest.raises(NotDelivered):
        way.send(outbox.next_due(NOW_S))


def test_from_the_daemons_word_to_the_webhook(web, outbox):
    daemon = FakeDaemon("etching")
    listener = Listener(daemon)
    alerting = AlertService(outbox, {"webhook": Webhook(url=web.url)})
    alerting.follow("left", listener)
    alerting.start(listener)
    listener.start()

    while listener.report.snapshot is None:
        listener.wait_for_news(listener.report.number, 0.1)
    daemon.tell("held")
    assert web.arrived.acquire(timeout=PATIENCE_S)
    listener.end()

    assert web.posts[0][1]["title"] == "Held: Lighthouse at dusk"
