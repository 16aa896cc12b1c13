"""The page's *a shade darker* and *a shade lighter*: one command of the daemon."""

from typing import Final

from flask import Blueprint, request
from werkzeug.wrappers import Response as BaseResponse

from etchweb.context import app_context
from etchweb.run.views import carry_out, refused_with
from etchwire.calls.machine import SetDose
from etchwire.catalogue.dose import DARKEST_PERCENT, LIGHTEST_PERCENT

pages = Blueprint("shading", __name__)

NO_SHADE: Final = "There is no such shade. Look at the page again and press once more."


@pages.post("/shade")
def ask_for_shade() -> BaseResponse:
    """Ask for the burn strength that the button named, in percent of the recipe's.

    It names where to go and not a step, so that two people who press at once go there once.
    """
    percent = request.form.get("strength", 0, int)
    if not LIGHTEST_PERCENT <= percent <= DARKEST_PERCENT:
        return refused_with(NO_SHADE, 422)
    return carry_out(lambda: app_context().daemon.ask(SetDose(percent=percent)))
