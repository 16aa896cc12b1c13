"""The rule table: every rule trips when unread, when stale, when its delay is used up."""

import pytest

from etchdaemon.interlocks.conditions.samples import Condition, Sample, first_sample, next_sample
from etchdaemon.interlocks.inputs import Input
from etchdaemon.interlocks.rules.evaluation import BreachCause, rule_breaches
from etchdaemon.interlocks.rules.rule_table import (
    MAX_DELAY_S,
    MAY_DELAY,
    RULES,
    Air,
    Phase,
    Reaction,
    RuleChange,
    rules_for,
)

NOW_S = 100.0
EACH_RULE = pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.name)


def all_good():
    return {
        rule.requires: Sample(is_good=True, read_at_s=NOW_S, good_since_s=0.0) for rule in RULES
    }


def found(samples, now_s=NOW_S):
    return [(breach.rule.name, breach.cause) for breach in rule_breaches(RULES, samples, now_s)]


def bad(since_s, read_at_s=NOW_S):
    return Sample(is_good=False, read_at_s=read_at_s, bad_since_s=since_s)


def test_nothing_is_found_when_everything_is_good():
    assert found(all_good()) == []


@EACH_RULE
def test_a_condition_never_read_trips_its_rule(rule):
    samples = all_good()
    del samples[rule.requires]

    assert found(samples) == [(rule.name, BreachCause.UNREAD)]


@EACH_RULE
def test_a_stale_reading_trips_its_rule_however_good_it_was(rule):
    read_at_s = NOW_S - rule.stale_after_s - 0.001
    samples = all_good() | {rule.requires: Sample(is_good=True, read_at_s=read_at_s)}

    assert found(samples) == [(rule.name, BreachCause.STALE)]


@EACH_RULE
def test_a_reading_just_not_stale_is_believed(rule):
    read_at_s = NOW_S - rule.stale_after_s
    samples = all_good() | {rule.requires: Sample(is_good=True, read_at_s=read_at_s)}

    assert found(samples) == []


@EACH_RULE
def test_a_bad_condition_trips_when_its_delay_is_used_up(rule):
    samples = all_good() | {rule.requires: bad(NOW_S - rule.trip_delay_s)}

    assert found(samples) == [(rule.name, BreachCause.BAD)]


@pytest.mark.parametrize(
    "rule", [rule for rule in RULES if not rule.trip_delay_s], ids=lambda rule: rule.name
)
def test_a_reading_that_is_newer_than_the_look_is_no_less_bad(rule):
    samples = all_good() | {rule.requires: bad(NOW_S + 0.001, read_at_s=NOW_S + 0.001)}

    assert found(samples) == [(rule.name, BreachCause.BAD)]


@pytest.mark.parametrize(
    "rule", [rule for rule in RULES if rule.trip_delay_s], ids=lambda rule: rule.name
)
def test_a_bad_condition_does_not_trip_before_its_delay(rule):
    samples = all_good() | {rule.requires: bad(NOW_S - rule.trip_delay_s + 0.001)}

    assert found(samples) == []


@pytest.mark.parametrize(
    "rule", [rule for rule in RULES if not rule.trip_delay_s], ids=lambda rule: rule.name
)
def test_without_a_delay_the_first_bad_sample_trips(rule):
    samples = all_good() | {rule.requires: bad(NOW_S)}

    assert found(samples) == [(rule.name, BreachCause.BAD)]


def test_only_air_flow_and_temperature_may_wait_and_five_seconds_at_most():
    for rule in RULES:
        waits_s = rule.trip_delay_s + (rule.trip_after_hold_s or 0.0)

        if rule.requires is Condition.BUTTON_RELEASED:
            continue  # a press lasts a while, and a long one cuts no beam
        # Two contacts may disagree while the lid moves; the lid rule has cut the beam by then.
        may_wait = rule.requires in MAY_DELAY | {Condition.LID_CONTACTS_AGREE}
        assert waits_s == 0.0 or may_wait
        assert waits_s <= MAX_DELAY_S


def test_every_rule_speaks_while_etching():
    # But for the button, which shows people and no danger: it forbids going on.
    others = [rule for rule in RULES if rule.requires is not Condition.BUTTON_RELEASED]
    assert all(rule.while_etching >= Reaction.HOLD for rule in others)


def test_no_rule_is_milder_while_etching_than_while_armed_or_idle():
    for rule in RULES:
        severities = [rule.reaction(phase) for phase in (Phase.IDLE, Phase.ARMED, Phase.ETCHING)]

        assert severities == sorted(severities)


def test_only_fire_switches_the_extraction_off():
    assert [rule.name for rule in RULES if rule.air is Air.OFF] == ["no flame or smoke"]


def test_every_emergency_is_reset_at_the_machine():
    emergencies = [rule for rule in RULES if rule.while_etching is Reaction.EMERGENCY]

    assert emergencies
    assert all(rule.is_reset_at_machine for rule in emergencies)


def test_a_rule_is_in_force_exactly_where_one_of_its_inputs_is_wired():
    names = {rule.name for rule in rules_for({Input.LID})}

    assert names == {
        "lid closed",
        "controller obeys",
        "daemon's loop alive",
        "guard well",
        "somebody answers",
    }


def test_a_change_reaches_its_rule_and_no_other():
    change = RuleChange(because="long hose", trip_delay_s=3.5)

    changed = rules_for(set(Input), {"fumes extracted": change})

    assert [rule.name for rule, old in zip(changed, RULES, strict=True) if rule != old] == [
        "fumes extracted"
    ]


def test_a_bad_spell_ends_only_after_an_unbroken_stable_time():
    sample = first_sample(is_good=False, at_s=0.0)
    for at_s in (0.1, 0.2, 0.59):
        sample = next_sample(sample, is_good=True, at_s=at_s, stable_s=0.5)
    assert sample.bad_since_s == 0.0

    sample = next_sample(sample, is_good=True, at_s=0.6, stable_s=0.5)
    assert sample.bad_since_s is None


def test_a_contact_that_flutters_stays_in_one_bad_spell():
    sample = first_sample(is_good=False, at_s=0.0)
    for step in range(1, 300):
        sample = next_sample(sample, is_good=step % 2 == 0, at_s=step * 0.01, stable_s=0.5)

    assert sample.bad_since_s == 0.0


def test_a_condition_read_good_for_the_first_time_has_to_settle():
    samples = all_good() | {Condition.LID_CLOSED: first_sample(is_good=True, at_s=NOW_S)}

    assert found(samples) == [("lid closed", BreachCause.SETTLING)]
