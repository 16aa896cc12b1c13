"""The page's *a shade darker* and *a shade lighter*: two wishes of the daemon, asked together."""

from typing import Final

from flask import Blueprint, request
from werkzeug.wrappers import Response as BaseResponse

from etchweb.context import app_context
from etchweb.daemon.protocol import Daemon
from etchweb.run.dose import DARKEST_PERCENT, LIGHTEST_PERCENT, feed_percent
from etchweb.run.views import carry_out, refused_with
from etchwire.calls.machine import SetFeed, SetPower, Status
from etchwire.errors import Refused

pages = Blueprint("shading", __name__)

NO_SHADE: Final = "That is no shade there is. Look at the page again and press once more."
NOTHING_ETCHED: Final = "Nothing is being etched."


@pages.post("/shade")
def ask_for_shade() -> BaseResponse:
    """Ask for the burn strength that the button named, in percent of the recipe's.

    It names where to go and not a step, so that two people who press at once go there once.
    """
    wanted = request.form.get("strength", 0, int)
    if not LIGHTEST_PERCENT <= wanted <= DARKEST_PERCENT:
        return refused_with(NO_SHADE, 422)
    return carry_out(lambda: _ask(app_context().daemon, wanted))


def _ask(daemon: Daemon, wanted_percent: int) -> None:
    now = daemon.ask(Status())
    job, run = now.job, now.run
    if job is None or run is None:
        raise Refused("refused", NOTHING_ETCHED)
    feed = feed_percent(job.power_ratio, wanted_percent)
    if feed != run.feed_percent:
        daemon.ask(SetFeed(percent=feed))
    daemon.ask(SetPower(percent=wanted_percent))
