"""A bench that was being prepared when page or power went away: nothing of it was loaded."""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from etchweb.bench.files import BENCH_FOLDER, JOB_FOLDER, PLAN_NAME
from etchweb.context import app_context
from etchweb.drafts.views import work_queue
from etchweb.storage.made_from import made_from
from etchwire.errors import UnreadableSheet
from etchwire.sheet import read_sheet

FORM: Final = "form"  # in the file of a plan: what the phone sent


def cut_off_plan() -> Mapping[str, Any] | None:
    """Return the form of the plan that was asked for and never loaded; None where there is none.

    A plan that this page has in work, or has answered for, is none.
    """
    home = app_context().pictures.parent
    for plan in (home / BENCH_FOLDER).glob(f"*/{PLAN_NAME}"):
        if work_queue().of(plan.parent.name) is not None:
            continue
        try:
            is_loaded = made_from(home, read_sheet(plan.parent / JOB_FOLDER).gcode_sha256)
        except UnreadableSheet:
            is_loaded = None
        form = _form_of(plan)
        if is_loaded is None and form:
            return form
    return None


def _form_of(plan: Path) -> dict[str, Any]:
    try:
        form = json.loads(plan.read_bytes())[FORM]
    except (OSError, ValueError, TypeError, KeyError):  # gone, or of another release
        return {}
    return form if isinstance(form, dict) else {}
