"""Who gets a connection to the page, without any connection."""

from dataclasses import dataclass

import pytest

from etchweb.server.admission import (
    MOST_KNOWN,
    Caps,
    KnownAddresses,
    NoPlace,
    displaced,
    network_of,
)

CAPS = Caps(all=6, strangers=3, one_stranger=2, one_known=4)


@dataclass(frozen=True)
class Guest:
    network: str
    silent_since_s: float | None
    is_known: bool = False


def known(since_s, network="k"):
    return Guest(network, since_s, is_known=True)


BUSY = None


@pytest.mark.parametrize(
    ("guests", "newcomer", "is_known", "gives_way"),
    [
        pytest.param([], "a", False, None, id="an empty house"),
        pytest.param([Guest("a", 1)], "a", False, None, id="room for one more"),
        pytest.param([Guest("a", 2), Guest("a", 1)], "a", False, 1, id="its own longest silent"),
        pytest.param([Guest("a", BUSY), Guest("a", 9)], "a", False, 1, id="none being answered"),
        pytest.param(
            [Guest("a", 3), Guest("b", 2), Guest("c", 4)], "d", False, 1, id="a stranger's place"
        ),
        pytest.param(
            [Guest("a", 3), Guest("b", 2), Guest("c", 4), known(1)], "d", False, 1,
            id="never a phone's for a stranger",
        ),
        pytest.param([known(n) for n in range(4)], "k", True, 0, id="a phone's own longest silent"),
        pytest.param(
            [known(1), known(1, "l"), known(1, "m"), known(1, "n"), Guest("a", 9), Guest("b", 8)],
            "o", True, 5, id="a full house: a stranger's place for a phone",
        ),
        pytest.param(
            [known(5), known(3, "l"), known(4, "m"), known(6, "n"), Guest("a", BUSY),
             Guest("b", BUSY)],
            "o", True, 1, id="a full house: else a phone's",
        ),
    ],
)  # fmt: skip
def test_who_gives_way(guests, newcomer, is_known, gives_way):
    found = displaced(newcomer, guests, CAPS, is_known=is_known)

    assert found is (None if gives_way is None else guests[gives_way])


def test_nobody_gives_way_who_is_being_answered():
    guests = [Guest("a", BUSY), Guest("a", BUSY), Guest("b", 1)]

    with pytest.raises(NoPlace):
        displaced("a", guests, CAPS, is_known=False)


@pytest.mark.parametrize("open_files", [16, 64, 256, 1024, float("inf")])
def test_the_caps_leave_strangers_a_third_and_the_process_most_of_its_files(open_files):
    caps = Caps.within(open_files)

    assert 1 <= caps.one_stranger <= caps.strangers <= caps.all / 3
    assert caps.strangers + caps.one_known <= caps.all <= 96
    assert caps.all <= open_files / 4


@pytest.mark.parametrize(
    ("address", "network"),
    [
        ("192.168.0.7", "192.168.0.7"),
        ("::ffff:192.168.0.7", "192.168.0.7"),  # RFC 4291, 2.5.5.2
        ("fd00::1:2:3:4", "fd00::/64"),
        ("fe80::1%eth0", "fe80::/64"),
        ("", ""),
    ],
)
def test_what_counts_as_one_address(address, network):
    assert network_of(address) == network


def test_of_known_addresses_the_newest_few_are_kept():
    addresses = KnownAddresses()
    for number in range(MOST_KNOWN + 1):
        addresses.note(f"192.168.1.{number}")

    assert "192.168.1.0" not in addresses
    assert f"192.168.1.{MOST_KNOWN}" in addresses
