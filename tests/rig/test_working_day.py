"""A working day in memory: orders from a list become tiles, and what they cost adds up by hand.

Page, daemon, logbook and practice machine are the real ones; photos are our own invention.
"""

import csv
import html
import io
import re

import numpy as np
import pytest

from etchwire.catalogue.examples import PRACTICE_RECIPES
from support.harnesses.shop_in_memory import ShopInMemory
from support.samples.photo_files import encoded, scene
from support.samples.sheets import sheet_of

pytestmark = pytest.mark.slow

ORDERS = 10
LIST = "name,file,size,count\n" + "".join(
    f"Customer {n},photo {n}.jpg,{5 + n % 2}x5,1\n" for n in range(1, ORDERS + 1)
)
MINUTES = {"prepare_min": 4, "paint_min": 3, "load_min": 1, "wipe_min": 2, "pack_min": 2}
FIGURES = {"machine_per_h": 6, "labour_per_h": 30, "tile": 1.2, "paint": 0.4, "lens": 40,
           "lens_life_h": 400, "filter": 60, "filter_life_h": 200}  # fmt: skip
JIG = {
    "name": "Four", "columns": 2, "rows": 2, "pitch_x_mm": 10.0, "pitch_y_mm": 9.0,
    "width_mm": 7.0, "height_mm": 6.0, "lower_left_x_mm": 5.0, "lower_left_y_mm": 5.0,
    "upper_right_x_mm": 22.0, "upper_right_y_mm": 20.0, "exhaust": "left",
}  # fmt: skip
MM_PER_PX = 0.05
PLACES_MM = ((0, 0), (8, 0), (0, 7), (8, 7))  # of the mural's tiles on the wall
NOT_MOVED = "tile and head have not moved"


def three_edges():
    """Return a photo of 13 × 11 mm: white between the edges, black elsewhere. Our invention."""
    y, x = (np.mgrid[:550, :650] + 0.5) / 50  # mm
    return np.where(inside_mm(x, y) > 0, 255, 0).astype(np.uint8)


def inside_mm(x, y):
    """Return how far a place of the wall lies inside the white, along rows or columns."""
    return np.minimum(np.minimum(y - 1 - 0.1 * x, 8.5 + 0.1 * x - y), x - 1.5 - 0.1 * y)


def assert_lines_go_on(tiles):
    """Put the etched tiles together as on the wall: all edges are where the photo has them."""
    for tile, (left, top) in zip(tiles, PLACES_MM, strict=True):
        is_black = tile < (tile.min() + tile.max()) / 2
        y, x = (np.mgrid[: tile.shape[0], : tile.shape[1]] + 0.5) * MM_PER_PX
        x, y = x + left, y + top
        inside = inside_mm(x, y)
        assert is_black[inside < -0.1].all()
        assert not is_black[inside > 0.1].any()


class Day(ShopInMemory):
    """What the two people of a shop do, by the page where it has a button for it."""

    def __init__(self, folder):
        super().__init__(folder)
        self.seen = {}  # what each tile looks like, by its run

    def paint(self, lot, day):
        self.press("/lots", {
            "name": lot, "surface": PRACTICE_RECIPES["practice-20w"].surface,
            "painted_at": f"{day}T17:00", "tiles": "12",
        })  # fmt: skip

    def take_list(self):
        self.follow("/orders")
        page = self.follow("/orders/list")
        files = {
            "list": (io.BytesIO(LIST.encode()), "orders.csv"),
            "photo": [
                (io.BytesIO(encoded(scene(80 + n, 80), "JPEG")), f"photo {n}.jpg")
                for n in range(1, ORDERS + 1)
            ],
        }
        pair = html.unescape(re.search(r'<option value="(.*?)"', page)[1])
        self.taps += len(files)  # a picker each
        self.press("/orders/list", files | {"pair": pair, "place": "wall"})
        self.let_pictures_be_made()

    def agree(self, order):
        page = self.follow(f"/orders/{order}")
        shown = re.search(r'name="shown_sha256" value="(\w+)"', page)[1]
        item = re.search(r'name="item" value="(\d+)"', page)[1]
        self.press(f"/orders/{order}/proof", {
            "item": item, "answer": "agreed", "way": "in the shop", "shown_sha256": shown,
        })  # fmt: skip

    def etch(self):
        """Etch what is loaded, and look at the tile."""
        run = super().etch()
        place = self.job_sheet.picture
        self.seen[run] = self.machine.tile.reflectance(
            mm_per_px=MM_PER_PX,
            rectangle=(place.left_mm, place.bottom_mm, place.right_mm, place.top_mm),
        )
        return run

    def load_for(self, order, lot):
        self.machine.lay_new_tile()
        page = self.look(f"/orders/{order}")
        self.press(re.search(r'action="(/new/\w+/bench)"', page)[1], {"lot": lot})

    def judge(self, run, verdict, **more):
        said = {"verdict": verdict, "cause": "", "note": ""} | more
        self.press(f"/logbook/{run}/verdict", said, "multipart/form-data")

    def make_tile(self, order, lot, verdict="good"):
        self.load_for(order, lot)
        run = self.etch()
        self.judge(run, verdict)
        return run

    def etch_jig(self, orders, lot, verdicts):
        """Lay the pictures of four orders into the jig, etch them in one run, judge each tile."""
        self.machine.lay_new_tile()
        drafts = [self.logbook.ask("order", id=n)["items"][0]["item"]["draft"] for n in orders]
        laid = {f"pocket-{pocket}": draft for pocket, draft in enumerate(drafts, 1)}
        self.press("/bench", {"jig": JIG["name"], "lot": lot} | laid)
        run = self.etch()
        assert {self.order_state(order) for order in orders} == {"to judge"}
        for pocket, verdict in enumerate(verdicts, 1):
            self.judge(run, verdict, pocket=f"{pocket}")
        return run

    def spoil_by_the_lid(self, order, lot):
        """Open the lid in mid picture, then take the tile up again."""
        self.load_for(order, lot)
        self.arm_and_start()
        self.etch_until_row(20)
        self.board.open_lid()
        self.wait_until(lambda: self.state == "ended")
        self.board.close_lid()
        self.wait(1.0)
        cut = self.run.id
        self.press("/reset", {"name": self.tripped})
        self.press(f"/logbook/{cut}/take-up-again", {"confirm": NOT_MOVED})
        return self.etch()

    def size(self, draft, width_mm, height_mm, **more):
        """Say how large a draft is, and take the laser, tile and paint that are offered."""
        page = self.follow(f"{draft}/tile")
        pair = html.unescape(re.search(r'name="pair" value="(.*?)"', page)[1])
        figures = {"width_mm": width_mm, "height_mm": height_mm, "pair": pair}
        return self.press(f"{draft}/tile", figures | more)

    def proof(self, draft):
        """Look at a draft's proof once its dots are made."""
        self._client.get(f"{draft}/proof")
        self.let_pictures_be_made()
        return self.look(f"{draft}/proof")

    def load_tile(self, draft, lot, **more):
        self.machine.lay_new_tile()
        self.press(f"{draft}/bench", {"lot": lot} | more)

    def etch_sign(self, lot):
        sign = self.press("/new/sign", {}).removesuffix("/tile")
        design = self.size(sign, "12", "6")
        assert self.press(design, {
            "text": "23", "font": "Aileron", "size_mm": "3", "stand": "middle",
            "ink": "black on white", "shape": "rectangle", "line_mm": "", "then": "proof",
        }) == f"{sign}/proof"  # fmt: skip
        self.proof(sign)
        self.load_tile(sign, lot)
        return self.etch()

    def etch_mural(self, lot):
        """One photo over 2 × 2 tiles of 5 × 4 mm with a joint of 3 mm."""
        photo = (io.BytesIO(encoded(three_edges(), "PNG")), "wall.png")
        mural = self.press("/new", {"photo": photo}, "multipart/form-data")
        mural = mural.removesuffix("/tile")
        self.let_pictures_be_made()
        cut = self.size(mural, "5", "4", columns="2", rows="2", joint_mm="3")
        look = self.press(cut, {"left": "0", "top": "0", "wide": "100"})
        tones = ("lighter", "contrast", "local_contrast", "sharpness", "open_shadows")
        self.press(look, {"halftone": "threshold"} | dict.fromkeys(tones, "0"))
        assert "2 × 2 tiles with joints of 3 mm, 13 × 11 mm overall" in self.proof(mural)
        runs = []
        for number in range(1, 5):
            self.load_tile(mural, lot, tile=f"{number}")
            runs.append(self.etch())
        return runs

    def again(self, run, order, lot):
        """One more of a tile that was delivered, of another lot: the same picture, the same yes."""
        page = self.look(f"/orders/{order}")
        version = re.search(r'name="version" value="(\d+)"', page)[1]
        item = re.search(r'name="item" value="(\d+)"', page)[1]
        surface = PRACTICE_RECIPES["practice-20w"].surface
        self.press(f"/orders/{order}/item", {
            "version": version, "item": item, "title": f"photo {order}.jpg", "surface": surface,
            "width_mm": f"{5 + order % 2}", "height_mm": "5", "place": "wall", "count": "2",
            "price": "24",
        })  # fmt: skip
        proof = self.press(f"/new/same-again/{run}", {})
        self.app.test_client().get(proof)
        self.let_pictures_be_made()
        self.machine.lay_new_tile()
        self.press(proof.replace("/proof", "/bench"), {"lot": lot})
        again = self.etch()
        self.judge(again, "good")
        return again

    def check_the_books(self):
        """Every order's row against its runs and FIGURES, by hand."""
        rows = list(csv.DictReader(io.StringIO(self.look("/orders/costs.csv"))))
        labour = sum(MINUTES.values()) / 60 * FIGURES["labour_per_h"]
        assert labour == 6.0
        assert len(rows) == ORDERS
        for row in rows:
            (entry,) = self.logbook.ask("order", id=int(row["order"]))["items"]
            by_hand = 0.0
            for tile in entry["tiles"]:
                hours, beam_h = tile["elapsed_s"] / 3600, tile["beam_s"] / 3600
                by_hand += 6 * hours + labour + 1.2 + 0.4 + 60 / 200 * hours + 40 / 400 * beam_h
            assert float(row["cost"]) == pytest.approx(by_hand, abs=0.006)
            good = [tile for tile in entry["tiles"] if tile["verdict"] == "good"]
            assert float(row["paid"]) == entry["item"]["price"] * len(good)
            remade = len(entry["tiles"]) - len(good)
            assert (int(row["good_tiles"]), int(row["remade_tiles"])) == (len(good), remade)

    def order_state(self, order):
        return self.logbook.ask("order", id=order)["state"]

    def months_pass(self):
        """100 other tiles are etched meanwhile."""
        for _ in range(100):
            run = self.logbook.start_run(
                sheet_json=sheet_of().to_json(), started_at_utc=self.clock.utc_now(), notes={}
            )
            self.logbook.end_run(
                run, ended="complete", because="", elapsed_s=1.0, at_utc=self.clock.utc_now(),
                etched_rows=20,
            )  # fmt: skip


@pytest.fixture
def day(tmp_path):
    with Day(tmp_path) as day:
        yield day


def test_ten_orders_from_a_list_a_spoilt_tile_a_bad_one_and_one_again_months_later(day):
    """Taps to the first row burnt: links, buttons, file pickers and the button at the machine.

    The ticks of the checklist, which is asked once a day, are not among them.
    """
    day.paint("lot 7", "2025-12-20")
    day.logbook.note("save_jig", jig=JIG, who="Ben")
    day.press("/orders/costs", {"currency": "EUR", **FIGURES, **MINUTES})
    day.taps = 0
    day.take_list()
    day.agree(1)
    day.load_for(1, "lot 7")
    day.arm_and_start()
    day.etch_until_row(1)
    assert day.taps <= 12
    day.wait_for_the_end()
    assert day.order_state(1) == "to judge"
    day.judge(day.run.id, "good")
    for order in range(2, ORDERS + 1):
        day.agree(order)
    spoilt = day.spoil_by_the_lid(2, "lot 7")
    day.judge(spoilt, "good")
    day.etch_jig((3, 4, 5, 6), "lot 7", ("pale", "good", "good", "good"))
    day.etch_jig((7, 8, 9, 10), "lot 7", ("good",) * 4)
    assert (day.order_state(3), day.order_state(4)) == ("ready", "done")
    first = day.make_tile(3, "lot 7")
    assert {day.order_state(order) for order in range(1, ORDERS + 1)} == {"done"}
    mural = day.etch_mural("lot 7")
    for run in (day.etch_sign("lot 7"), *mural):
        day.judge(run, "good")
    day.months_pass()
    day.paint("lot 8", "2025-12-28")
    again = day.again(first, 3, "lot 8")

    (_, old, new) = day.logbook.ask("order", id=3)["items"][0]["tiles"]
    assert (old["lot"], new["lot"], new["run_id"]) == ("lot 7", "lot 8", again)
    assert day.order_state(3) == "done"
    assert np.abs(day.seen[again] - day.seen[first]).mean() < 0.01
    assert all(np.ptp(seen) > 0.5 for seen in day.seen.values())  # white and black on each
    day.check_the_books()
    assert_lines_go_on([day.seen[run] for run in mural])
