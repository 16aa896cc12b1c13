"""OWASP ASVS 5.0, the items that facts of the platform name, each with its test.

Numbers as read in the 5.0 text of the OWASP/ASVS repository; the words beside them are ours, from
memory. 3.3.1 (Secure cookies) holds over TLS only: on plain HTTP a browser would drop the cookie.
"""

import html
import io
import re
import threading
import time
from concurrent.futures import ThreadPoolExecutor

import pytest
from PIL import Image

from etchweb.auth.codes import CODE_LASTS_S, TOKEN_IDLE_S, TOKEN_LASTS_S, new_token
from etchweb.auth.roles import NEEDS, Role
from support.fakes.fake_daemon import ETCH, SHA256

pytestmark = pytest.mark.slow

NOW_S = 1_800_000_000.0
SCRIPT = "<script>alert(1)</script>"
OURS = {"Origin": "http://localhost"}


@pytest.fixture
def operator(pair_phone):
    return pair_phone(Role.OPERATE, time.time())


def send_photo(phone, data, name):
    form = {"form_token": phone._form_token, "verdict": "good", "photo": (io.BytesIO(data), name)}
    kind = "multipart/form-data"
    return phone.client.post("/logbook/7/verdict", data=form, headers=OURS, content_type=kind)


def png(size):
    file = io.BytesIO()
    Image.new("1", size).save(file, "PNG")
    return file.getvalue()


def test_3_2_1_what_is_no_page_is_not_shown_as_one(operator):
    table = operator.look("/logbook/7.csv")

    assert table.mimetype == "text/csv"
    assert table.headers["Content-Disposition"].startswith("attachment")
    assert table.headers["X-Content-Type-Options"] == "nosniff"


def test_3_2_2_what_people_wrote_is_text_wherever_it_is_shown(operator, daemon):
    evil = ETCH | {"title": SCRIPT, "surface": SCRIPT, "because": SCRIPT}
    daemon.answers["run"] = evil
    note = {"at_utc": "2026-11-25T10:00:00Z", "text": SCRIPT}
    daemon.answers["runs"] = {"runs": [evil], "next_before": None, "notes": [note]}

    for path in ("/logbook", "/logbook/7", f"/logbook?text={SCRIPT}"):
        text = operator.look(path).text
        assert SCRIPT not in text
        assert SCRIPT in html.unescape(text)


@pytest.mark.parametrize(
    ("item", "wanted"),
    [("3.3.2", "SameSite=Lax"), ("3.3.4", "HttpOnly"), ("3.3.1", "Secure"), ("3.3.3", "__Host-")],
)
def test_3_3_a_cookie_over_tls_has_every_protection(app, stranger, store, item, wanted):
    store.add_code("123456", Role.WATCH, time.time())

    cookie = stranger.client.post(
        "/pair",
        base_url="https://localhost",
        data={"code": "123456", "form_token": stranger._form_token},
        headers={"Origin": "https://localhost"},
    ).headers["Set-Cookie"]

    assert wanted in cookie


@pytest.mark.parametrize(
    ("item", "header", "wanted"),
    [
        ("3.4.3", "Content-Security-Policy", "object-src 'none'; base-uri 'none'"),
        ("3.4.4", "X-Content-Type-Options", "nosniff"),
        ("3.4.5", "Referrer-Policy", "same-origin"),
        ("3.4.6", "Content-Security-Policy", "frame-ancestors 'none'"),
    ],
)
def test_3_4_every_answer_tells_the_browser_what_not_to_do(operator, item, header, wanted):
    assert wanted in operator.look("/").headers[header]


def test_3_4_2_no_other_origin_may_read_us(operator):
    answer = operator.look("/watch.json", Origin="http://elsewhere.example")

    assert "Access-Control-Allow-Origin" not in answer.headers


def test_3_5_1_a_change_needs_our_origin_and_the_pages_own_token(operator, daemon):
    assert operator.press("stop", origin="http://elsewhere.example").status_code == 403
    assert operator.press("stop", form={"form_token": ""}).status_code == 403
    assert daemon.asked == []


def test_3_5_2_a_foreign_page_gets_no_leave_to_send_what_it_must_ask_for_first(operator, daemon):
    answer = operator.client.options(
        "/stop",
        headers={
            "Origin": "http://elsewhere.example",
            "Access-Control-Request-Method": "POST",
        },
    )

    assert not [name for name, _ in answer.headers if name.startswith("Access-Control")]


def test_3_5_3_no_address_changes_anything_when_it_is_only_looked_at(app, phone, daemon):
    seen = {rule.rule for rule in app.url_map.iter_rules() if "GET" in rule.methods}
    for rule in app.url_map.iter_rules():
        if rule.rule not in seen:
            path = re.sub(r"<[^>]*>", "7", rule.rule)
            assert phone.look(path).status_code in (404, 405), path
    assert daemon.asked == []


def test_5_2_1_what_is_too_large_is_refused_before_it_is_read(operator):
    answer = operator.client.post(
        "/logbook/7/verdict",
        headers=OURS,
        environ_overrides={"CONTENT_LENGTH": str(4 * 1024**3)},
        content_type="multipart/form-data; boundary=x",
        input_stream=io.BytesIO(b""),
    )

    assert answer.status_code == 413


def test_5_2_2_a_file_is_what_is_in_it_and_not_what_it_is_called(operator, daemon):
    assert send_photo(operator, b"<svg onload='alert(1)'/>", "tile.jpg").status_code == 422


def test_5_2_6_a_small_file_that_unpacks_to_a_huge_picture_is_refused(operator, daemon):
    bomb = png((20_000, 20_000))
    assert len(bomb) < 100_000

    answer = send_photo(operator, bomb, "tile.png")

    assert answer.status_code == 422


@pytest.mark.parametrize("name", ["../../../tmp/x.png", "/etc/passwd", "..\\x.png", "a\0b.png"])
def test_5_3_2_and_5_4_1_a_file_is_kept_under_a_name_of_ours(operator, daemon, tmp_path, name):
    daemon.answers["save_verdict"] = lambda **said: daemon.said.update(said) or {"id": 1}
    before = {path for path in tmp_path.rglob("*") if path.is_file()}

    send_photo(operator, png((20, 20)), name)

    made = {path for path in tmp_path.rglob("*") if path.is_file()} - before
    assert {path.name for path in made} == {daemon.said["photo"]}
    assert re.fullmatch(r"tile-[0-9a-f]{64}\.jpg", daemon.said["photo"])


@pytest.mark.parametrize(
    ("item", "idle_s", "is_known"),
    [("7.3.1", TOKEN_IDLE_S - 1, True), ("7.3.1", TOKEN_IDLE_S, False)],
)
def test_7_3_1_a_phone_that_stays_away_is_forgotten(store, item, idle_s, is_known):
    token = new_token()
    store.add_phone(token, "a phone", Role.WATCH, NOW_S)

    assert (store.phone_of(token.digest, NOW_S + idle_s) is not None) is is_known


def test_7_3_2_a_phone_is_paired_anew_after_half_a_year_at_the_latest(store):
    token, now_s = new_token(), NOW_S
    store.add_phone(token, "a phone", Role.WATCH, NOW_S)
    while now_s < NOW_S + TOKEN_LASTS_S:
        store.phone_of(token.digest, now_s)
        now_s += TOKEN_IDLE_S / 2

    assert store.phone_of(token.digest, NOW_S + TOKEN_LASTS_S) is None


def test_7_2_1_a_token_is_looked_up_here_and_nothing_in_it_is_believed(stranger):
    stranger.client.set_cookie("etchwarden", "operate")

    assert stranger.look().status_code == 403


def test_7_2_2_and_7_2_3_tokens_are_random_and_long():
    tokens = {new_token().token for _ in range(1000)}

    assert len(tokens) == 1000
    assert all(len(token) >= 43 for token in tokens)  # 256 bits in base64


def test_7_2_4_pairing_gives_a_token_of_its_own(stranger, store):
    cookies = []
    for code in ("123456", "654321"):
        store.add_code(code, Role.WATCH, time.time())
        answer = stranger.press("pair", form={"code": code})
        cookies.append(answer.headers["Set-Cookie"])
        stranger.client.delete_cookie("etchwarden")

    assert cookies[0] != cookies[1]


def test_7_4_1_a_phone_that_left_cannot_come_back_with_its_old_token(operator):
    cookie = operator.client.get_cookie("etchwarden").value
    operator.press("leave", form={"sure": "yes"})
    operator.client.set_cookie("etchwarden", cookie)

    assert operator.look().status_code == 403


def test_7_4_5_and_7_5_2_phones_are_listed_and_each_can_be_shut_out(operator, pair_phone, store):
    other = pair_phone(Role.WATCH, time.time())
    number = next(phone.id for phone in store.phones() if phone.role is Role.WATCH)
    assert "a phone to watch" in operator.look("/phones").text

    operator.press(f"phones/{number}/forget", form={"sure": "yes"})

    assert other.look().status_code == 403


# Not of the list, but of the same kind: what happens at the same moment, and when clocks jump.


def test_two_people_who_press_at_once_are_both_heard_and_both_answered(operator, daemon, app):
    daemon.tell("etching")
    actions = ["start", "hold", "stop"] * 8
    together = threading.Barrier(len(actions))

    def press(action):
        client = app.test_client()
        client.set_cookie("etchwarden", operator.client.get_cookie("etchwarden").value)
        form = {"form_token": operator._form_token, "tile": SHA256}
        together.wait()
        return client.post(f"/{action}", data=form, headers=OURS).status_code

    with ThreadPoolExecutor(len(actions)) as people:
        answers = list(people.map(press, actions))

    assert answers == [303] * len(actions)
    assert sorted(daemon.asked) == sorted(actions)


@pytest.mark.parametrize("jump_s", [-1e9, 1e9])
def test_a_clock_that_jumps_opens_no_door(store, jump_s):
    store.add_code("123456", Role.OPERATE, NOW_S)
    token = new_token()
    store.add_phone(token, "a phone", Role.WATCH, NOW_S)
    later_s = max(NOW_S + jump_s, NOW_S + CODE_LASTS_S)

    assert store.use_code("123456", later_s) is None
    assert store.use_code("000000", NOW_S + jump_s) is None
    if jump_s > 0:
        assert store.phone_of(token.digest, NOW_S + jump_s) is None


@pytest.mark.fault("an interlock command from somebody who may only watch")
def test_whoever_only_watches_is_refused_everything_that_the_table_keeps_from_them(
    pair_phone, app, daemon
):
    watcher = pair_phone(Role.WATCH, time.time())
    kept = [rule for rule in app.url_map.iter_rules() if NEEDS[rule.endpoint] is Role.OPERATE]
    assert len(kept) > 20

    for rule in kept:
        method = "POST" if "POST" in rule.methods else "GET"
        path = re.sub(r"<[^>]*>", "7", rule.rule)
        form = {"form_token": watcher._form_token}
        answer = watcher.client.open(
            path, method=method, data=form, headers=OURS, content_type="multipart/form-data"
        )
        assert answer.status_code == 403, path
    assert daemon.asked == []
