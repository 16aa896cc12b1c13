"""Settings found by commands with real processes: a card is etched, photographed, read, accepted.

The whole way to a portrait is `tests/measure/settings_by_command_test.py`.
"""

from support.harnesses.settings_by_command import NAMED, bench_on_unknown_surface


def test_a_card_etched_and_read_by_command_brings_a_recipe_into_force(tmp_path):
    with bench_on_unknown_surface(tmp_path, speedup=40) as bench:
        first = tmp_path / "first"
        bench.say(
            "card", "power", "-o", first, "--head", tmp_path / "shed.toml", "--surface", NAMED,
            "--speeds", 2000, 3000, "--powers", 60, 100, "--steps", 2, 2, "--place", 46, 40,
        )  # fmt: skip
        bench.etch(first)

        said = bench.say(
            "read", bench.photograph(first), "--wiped", "--accept", "--fingernail", "yes"
        )

        assert "It is in force." in said
        told = bench.say("timeline", "--head", "shed", "--surface", NAMED).splitlines()
        assert [line.split("h  ")[1].split(" ")[0] for line in told if " h  " in line] == [
            "card", "run", "reading", "recipe",
        ]  # fmt: skip
