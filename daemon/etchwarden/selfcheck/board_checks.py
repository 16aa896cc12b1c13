"""What is looked at on the computer itself."""

from typing import Final

from etchwarden.selfcheck.facts import BoardFacts
from etchwarden.selfcheck.findings import Check, CheckResult, look, well, wrong

PYTHONS: Final = ((3, 11), (3, 13))
FIRST_YEAR: Final = 2026  # nothing of ours was written before
LEAST_FREE_BYTES: Final = 200_000_000
LITTLE_FREE_BYTES: Final = 1_000_000_000
WORN_TENTHS: Final = 8


def _versions(facts: BoardFacts) -> CheckResult:
    said = f"Etchwarden {facts.version} on Python {facts.python[0]}.{facts.python[1]}"
    if not PYTHONS[0] <= facts.python <= PYTHONS[1]:
        return look(f"{said}, which it was not made for.", "Debian 12 and 13 bring one that is.")
    if facts.current is None:
        return well(f"{said}; it was not installed by `systemd/install`.")
    before = "the release before is kept" if facts.has_previous else "no release before it is kept"
    return well(f"{said}; release {facts.current}, {before}.")


def _change(facts: BoardFacts) -> CheckResult | None:
    if not facts.is_cut_short:
        return None
    return wrong(
        "An installation or update was cut short.",
        "Run it again: sudo ./systemd/install, or sudo etchwarden update WHEEL. That finishes it.",
    )


def _clock(facts: BoardFacts) -> CheckResult:
    if facts.year < FIRST_YEAR:
        return wrong(
            f"The clock says that it is {facts.year}.",
            "Connect the board to the network, or set it: sudo timedatectl set-time …",
        )
    if facts.is_clock_synchronised is None:
        return look("Whether the clock is right is not known.", "Look at the time on the page.")
    if not facts.is_clock_synchronised:
        return look(
            "The clock is set by nobody, so records may bear wrong times.",
            "Run: sudo timedatectl set-ntp true",
        )
    return well("The clock is synchronised.")


def _space(facts: BoardFacts) -> CheckResult | None:
    if facts.free_bytes is None or facts.size_bytes is None:
        return None
    free = f"{facts.free_bytes / 1e9:.1f} of {facts.size_bytes / 1e9:.1f} GB are free"
    advice = "Delete what else lies on the card, or use a larger one."
    if facts.free_bytes < LEAST_FREE_BYTES:
        return wrong(f"The card is full: {free}.", advice)
    if facts.free_bytes < LITTLE_FREE_BYTES:
        return look(f"The card is nearly full: {free}.", advice)
    return well(f"On the card {free}.")


def _card(facts: BoardFacts) -> CheckResult:
    advice = "Make a backup now (etchwarden backup), and put in a new card."
    if facts.is_read_only:
        return wrong("The card can only be read, so nothing is recorded.", advice)
    if facts.file_system_errors:
        return wrong(f"The file system has met {facts.file_system_errors} errors.", advice)
    if facts.card_worn_tenths is None:
        return well("No errors on the card; how worn it is it does not tell.")
    if facts.card_worn_tenths >= WORN_TENTHS:
        return look(f"The card is worn by {facts.card_worn_tenths * 10} %.", advice)
    return well(f"No errors on the card; it says it is worn by {facts.card_worn_tenths * 10} %.")


def _power(facts: BoardFacts) -> CheckResult:
    advice = "Use the board's own supply and a short cable; nothing else may hang on it."
    if facts.is_undervolted:
        return wrong("The board gets too little voltage.", advice)
    if facts.was_undervolted:
        return look("The board got too little voltage since it was switched on.", advice)
    if facts.is_undervolted is None:
        return well("This board does not tell whether its supply is strong enough.")
    return well("The supply is strong enough.")


def _kept_outputs(facts: BoardFacts) -> CheckResult | None:
    if not facts.chips:
        return None
    if facts.kept_outputs:
        return wrong(
            " ".join(facts.kept_outputs),
            "Restart the board afterwards. Until then only the wiring's own chain is safe.",
        )
    if not facts.tells_of_outputs:
        return look(
            "This kernel does not tell what becomes of outputs when a program dies.",
            "Try it once with a meter: DEVELOPERS.md, the checks by hand.",
        )
    return well("This kernel lets go of outputs when the program that drove them dies.")


def _pin_library(facts: BoardFacts) -> CheckResult | None:
    if not facts.chips:
        return None
    if facts.has_pin_library:
        return well("The library for the pins loads.")
    return wrong(
        "The library for the pins (lgpio) does not load.",
        "On Raspberry Pi OS: sudo apt install python3-lgpio, then install again.",
    )


def _memory_limits(facts: BoardFacts) -> CheckResult | None:
    if facts.limits_memory is None:
        return None
    if facts.limits_memory:
        return well("The page's memory is limited.")
    return look(
        "The kernel does not limit memory, so a fault of the page could take all of it.",
        "Add “cgroup_enable=memory” at the end of the line in cmdline.txt and restart.",
    )


def _network_name(facts: BoardFacts) -> CheckResult:
    if not facts.addresses:
        return look("The board has no address in a network.", "Connect the cable or the WLAN.")
    places = ", ".join(facts.addresses)
    if facts.announces_name:
        return well(f"Phones find it as {facts.host_name}.local and at {places}.")
    return look(
        f"Phones find it at {places} only.",
        "For the name as well: sudo apt install avahi-daemon",
    )


BOARD_CHECKS: Final = (
    Check("versions", _versions),
    Check("update", _change),
    Check("clock", _clock),
    Check("space", _space),
    Check("card", _card),
    Check("power supply", _power),
    Check("outputs after a crash", _kept_outputs),
    Check("pin library", _pin_library, blames_release=True),
    Check("memory", _memory_limits),
    Check("network name", _network_name, quotes=True),
)
