import time

import pytest

from etchweb.auth.codes import CODE_DIGITS, CODE_LASTS_S
from etchweb.auth.pairing import FOR_FURTHER_TRIES, FOR_ONE_ADDRESS, WRONG_CODE, PairingAttempts
from etchweb.auth.roles import Role

CODE = "123456"
ANDROID = "Mozilla/5.0 (Linux; Android 14; Pixel 7) AppleWebKit/537.36"


@pytest.fixture
def code(store):
    store.add_code(CODE, Role.WATCH, time.time())
    return CODE


def test_the_right_code_lets_a_phone_in(stranger, store, code):
    answer = stranger.press("pair", form={"code": "123 456", "name": "  Ann’s  "})

    assert (answer.status_code, answer.location) == (303, "/")
    assert stranger.look().status_code == 200
    assert [(phone.name, phone.role) for phone in store.phones()] == [("Ann’s", Role.WATCH)]


def test_the_cookie_is_kept_from_scripts_and_from_other_sites(stranger, code):
    # OWASP ASVS 5.0 3.3.2, 3.3.4 (numbers from platform.md); Secure needs TLS, which a box lacks.
    cookie = stranger.press("pair", form={"code": code}).headers["Set-Cookie"]

    assert cookie.startswith("etchwarden=")
    assert {"HttpOnly", "SameSite=Lax", "Path=/"} <= set(cookie.split("; "))


def test_over_tls_the_cookie_is_the_hosts_alone(app, stranger, code):
    answer = stranger.client.post(
        "/pair",
        base_url="https://localhost",
        data={"code": code, "form_token": stranger._form_token},
        headers={"Origin": "https://localhost"},
    )

    cookie = answer.headers["Set-Cookie"]
    assert cookie.startswith("__Host-etchwarden=")
    assert "Secure" in cookie.split("; ")


@pytest.mark.parametrize("typed", ["000000", "", "12345", "1234567", "x" * 5000])
def test_a_wrong_code_is_told_and_lets_nobody_in(stranger, store, code, typed):
    answer = stranger.press("pair", form={"code": typed})

    assert answer.status_code == 422
    assert WRONG_CODE in answer.text
    assert store.phones() == ()


def test_a_replayed_code_is_refused(stranger, app, code):
    stranger.press("pair", form={"code": code})
    stranger.client.delete_cookie("etchwarden")

    assert stranger.press("pair", form={"code": code}).status_code == 422


def test_guessing_is_slowed_down(stranger, code):
    answers = [stranger.press("pair", form={"code": "000000"}) for _ in range(8)]

    assert [answer.status_code for answer in answers] == [422] * 5 + [429] * 3
    assert int(answers[-1].headers["Retry-After"]) > 0


def test_many_addresses_together_are_slowed_down_after_their_first_try():
    tries = PairingAttempts()
    addresses = [f"10.0.0.{number}" for number in range(1, 254)]

    first_s = [tries.wait_s(address, now_s=0.0) for address in addresses]
    second_s = [tries.wait_s(address, now_s=0.0) for address in addresses]

    assert first_s == [0.0] * len(addresses)
    assert second_s.count(0.0) == FOR_FURTHER_TRIES.tries


@pytest.mark.slow
def test_who_comes_with_a_code_gets_in_while_a_whole_network_guesses():
    tries = PairingAttempts()
    for second in range(600):
        for number in range(1, 253):
            tries.wait_s(f"10.0.0.{number}", now_s=float(second))

    assert tries.wait_s("10.0.0.253", now_s=600.0) == 0.0


def test_a_try_that_all_together_have_used_up_is_not_the_address_s_own():
    tries = PairingAttempts()
    for number in range(1, 254):
        for _ in range(2):
            tries.wait_s(f"10.0.0.{number}", now_s=0.0)
    blocked = "10.0.0.253"

    for _ in range(20):
        assert tries.wait_s(blocked, now_s=0.0) > 0

    later_s = FOR_FURTHER_TRIES.one_more_after_s
    assert tries.wait_s(blocked, now_s=later_s) == 0.0


@pytest.mark.slow
def test_guessing_finds_a_code_once_in_a_thousand_at_the_most():
    """However many addresses guess for as long as a code lasts."""
    tries, looked_at = PairingAttempts(), 0
    for second in range(int(CODE_LASTS_S)):
        for number in range(50):
            address = f"10.{second % 20}.{second % 256}.{number}"
            looked_at += tries.wait_s(address, now_s=float(second)) == 0

    assert looked_at / 10**CODE_DIGITS < 0.001


def test_one_address_gets_its_tries_back_with_time():
    tries = PairingAttempts()
    for _ in range(FOR_ONE_ADDRESS.tries):
        tries.wait_s("10.0.0.1", now_s=0.0)

    assert tries.wait_s("10.0.0.1", now_s=0.0) == FOR_ONE_ADDRESS.one_more_after_s
    assert tries.wait_s("10.0.0.1", now_s=FOR_ONE_ADDRESS.one_more_after_s) == 0.0


@pytest.mark.parametrize(
    ("name", "agent", "kept"),
    [
        ("", ANDROID, "Android phone"),
        ("   ", "something else", "A browser"),
        ("a\x00\nb", ANDROID, "ab"),
        ("n" * 100, ANDROID, "n" * 40),
        ("<b>", ANDROID, "<b>"),
    ],
)
def test_a_phone_has_a_name_that_can_be_shown(stranger, store, code, name, agent, kept):
    stranger.press("pair", form={"code": code, "name": name}, **{"User-Agent": agent})

    assert store.phones()[0].name == kept
    assert "<b>" not in stranger.look("/phones").text


def test_pairing_from_another_page_is_refused(stranger, store, code):
    answer = stranger.press("pair", origin="http://elsewhere.example", form={"code": code})

    assert answer.status_code == 403
    assert store.phones() == ()


def test_a_new_pairing_gives_a_new_token(stranger, store, code):
    # OWASP ASVS 5.0 7.2.4: a new session token on authentication (number from platform.md).
    first = stranger.press("pair", form={"code": code}).headers["Set-Cookie"]
    stranger.client.delete_cookie("etchwarden")
    store.add_code(CODE, Role.WATCH, time.time())

    assert stranger.press("pair", form={"code": code}).headers["Set-Cookie"] != first
