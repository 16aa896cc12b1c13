import sqlite3
import stat

import pytest

from etchweb.auth.codes import CODE_LASTS_S, TOKEN_IDLE_S, TOKEN_LASTS_S, new_token
from etchweb.auth.roles import Role
from etchweb.auth.store import FILE_NAME, SEEN_EVERY_S, Store
from etchweb.server.page_database import StoreUnusable

NOW_S = 1_800_000_000.0


@pytest.fixture
def token(store):
    token = new_token()
    store.add_phone(token, "a phone", Role.WATCH, NOW_S)
    return token


def test_a_code_pairs_once(store):
    store.add_code("123456", Role.OPERATE, NOW_S)

    assert store.use_code("123456", NOW_S).role is Role.OPERATE
    assert store.use_code("123456", NOW_S) is None


def test_a_code_lasts_ten_minutes(store):
    store.add_code("123456", Role.WATCH, NOW_S)

    assert store.use_code("123456", NOW_S + CODE_LASTS_S) is None
    assert store.use_code("123456", NOW_S + CODE_LASTS_S - 0.1).role is Role.WATCH


def test_a_strangers_wrong_codes_use_up_nobodys(store):
    store.add_code("123456", Role.WATCH, NOW_S)
    for _ in range(50):
        store.use_code("000000", NOW_S)

    assert store.use_code("123456", NOW_S).role is Role.WATCH


def test_two_open_codes_keep_their_roles_apart(store):
    store.add_code("111111", Role.WATCH, NOW_S)
    store.add_code("222222", Role.OPERATE, NOW_S)

    assert store.use_code("222222", NOW_S).role is Role.OPERATE
    assert store.use_code("111111", NOW_S).role is Role.WATCH


def test_neither_codes_nor_tokens_lie_in_the_file_as_they_are(store, tmp_path, token):
    store.add_code("123456", Role.WATCH, NOW_S)

    content = (tmp_path / FILE_NAME).read_bytes()

    assert b"123456" not in content
    assert token.token.encode() not in content


def test_only_the_boxs_user_reads_the_file(store, tmp_path):
    assert stat.S_IMODE((tmp_path / FILE_NAME).stat().st_mode) == 0o600


def test_a_phone_is_known_by_its_token(store, token):
    assert store.phone_of(token.digest, NOW_S).name == "a phone"
    assert store.phone_of(new_token().digest, NOW_S) is None


@pytest.mark.parametrize("later_s", [TOKEN_IDLE_S, TOKEN_LASTS_S])
def test_a_phone_unseen_for_a_month_is_a_stranger(store, token, later_s):
    assert store.phone_of(token.digest, NOW_S + later_s) is None


def test_a_phone_paired_half_a_year_ago_is_a_stranger_however_often_it_comes(store, token):
    at_s = NOW_S
    while at_s < NOW_S + TOKEN_LASTS_S - TOKEN_IDLE_S:
        at_s += TOKEN_IDLE_S - 1
        assert store.phone_of(token.digest, at_s) is not None

    assert store.phone_of(token.digest, NOW_S + TOKEN_LASTS_S) is None


def test_when_a_phone_was_seen_is_noted_now_and_then(store, token):
    store.phone_of(token.digest, NOW_S + SEEN_EVERY_S)
    assert store.phones()[0].seen_at_s == NOW_S

    store.phone_of(token.digest, NOW_S + SEEN_EVERY_S + 1)
    assert store.phones()[0].seen_at_s == NOW_S + SEEN_EVERY_S + 1


def test_a_phone_that_is_shut_out_stays_out(store, token):
    (phone,) = store.phones()

    assert store.forget_phone(phone.id)
    assert store.phone_of(token.digest, NOW_S) is None
    assert not store.forget_phone(phone.id)


def test_a_number_is_never_given_to_another_phone(store, token):
    (first,) = store.phones()
    store.forget_phone(first.id)

    store.add_phone(new_token(), "another", Role.WATCH, NOW_S)

    assert store.phones()[0].id != first.id


def test_the_secret_outlives_the_process(store, tmp_path):
    assert Store(tmp_path).secret == store.secret


def test_two_boxes_have_two_secrets(store, tmp_path):
    other = tmp_path / "other"
    other.mkdir()

    assert Store(other).secret != store.secret


def test_where_the_page_is_served_is_noted(store):
    assert store.served() is None

    store.note_served("0.0.0.0", 8080)
    store.note_served("127.0.0.1", 8081)

    assert store.served() == ("127.0.0.1", 8081)


@pytest.mark.parametrize("content", [b"not a database, but long enough to look like one" * 40])
def test_a_file_that_is_no_database_is_named(tmp_path, content):
    (tmp_path / FILE_NAME).write_bytes(content)

    with pytest.raises(StoreUnusable, match=FILE_NAME):
        Store(tmp_path)


def test_a_database_of_a_newer_program_is_left_alone(store, tmp_path):
    book = sqlite3.connect(tmp_path / FILE_NAME)
    book.execute("PRAGMA user_version = 99")
    book.close()

    with pytest.raises(StoreUnusable, match="newer"):
        Store(tmp_path)


UNSET_S = 100.0  # a board without a battery starts in 1970


def test_a_phone_paired_before_the_clock_was_set_stays_paired_and_counts_from_then_on(store):
    token = new_token()
    store.add_phone(token, "a phone", Role.OPERATE, UNSET_S)

    assert store.phone_of(token.digest, UNSET_S + 60) is not None
    assert store.phone_of(token.digest, NOW_S).paired_at_s == NOW_S
    assert store.phone_of(token.digest, NOW_S + TOKEN_IDLE_S + 1) is None


def test_a_phone_paired_by_a_clock_that_was_ahead_does_not_stay_for_ever(store):
    token = new_token()
    store.add_phone(token, "a phone", Role.OPERATE, NOW_S + 50 * TOKEN_IDLE_S)

    assert store.phone_of(token.digest, NOW_S) is not None
    assert store.phone_of(token.digest, NOW_S + TOKEN_IDLE_S + 1) is None


def test_a_phone_is_let_in_while_the_clock_has_jumped_back_and_is_none_the_younger(store, token):
    assert store.phone_of(token.digest, UNSET_S) is not None
    assert store.phone_of(token.digest, NOW_S + TOKEN_IDLE_S + 1) is None


def test_a_code_lasts_no_longer_because_the_clock_went_back(store):
    store.add_code("123456", Role.OPERATE, NOW_S)

    assert store.use_code("123456", UNSET_S) is None
    assert store.use_code("123456", NOW_S).role is Role.OPERATE


def test_phones_are_known_while_another_program_holds_the_file(store, tmp_path, token):
    with sqlite3.connect(tmp_path / FILE_NAME) as other:
        other.execute("BEGIN IMMEDIATE")

        assert store.phone_of(token.digest, NOW_S + 1).role is Role.WATCH
    other.close()
