"""The practice machine answers as the controller firmware did when it was recorded.

Source: the recordings beside the tests, each taken once from host builds of both firmwares.
"""

import pytest

from recorded_exchange import NAMES, Player, other_than_reports, read, recorded_answers

# Exchanges that are not answered alike yet.
NOT_ALIKE = (
    "06-door-switch-jog-alarm",
    "11-offsets-reset-power-32bit",
    "12-buffer-planner-32bit",
    "15-hard-limit",
    "15-homing-fails",
)


@pytest.mark.parametrize("name", [name for name in NAMES if name not in NOT_ALIKE])
def test_what_was_answered_is_answered_again(name):
    exchange = read(name)

    heard = Player(exchange).play()

    assert other_than_reports(heard) == other_than_reports(recorded_answers(exchange))
