"""What people are told: advice once, and no minus before a nought."""

import pytest

from etchdaemon.controller.firmware import EIGHT_BIT, THIRTY_TWO_BIT
from etchdaemon.controller.link import Link
from etchdaemon.run import audit
from etchdaemon.run.moving import jog
from etchdaemon.service.run import faults


@pytest.mark.parametrize("firmware", [EIGHT_BIT, THIRTY_TWO_BIT], ids=["8-bit", "32-bit"])
@pytest.mark.parametrize("code", range(1, 24))
def test_a_lost_place_is_advised_on_once(firmware, code):
    told = faults.with_place_lost(str(firmware.alarm(code)))

    assert told.lower().count("home") >= 1
    assert told.count("set the origin again") <= 1
    assert told.lower().count("home the machine") <= 1


def test_other_faults_are_followed_by_what_to_do():
    assert faults.with_place_lost(faults.RESTARTED).endswith(faults.POSITION_UNKNOWN)


def test_no_length_shows_a_minus_before_a_nought():
    (found,) = audit.objections(
        lines_sent=1, lines_accepted=1, place_mm=(-0.001, -0.004), planned_mm=(1.0, 1.0)
    )

    assert "x 0.00, y 0.00 mm" in found
    assert jog((-0.0001, 0.0), 100) == b"$J=G90G21X0.000Y0.000F100"


def test_no_place_is_a_negative_nought():
    """As the 32-bit firmware may report: a work place of -0.0 from MPos and WCO."""
    (report,) = Link().receive(b"<Idle|MPos:-1.000,0.000,0.000|WCO:-1.000,0.000,0.000>\r\n")

    assert [str(value) for value in report.work_mm] == ["0.0"] * 3
