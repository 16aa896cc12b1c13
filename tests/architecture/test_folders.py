"""The house keeps its plan: fixed top level, source roots that are not packages."""

from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
TOP_LEVEL = {
    "README.md", "DEVELOPERS.md", "pyproject.toml", "LICENSE", "daemon", "web", "tests", "systemd",
}  # fmt: skip


def test_the_top_level_holds_what_was_decided_and_nothing_else():
    visible = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}

    assert visible - {"build", "dist"} == TOP_LEVEL


def test_source_roots_are_not_packages():
    assert [
        path for path in ("daemon", "web", "tests") if (ROOT / path / "__init__.py").exists()
    ] == []


def test_no_module_is_named_for_nothing_in_particular():
    vague = {"utils", "helpers", "common", "misc", "manager", "base", "core"}

    names = {path.stem for root in ("daemon", "web") for path in (ROOT / root).rglob("*.py")}

    assert names & vague == set()
