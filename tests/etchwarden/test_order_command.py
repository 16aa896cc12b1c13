"""Orders by command, against a real logbook; a list is taken whole or not at all."""

import csv
import hashlib
from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from etchwire.catalogue.order_list import Common, UnfitList, orders_of_list
from support.harnesses.catalogue_bench import Shop

SURFACE = "'white tile'"
HEADING = "name,file,size,count\n"
COMMON = Common(surface="white tile")


@pytest.fixture
def shop(tmp_path):
    with Shop(tmp_path) as shop:
        shop.done(f"surface set {SURFACE} --paint satin")
        for name in ("rex.jpg", "zoe.jpg"):
            (tmp_path / name).write_bytes(name.encode())
        yield shop


def give(shop, text, encoding="utf-8"):
    (shop.folder / "list.csv").write_bytes(
        text if isinstance(text, bytes) else text.encode(encoding)
    )
    return shop.say(f"order import {{here}}/list.csv --surface {SURFACE} --due 2026-12-24")


def total(shop):
    return shop.logbook.ask("orders")["total"]


def test_an_order_is_added_listed_and_shown(shop):
    said = shop.say(
        f"order add Ada --photo rex.jpg --size 90 60 --surface {SURFACE} --count 4 "
        "--due 2026-12-24 --place dishwasher --text 'Rex 1999'"
    )

    assert said.exit_code == 0
    assert "Order 1, item 1." in said.output
    assert "went through dishwasher" in said.output
    assert "1  due 2026-12-24  to prepare   0 of 4 good, 4 to make  Ada" in shop.done("order list")
    shown = shop.done("order show 1")
    assert "item 1: 4 × rex.jpg, 90 × 60 mm on white tile" in shown
    assert shop.done("order list --done") == ""


def test_a_list_is_taken_and_lines_of_one_name_are_one_order(shop):
    result = give(
        shop, HEADING + 'Zoë,zoe.jpg,90,2\nRex,rex.jpg,90x60,1\nZoë,rex.jpg,"100,5 × 50 mm",1\n'
    )

    assert result.output == "2 orders were taken.\n"
    items = shop.logbook.ask("order", id=1)["items"]
    assert [(one["item"]["title"], one["item"]["width_mm"]) for one in items] == [
        ("zoe.jpg", 90.0), ("rex.jpg", 100.5),
    ]  # fmt: skip
    assert items[0]["item"]["photo_sha256"] == hashlib.sha256(b"zoe.jpg").hexdigest()
    assert shop.logbook.ask("order", id=1)["due_on"] == "2026-12-24"


def test_a_list_from_a_spreadsheet_with_semicolons_and_a_mark_before_it_is_read(shop):
    result = give(shop, "Count;Name;File;Size\r\n2;Rex;rex.jpg;90\r\n;;;\r\n", "utf-8-sig")

    assert result.output == "1 order was taken.\n"


@pytest.mark.slow
def test_the_books_are_written_as_a_table(shop):
    shop.done(f"order add Ada --photo a --size 90 90 --surface {SURFACE} --price 15")
    shop.done("order proof 1 shown --order 1")
    shop.done("order proof 1 yes --order 1 --way 'by message'")
    shop.logbook.note("save_shop", figures={"machine_per_h": 450.0})
    shop.done("card power -o {here}/first --steps 4 4")
    shop.done("order assign 1 {here}/first")
    shop.done(f"verdict {shop.etch('first')} good")

    shop.done("order costs {here}/books.csv")

    with (shop.folder / "books.csv").open(newline="") as file:
        (row,) = csv.DictReader(file)
    assert (row["cost"], row["margin"]) == ("1.00", "14.00")  # 8 s of machine at 450 an hour


@pytest.mark.slow
@pytest.mark.parametrize(
    ("words", "answer"),
    [
        ("order proof 9 yes --order 1", "Order 1 has no item 9"),
        ("order assign 1 {here}/nowhere", "nowhere"),
        ("order assign 1 {here}/first", "has not said yes"),
        ("order show 9", "There is no order 9"),
        (f"order add Ada --photo a --size 0 9 --surface {SURFACE}", "above zero"),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence(shop, words, answer):
    shop.done(f"order add Ada --photo a --size 90 90 --surface {SURFACE}")
    shop.done("card power -o {here}/first --steps 4 4")

    result = shop.say(words)

    assert result.exit_code != 0
    assert answer in result.output
    assert "Traceback" not in result.output


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (HEADING + "Rex,rex.jpg,90,1\nZoe,gone.jpg,90,1\n", "line 3: the photo gone.jpg: no such"),
        (HEADING + "Rex,rex.jpg,wide,1\n", "line 2: the size 'wide' is no size"),
        (HEADING + "Rex,rex.jpg,90,many\n", "line 2: the count 'many' is no whole number"),
        (HEADING + "Rex,rex.jpg,90,0\n", "line 2: an item is 1 to 1000 tiles"),
        (HEADING + "Rex,rex.jpg,9000,1\n", "line 2: the item's width_mm is at most 2000"),
        (HEADING + "Rex,../rex.jpg,90,1\n", "line 2: '../rex.jpg' is no name of a file"),
        (HEADING + ",rex.jpg,90,1\n", "line 2: '' is no name of a customer"),
        (HEADING + "Rex,rex.jpg\n", "line 2: the count '' is no whole number"),
        ("name,file,size\nRex,rex.jpg,90\n", "line 1: the heading lacks the column 'count'"),
        ("", "line 1: the heading lacks the column 'name'"),
        (HEADING, "the list has no line behind its heading"),
        (HEADING + 'Rex,"rex.jpg,90,1\n', "this is no CSV"),
        (HEADING.encode() + "Zoë,zoe.jpg,90,1\n".encode("latin-1"), "line 2: this is not UTF-8"),
        ((HEADING + "Rex,rex.jpg,90,1\n").encode("utf-16"), "line 1: this is not UTF-8"),
        (HEADING + "Rex,rex.jpg,90,1\n" * 10_000, "more than 500 lines"),
        (HEADING + "Rex,rex.jpg,90,1\n" * 500, "at most 60 items"),
        (b"x" * 2_000_000, "larger than 1000 KB"),
    ],
)  # fmt: skip
def test_a_list_with_a_fault_is_told_line_by_line_and_nothing_is_taken(shop, text, words):
    result = give(shop, text)

    assert result.exit_code == 1
    assert "nothing was imported" in result.output
    assert words.lower() in result.output.lower()
    assert total(shop) == 0


def test_every_fault_is_told_at_once(shop):
    result = give(shop, HEADING + "Rex,rex.jpg,wide,1\nZoe,zoe.jpg,90,no\n" + "a,b.jpg,9,1\n" * 30)

    assert "line 2: the size" in result.output
    assert "line 3: the count" in result.output
    assert "and 12 more" in result.output


@pytest.mark.slow
def test_five_hundred_orders_fit_one_call(shop):
    lines = "".join(
        f"customer number {n} with a long name,rex.jpg,90x90,{n + 1}\n" for n in range(500)
    )

    assert give(shop, HEADING + lines).exit_code == 0
    assert total(shop) == 500
    assert len(shop.done("order list").splitlines()) == 500


def test_a_formula_is_kept_as_text_and_does_no_harm_in_what_is_exported(shop, tmp_path):
    """What a spreadsheet would run gets a quote before it: OWASP, "CSV Injection", from memory."""
    formula = '=HYPERLINK("http://example.org","x")'
    with (shop.folder / "list.csv").open("w", newline="") as file:
        csv.writer(file).writerows([["name", "file", "size", "count"], [formula, "rex.jpg", 90, 1]])
    shop.done(f"order import {{here}}/list.csv --surface {SURFACE}")
    shop.logbook.close()

    assert shop.say("export {here}/out --state {here}").exit_code == 0

    with (shop.folder / "out" / "customer_order.csv").open(newline="") as file:
        (row,) = csv.DictReader(file)
    assert row["customer"] == f"'{formula}"
    assert formula in (shop.folder / "out" / "customer_order.jsonl").read_text().replace('\\"', '"')


@pytest.mark.slow
@given(st.binary(max_size=300) | st.text(max_size=300).map(str.encode))
def test_any_bytes_are_a_list_or_a_refusal(data):
    for given_bytes in (data, HEADING.encode() + data):
        with suppress(UnfitList):
            assert orders_of_list(given_bytes, COMMON, lambda _: "")
