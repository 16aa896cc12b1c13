"""What a box tells of itself, what is kept of it, and how it is shown: no broker yet."""

import pytest

from etchweb.app import create_app
from etchweb.fleet.box_registry import MOST_BOXES, BoxRegistry
from etchweb.fleet.box_summary import box_summary, summary
from etchweb.fleet.outbox import Outbox
from etchweb.fleet.settings import FleetSettings
from etchweb.fleet.topics import (
    BEAM_HOURS,
    DESCRIPTION,
    PAGE,
    PROPERTIES,
    STATE,
    as_payload,
    base_of,
    description,
    values_of,
)
from etchweb.fleet.view import NO_BROKER
from etchwire.configuration.faults import FaultyConfiguration, Reason
from support.fakes.fake_daemon import BOX, LID_TRIP, STATES, FakeDaemon, box, snapshot


def told(state="etching", name="left", interlocks=None, **more):
    """Return a roll that heard one box say everything."""
    roll = BoxRegistry()
    changes = {} if interlocks is None else {"interlocks": interlocks}
    said = values_of(snapshot(state, **changes))
    words = {DESCRIPTION: description(name), STATE: "ready", **said, **more}
    for path, word in words.items():
        roll.take(f"{base_of(name)}/{path}", word.encode())
    return roll


@pytest.mark.parametrize("state", STATES)
def test_every_state_of_a_box_has_words_for_the_broker(state):
    words = values_of(snapshot(state))

    assert set(words) == {one.path for one in PROPERTIES}
    assert all(isinstance(word, str) and word for word in words.values())
    assert words["etch/state"] == snapshot(state).state


def test_an_etch_under_way_tells_how_far_it_is_and_what_is_not_good():
    words = values_of(snapshot("etching"))

    assert words["etch/progress"] == "43.0"
    assert words["etch/rows-done"] == "412"
    assert words["etch/remaining"] == "1390"
    assert "fumes extracted" in words["interlocks/unmet"]
    assert words["interlocks/trips"] == "\0"


@pytest.mark.parametrize(("value", "word"), [(None, "\0"), ("", "\0"), (0, "0"), (1.5, "1.5")])
def test_what_is_not_known_is_told_as_a_zero_byte_because_nothing_would_clear_the_topic(
    value, word
):
    assert as_payload(value) == word


def test_of_every_topic_only_the_newest_word_waits():
    outbox = Outbox("box")
    outbox.put({"a": "1", "b": "1"})
    outbox.put({"a": "2"})

    sent = [outbox.next() for _ in range(4)]

    assert sent[1:] == [("box/a", "2"), ("box/b", "1"), None]


def test_what_was_said_is_said_again_only_after_a_new_connection():
    outbox = Outbox("box")
    outbox.put({"a": "1"})
    outbox.next()
    assert outbox.next() == ("box/a", "1")
    outbox.put({"a": "1"})
    assert outbox.next() is None

    outbox.begin_anew()

    assert [outbox.next(), outbox.next()] == [("box/$state", "init"), ("box/a", "1")]


def seen(state="etching", **more):
    (box,) = told(state, **more).boxes()
    return box_summary(box)


def test_a_box_that_etches_is_shown_by_how_far_it_is():
    sight = seen("etching")

    assert (sight.headline, sight.percent, sight.etches) == ("Etching", 43.0, True)
    assert sight.sentence == snapshot("etching").sentence
    assert sight.progress == "43\u202f%, 412 of 1\u202f000 rows"
    assert sight.left == "24 min left"
    assert sight.troubles == ["No flame or smoke: not heard from."]
    assert not sight.calls


IDLE_RULES = [{**rule, "state": "good"} for rule in BOX["rules"]]
FAN_OFF = {**IDLE_RULES[1], "state": "bad", "sentence": "No proof that the fumes are drawn off."}


def test_an_idle_box_with_its_fan_off_is_fine():
    sight = seen("idle", interlocks=box(rules=[IDLE_RULES[0], FAN_OFF]))

    assert (sight.troubles, sight.interlocks) == ([], "All interlocks are good.")


def test_what_is_wrong_is_told_by_the_interlocks_own_sentence():
    needed = {**FAN_OFF, "is_required": True}
    lid_closed = box(trips=[LID_TRIP], rules=[IDLE_RULES[0], needed])

    open_lid = seen("tripped").troubles[0]
    assert open_lid.startswith(LID_TRIP["sentence"])
    assert seen("tripped", interlocks=lid_closed).troubles == [
        "The lid was opened, closed again; it waits for a reset. "
        "No proof that the fumes are drawn off."
    ]


def test_a_box_of_an_earlier_release_still_tells_what_waits_for_a_reset():
    sight = seen("tripped", **{"interlocks/wrong": ""})

    assert sight.troubles == ["To be reset: lid closed."]


@pytest.mark.parametrize(
    ("state", "headline"),
    [("held", "Held"), ("stopped", "Stopped"), ("failed", "The laser’s controller is missing"),
     ("tripped", "Stopped")],
)  # fmt: skip
def test_a_box_that_needs_somebody_calls_and_says_why(state, headline):
    sight = seen(state)

    assert (sight.headline, sight.calls) == (headline, True)


def test_a_trip_and_a_fault_of_the_records_stand_before_all_else():
    sight = seen("tripped", **{"records/trouble": "the disk is full"})

    assert sight.troubles[0].startswith(LID_TRIP["sentence"])
    assert sight.troubles[1] == "The disk is full."


@pytest.mark.parametrize("state", STATES)
def test_every_state_has_a_headline_and_lines_for_a_terminal(state):
    sight = seen(state, **{BEAM_HOURS.path: "12.5"})

    assert sight.headline
    assert "12 h 30 min of beam time." in sight.lines()


@pytest.mark.parametrize(
    ("state", "headline", "said", "calls"),
    [
        ("lost", "Gone", "without signing off", True),
        ("init", "The box does not answer", "control program is not running", True),
        ("disconnected", "Switched off", "signed off", False),
        ("sleeping", "Not heard from", "not said", False),
        ("", "Not heard from", "not said", False),
    ],
)
def test_a_box_that_is_away_is_not_believed(state, headline, said, calls):
    sight = seen(**{STATE: state})

    assert (sight.headline, sight.calls, sight.percent) == (headline, calls, None)
    assert said in sight.sentence
    assert sight.interlocks == ""
    assert sight.progress.endswith("when last heard from")


@pytest.mark.parametrize(
    ("states", "said"),
    [
        ({"left": "etching", "right": "etching"}, "2 boxes are etching."),
        ({"left": "etching", "right": "failed"}, "1 box is etching; right needs somebody."),
        ({"left": "held", "right": "tripped"}, "1 box is etching; left, right need somebody."),
        ({"left": "idle"}, "No box is etching."),
    ],
)
def test_one_sentence_tells_who_etches_and_who_needs_somebody(states, said):
    sights = [
        box_summary(box) for name, state in states.items() for box in told(state, name).boxes()
    ]

    assert summary(sights) == said


def test_what_would_move_a_terminal_s_cursor_is_not_shown():
    assert seen(**{"etch/sentence": "Gone\x1b[2J\r\nand back"}).sentence == "Gone [2J  and back."


@pytest.mark.parametrize("word", ["nan", "inf", "-3", "1e400", "much", "\0", "9" * 400])
def test_a_figure_that_is_none_is_not_shown(word):
    sight = seen(**{"etch/progress": word, "etch/rows": word, BEAM_HOURS.path: word})

    assert (sight.percent, sight.progress, sight.beam_hours) == (None, "", "")


@pytest.mark.parametrize(
    ("topic", "word"),
    [
        ("homie/5/left", b"ready"),
        ("homie/5/left/etch/state/set", b"etching"),
        ("homie/5/left/etch/state/and/more", b"x"),
        ("other/5/left/$state", b"ready"),
        ("homie/5/left/etch/sentence", b"x" * 20_000),
        ("homie/5/left/$extra", b"x"),
        ("homie/5/\x1b[31mred/$description", description("red").encode()),
        ("homie/5/Left/$description", description("Left").encode()),
    ],
)
def test_words_that_are_not_a_box_s_own_change_nothing(topic, word):
    roll = told()
    before = [box.to_table() for box in roll.boxes()]

    roll.take(topic, word)

    assert [box.to_table() for box in roll.boxes()] == before


@pytest.mark.parametrize(
    "described", [b"", b"{}", b"[]", b"\xff\xfe", b'{"nodes": {"etch": 7}}', b"[" * 10_000]
)
def test_a_lamp_of_the_same_convention_is_no_box(described):
    roll = BoxRegistry()
    roll.take("homie/5/lamp/$state", b"ready")
    roll.take("homie/5/lamp/$description", described)

    assert roll.boxes() == []


def test_no_flood_of_names_fills_the_memory():
    roll = BoxRegistry()
    for number in range(2 * MOST_BOXES):
        roll.take(f"homie/5/box-{number}/$description", description("x").encode())

    assert len(roll.boxes()) == MOST_BOXES


def test_a_page_without_a_broker_says_that_it_knows_of_no_other_box(tmp_path):
    app = create_app(FakeDaemon("idle"), tmp_path, open_to_loopback=True)

    page = app.test_client().get("/fleet").get_data(as_text=True)

    assert NO_BROKER in page
    assert "All boxes</a>" not in page


@pytest.mark.parametrize("page", ["javascript:alert(1)", "//elsewhere", ""])
def test_only_an_address_of_the_web_is_a_link(page):
    assert seen(**{PAGE.path: page or "\0"}).page == ""


def test_the_settings_are_read_from_a_file_or_its_table(tmp_path):
    (tmp_path / "secret").write_text("pass word\n")
    text = 'broker = "10.0.0.5"\nuser = "left"\npassword_file = "secret"\n'
    (tmp_path / "fleet.toml").write_text(f'{text}[machines]\nleft = "/run/left.sock"\n')
    (tmp_path / "page.toml").write_text(f"port = 8080\n[fleet]\n{text}")

    settings = FleetSettings.at(tmp_path / "fleet.toml")

    assert (settings.broker, settings.port, settings.password) == ("10.0.0.5", 1883, "pass word")
    assert [*settings.machines] == ["left"]
    assert FleetSettings.at(tmp_path / "page.toml").user == "left"
    assert "pass word" not in repr(settings)


@pytest.mark.parametrize(
    ("text", "where", "reason"),
    [
        ("port = 1", "broker", Reason.MISSING),
        ("broker = ''", "broker", Reason.MISSING),
        ("broker = 7", "line 1: broker", Reason.WRONG_KIND),
        ('broker = "b"\nbrocker = "c"', "line 2: brocker", Reason.UNKNOWN_NAME),
        ('broker = "b"\nport = 0', "line 2: port", Reason.OUT_OF_RANGE),
        ('broker = "b"\nport = true', "line 2: port", Reason.WRONG_KIND),
        ('broker = "b"\npassword_file = "none"', "password_file", Reason.UNFIT_FILE_NAMED),
        ('broker = "b"\n[machines]\nLeft = "s"', "machines.Left", Reason.OUT_OF_RANGE),
        ('broker = "b"\n[machines]\nleft = 7', "machines.left", Reason.WRONG_KIND),
        ("broker =", "fleet.toml", Reason.NOT_TOML),
        ("", "fleet.toml", Reason.EMPTY),
        ("\x00\x01", "fleet.toml", Reason.NOT_TEXT),
    ],
)
def test_settings_that_make_no_sense_are_refused_by_name(tmp_path, text, where, reason):
    path = tmp_path / "fleet.toml"
    path.write_text(text)

    with pytest.raises(FaultyConfiguration) as refused:
        FleetSettings.at(path)

    (fault,) = refused.value.faults
    assert fault.reason is reason
    assert fault.where.startswith(str(path))
    assert fault.where.endswith(where)


def test_settings_that_are_not_there_are_said_to_be_missing(tmp_path):
    with pytest.raises(FaultyConfiguration) as refused:
        FleetSettings.at(tmp_path / "none.toml")

    assert [fault.reason for fault in refused.value.faults] == [Reason.ABSENT]
