"""What the bench says before an etch: that the recipe is due for a test, and when it would end."""

import pytest

from etchweb.run.presenter import watch_view
from etchweb.text.timestamps import clock_time
from etchwire.errors import Refused
from support.fakes.fake_catalogue import answer_history
from support.fakes.fake_daemon import JOB, snapshot

DUE = 'id="due-title"'
OLD = "more than 40 hours since the last card"
CARD = {
    "low_feed_mm_per_min": 1000.0, "high_feed_mm_per_min": 6000.0, "low_power_ratio": 0.1,
    "high_power_ratio": 0.9,
}  # fmt: skip


def be_old(daemon, beam_h):
    daemon.answers["history"] = lambda **asked: {
        **answer_history(**asked), "beam_h_since_card": beam_h,
    }  # fmt: skip


@pytest.mark.parametrize("state", ["idle", "loaded", "armed"])
@pytest.mark.parametrize(("beam_h", "is_due"), [(40.0, False), (40.1, True)])
def test_a_recipe_older_than_the_advice_allows_is_marked_on_the_bench(
    phone, daemon, state, beam_h, is_due
):
    # 40 hours of beam since the last card: our own choice, etchproof.drift.rules.
    be_old(daemon, beam_h)
    daemon.tell(state)

    page = phone.look().text

    assert (OLD in page) is is_due
    assert (DUE in page) is is_due


@pytest.mark.parametrize(("state", "changes"), [("etching", {}), ("loaded", {"card": CARD})])
def test_neither_an_etch_nor_a_test_card_is_told_to_test(phone, daemon, state, changes):
    be_old(daemon, 41.0)
    daemon.tell(state, job={**JOB, **changes})

    assert OLD not in phone.look().text


def test_a_pair_without_a_recipe_or_a_box_without_etches_has_nothing_due(phone, daemon):
    daemon.answers["history"] = lambda **asked: {**answer_history(**asked), "recipe": None}
    without_recipe = phone.look()
    daemon.answers["runs"] = {"runs": [], "next_before": None, "notes": []}

    assert DUE not in without_recipe.text
    assert DUE not in phone.look().text


def test_a_loaded_job_says_when_to_come_back(phone, daemon):
    # It is 17:20:00; 2460 s are 41 minutes, and a begun minute counts whole.
    daemon.tell("loaded")

    expected = clock_time("2026-11-25T18:02:00+00:00")
    assert f'data-live="back_at">{expected}<' in phone.look().text


def test_time_that_runs_faster_says_no_clock_time():
    assert watch_view(snapshot("loaded", time_factor=20))["back_at"] == ""
    assert watch_view(snapshot("idle"))["back_at"] == ""


def have_filter(daemon, beam_h, limit_h=40.0):
    daemon.answers["filter"] = {
        "changed_at_utc": "2026-11-24T09:00:00+00:00",
        "beam_since_change_s": beam_h * 3600.0,
        "limit_h": limit_h,
    }


@pytest.mark.parametrize("state", ["idle", "loaded", "armed"])
@pytest.mark.parametrize(
    ("beam_h", "words"),
    [(35.9, None), (36.0, "The filter is due soon"), (40.0, "The filter is past its limit")],
)
def test_a_filter_near_its_limit_is_said_at_home_and_beside_the_start(
    phone, daemon, state, beam_h, words
):
    # From nine tenths of the shop's own limit on: our choice.
    have_filter(daemon, beam_h)
    daemon.tell(state)

    page = phone.look().text

    assert ("The filter is" in page) is (words is not None)
    assert (words or "") in page


def cannot_say(**_asked):
    raise Refused("logbook_unavailable", "The logbook cannot be read.")


@pytest.mark.parametrize("state", ["etching", "held"])
def test_a_spent_filter_disturbs_no_etch(phone, daemon, state):
    have_filter(daemon, 99.0)
    daemon.tell(state)

    page = phone.look().text

    assert "The filter is" not in page


def test_a_shop_that_set_no_limit_or_a_box_that_cannot_say_hears_nothing_of_its_filter(
    phone, daemon
):
    have_filter(daemon, 99.0, limit_h=0.0)
    daemon.tell("loaded")
    without_limit = phone.look()
    daemon.answers["filter"] = cannot_say
    without_logbook = phone.look()

    assert "The filter is" not in without_limit.text
    assert (without_logbook.status_code, "The filter is" in without_logbook.text) == (200, False)
