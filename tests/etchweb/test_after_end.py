"""After an etch that came to its end: cool, wipe, photograph, rate."""

import re
from datetime import UTC, datetime, timedelta

import pytest

from etchweb.run.after_end import COOLING_S, WIPING, cooling_part
from etchwire.errors import Refused
from support.fakes.fake_daemon import ETCH

ENDED = datetime(2026, 11, 25, 17, 43, 42, tzinfo=UTC)


@pytest.mark.parametrize(
    ("gone_s", "left_s"),
    [(0, COOLING_S), (240, COOLING_S - 240), (COOLING_S, 0), (86_400, 0), (-3600, COOLING_S)],
)
def test_the_tile_cools_from_the_end_of_the_etch_whatever_the_clock_does(gone_s, left_s):
    now = ENDED + timedelta(seconds=gone_s)

    part = cooling_part(ENDED.isoformat(), now)

    assert part["cool_left_s"] == left_s
    assert datetime.fromisoformat(part["cool_at"]) == now + timedelta(seconds=left_s)


def test_where_nobody_knows_when_it_ended_it_cools_the_whole_time():
    assert cooling_part(None, ENDED)["cool_left_s"] == COOLING_S


def test_the_end_tells_to_cool_then_to_wipe_then_to_photograph_and_rate(phone, daemon):
    daemon.answers["run"] = ETCH | {"ended_at_utc": datetime.now(UTC).isoformat()}
    daemon.tell("complete")

    text = phone.look().text

    order = ["First let it cool", "Then wipe it", *(step.look_at for step in WIPING)]
    places = [text.index(words) for words in (*order, "Photograph and rate the wiped tile")]
    assert places == sorted(places)
    left_s = int(re.search(r'data-counts-down="(\d+)"', text)[1])
    assert COOLING_S - 60 < left_s <= COOLING_S
    # Outside, cool, gloves, air, cloths in a closed tin: common practice, no source.
    for word in ("Outside the box", "Gloves", "Fresh air", "closed metal tin"):
        assert word in text


def test_an_end_that_was_good_is_one_line(phone, daemon):
    daemon.tell("complete")
    assert 'class="big"' not in phone.look().text

    daemon.tell("stopped")
    assert 'class="big"' in phone.look().text


@pytest.mark.parametrize("state", ["stopped", "failed"])
def test_a_tile_that_may_be_etched_on_is_not_told_to_be_wiped(phone, daemon, state):
    daemon.tell(state)

    assert "Then wipe it" not in phone.look().text


def test_the_steps_stand_while_the_logbook_cannot_be_asked(phone, daemon):
    def refuse(**_):
        raise Refused("busy", "the logbook is being copied")

    daemon.answers["run"] = refuse
    daemon.tell("complete")

    assert f'data-counts-down="{COOLING_S}"' in phone.look().text
