import pytest

from etchwarden.commands import card
from support.harnesses.kept_cards import lay_out_once, prepare_once


@pytest.fixture
def kept_cards(monkeypatch):
    """Have the command lay the same card out once, for the first test that asks for it."""
    monkeypatch.setattr(card, "lay_out", lay_out_once)
    monkeypatch.setattr(card, "prepare_card", prepare_once)
