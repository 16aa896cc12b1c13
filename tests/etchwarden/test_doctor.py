"""The self-check: made-up facts in, findings out; then the command."""

from dataclasses import replace

import pytest
from click.testing import CliRunner

from etchdaemon.logbook.backup.sums import put_in_place
from etchwarden.commands import doctor
from etchwarden.commands.doctor import findings
from etchwarden.installation.paths import Places
from etchwarden.selfcheck.board_checks import BOARD_CHECKS
from etchwarden.selfcheck.bundle import bundle_of
from etchwarden.selfcheck.facts import BoardFacts, MachineFacts, PageFacts
from etchwarden.selfcheck.findings import Grade, results_of
from etchwarden.selfcheck.machine_checks import MACHINE_CHECKS, PAGE_CHECKS
from etchwarden.selfcheck.machine_look import look_at_machine
from etchwire.calls.json_values import from_json_value
from etchwire.calls.machine import ControllerSettings
from support.fakes.fake_daemon import JOB, box, snapshot
from support.fakes.fake_machine import SETTINGS as READ_SETTINGS

BOARD = BoardFacts(
    version="1.0", python=(3, 11), current="1.0-abc", has_previous=True, year=2026,
    is_clock_synchronised=True, free_bytes=8_000_000_000, size_bytes=32_000_000_000,
    card_worn_tenths=1, file_system_errors=0, is_undervolted=False, was_undervolted=False,
    tells_of_outputs=True, chips=("pinctrl-rp1",), has_pin_library=True, limits_memory=True,
    host_name="dorothea", addresses=("192.168.7.44",), announces_name=True,
)  # fmt: skip


def status(**changes):
    job = {**JOB, "title": "Dorothea's wedding"}
    return snapshot("loaded", **{"job": job, "interlocks": box(seen_to_open=[]), **changes})


def settings(**changes):
    return from_json_value({**READ_SETTINGS, "warnings": [], **changes}, ControllerSettings)


def contacts(*, is_due):
    proof = {"name": "lid", "day": None, "is_due": is_due, "sentence": "Press the button."}
    return status(interlocks=box(seen_to_open=[proof]))


MACHINE = MachineFacts(
    name="left", port="/dev/serial/by-id/usb-77", is_port_there=True, may_open_port=True,
    chip="pinctrl-rp1", pins=(16, 22), output_pins=(22,), has_head=True, chips=("pinctrl-rp1",),
    status=status(), settings=settings(), socket_mode=0o660, book="ok",
    newest_backup="ok",
)  # fmt: skip
PAGE = PageFacts(machines=("left",), status_code=200)

BOARD_TABLE = [
    ("versions", {"python": (3, 9)}, Grade.LOOK, "not made for"),
    ("versions", {"current": None}, Grade.WELL, "not installed by"),
    ("update", {"is_cut_short": True}, Grade.WRONG, "Run it again"),
    ("clock", {"year": 1970}, Grade.WRONG, "1970"),
    ("clock", {"is_clock_synchronised": False}, Grade.LOOK, "set-ntp"),
    ("clock", {"is_clock_synchronised": None}, Grade.LOOK, "not known"),
    ("space", {"free_bytes": 199_999_999}, Grade.WRONG, "full"),
    ("space", {"free_bytes": 200_000_000}, Grade.LOOK, "nearly full"),
    ("space", {"free_bytes": 1_000_000_000}, Grade.WELL, "1.0 of 32.0 GB"),
    ("card", {"is_read_only": True}, Grade.WRONG, "only be read"),
    ("card", {"file_system_errors": 3}, Grade.WRONG, "3 errors"),
    ("card", {"card_worn_tenths": 8}, Grade.LOOK, "80 %"),
    ("card", {"card_worn_tenths": 7}, Grade.WELL, "70 %"),
    ("card", {"card_worn_tenths": None}, Grade.WELL, "does not tell"),
    ("power supply", {"is_undervolted": True}, Grade.WRONG, "too little voltage"),
    ("power supply", {"was_undervolted": True}, Grade.LOOK, "since it was switched on"),
    ("power supply", {"is_undervolted": None, "was_undervolted": None}, Grade.WELL, "not tell"),
    ("outputs after a crash", {"kept_outputs": ("keeps outputs on",)}, Grade.WRONG, "keeps"),
    ("outputs after a crash", {"tells_of_outputs": False}, Grade.LOOK, "meter"),
    ("pin library", {"has_pin_library": False}, Grade.WRONG, "python3-lgpio"),
    ("memory", {"limits_memory": False}, Grade.LOOK, "cgroup_enable=memory"),
    ("network name", {"addresses": ()}, Grade.LOOK, "no address"),
    ("network name", {"announces_name": False}, Grade.LOOK, "avahi-daemon"),
]
MACHINE_TABLE = [
    ("file", {"fault": "pin 16 is used twice"}, Grade.WRONG, "/etc/etchwarden/left.toml"),
    ("file", {"is_file_for_all": False}, Grade.WRONG, "chmod a+r /etc/etchwarden/left.toml"),
    ("file", {"watches_only_because": "No lid."}, Grade.LOOK, "No lid."),
    ("file", {"has_head": False}, Grade.LOOK, "[head]"),
    ("port", {"port": ""}, Grade.WRONG, "configure --ports"),
    ("port", {"is_port_there": False}, Grade.WRONG, "switched on"),
    ("port", {"may_open_port": False}, Grade.WRONG, "dialout"),
    ("pins", {"chips": ("pinctrl-bcm2711",)}, Grade.WRONG, "pinctrl-bcm2711"),
    ("pins", {"output_pins": (14, 22)}, Grade.LOOK, "GPIO 14"),
    ("wiring", {"lacks": ("No fan.", "No button.")}, Grade.WELL, "No fan. No button."),
    ("wiring", {}, Grade.WELL, "wiring.svg"),
    ("daemon", {"status": None, "daemon_is_away": "Nobody."}, Grade.WRONG, "Nobody."),
    ("daemon", {"status": None, "fault": "line 3"}, Grade.WRONG, "Put the file right first"),
    ("socket", {"socket_mode": 0o666}, Grade.WRONG, "mode 666"),
    ("controller", {"controller_fault": "no answer"}, Grade.WRONG, "no answer"),
    ("controller", {"settings": settings(refusals=["laser mode"])}, Grade.WRONG, "laser"),
    ("controller", {"settings": settings(warnings=["motors"])}, Grade.LOOK, "motors"),
    ("controller", {"settings": settings(is_read=False)}, Grade.LOOK, "Try again"),
    ("contacts", {"status": contacts(is_due=True)}, Grade.LOOK, "Press the button."),
    ("contacts", {"status": contacts(is_due=False)}, Grade.WELL, "last month"),
    (
        "contacts",
        {"status": status(interlocks=box(board_trouble="No edges."))},
        Grade.WRONG,
        "No edges.",
    ),
    ("records", {"status": status(logbook_trouble="full")}, Grade.WRONG, "full"),
    ("records", {"book": "page 3 is torn"}, Grade.WRONG, "page 3"),
    ("records", {"book": "page 3 is torn"}, Grade.WRONG, "etchwarden restore"),
    ("records", {"book_is_unread": "there is no room left"}, Grade.LOOK, "could not be looked at"),
    ("records", {"books_set_aside": 2}, Grade.LOOK, "restore"),
    ("records", {"book": None}, Grade.WELL, "No logbook yet"),
    ("backups", {"newest_backup": "It has changed."}, Grade.WRONG, "It has changed."),
    ("backups", {"newest_backup": None}, Grade.WELL, "No backup yet"),
]
PAGE_TABLE = [
    ("file", {"fault": "port: from 0"}, Grade.WRONG, "page.toml"),
    ("file", {"machines": ()}, Grade.LOOK, "configure"),
    ("address", {"status_code": None}, Grade.WRONG, "does not answer"),
    ("address", {"status_code": 500}, Grade.WRONG, "fault"),
    ("address", {"status_code": 403}, Grade.WELL, "answers"),
    ("secrets", {"readable_secrets": ("/etc/x",)}, Grade.WRONG, "chmod o-r /etc/x"),
]
TABLE = [
    *((BOARD_CHECKS, BOARD, *line) for line in BOARD_TABLE),
    *((MACHINE_CHECKS, MACHINE, *line) for line in MACHINE_TABLE),
    *((PAGE_CHECKS, PAGE, *line) for line in PAGE_TABLE),
]


def test_of_a_board_in_order_everything_is_well():
    found = list(findings(BOARD, [MACHINE], PAGE))

    assert {finding.grade for _, _, finding in found} == {Grade.WELL}


@pytest.mark.parametrize(("checks", "facts", "name", "change", "grade", "said"), TABLE)
def test_a_fact_is_judged_and_says_what_to_do(checks, facts, name, change, grade, said):
    found = dict(results_of(checks, replace(facts, **change)))

    assert found[name].grade is grade
    assert said in f"{found[name].sentence} {found[name].advice}"


@pytest.mark.parametrize("checks", [BOARD_CHECKS, MACHINE_CHECKS, PAGE_CHECKS])
def test_every_check_stands_in_the_table_of_these_tests(checks):
    named = {line[2] for line in TABLE if line[0] is checks}

    assert {check.name for check in checks} == named


def test_a_release_is_not_blamed_for_a_cable_that_is_out():
    unplugged = replace(MACHINE, is_port_there=False)

    found = list(findings(BOARD, [unplugged], PAGE, of_release=True))

    assert max(finding.grade for _, _, finding in found) is Grade.WELL


def test_a_release_is_blamed_for_a_daemon_that_is_away():
    away = replace(MACHINE, status=None)

    found = list(findings(BOARD, [away], PAGE, of_release=True))

    assert max(finding.grade for _, _, finding in found) is Grade.WRONG


def test_the_bundle_names_nobody_and_nothing():
    away = replace(MACHINE, name="right", is_port_there=False)
    found = list(findings(BOARD, [MACHINE, away], PAGE))

    text = bundle_of(BOARD, [MACHINE, away], PAGE, found)

    private = ("dorothea", "Dorothea", "192.168", "by-id", "left", "right", "wedding")
    assert [word for word in private if word in text] == []
    assert '"check": "port"' in text


def test_a_page_whose_file_is_faulty_is_not_said_to_be_away():
    found = dict(results_of(PAGE_CHECKS, replace(PAGE, fault="port: from 0", status_code=None)))

    assert "address" not in found


def test_the_command_says_what_is_wrong_by_its_exit_code_and_leaves_the_bundle(tmp_path):
    (tmp_path / "etc/etchwarden").mkdir(parents=True)
    (tmp_path / "etc/etchwarden/left.toml").write_bytes(bytes(100))
    bundle = tmp_path / "help.json"

    done = CliRunner().invoke(
        doctor.command, ["--root", str(tmp_path), "--bundle", str(bundle)], catch_exceptions=False
    )

    assert done.exit_code == 2
    assert "left, file:" in done.output
    assert "is empty" in done.output
    assert bundle.exists()


@pytest.mark.parametrize(
    ("content", "said"), [(None, None), (b"whole", "ok"), (b"whale", "has changed")]
)
def test_the_newest_backup_on_the_card_is_held_against_its_sum(tmp_path, content, said):
    places = Places(tmp_path)
    backups = places.records / "left" / "backups"
    if content is not None:
        backups.mkdir(parents=True)
        for number in (1, 2):
            (backups / "half").write_bytes(b"whole")
            put_in_place(backups / "half", backups / f"logbook-{number:06}-20261125T030000.sqlite3")
        (backups / "logbook-000002-20261125T030000.sqlite3").write_bytes(content)

    found = look_at_machine("left", places).newest_backup

    assert found == said or said in found
