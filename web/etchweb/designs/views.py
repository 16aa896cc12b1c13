"""*Lettering and shape*: a form, and the tile to scale as it will look with them."""

from functools import partial

from flask import redirect, render_template, request, url_for
from werkzeug.wrappers import Response as BaseResponse

from etchweb.designs.forms import with_decoration
from etchweb.designs.presenter import design_view
from etchweb.drafts.decoration import fonts_here
from etchweb.drafts.draft import Draft
from etchweb.drafts.step_views import decided, go
from etchweb.drafts.views import drafts, found_draft, keep, waiting_page, work_queue
from etchweb.server.responses import refusals_on, with_status
from etchweb.text.formatting import as_sentence


def design(draft_id: str) -> str | BaseResponse:
    """Ask for lettering, shape, soft edge and border, and show the tile with them."""
    draft = found_draft(draft_id)
    waiting = decided(draft)
    if waiting is not None:
        return waiting
    if request.method == "GET":
        return _page(draft)
    with refusals_on(partial(_form, draft)):
        draft = with_decoration(draft, request.form)
    keep(draft)
    if request.form.get("then") == "proof":
        return go("proof", draft)
    return redirect(url_for("designs.design", draft_id=draft.id), 303)


def _page(draft: Draft) -> str | BaseResponse:
    """Return the form with the tile, the page to wait on, or the form with what went wrong."""
    if draft.is_plain or drafts().drawn(draft) is not None:
        return _form(draft, "")
    work, page = waiting_page(draft, "draw", draft.found_key)
    if page is not None:
        return page
    if work.failed:
        work_queue().forget(draft.id)
        return with_status(_form(draft, as_sentence(work.failed)), work.failed_status)
    return _form(draft, "")


def _form(draft: Draft, answer: str) -> str:
    drawn = None if draft.is_plain else drafts().drawn(draft)
    view = design_view(draft, drawn, fonts_here())
    return render_template("designs/design.html", draft=draft, view=view, answer=answer)
