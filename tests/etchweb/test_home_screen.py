"""A phone can put the page on its home screen (Web App Manifest, W3C)."""

import io
import json
import re
from urllib.parse import urljoin

from PIL import Image


def manifest_of(page, phone):
    """Return the manifest's address, and what it says."""
    address = re.search(r'<link rel="manifest" href="([^"]+)"', page)[1]
    with phone.look(address) as answer:
        assert answer.status_code == 200
        return address, json.loads(answer.data)


def test_the_home_screen_opens_the_page_where_the_phone_came_from(phone):
    address, manifest = manifest_of(phone.look("/").text, phone)

    assert urljoin(f"http://box{address}", manifest["start_url"]) == "http://box/"
    assert urljoin(f"http://box/m/left{address}", manifest["start_url"]) == "http://box/m/left/"
    assert manifest["scope"] == manifest["start_url"]


def test_its_icons_are_there_and_as_large_as_they_say(phone):
    address, manifest = manifest_of(phone.look("/").text, phone)

    for icon in manifest["icons"]:
        with phone.look(urljoin(address, icon["src"])) as answer:
            assert answer.mimetype == icon["type"]
            if icon["type"] == "image/png":
                size = Image.open(io.BytesIO(answer.data)).size
                assert "x".join(map(str, size)) == icon["sizes"]


def test_a_stranger_who_may_only_pair_gets_it_too(stranger):
    _address, manifest = manifest_of(stranger.look("/").text, stranger)

    assert manifest["name"] == "Etchwarden"
