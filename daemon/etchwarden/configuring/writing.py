"""A machine's file as text: every entry explained, what was not answered as a comment."""

import json
from collections.abc import Iterator, Mapping
from typing import Final

from etchwarden.configuring.entries import SECTIONS, AnswerKind, FileEntry, FileSection

Answers = Mapping[str, str | int | float | bool]

HEADING: Final = """\
# The machine “{name}”. What is commented out is as it comes; take away the # to change it.
# What stands here is read when the daemon starts, and changed nowhere else: no page and no
# command touches it. After a change:
#   sudo etchwarden configure {name} --check
#   sudo systemctl restart etchwarden-daemon@{name}
"""


def written(name: str, answers: Answers) -> str:
    """Return the file of the machine `name`; `answers` go by table and entry, as “inputs.lid”."""
    parts = (HEADING.format(name=name), *(_section(section, answers) for section in SECTIONS))
    return "\n".join(parts)


def _section(section: FileSection, answers: Answers) -> str:
    said = {entry.name: _value(entry, section, answers) for entry in section.entries}
    is_there = any(said.values())
    if section.is_whole and not said[section.entries[0].name]:
        said, is_there = dict.fromkeys(said, ""), False
    lines = [*_comment(section.says), f"{'' if is_there else '# '}[{section.name}]"]
    for entry in section.entries:
        lines += _comment(entry.says)
        value = said[entry.name]
        lines.append(f"{entry.name} = {value}" if value else f"# {entry.name} = {entry.example}")
    return "\n".join(lines) + "\n"


def _value(entry: FileEntry, section: FileSection, answers: Answers) -> str:
    answer = answers.get(f"{section.name}.{entry.name}", "")
    if answer == "":
        return ""
    if entry.kind is AnswerKind.PIN:
        return f"{{pin = {answer}}}"
    return json.dumps(answer, ensure_ascii=False)  # a TOML value, for what an answer can be


def _comment(text: str) -> Iterator[str]:
    for line in text.splitlines():
        yield f"# {line}"
