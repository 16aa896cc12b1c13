import pytest

from etchweb.text.formatting import (
    as_sentence,
    counted,
    grouped,
    millimetres,
    percent,
    short_duration,
)


@pytest.mark.parametrize(
    ("seconds", "said"),
    [
        (0, "0 s"),
        (0.2, "1 s"),
        (119.5, "120 s"),
        (120, "2 min"),
        (121, "3 min"),
        (3540, "59 min"),
        (3541, "1 h 00 min"),
        (7500, "2 h 05 min"),
        (43200, "12 h 00 min"),
    ],
)
def test_a_time_is_said_no_finer_than_anyone_acts_on(seconds, said):
    assert short_duration(seconds) == said


def test_thousands_are_parted_by_a_space_that_does_not_break():
    assert grouped(3170.4) == "3\u202f170"


@pytest.mark.parametrize(("value", "said"), [(100.0, "100"), (0.1, "0.1"), (84.5, "84.5")])
def test_lengths_carry_no_needless_digits(value, said):
    assert millimetres(value) == said


def test_a_share_is_said_in_whole_per_cent():
    assert percent(0.474) == "47"


@pytest.mark.parametrize(("number", "said"), [(1, "1 row"), (0, "0 rows"), (2, "2 rows")])
def test_one_row_is_not_one_rows(number, said):
    assert counted(number, "row", "rows") == said


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("it is off", "It is off."),
        ("It is off.", "It is off."),
        ("is it running?", "Is it running?"),
        ("", ""),
    ],
)
def test_a_message_is_said_as_a_sentence(text, said):
    assert as_sentence(text) == said
