"""Every view of the page on phone and tablet in both schemes, for people to look at.

`pytest -m measure tests/measure/page_pictures_test.py -s` prints the folder they lie in.
"""

import re
import tempfile
from pathlib import Path
from typing import Any, Final

import pytest
from PIL import Image
from werkzeug.exceptions import HTTPException
from werkzeug.routing import MapAdapter

from etchwarden.practice_session.scenario_stage import scenario_runner
from etchweb.practice.scenario_views import add_scenarios
from measure.page_views import Visit, all_visits, draw_paths
from support.harnesses.page_bench import SCHEMES, browser, phone_options, served_page

pytestmark = pytest.mark.measure

SIZES: Final = {"phone": (390, 844), "tablet": (820, 1180)}
PRESS: Final = """([path, fields]) => {
    const form = document.createElement("form");
    const token = document.querySelector("[name=form_token]").value;
    Object.assign(form, {method: "post", action: path});
    for (const [name, value] of Object.entries({form_token: token, ...fields})) {
        form.append(Object.assign(document.createElement("input"), {name, value}));
    }
    document.body.append(form);
    form.submit();
}"""


def test_every_view_is_there_to_look_at(tmp_path):
    pictures = Path(tempfile.mkdtemp(prefix="views-"))  # pytest's own is gone when all is well
    options = {"open_to_loopback": True, "machine": lambda *_, **__: None}
    with served_page(tmp_path, **options) as served, browser() as chromium:
        add_scenarios(served.app, scenario_runner())
        draw_paths(served, Image.new("RGB", (1840, 1260), "white"))
        pages = pages_of(chromium)
        addresses = served.app.url_map.bind("localhost")
        left_out = {one.endpoint for one in served.app.url_map.iter_rules() if "GET" in one.methods}
        for visit in all_visits(served):
            left_out -= endpoints_of(addresses, visit)
            for words, page in pages.items():
                look(page, served.url, visit)
                page.screenshot(
                    path=pictures / f"{visit.name}, {words}.png", full_page=True,
                    animations="disabled",
                )  # fmt: skip
    print(f"\n{len(list(pictures.iterdir()))} pictures in {pictures}")
    print("No picture of:", ", ".join(sorted(left_out)))


def endpoints_of(addresses: MapAdapter, visit: Visit) -> set[str]:
    """Return the endpoint that a visit opens; nothing where there is none."""
    method = "POST" if visit.form else "GET"
    try:
        return {addresses.match(visit.path.partition("?")[0], method=method)[0]}
    except HTTPException:
        return set()


def pages_of(chromium: Any) -> dict[str, Any]:
    """Return a page for each size and scheme, by the words that name its pictures."""
    return {
        f"{size}, {scheme}": chromium.new_context(
            **phone_options(
                scheme=scheme,
                viewport={"width": width_px, "height": height_px},
                device_scale_factor=1,
            )
        ).new_page()
        for size, (width_px, height_px) in SIZES.items()
        for scheme in SCHEMES
    }


def look(page: Any, url: str, visit: Visit) -> None:
    """Open the view, or press what leads to it."""
    page.unroute_all()
    page.context.clear_cookies()
    if visit.token:
        page.context.add_cookies([{"name": "etchwarden", "value": visit.token, "url": url}])
    if visit.is_cut_off:
        page.route(re.compile(r"/watch(/stream|\.json)"), lambda route: route.abort())
        page.goto(url + visit.path, wait_until="load")
        page.locator("#heard").wait_for()
        return
    if not visit.form:
        page.goto(url + visit.path, wait_until="load")
        return
    page.goto(f"{url}/phones", wait_until="load")
    with page.expect_navigation(wait_until="load"):
        page.evaluate(PRESS, [visit.path, dict(visit.form)])
