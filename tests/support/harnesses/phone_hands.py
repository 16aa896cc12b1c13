"""What a person does with the page in a real browser, from a photograph to a start."""

import re

from etchweb.workers.work import WORKER
from support.samples.photo_files import PHOTOGRAPHS

ASTRONAUT = next(path for name, path, _ in PHOTOGRAPHS if name == "astronaut")
TILE = re.compile("practice tile, white paint practice 20 W")
WIDTH_MM = 25
# Work on a picture has a deadline of its own, and a busy computer may well need a minute of it.
WORK_MS = WORKER.deadline_s * 1000
ANSWERS = {"How many hours ago": "26"}


def put_a_photograph_on_the_bench(phone, expect, *, height_mm=2):
    """Choose a photograph, give it a size, cut it, look at it and at every dot of it."""
    phone.get_by_role("link", name="New picture").first.tap()
    phone.get_by_label("Choose a photo").set_input_files(ASTRONAUT)
    phone.get_by_role("button", name="Next").tap()
    phone.get_by_label("Link width and height").uncheck()
    phone.get_by_label("Width, mm").fill(f"{WIDTH_MM}")
    phone.get_by_label("Height, mm").fill(f"{height_mm}")
    phone.get_by_role("radio", name=TILE).check()
    phone.get_by_role("button", name="Next").tap()
    phone.get_by_role("button", name="Zoom in").tap()
    phone.get_by_role("button", name="Next").tap()
    phone.get_by_role("button", name="See every dot").tap(timeout=WORK_MS)
    size = phone.get_by_text(f"{WIDTH_MM} × {height_mm} mm").first
    expect(size).to_be_visible(timeout=WORK_MS)
    for finding in phone.locator("input[name='has read']").all():
        finding.check()
    phone.get_by_role("button", name="Load it").tap()
    expect(phone.locator("h1")).to_have_text("Loaded")


def set_the_origin(phone, expect):
    """Do as the bench says, on the page Machine, and come back by the page's own link.

    Once on a busy computer the browser, told to go back, came to the page before the bench.
    """
    expect(phone.locator("[data-live=sentence]")).to_contain_text("set the origin")
    phone.get_by_role("link", name="Machine").first.tap()
    phone.get_by_role("button", name="Set origin here").tap()
    expect(phone.locator("[data-live=sentence]")).not_to_contain_text("set the origin")
    phone.get_by_role("link", name="Watch").first.tap()


def get_ready(phone, expect):
    """Go through the cautions and the checklist."""
    expect(phone.get_by_role("button", name="Get ready")).to_be_enabled()
    for box in phone.locator("form.before input[type=checkbox]").all():
        box.check()
    for choice in phone.locator("form.before select").all():
        choice.select_option(index=1)
    for label, answer in ANSWERS.items():
        if phone.get_by_label(label).count():
            phone.get_by_label(label).fill(answer)
    phone.get_by_role("button", name="Get ready").tap()
