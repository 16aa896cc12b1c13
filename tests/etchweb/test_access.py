"""Who gets in, and what they may do: by the table of roles, for every address there is."""

import time

import pytest

from etchweb.app import create_app
from etchweb.auth.access import NOT_PAIRED, ONLY_WATCH
from etchweb.auth.codes import TOKEN_IDLE_S
from etchweb.auth.roles import NEEDS, Role, may
from etchweb.practice.scenario_runner import ScenarioRunner
from etchweb.practice.scenario_views import add_scenarios
from support.fakes.fake_daemon import SHA256

READY = {"cautions": "read", "tile": SHA256}
READING = [
    "/", "/watch.json", "/watch/stream", "/logbook", "/logbook/7", "/logbook/7.csv", "/phones",
    f"/picture/{SHA256}.png", "/nowhere", "/hold",
]  # fmt: skip
SURE = {"sure": "yes"}
PRESSING = ["start", "hold", "hold-now", "resume", "stop", "leave", "phones/1/forget", "nowhere"]


@pytest.fixture
def watcher(pair_phone):
    return pair_phone(Role.WATCH, time.time())


@pytest.fixture
def operator(pair_phone):
    return pair_phone(Role.OPERATE, time.time())


def test_every_address_has_its_line_in_the_table(daemon, tmp_path):
    app = create_app(daemon, tmp_path, machine=print)  # with all that there can be
    add_scenarios(app, ScenarioRunner([], lambda _name: []))

    assert {rule.endpoint for rule in app.url_map.iter_rules()} == set(NEEDS)


def test_what_the_table_does_not_name_is_for_operators():
    assert not may(Role.WATCH, "something new")
    assert may(Role.OPERATE, "something new")
    assert not may(None, "something new")


@pytest.mark.parametrize("path", READING)
def test_a_stranger_sees_the_pairing_page_and_nothing_else(stranger, daemon, path):
    daemon.tell("etching")

    answer = stranger.look(path)

    assert answer.status_code == 403
    assert "Pair this phone" in answer.text
    assert "Lighthouse" not in answer.text
    assert "Etching" not in answer.text


def test_a_strangers_script_learns_only_that_it_is_not_paired(stranger):
    answer = stranger.look("/watch.json", Accept="application/json")

    assert (answer.status_code, answer.json) == (403, {"sentence": NOT_PAIRED})


@pytest.mark.parametrize("action", PRESSING)
def test_a_stranger_changes_nothing(stranger, daemon, action):
    assert stranger.press(action, form=READY).status_code == 403
    assert daemon.asked == []


@pytest.mark.parametrize("path", ["/", "/watch.json", "/logbook", "/logbook/7", "/phones"])
def test_a_watching_phone_sees_everything(watcher, path):
    assert watcher.look(path).status_code == 200


@pytest.mark.parametrize(
    ("action", "method"), [("hold", "hold"), ("hold-now", "hold_now"), ("stop", "stop")]
)
def test_a_watching_phone_may_ask_for_rest(watcher, daemon, action, method):
    assert watcher.press(action).status_code == 303
    assert daemon.asked == [method]


@pytest.mark.parametrize("action", ["start", "resume", "phones/1/forget"])
def test_a_stolen_watch_cookie_neither_starts_nor_resumes_nor_shuts_anyone_out(
    watcher, daemon, store, action
):
    daemon.tell("loaded")

    answer = watcher.press(action, form=READY)

    assert (answer.status_code, ONLY_WATCH in answer.text) == (403, True)
    assert daemon.asked == []
    assert len(store.phones()) == 1


def test_a_watching_phone_is_not_offered_what_it_may_not_do(watcher, daemon):
    daemon.tell("loaded")
    assert "Start the etch" not in watcher.look().text

    daemon.tell("held")
    assert watcher.look("/watch.json").json["may"] == ["stop"]


def test_an_operating_phone_starts_and_resumes(operator, daemon):
    daemon.tell("loaded")

    operator.press("start", form=READY)
    operator.press("resume")

    assert daemon.asked == ["start", "resume"]


def test_a_phone_that_was_shut_out_is_a_stranger(operator, store):
    store.forget_phone(store.phones()[0].id)

    assert operator.look().status_code == 403


def test_a_phone_unseen_for_a_month_is_a_stranger(pair_phone):
    old = pair_phone(Role.OPERATE, time.time() - TOKEN_IDLE_S - 1)

    assert old.look().status_code == 403


def test_a_made_up_cookie_opens_nothing(stranger):
    stranger.client.set_cookie("etchwarden", "A" * 43)

    assert stranger.look().status_code == 403


def test_a_form_made_for_another_visitor_is_refused(operator, watcher, daemon):
    answer = operator.press("hold", form={"form_token": watcher._form_token})

    assert answer.status_code == 403
    assert daemon.asked == []


@pytest.mark.parametrize("token", ["", "0" * 64, "ä"])
def test_a_form_without_its_token_is_refused(operator, daemon, token):
    assert operator.press("hold", form={"form_token": token}).status_code == 403
    assert daemon.asked == []


def test_this_machine_is_let_in_only_where_practice_says_so(daemon, tmp_path, phone):
    closed = create_app(daemon, tmp_path).test_client()

    assert phone.look().status_code == 200
    assert closed.get("/").status_code == 403


def test_a_phone_that_leaves_is_a_stranger_without_a_cookie(operator, store):
    asked = operator.press("leave")
    assert "Sign this phone out?" in asked.text
    assert operator.look().status_code == 200
    answer = operator.press("leave", form=SURE)

    assert answer.location == "/pair"
    assert store.phones() == ()
    assert "etchwarden=;" in answer.headers["Set-Cookie"]


def test_an_operator_removes_another_phone_once_asked_whether_it_is_meant(operator, watcher, store):
    number = next(phone.id for phone in store.phones() if phone.role is Role.WATCH)

    asked = operator.press(f"phones/{number}/forget")
    assert "Remove a phone to watch?" in asked.text
    assert watcher.look().status_code == 200
    answer = operator.press(f"phones/{number}/forget", form=SURE)

    assert answer.location == "/phones"
    assert watcher.look().status_code == 403
    assert operator.press(f"phones/{number}/forget", form=SURE).status_code == 404
