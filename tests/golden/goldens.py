"""The golden files: what they hold today, and what a run of today's code would put into them.

`PYTHONPATH=tests python -m golden.goldens` writes them anew; `git diff` then shows what changed.
"""

import json
import shutil
from contextlib import closing
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final

from etchdaemon.logbook.backup.exporting import export_logbook
from etchdaemon.logbook.schema.opening import open_logbook
from golden.box import GoldenBox
from golden.days import DAYS, live
from golden.wire_text import differences, readable, written_alike

HERE: Final = Path(__file__).parent
FOLDERS: Final = ("replies", "snapshots", "exports")
BASE: Final = "idle"  # the snapshot that is kept whole
EXPORTED_UTC: Final = "2026-01-02T00:00:00+00:00"


@cache
def kept() -> dict[str, str]:
    """Return the golden files' texts by their paths."""
    return {
        str(path.relative_to(HERE)): path.read_text(encoding="utf-8")
        for folder in FOLDERS
        for path in sorted((HERE / folder).rglob("*"))
        if path.is_file()
    }


def live_all(folder: Path) -> dict[str, GoldenBox]:
    """Live every day and return the boxes by the days' names."""
    boxes = {}
    for name in DAYS:
        (folder / name).mkdir()
        boxes[name] = live(name, folder / name)
    return boxes


def made(boxes: dict[str, GoldenBox]) -> dict[str, str]:
    """Return the texts that today's code makes, by the paths of their files."""
    return {**_replies(boxes), **_snapshots(boxes), **_exports(boxes["craft"])}


def _replies(boxes: dict[str, GoldenBox]) -> dict[str, str]:
    by_method: dict[str, list[object]] = {}
    for box in boxes.values():
        for method, exchanges in box.exchanges.items():
            by_method.setdefault(method, []).extend(one.as_table() for one in exchanges)
    return {f"replies/{name}.json": readable(told) + "\n" for name, told in by_method.items()}


def _snapshots(boxes: dict[str, GoldenBox]) -> dict[str, str]:
    lines = {name: line for box in boxes.values() for name, line in box.snapshots.items()}
    tables = {_file_name(name): json.loads(line) for name, line in lines.items()}
    base = tables.pop(BASE)
    texts = {f"snapshots/{BASE}.json": readable(base)}
    for name, table in tables.items():
        texts[f"snapshots/{name}.json"] = readable(differences(base, table))
    return {path: text + "\n" for path, text in texts.items()}


def _file_name(name: str) -> str:
    return name.replace(",", "").replace("'", "").replace(" ", "-")


def _exports(box: GoldenBox) -> dict[str, str]:
    folder = box.folder / "export"
    book, _ = open_logbook(box.folder / "logbook.sqlite3", at_utc=EXPORTED_UTC)
    with closing(book):
        export_logbook(book, folder, at_utc=EXPORTED_UTC, software="VERSION")
    texts = {
        f"exports/{path.name}": path.read_text(encoding="utf-8")
        for path in folder.iterdir()
        if path.is_file()
    }
    texts["exports/run.json"] = json.dumps(box.run_record, indent=1)
    return {path: written_alike(text) for path, text in texts.items()}


def write() -> None:
    """Write the golden files anew."""
    with TemporaryDirectory() as folder:
        texts = made(live_all(Path(folder)))
    for name in FOLDERS:
        shutil.rmtree(HERE / name, ignore_errors=True)
        (HERE / name).mkdir()
    for path, text in texts.items():
        (HERE / path).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    write()
