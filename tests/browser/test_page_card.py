"""A test card on a phone: what it showed, patch by patch, for everybody to read and to tap."""

from support.harnesses.page_bench import LEAST_TARGET_PX, WIDTHS_PX, violations
from support.harnesses.read_cards import TILES, lay_read


def test_what_a_tile_showed_shuts_nobody_out(open_phone, served, axe):
    # WCAG 2.2 AA; 1.4.10 Reflow and 2.5.8 Target Size.
    phone = open_phone("/")
    for kind in TILES:
        phone.goto(served.url + lay_read(served, kind))
        widths_px = []
        for width_px in WIDTHS_PX:
            phone.set_viewport_size({"width": width_px, "height": 820})
            widths_px.append(phone.evaluate("document.documentElement.scrollWidth"))
        phone.set_viewport_size({"width": 320, "height": 820})
        targets = phone.locator("main button:visible, .tick:visible, .patch:visible").all()

        assert violations(phone, axe) == [], kind
        assert widths_px == list(WIDTHS_PX), kind
        heights = [target.bounding_box()["height"] for target in targets]
        assert min(heights) >= LEAST_TARGET_PX, kind
    assert phone.complaints == []


def test_patches_are_marked_by_tapping_them(open_phone, served, expect):
    phone = open_phone(lay_read(served, "power"))

    phone.locator(".patch").nth(2).tap()
    phone.locator(".patch").nth(3).tap()
    phone.get_by_role("button", name="Rubs off").tap()

    patches, rubbed = phone.locator(".patch"), phone.locator(".patch", has_text="rubs off")
    for tapped in (2, 3):
        expect(patches.nth(tapped)).to_contain_text("rubs off", timeout=60_000)
    assert rubbed.count() < patches.count()  # gentler ones rub off too, stronger ones need not
