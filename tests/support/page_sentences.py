"""Every sentence that the page can say, for people to read aloud.

`PYTHONPATH=tests python -m support.page_sentences` writes the list anew; a test holds it current.
They are taken from the templates' text, from the strings of the page's modules and of its scripts
that hold more than one word, and from the interlocks' table.
"""

import ast
import re
from collections.abc import Iterator
from html import unescape
from pathlib import Path
from typing import Final

WEB: Final = Path(__file__).parents[2] / "web" / "etchweb"
LIST: Final = WEB / "SENTENCES.md"
HEADER: Final = (
    "# What the page can say\n\nWritten by `python -m support.page_sentences`: read it aloud, mend "
    "what nobody in a workshop would say, in the file that it stands under.\n"
)
_JINJA: Final = re.compile(r"\{#.*?#\}|\{%.*?%\}", re.DOTALL)
_SHOWN: Final = re.compile(r"\{\{.*?\}\}", re.DOTALL)
_SPOKEN: Final = re.compile(r'\b(?:aria-label|title|placeholder|alt)="([^"]*)"')
_TAG: Final = re.compile(r"<(?:style|script)\b.*?</(?:style|script)>|<[^>]*>", re.DOTALL)
_IN_SCRIPT: Final = re.compile(r'"([^"\n]*)"|`([^`]*)`')
_INLINE: Final = re.compile(r"</?(?:span|strong|small|a|code|em|time)\b[^>]*>")
_WORDS: Final = re.compile(r"[A-Za-z’']{2,}[ ,:]+[a-z’']{2,}")
_NO_SENTENCE: Final = re.compile(
    r"[<>{};=_\\#]|^/|--|^[a-z]+(?:[ -][a-z]+)?$|SELECT |INSERT |TABLE |%s"
)


def sentences_of(path: Path) -> list[str]:
    """Return what the file `path` says to people, in its order, each once."""
    found = _READERS[path.suffix](path.read_text(encoding="utf-8"))
    tidy = (" ".join(one.split()) for one in found)
    return list(dict.fromkeys(one for one in tidy if one))


def _of_template(text: str) -> Iterator[str]:
    text = _SHOWN.sub("…", _JINJA.sub("\n", text))
    yield from (unescape(spoken) for spoken in _SPOKEN.findall(text))
    for line in _TAG.sub("\n", _INLINE.sub("", text)).splitlines():
        words = unescape(line).strip(" …·,.:")
        if re.search(r"[A-Za-z]{2,}", words):
            yield unescape(line).strip()


def _of_module(text: str) -> Iterator[str]:
    tree = ast.parse(text)
    docs = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, (ast.Module, ast.ClassDef, ast.FunctionDef)) and node.body
        if isinstance(node.body[0], ast.Expr)
    }
    inside = {id(part) for node in ast.walk(tree) if isinstance(node, ast.JoinedStr)
              for part in ast.walk(node) if part is not node}  # fmt: skip
    for node in ast.walk(tree):
        if id(node) in docs or id(node) in inside:
            continue
        if isinstance(node, ast.JoinedStr):
            said = "".join(
                part.value if isinstance(part, ast.Constant) else "…" for part in node.values
            )
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            said = node.value
        else:
            continue
        if _is_said(said):
            yield said


def _of_script(text: str) -> Iterator[str]:
    code = re.sub(r"^\s*//.*$", "", text, flags=re.MULTILINE)
    for quoted, pattern in _IN_SCRIPT.findall(code):
        said = quoted or re.sub(r"\$\{.*?\}", "…", pattern)
        if _is_said(said):
            yield said


def _is_said(text: str) -> bool:
    return bool(_WORDS.search(text)) and not _NO_SENTENCE.search(text)


_READERS: Final = {".html": _of_template, ".py": _of_module, ".js": _of_script}


def sentences_as_markdown() -> str:
    """Return the whole list, by the files in which to mend it."""
    parts = [HEADER]
    for path in sorted(path for path in WEB.rglob("*") if path.suffix in _READERS):
        if said := sentences_of(path):
            parts.append(f"\n## {path.relative_to(WEB)}\n\n")
            parts.extend(f"- {one}\n" for one in said)
    return "".join(parts)


if __name__ == "__main__":
    LIST.write_text(sentences_as_markdown(), encoding="utf-8")
