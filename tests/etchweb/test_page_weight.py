"""What a first view costs: the page, what it links, and the pictures that are not folded away.

A browser fetches lazy pictures far below what it shows, so all outside a closed fold count.
"""

import gzip
import hashlib
import re
import shutil
from urllib.parse import urljoin, urlsplit

import pytest
from PIL import Image

from etchweb.logbook.views import SHOWN_AT_FIRST
from etchweb.previews.store import PICTURES_FOLDER, keep_picture, share_picture
from support.fakes.catalogue_answers import craft, recipe
from support.fakes.fake_daemon import ETCH, SHA256
from support.harnesses.picture_bench import draft_tried
from support.samples.photo_files import PHOTOGRAPHS

ASTRONAUT = next(path for name, path, _ in PHOTOGRAPHS if name == "astronaut")
MOST_BYTES, MOST_REQUESTS = 60_000, 12
FOLDED = re.compile(r"<details(?: [^>]*)?>.*?</details>", re.DOTALL)
IMPORTED = re.compile(r'^import [^;]*"(\.[^"]+)"', re.MULTILINE)
LINKED = re.compile(r'<(?:img|image|script|link)\b[^>]*?\b(?:src|href)="([^"]+)"')
NOT_FETCHED = ("apple-touch-icon", "manifest")  # only once somebody installs the page

VIEWS = (
    "/", "/new", "/logbook", "/logbook/7", "/test-tiles", "/test-tiles/new", "/lasers",
    "/tiles-and-paints", "/lots", "/orders", "/orders/3", "/orders/new", "/orders/costs",
    "/orders/list", "/bench", "/machine",
    "/machine/wiring", "/machine/settings", "/storage", "/phones", "/pair",
)  # fmt: skip


RUNS = tuple(
    {**ETCH, "id": number, "gcode_sha256": hashlib.sha256(str(number).encode()).hexdigest()}
    for number in range(100, 0, -1)
)


@pytest.fixture(scope="module")
def pictures(tmp_path_factory):
    """Keep the picture of the etch in work and of those that a logbook shows at first."""
    folder = tmp_path_factory.mktemp("kept")
    dots = folder / "dots.png"
    Image.open(ASTRONAUT).convert("L").resize((1000, 1000)).convert("1").save(dots)
    keep_picture(dots, folder=folder / PICTURES_FOLDER, gcode_sha256=SHA256)
    for run in RUNS[:20]:
        share_picture(folder / PICTURES_FOLDER, run["gcode_sha256"], whole_sha256=SHA256)
    return folder / PICTURES_FOLDER


@pytest.fixture
def hundred_runs(daemon, tmp_path, pictures):
    """Have a hundred etches in the logbook, each with its picture, and one in work."""
    shutil.copytree(pictures, tmp_path / PICTURES_FOLDER)

    def answer(before=None, limit=500, **_):
        older = [run for run in RUNS if before is None or run["id"] < before]
        more = older[limit - 1]["id"] if len(older) > limit else None
        return {"runs": older[:limit], "next_before": more, "notes": []}

    daemon.answers["runs"] = answer


def fetched(phone, path):
    """Return the bytes of each answer that a first view of `path` fetches, by address."""
    page = phone.look(path)
    addresses = {
        urlsplit(address).path
        for tag, address in (
            (match[0], match[1]) for match in LINKED.finditer(FOLDED.sub("", page.text))
        )
        if not any(kind in tag for kind in NOT_FETCHED)
    }
    assert page.status_code == 200
    sizes = {path: len(page.data)}
    while addresses:
        address = addresses.pop()
        with phone.client.get(
            address, headers={"Accept-Encoding": "gzip"}, follow_redirects=True
        ) as answer:
            assert answer.status_code == 200, address
            sizes[address] = len(answer.data)
        if address.endswith(".js"):
            code = gzip.decompress(answer.data).decode()
            imported = {urljoin(address, module) for module in IMPORTED.findall(code)}
            addresses |= imported - sizes.keys()
    return sizes


def test_a_logbook_of_a_hundred_etches_is_light_at_first_sight(phone, hundred_runs):
    sizes = fetched(phone, "/logbook")

    assert sum(address.endswith("-thumb.jpg") for address in sizes) == SHOWN_AT_FIRST
    assert sum(sizes.values()) <= MOST_BYTES, sizes
    assert len(sizes) <= MOST_REQUESTS, sizes


def test_further_etches_are_a_fold_and_a_page_away(phone, hundred_runs):
    page = phone.look("/logbook").text

    assert "<summary>14 more</summary>" in page
    assert page.count('loading="lazy"') == 20
    assert 'href="/logbook?before=81"' in page


@pytest.mark.parametrize("path", VIEWS)
def test_no_view_is_heavy_at_first_sight(phone, daemon, hundred_runs, path):
    daemon.tell("etching")

    sizes = fetched(phone, path)

    assert sum(sizes.values()) <= MOST_BYTES, sizes
    assert len(sizes) <= MOST_REQUESTS, sizes


DOT = {"spread_dots": 0.45, "threshold": 0.2, "scale": 0.3, "steepness": 2.5, "black": 0.06}
CURVE = {"wanted": [0.0, 1.0], "to_burn": [0.0, 1.0], "dot": DOT}


@pytest.mark.slow
@pytest.mark.parametrize("known", [{}, {"tone_curve": CURVE}], ids=["no card", "a tone card"])
@pytest.mark.usefixtures("waiting_for_work")
def test_each_step_of_a_picture_is_as_light_as_a_first_view(app, phone, daemon, known):
    daemon.answers |= craft(recipe(**known))
    draft = draft_tried(app, ASTRONAUT, width_mm=80, height_mm=100)

    sizes = {step: fetched(phone, f"{draft}/{step}") for step in ("tile", "cut", "look", "design")}

    for step, of_step in sizes.items():
        assert sum(of_step.values()) <= MOST_BYTES, (step, of_step)
        assert len(of_step) <= MOST_REQUESTS, (step, of_step)
    assert {f"{draft}/tried.png", f"{draft}/mixes.jpg"} <= sizes["look"].keys()
