"""Tables of WIRING.md, ALERTS.md, DEVELOPERS.md and METHODS.md, printed from those that run."""

import json

from msgspec import NODEFAULT

from etchdaemon.interlocks.checks.wiring_gaps import WIRING_GAPS
from etchdaemon.interlocks.rules.rule_table import RULES, Phase, Reaction
from etchdaemon.rpc.methods import METHODS
from etchdaemon.rpc.parameters import parameters_of
from etchdaemon.run.states import NEXT_STATE, Command
from etchwire.alert_policy import ALERT_POLICY
from etchwire.calls.call import file_names

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


def rules_as_rows():
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
        for rule in RULES
    )


def rules_as_markdown():
    """Return the table for WIRING.md."""
    lines = (_HEADS, tuple("---" for _ in _HEADS), *rules_as_rows())
    return "".join(f"| {' | '.join(line)} |\n" for line in lines)


def wiring_gaps_as_markdown():
    """Return the table of wiring gaps for WIRING.md: what is not wired, and what follows."""
    lines = (("Not wired", "So", "The box"), ("---", "---", "---"), *map(_gap_row, WIRING_GAPS))
    return "".join(f"| {' | '.join(line)} |\n" for line in lines)


def _gap_row(gap):
    parts = " or ".join(sorted(part.value.replace("_", " ") for part in gap.parts))
    if gap.is_watch_only:
        return parts, gap.sentence, "only watches"
    return parts, gap.sentence, "runs attended" if gap.is_attended_only else "runs"


def _etching(rule):
    words = _WORDS[rule.reaction(Phase.ETCHING)]
    if rule.trip_after_hold_s is None:
        return words
    return f"{words}, trips {rule.trip_after_hold_s:g} s later"


def states_as_markdown():
    """Return the table for DEVELOPERS.md: the transitions from each state."""
    lines = ["| from | by | to |", "| --- | --- | --- |"]
    for (state, input_), following in NEXT_STATE.items():
        kind = "asked" if isinstance(input_, Command) else "happens"
        lines.append(
            f"| {state.value} | {input_.value.replace('_', ' ')} ({kind}) | {following.value} |"
        )
    return "\n".join(lines)


def methods_table():
    """Return the table as METHODS.md shows it."""
    lines = ["| method | takes | may | does |", "| --- | --- | --- | --- |"]
    for kind in METHODS:
        parameters = sorted(parameters_of(kind), key=lambda one: one.otherwise is not NODEFAULT)
        takes = ", ".join([*map(_parameter, parameters), *file_names(kind)]) or "–"
        text = " ".join((kind.__doc__ or "").split())
        lines.append(f"| `{kind.method()}` | {takes} | {kind.right} | {text} |")
    return "\n".join(lines)


def _parameter(parameter):
    if parameter.otherwise is NODEFAULT:
        return parameter.name
    return f"{parameter.name} = {json.dumps(parameter.otherwise)}"


def policy_as_markdown():
    """Return the table for ALERTS.md."""
    heads = ("What happens", "Webhook and mail", "Buzzer at the box", "Page in front")
    lines = (heads, tuple("---" for _ in heads), *map(_notice_row, ALERT_POLICY.values()))
    return "".join(f"| {' | '.join(line)} |\n" for line in lines)


def _notice_row(notice):
    always = ", always" if notice.is_always else ""
    beep = "—" if notice.beep is None else _beep(notice.beep)
    call = "—" if notice.call is None else f"tone “{notice.call}”"
    return notice.what, f"“{notice.alert}”{always}", beep, call


def _beep(beep):
    lasts = "as long as it lasts" if beep.lasts_s is None else f"for {beep.lasts_s:g} s"
    return f"{beep.on_s:g} s of every {beep.every_s:g} s, {lasts}"
