"""Tables that people read are printed from the tables that run."""

from pathlib import Path

import pytest

from architecture.printed_tables import (
    methods_table,
    policy_as_markdown,
    rules_as_markdown,
    states_as_markdown,
    wiring_gaps_as_markdown,
)

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize(
    ("document", "table"),
    [
        ("daemon/WIRING.md", rules_as_markdown()),
        ("daemon/WIRING.md", wiring_gaps_as_markdown()),
        ("web/ALERTS.md", policy_as_markdown()),
        ("DEVELOPERS.md", states_as_markdown()),
        ("daemon/etchdaemon/rpc/METHODS.md", methods_table()),
    ],
    ids=[
        "interlocks for users",
        "what is missing",
        "who is told what",
        "states",
        "methods",
    ],
)
def test_a_document_shows_the_table_as_it_runs(document, table):
    assert table in (ROOT / document).read_text()
