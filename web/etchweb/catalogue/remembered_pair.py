"""Which laser on which tile and paint a phone looked at last: asked by two pickers, kept by it."""

import json
from collections.abc import Sequence
from typing import Final
from urllib.parse import quote, unquote

from flask import request
from werkzeug.wrappers import Response as BaseResponse

from etchweb.catalogue.pairs import Pair, pair_of_key

COOKIE: Final = "etchwarden-pair"
_LASTS_S: Final = 365 * 86_400


def asked_pair(pairs: Sequence[Pair]) -> Pair | None:
    """Return the pair that the address names: by one key, or by laser and surface; else None."""
    names = [request.args.get(name, "") for name in ("laser", "surface")]
    return pair_of_key(request.args.get("pair") or json.dumps(names), pairs)


def remembered_pair(pairs: Sequence[Pair]) -> Pair | None:
    """Return the pair that this phone asked for last; None where there is none any more."""
    return pair_of_key(unquote(request.cookies.get(COOKIE, "")), pairs)


def remember_pair(answer: BaseResponse, pair: Pair) -> None:
    """Have this phone keep `pair`; it is no secret, but no script needs it."""
    answer.set_cookie(
        COOKIE,
        quote(json.dumps(pair.key)),
        max_age=_LASTS_S,
        path=request.script_root or "/",  # of this machine alone
        httponly=True,
        samesite="Lax",
        secure=request.is_secure,
    )
