"""What a plan of a bench is sent with, by form or address."""

import re
from collections.abc import Mapping
from typing import Any, Final

from flask import redirect, url_for
from werkzeug.wrappers import Response as BaseResponse

POCKET: Final = "pocket-"
_FIELD: Final = re.compile(r"jig|lot|thickness_mm|(pocket|lot)-\d+")


def plan_fields(form: Mapping[str, str]) -> dict[str, str]:
    """Return what was said of a plan, without what was read and ticked."""
    return {name: said for name, said in form.items() if said and _FIELD.fullmatch(name)}


def fields_of(jig: str, pockets: Mapping[str, str]) -> dict[str, str]:
    """Return the plan of a jig in whose `pockets` such pictures lie."""
    return {"jig": jig} | {f"{POCKET}{pocket}": one for pocket, one in pockets.items() if one}


def to_plan(endpoint: str, fields: Mapping[str, str]) -> BaseResponse:
    """Lead a person on to a view of a plan."""
    said: dict[str, Any] = dict(fields)
    return redirect(url_for(endpoint, **said), 303)
