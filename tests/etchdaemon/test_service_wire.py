"""When a report was asked for: what bounds the place that it shows."""

import pytest

from etchdaemon.controller.orders import Order
from etchdaemon.service.link.wire import Wire

REPORT = b"<Run|MPos:1.000,2.000,0.000|FS:4000,600>\r\n"


class Port:
    """Holds what the controller has sent."""

    def __init__(self):
        self.waiting = b""

    def read_waiting(self):
        data, self.waiting = self.waiting, b""
        return data

    def write(self, data):
        pass


def _asked(requests_s, heard_s):
    """Ask at some times, hear a report at others; return when each was asked for."""
    port = Port()
    wire, asked_s = Wire(port), []
    for at_s in sorted((*requests_s, *heard_s)):
        if at_s in requests_s:
            wire.obey(Order.REPORT, at_s)
        else:
            port.waiting = REPORT
            wire.read_events(at_s)
            asked_s.append(wire.heard_was_asked_at_s)
    return asked_s


@pytest.mark.parametrize(
    ("requests_s", "heard_s", "asked_s"),
    [
        ([1.0, 1.2], [1.005, 1.205], [1.0, 1.2]),
        ([1.0, 1.003], [1.005], [1.0]),
        ([1.0, 1.003, 1.2], [1.005, 1.205], [1.0, 1.2]),
        ([1.0, 1.003, 1.2], [1.005, 1.010, 1.205], [1.0, 1.0, 1.2]),
        ([1.0, 1.2], [1.3, 1.5], [1.0, 1.2]),
        ([1.0, 2.5], [2.505], [2.5]),
    ],
    ids=[
        "one after another",
        "the cut's own request on the heels of a poll",
        "and one report for both",
        "or one each",
        "a slow line",
        "one that was lost",
    ],
)
def test_a_report_belongs_to_the_oldest_request_that_it_may_answer(requests_s, heard_s, asked_s):
    assert _asked(requests_s, heard_s) == asked_s
