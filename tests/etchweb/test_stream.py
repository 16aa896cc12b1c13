import json

from etchweb.daemon.listener import DaemonReport, Listener
from etchweb.run.presenter import away_view, watch_view
from etchweb.run.stream import HEARTBEAT_S, SPACING_S, EventFrames, view_of
from support.fakes.fake_daemon import RUN, FakeDaemon, snapshot


def report(number, state="etching", **changes):
    return DaemonReport(number, snapshot(state, **changes), "")


def data_in(frame):
    (line,) = [line for line in frame.splitlines() if line.startswith("data: ")]
    return json.loads(line.removeprefix("data: "))


def test_the_first_frame_holds_everything():
    frame = EventFrames().next_frame(report(1), now_s=0.0)

    assert data_in(frame) == json.loads(json.dumps(watch_view(snapshot("etching"))))
    assert "retry: 2000\n" in frame
    assert "id: 1\n" in frame
    assert frame.endswith("\n\n")


def test_a_page_that_has_just_been_started_calls_nobody_for_a_box_it_has_not_heard_yet():
    frames = EventFrames()

    first = frames.next_frame(Listener(FakeDaemon()).report, now_s=0.0)

    assert data_in(first) == {}
    assert data_in(frames.next_frame(report(1), now_s=SPACING_S))["state"] == "etching"


def test_later_frames_hold_what_has_changed():
    frames = EventFrames()
    frames.next_frame(report(1), now_s=0.0)

    frame = frames.next_frame(report(2, run={**RUN, "etched_rows": 420}), now_s=SPACING_S)

    assert data_in(frame) == {"etched_rows": 420, "rows_done": "420"}


def test_news_waits_until_the_last_frame_is_old_enough():
    frames = EventFrames()
    frames.next_frame(report(1), now_s=0.0)
    news = report(2, "held")

    assert frames.next_frame(news, now_s=SPACING_S - 0.01) is None
    assert data_in(frames.next_frame(news, now_s=SPACING_S))["state"] == "held"


def test_the_same_again_is_not_sent_but_a_heartbeat_is():
    frames = EventFrames()
    frames.next_frame(report(1), now_s=0.0)

    assert frames.next_frame(report(2), now_s=SPACING_S) is None
    assert data_in(frames.next_frame(report(2), now_s=HEARTBEAT_S)) == {}
    assert frames.next_frame(report(2), now_s=HEARTBEAT_S + 0.1) is None


def test_a_daemon_that_went_away_and_came_back_is_told_whole():
    frames = EventFrames()
    frames.next_frame(report(1), now_s=0.0)

    gone = data_in(frames.next_frame(DaemonReport(2, None, "It is off."), now_s=1.0))
    back = data_in(frames.next_frame(report(3), now_s=2.0))

    assert (gone["scene"], gone["sentence"]) == ("away", "It is off.")
    assert (back["scene"], back["rows_done"]) == ("run", "412")


def test_nothing_heard_is_told_as_away():
    assert view_of(DaemonReport(0, None, "It is off.")) == away_view("It is off.")


def test_between_dots_the_figures_of_the_last_dot_stay():
    frames = EventFrames()
    frames.next_frame(report(1), now_s=0.0)
    between = {**RUN, "power_ratio": 0.0, "power_w": 0.0, "etched_rows": 413}

    frame = frames.next_frame(report(2, run=between), now_s=SPACING_S)

    assert data_in(frame) == {"etched_rows": 413, "rows_done": "413", "is_between_dots": True}


def test_coming_to_rest_is_no_place_between_dots():
    frames = EventFrames()
    frames.next_frame(report(1), now_s=0.0)

    news = data_in(frames.next_frame(report(2, "held"), now_s=SPACING_S))

    assert (news["speed"], news["power_words"]) == ("0", "beam off")
