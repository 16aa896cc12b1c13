"""What is looked at for each machine, and for the page."""

from typing import Final

from etchwarden.selfcheck.facts import MachineFacts, PageFacts
from etchwarden.selfcheck.findings import Check, CheckResult, Grade, look, well, wrong
from etchwarden.shared.wiring_drawing import SEE_DRAWING

SOCKET_MODE: Final = 0o660
# GPIO 0 to 8 are pulled up at power-on (BCM2835 ARM Peripherals, p. 102), and 14 and 15 move
# during boot (the serial console).
SAFE_OUTPUTS: Final = range(16, 28)
HEADER_CHIPS: Final = ("pinctrl-bcm", "pinctrl-rp1")


def _file(facts: MachineFacts) -> CheckResult:
    if facts.fault:
        return wrong(
            facts.fault,
            f"Put it right in /etc/etchwarden/{facts.name}.toml, then: sudo systemctl restart"
            f" etchwarden-daemon@{facts.name}",
        )
    if facts.is_file_for_all is False:
        return wrong(
            "The daemon's user may not read its file.",
            f"Run: sudo chmod a+r /etc/etchwarden/{facts.name}.toml",
        )
    if facts.watches_only_because:
        return look(facts.watches_only_because, "Wire it, and add it to its file.")
    if not facts.has_head:
        return look("Its file does not describe the laser.", "Add the table [head].")
    return well("Its file is in order.")


def _port(facts: MachineFacts) -> CheckResult | None:
    if facts.fault:
        return None
    if not facts.port:
        return wrong(
            "Its file names no port yet; until it does, its daemon only waits.",
            "etchwarden configure --ports lists those there are. Name it in the table [machine] of"
            f" /etc/etchwarden/{facts.name}.toml, then: sudo systemctl restart"
            f" etchwarden-daemon@{facts.name}",
        )
    if facts.is_port_there is False:
        return wrong(
            f"The port {facts.port} is not there.",
            "Is the controller switched on and its cable in? etchwarden configure --ports lists"
            " those that are.",
        )
    if facts.may_open_port is False:
        return wrong(
            f"The daemon's user may not open {facts.port}.",
            "Install again; that lays the rule that gives it to the group dialout.",
        )
    return well(f"The port {facts.port} is there.")


def _pins(facts: MachineFacts) -> CheckResult | None:
    if facts.fault or not facts.pins:
        return None
    if facts.chip not in facts.chips:
        there = ", ".join(facts.chips) or "none"
        return wrong(
            f"The GPIO chip “{facts.chip}” is not there; there is: {there}.",
            "Name the right one in the table [board].",
        )
    is_header = facts.chip.startswith(HEADER_CHIPS)
    moving = [pin for pin in facts.output_pins if is_header and pin not in SAFE_OUTPUTS]
    if moving:
        numbers = ", ".join(map(str, moving))
        return look(
            f"Outputs on GPIO {numbers} may switch while the board starts.",
            "Use GPIO 16 to 27 for outputs.",
        )
    return well(f"Its {len(facts.pins)} pins are on the chip “{facts.chip}”.")


def _wiring(facts: MachineFacts) -> CheckResult | None:
    """Say what is not wired. A shop may have chosen so, and then there is nothing to look at."""
    if facts.fault:
        return None
    said = " ".join(facts.lacks) or "Everything that the box makes use of is wired."
    return CheckResult(Grade.WELL, said, SEE_DRAWING)


def _daemon(facts: MachineFacts) -> CheckResult:
    if facts.status is None and facts.fault:
        return wrong("Its daemon does not start with this file.", "Put the file right first.")
    if facts.status is None:
        return wrong(
            f"Its control program is not running. {facts.daemon_is_away}".strip(),
            f"Run: sudo systemctl restart etchwarden-daemon@{facts.name}, then journalctl -u"
            f" etchwarden-daemon@{facts.name}",
        )
    return well("Its daemon answers.")


def _socket(facts: MachineFacts) -> CheckResult | None:
    if facts.socket_mode is None:
        return None
    if facts.socket_mode != SOCKET_MODE:
        return wrong(
            f"Its socket may be used by others than its group (mode {facts.socket_mode:o}).",
            f"Run: sudo systemctl restart etchwarden-daemon@{facts.name}",
        )
    return well("Its socket is open to its own group alone.")


def _controller(facts: MachineFacts) -> CheckResult | None:
    if facts.controller_fault:
        return wrong(facts.controller_fault)
    if facts.settings is None:
        return None
    if facts.settings.refusals:
        return wrong(" ".join(facts.settings.refusals))
    if facts.settings.warnings:
        return look(" ".join(facts.settings.warnings))
    if not facts.settings.is_read:
        return look("The controller could not be asked for its settings yet.", "Try again soon.")
    return well("The controller's settings are in order.")


def _records(facts: MachineFacts) -> CheckResult:
    advice = "Make a backup (etchwarden backup) and see that there is space on the card."
    trouble = facts.status.logbook_trouble if facts.status is not None else None
    if trouble:
        return wrong(f"The logbook is not written: {trouble}", advice)
    if facts.book not in (None, "ok"):
        return wrong(
            f"The logbook is not sound: {facts.book}",
            "Its daemon sets it aside when it starts, and begins a new one. What was in it: sudo"
            " etchwarden restore BACKUP, with the daemon stopped.",
        )
    if facts.book_is_unread:
        return look(f"The logbook could not be looked at: {facts.book_is_unread}.", advice)
    if facts.books_set_aside:
        return look(
            f"Damaged logbooks that were set aside beside it: {facts.books_set_aside}.",
            "Put a backup back with etchwarden restore, or move them to something else.",
        )
    return well("No logbook yet." if facts.book is None else "The logbook is sound.")


def _backups(facts: MachineFacts) -> CheckResult:
    if facts.newest_backup not in (None, "ok"):
        return wrong(
            f"The newest backup is not to be relied on: {facts.newest_backup}",
            "The box's storage may be worn. Make another (etchwarden backup), and keep it on"
            " something else.",
        )
    return well("No backup yet." if facts.newest_backup is None else "The newest is as written.")


def _contacts(facts: MachineFacts) -> CheckResult | None:
    if facts.status is None:
        return None
    box = facts.status.interlocks
    if box.board_trouble:
        return wrong(box.board_trouble)
    if not box.seen_to_open:
        return None
    due = [one.sentence for one in box.seen_to_open if one.is_due]
    if due:
        return look(" ".join(due))
    return well("Every safety contact was seen to open within the last month.")


MACHINE_CHECKS: Final = (
    Check("file", _file, blames_release=True, quotes=True),
    Check("port", _port),
    Check("pins", _pins, quotes=True),
    Check("wiring", _wiring),
    Check("daemon", _daemon, blames_release=True),
    Check("socket", _socket, blames_release=True),
    Check("controller", _controller),
    Check("contacts", _contacts),
    Check("records", _records, blames_release=True),
    Check("backups", _backups),
)


def _page_file(facts: PageFacts) -> CheckResult:
    if facts.fault:
        return wrong(
            facts.fault,
            "Put it right in /etc/etchwarden/page.toml, then: sudo systemctl restart"
            " etchwarden-web",
        )
    if not facts.machines:
        return look("No machine is configured yet.", "Run: sudo etchwarden configure NAME")
    return well(f"It shows: {', '.join(facts.machines)}.")


def _page_answers(facts: PageFacts) -> CheckResult | None:
    if facts.fault:
        return None
    if facts.status_code is None:
        return wrong(
            f"The page does not answer at port {facts.port}. {facts.is_away}".strip(),
            "Run: sudo systemctl restart etchwarden-web, then journalctl -u etchwarden-web",
        )
    if facts.status_code >= 500:
        return wrong(f"The page has a fault ({facts.status_code}).", "journalctl -u etchwarden-web")
    return well(f"The page answers at port {facts.port}.")


def _secrets(facts: PageFacts) -> CheckResult | None:
    if not facts.readable_secrets:
        return None
    files = " ".join(facts.readable_secrets)
    return wrong(f"Everybody on this board can read: {files}.", f"Run: sudo chmod o-r {files}")


PAGE_CHECKS: Final = (
    Check("file", _page_file, blames_release=True, quotes=True),
    Check("address", _page_answers, blames_release=True),
    Check("secrets", _secrets, quotes=True),
)
