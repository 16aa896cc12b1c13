"""A list of orders as a CSV file: read whole, or refused with what is wrong in each line. Pure."""

import csv
import io
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from etchwire.catalogue.orders import MOST_ORDERS, OrderItem, OrderRecord
from etchwire.errors import UnreadableSheet

COLUMNS: Final = ("name", "file", "size", "count")
MOST_BYTES: Final = 1_000_000
MOST_REPORTED: Final = 20
_SIZE: Final = re.compile(r"(\d+(?:[.,]\d+)?)(?:\s*[x×*]\s*(\d+(?:[.,]\d+)?))?(?:\s*mm)?")
_MOST_DIGITS: Final = 6

PhotoSha256 = Callable[[str], str]  # of a photo by its file's name; raises OSError


class UnfitList(ValueError):
    """Nothing was taken of a list; `faults` say what is wrong, line by line."""

    def __init__(self, faults: list[str]) -> None:
        super().__init__(faults[0])
        self.faults = faults


@dataclass(frozen=True, slots=True, kw_only=True)
class Common:
    """What every line of a list has in common."""

    surface: str
    due_on: str = ""
    place: str = "wall"


def orders_of_list(data: bytes, common: Common, photo_sha256: PhotoSha256) -> list[OrderRecord]:
    """Return an order for each name in a list; lines of one name are items of one order.

    Texts stay texts, whatever a spreadsheet would make of them. Raise UnfitList.
    """
    items: dict[str, list[OrderItem]] = {}
    faults: list[str] = []
    for line, row in _rows(_text(data)):
        try:
            item = _item(row, common, photo_sha256)
            items.setdefault(row["name"], []).append(item)
        except (UnreadableSheet, _UnfitLine) as unfit:
            faults.append(f"line {line}: {unfit}")
    if not items and not faults:
        faults.append("the list has no line behind its heading")
    orders: list[OrderRecord] = []
    for name, of_name in items.items():
        try:
            tables = [item.to_table() for item in of_name]
            orders.append(OrderRecord(customer=name, due_on=common.due_on, items=tables))
        except UnreadableSheet as unfit:
            faults.append(f"{name!r:.60}: {unfit}")
    if faults:
        more = len(faults) - MOST_REPORTED
        raise UnfitList([*faults[:MOST_REPORTED], *([f"and {more} more"] if more > 0 else [])])
    return orders


class _UnfitLine(ValueError):
    """What is wrong with one line."""


def _text(data: bytes) -> str:
    if len(data) > MOST_BYTES:
        raise UnfitList([f"the list is larger than {MOST_BYTES // 1000} KB: cut it in parts"])
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise UnfitList(
            [f"line {line}: this is not UTF-8: save the list as “CSV UTF-8”, then try again"]
        ) from error


def _rows(text: str) -> Iterator[tuple[int, dict[str, str]]]:
    """Yield number and entries of each line that holds something."""
    heading = text.partition("\n")[0]
    delimiter = ";" if heading.count(";") > heading.count(",") else ","
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    try:
        names = [name.strip().lower() for name in next(reader, [])]
        lacking = [name for name in COLUMNS if name not in names]
        if lacking:
            raise UnfitList([f"line 1: the heading lacks the column {lacking[0]!r}"])
        lines = 0
        for cells in reader:
            if not any(cell.strip() for cell in cells):
                continue
            lines += 1
            if lines > MOST_ORDERS:
                raise UnfitList([f"more than {MOST_ORDERS} lines: split the list"])
            filled = [cell.strip() for cell in cells] + [""] * len(names)
            yield reader.line_num, dict(zip(names, filled, strict=False))
    except csv.Error as error:
        raise UnfitList([f"line {reader.line_num}: this is no CSV: {error}"]) from error


def _item(row: Mapping[str, str], common: Common, photo_sha256: PhotoSha256) -> OrderItem:
    file, count = row["file"], row["count"]
    if not file or file in (".", "..") or "/" in file or "\\" in file or "\0" in file:
        raise _UnfitLine(f"{file!r:.60} is no name of a file in the folder of photos")
    if not (count.isascii() and count.isdigit() and len(count) <= _MOST_DIGITS):
        raise _UnfitLine(f"the count {count!r:.40} is no whole number")
    size = _SIZE.fullmatch(row["size"])
    if size is None or len(row["size"]) > 2 * 10:
        raise _UnfitLine(f"the size {row['size']!r:.40} is no size: write it as 90 or 90x60, in mm")
    width, height = (float(one.replace(",", ".")) for one in (size[1], size[2] or size[1]))
    OrderRecord(customer=row["name"])
    try:
        sha256 = photo_sha256(file)
    except OSError as error:
        raise _UnfitLine(f"the photo {file}: {(error.strerror or str(error)).lower()}") from error
    return OrderItem(
        title=file,
        width_mm=width,
        height_mm=height,
        surface=common.surface,
        place=common.place,
        count=int(count),
        photo_sha256=sha256,
    )
