"""What the 8-bit controller says: greeting, listings, refusals (facts read in its source)."""

import pytest

from support.harnesses.practice_host import Host


@pytest.fixture
def host():
    return Host()


def test_it_greets_with_its_version_after_power_up(host):
    assert host.greeting == ["Grbl 1.1h ['$' for help]"]


def test_an_empty_line_comes_before_the_greeting():
    machine = Host().machine
    machine.reset_now()
    machine.advance(0.01)

    assert machine.read().startswith(b"\r\nGrbl")


def test_the_build_info_tells_blocks_and_buffer(host):
    assert host.ask("$I") == "ok"
    assert host.pushed == ["[VER:1.1h.20190830:]", "[OPT:V,15,128]"]


def test_settings_are_listed_with_three_decimals_or_none(host):
    host.ask("$$")

    assert {"$10=3", "$32=1", "$30=1000", "$110=10000.000", "$11=0.010"} <= set(host.pushed)


def test_the_parser_state_is_that_of_a_reset(host):
    host.ask("$G")

    assert host.pushed == ["[GC:G0 G54 G17 G21 G90 G94 M5 M9 T0 F0 S0]"]


def test_offsets_are_listed_one_a_line(host):
    host.ask("$#")

    names = [line.split(":")[0].lstrip("[") for line in host.pushed]
    assert names == "G54 G55 G56 G57 G58 G59 G28 G30 G92 TLO PRB".replace("PRB", "PRB").split()


def test_start_up_lines_are_listed_and_run_at_the_next_reset(host):
    host.ask("$N0=G91F100", seconds=0.6)
    host.pushed.clear()

    host.write(b"\x18", 0.1)

    assert host.pushed[-1] == ">G91F100:ok"


@pytest.mark.parametrize(
    ("line", "reply"),
    [
        ("", "ok"),
        ("(nothing but a comment)", "ok"),
        ("; nothing either", "ok"),
        ("g1 x1 f100", "ok"),
        ("/X1", "ok"),  # block delete is not known: the rest of the line runs
        ("%", "error:1"),
        ("1X", "error:1"),
        ("G", "error:2"),
        ("X-", "error:2"),
        ("$Q", "error:2"),
        ("$999=1", "error:3"),
        ("$0=", "error:2"),
        ("S-1", "error:4"),
        ("G1X1F-5", "error:4"),
        ("$0=-1", "error:4"),
        ("$H", "error:5"),
        ("$0=2", "error:6"),
        ("$20=1", "error:10"),
        ("X1e3", "error:20"),
        ("M6", "error:20"),
        ("M7", "error:20"),
        ("G5", "error:20"),
        ("A1", "error:20"),
        ("G0G1X1F100", "error:24"),
        ("G90G91", "error:21"),
        ("M3M4", "error:21"),
        ("G1X1", "error:22"),
        ("M3.5", "error:23"),
        ("G10L2P1G28X1", "error:24"),
        ("G92G1X1F100", "error:24"),
        ("X1X2", "error:25"),
        ("G92", "error:26"),
        ("N10000001X1", "error:27"),
        ("N1.5X1", "ok"),
        ("N9999999X1", "ok"),
        ("G4", "error:28"),
        ("G10L2P7X1", "error:29"),
        ("G53G80", "error:30"),
        ("G80X1", "error:31"),
        ("G2Z1I1F100", "error:32"),
        ("G2X0Y0R5F100", "error:33"),
        ("G2X10R2F100", "error:34"),
        ("G2X10F100", "error:35"),
        ("X1R5", "error:36"),
        ("G43.1X1", "error:37"),
        ("G1X1.F100", "ok"),
        ("G1X.1F100", "ok"),
        ("S1000.5", "ok"),
        ("$J=X1", "error:22"),
        ("$J=G1X1F100", "error:16"),
        ("$J=G91F100", "ok"),  # recorded: nothing moves
    ],
)
def test_a_line_is_answered_as_the_source_says(host, line, reply):
    assert host.ask(line) == reply


def test_a_line_may_have_79_characters_and_no_more(host):
    assert host.ask("G1F100X" + "0" * 71 + "1") == "ok"
    assert host.ask("G1F100X" + "0" * 72 + "1") == "error:11"


def test_nothing_of_a_line_too_long_is_run(host):
    host.ask("G91G1F6000X5" + "0" * 70)

    assert host.report().place == (0, 0, 0)


@pytest.mark.parametrize("line", [" " * 105 + "G4P0", "G4P0(" + "-" * 300 + ")"])
def test_blanks_and_comments_do_not_count_in_the_line_s_length(line):
    host = Host(window_bytes=1000)  # they do count in the ring, which is empty here

    assert host.ask(line) == "ok"


def test_carriage_return_and_line_feed_are_two_lines(host):
    host.write(b"G4P0\r\n", 0.2)

    assert host.replies == ["ok", "ok"]


def test_a_number_is_used_to_eight_digits(host):
    host.ask("G1F6000X0.123456789123")
    host.ask("$G")
    host.ask("G92X1.23456789123")
    host.ask("$#")

    assert any(line.startswith("[G92:-1.1") for line in host.pushed)


def test_an_error_drops_its_line_only(host):
    """Four lines, the second wrong: ok, error, ok, ok, and the later ones run (measured)."""
    host.run("G91G1F6000X1", "X1e3", "X1", "X1")

    assert host.replies == ["ok", "error:20", "ok", "ok"]
    assert host.report().place[0] == 3


def test_writing_a_setting_takes_as_long_as_its_bytes_that_change_and_deafens(host):
    """3.4 ms a byte; 0.4 to 10.6 ms were seen in a cycle-accurate run of the firmware image."""
    host.write(b"$11=0.02\nG4P0\n", 0.05)

    assert host.replies == ["ok"]


def test_writing_an_offset_takes_26_to_30_ms(host):
    host.queue("G10L20P1X0")
    host.wait(0.025)
    assert host.replies == []

    host.wait(0.01)

    assert host.replies == ["ok"]


def test_the_end_of_a_program_says_so_and_leaves_the_beam_off(host):
    host.run("M4S500G1F3000X1", "M2")
    host.pushed.clear()
    host.ask("$G")

    assert host.pushed == ["[GC:G1 G54 G17 G21 G90 G94 M5 M9 T0 F3000 S500]"]
