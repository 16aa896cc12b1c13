"""What tests are marked with, read from their text: nothing has to be collected for it."""

import ast

from architecture.fault_tables import ROOT


def marked(marker):
    """Return every argument of `@pytest.mark.<marker>(…)` in tests, with the files it stands in."""
    found = {}
    for path in sorted((ROOT / "tests").rglob("*.py")):
        text = path.read_text(encoding="utf-8")
        if f"mark.{marker}(" not in text:
            continue
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, ast.Call) and ast.unparse(node.func) == f"pytest.mark.{marker}":
                for argument in map(ast.literal_eval, node.args):
                    found.setdefault(argument, []).append(path)
    return found
