"""How long a job takes, in words."""

import pytest

from etchwarden.shared.job_summary import duration


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0.4, "0 s"),
        (59.4, "59 s"),
        (59.6, "1 min 0 s"),
        (1686, "28 min 6 s"),
        (3599.7, "1 h 0 min"),
        (14130, "3 h 55 min"),
    ],
)
def test_a_duration_is_said_as_a_person_would(seconds, words):
    assert duration(seconds) == words
