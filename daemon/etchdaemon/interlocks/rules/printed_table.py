"""The rule table as text for people, printed from the rules."""

from collections.abc import Iterable

from etchdaemon.interlocks.checks.wiring_gaps import WIRING_GAPS, WiringGap
from etchdaemon.interlocks.rules.rule_table import RULES, Phase, Reaction, Rule

_WORDS = {
    Reaction.NOTHING: "—",
    Reaction.FORBID: "forbids",
    Reaction.HOLD: "holds at the row's end",
    Reaction.TRIP: "trips",
    Reaction.EMERGENCY: "emergency",
}
_HEADS = (
    "Interlock", "Watched by", "Waits", "Stale after", "Idle", "Armed", "Etching", "Extraction",
    "Reset",
)  # fmt: skip


def rules_as_rows(rules: Iterable[Rule] = RULES) -> tuple[tuple[str, ...], ...]:
    """Return one row of words for each rule, in the order of the table's heads."""
    return tuple(
        (
            rule.name,
            " or ".join(sorted(name.value.replace("_", " ") for name in rule.needs)) or "itself",
            f"{rule.trip_delay_s:g} s" if rule.trip_delay_s else "not",
            f"{rule.stale_after_s:g} s",
            _WORDS[rule.while_idle],
            _WORDS[rule.while_armed],
            _etching(rule),
            rule.air.value,
            "at the machine" if rule.is_reset_at_machine else "by a person",
        )
        for rule in rules
    )


def rules_as_markdown(rules: Iterable[Rule] = RULES) -> str:
    """Return the table for README."""
    lines = (_HEADS, tuple("---" for _ in _HEADS), *rules_as_rows(rules))
    return "".join(f"| {' | '.join(line)} |\n" for line in lines)


def wiring_gaps_as_markdown() -> str:
    """Return the table of wiring gaps for README: what is not wired, and what follows."""
    lines = (("Not wired", "So", "The box"), ("---", "---", "---"), *map(_gap_row, WIRING_GAPS))
    return "".join(f"| {' | '.join(line)} |\n" for line in lines)


def _gap_row(gap: WiringGap) -> tuple[str, str, str]:
    parts = " or ".join(sorted(part.value.replace("_", " ") for part in gap.parts))
    if gap.is_watch_only:
        return parts, gap.sentence, "only watches"
    return parts, gap.sentence, "runs attended" if gap.is_attended_only else "runs"


def _etching(rule: Rule) -> str:
    words = _WORDS[rule.reaction(Phase.ETCHING)]
    if rule.trip_after_hold_s is None:
        return words
    return f"{words}, trips {rule.trip_after_hold_s:g} s later"
