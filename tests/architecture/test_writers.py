"""Every module that writes to a disk is tried on a full one, by a test that is marked with it."""

import ast
import re

import pytest

from architecture.fault_tables import ROOT
from architecture.markers import marked

pytestmark = pytest.mark.slow

CALLS = {
    "copyfile", "copyfileobj", "copytree", "hardlink_to", "link", "mkdir", "mkdtemp", "rename",
    "save", "symlink_to", "TemporaryDirectory", "touch", "write_bytes", "write_text",
    "write_whole",
}  # fmt: skip
MODE = re.compile(r"'[rb]*[wax+][b+]*'")  # of `open`


def puts_something_on_a_disk(call):
    name = getattr(call.func, "attr", None) or getattr(call.func, "id", None)
    if name == "open":
        given = map(ast.unparse, call.args)
        return any(MODE.fullmatch(one) or "O_CREAT" in one for one in given)
    if name == "replace":  # a path's; a text's takes two, a dataclass's names what it changes
        return len(call.args) == 1 and not call.keywords
    if name == "connect":
        return ast.unparse(call.func) == "sqlite3.connect"
    return name in CALLS


def writing_modules():
    for room in ("daemon", "web"):
        for path in sorted((ROOT / room).rglob("*.py")):
            tree = ast.parse(path.read_text())
            calls = (node for node in ast.walk(tree) if isinstance(node, ast.Call))
            if any(map(puts_something_on_a_disk, calls)):
                yield str(path.relative_to(ROOT / room))


def test_every_module_that_writes_is_tried_on_a_full_card():
    """By a test that is marked with it; one that writes into a folder of another's through him."""
    assert set(writing_modules()) == set(marked("tries_writing"))
