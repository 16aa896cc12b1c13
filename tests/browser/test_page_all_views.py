"""Every view of the page fits a narrow phone, large letters and a phone on its side.

WCAG 2.2: 1.4.10 Reflow (320 px), 1.4.4 Resize Text (200 %), 1.3.4 Orientation, 2.5.8 Target Size.
"""

import re

import pytest
from PIL import Image
from werkzeug.exceptions import HTTPException

from etchweb.previews.store import path_name
from support.fakes.catalogue_answers import craft
from support.fakes.fake_daemon import LID_TRIP, SHA256, STATES, box
from support.harnesses.page_bench import WIDTHS_PX, too_small, violations
from support.harnesses.picture_bench import draft_to_proof
from support.samples.photo_files import PHOTOGRAPHS

ASTRONAUT = next(path for name, path, _ in PHOTOGRAPHS if name == "astronaut")
PHONES = {  # width and height in px, the size of letters
    **{f"{width_px} px": (width_px, 820, "100%") for width_px in WIDTHS_PX},
    "on its side": (820, 360, "100%"),
    "large letters": (412, 820, "200%"),
}
NARROWEST = {"width": 320, "height": 820}
UPRIGHT = {"width": 412, "height": 820}
LETTERS = "size => document.documentElement.style.fontSize = size"
TOO_WIDE_PX = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
UNFOLD = "document.querySelectorAll('details').forEach(one => (one.open = true))"
FIRE = {**LID_TRIP, "name": "no flame or smoke", "reaction": "emergency"}
VIEWS = (
    "/logbook", "/logbook?text=gone", "/logbook?verdict=good", "/logbook/7", "/logbook/6",
    "/logbook/6/take-up-again", "/machine", "/machine/wiring", "/machine/settings", "/machines",
    "/phones", "/pair", "/practice", "/test-tiles", "/test-tiles/new", "/lots", "/lasers",
    "/tiles-and-paints", f"/head-path/{SHA256}", "/orders", "/orders/new", "/orders/costs",
    "/orders/list", "/orders/3", "/bench", "/bench/jig", "/storage", "/nowhere",
)  # fmt: skip
STEPS = ("/new", "DRAFT/tile", "DRAFT/cut", "DRAFT/look", "DRAFT/design", "DRAFT/proof")
# Answers without a page of their own, and pages that other tests bring into being.
NO_VIEWS = re.compile(
    r"static|watch\.(poll|stream)|machine\.poll|pictures\.show|verdicts\.photo|logbook\.table"
    r"|practice\.photograph|orders\.books|bench\.(lay|make|change_loaded)|new_picture\.(go_on|work|picture)|cards\.(?!show$|new$)\w+|fleet\.\w+"
)


@pytest.fixture
def draft(served):
    served.daemon.answers |= craft()
    Image.new("RGB", (1840, 1260)).save(
        served.app.extensions["etchweb"].pictures / path_name(SHA256)
    )
    return draft_to_proof(served.app, ASTRONAUT, width_mm=80, height_mm=100)


def shown(phone, url):
    """Open the view at `url` on the narrowest phone; return in words what is wrong with that."""
    phone.set_viewport_size(NARROWEST)
    answer = phone.goto(url, wait_until="load")
    refused = not answer.ok and not url.endswith("/nowhere")
    return [f"{url}: answers {answer.status}"] if refused else []


def overflowing(phone):
    """Return in words on which phones the view shown is too wide; then it stands upright again."""
    found = []
    for name, (width_px, height_px, letters) in PHONES.items():
        phone.set_viewport_size({"width": width_px, "height": height_px})
        phone.evaluate(LETTERS, letters)
        if (too_wide_px := phone.evaluate(TOO_WIDE_PX)) > 0:
            found.append(f"{phone.url}, {name}: {too_wide_px} px too wide")
    phone.set_viewport_size(UPRIGHT)
    phone.evaluate(LETTERS, "")
    return found


def test_no_view_is_wider_than_the_phone_or_shuts_anybody_out(open_phone, served, draft, axe):
    # WCAG 2.2 AA by axe, in both schemes, with everything unfolded.
    phone = open_phone("/nowhere")
    found = []
    for path in (*VIEWS, *STEPS):
        found += shown(phone, served.url + path.replace("DRAFT", draft))
        found += overflowing(phone)
        phone.evaluate(UNFOLD)
        faults = violations(phone, axe)
        phone.set_viewport_size(NARROWEST)
        found += [f"{path}: {fault}" for fault in (*faults, *too_small(phone))]

    assert found == []


def test_no_state_of_an_etch_is_wider_than_the_phone(open_phone, served):
    phone = open_phone("/nowhere")
    found = []
    for state in STATES:
        served.daemon.tell(state)
        found += shown(phone, f"{served.url}/?{state}") + overflowing(phone)
    served.daemon.tell("tripped", interlocks=box(trips=[FIRE]))
    found += shown(phone, f"{served.url}/?fire") + overflowing(phone)

    assert found == []


def test_no_view_is_left_out(served):
    addresses = served.app.url_map.bind("localhost")
    visited = {endpoint_of(addresses, path.replace("DRAFT", "/new/x")) for path in (*VIEWS, *STEPS)}

    pages = {
        rule.endpoint
        for rule in served.app.url_map.iter_rules()
        if "GET" in rule.methods and not NO_VIEWS.match(rule.endpoint)
    }

    assert pages - visited - {"watch.show"} == set()


def endpoint_of(addresses, path):
    """Return the endpoint of an address; nothing where there is none."""
    try:
        return addresses.match(path.split("?")[0], method="GET")[0]
    except HTTPException:
        return ""
