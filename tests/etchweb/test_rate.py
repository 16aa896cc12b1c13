import pytest

from etchweb.server.rate import Allowance, Buckets


@pytest.fixture
def buckets():
    return Buckets(Allowance(tries=3, one_more_after_s=10.0))


def waits_s(buckets, times, name="one", now_s=100.0):
    return [buckets.wait_s(name, now_s) for _ in range(times)]


def test_the_allowed_tries_are_free_and_the_next_one_waits(buckets):
    assert waits_s(buckets, 4) == [0.0, 0.0, 0.0, 10.0]


def test_waiting_for_a_try_does_not_cost_one(buckets):
    waits_s(buckets, 10)

    assert waits_s(buckets, 2, now_s=110.0) == [0.0, 10.0]


def test_a_bucket_never_holds_more_than_its_tries(buckets):
    waits_s(buckets, 1)

    assert waits_s(buckets, 4, now_s=10_000.0).count(0.0) == 3


def test_names_do_not_pay_for_each_other(buckets):
    waits_s(buckets, 4, name="one")

    assert waits_s(buckets, 1, name="two") == [0.0]


def test_a_thousand_newer_names_push_an_old_one_out(buckets):
    waits_s(buckets, 4, name="old")
    for number in range(1000):
        waits_s(buckets, 1, name=str(number))

    assert waits_s(buckets, 1, name="old") == [0.0]
