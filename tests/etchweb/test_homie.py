"""What a box describes, held against the rules of Homie 5: https://homieiot.github.io, version 5.0.

The rules below are from memory of that document; its section is named beside each.
"""

import json
import re

import pytest

from etchweb.fleet.outbox import Outbox
from etchweb.fleet.topics import (
    AWAY,
    DESCRIPTION,
    INIT,
    LOST,
    READY,
    STATE,
    base_of,
    description,
    values_of,
)
from support.fakes.fake_daemon import STATES, snapshot

DEVICE_STATES = {"init", "ready", "disconnected", "sleeping", "lost"}  # "Device Lifecycle"
TOPIC_ID = re.compile(r"[a-z0-9-]+")  # "Topic IDs"
DATATYPES = {"integer", "float", "boolean", "string", "enum", "color", "datetime", "duration",
             "json"}  # fmt: skip  # "Payload"
# "Description": what a device, a node and a property may have, and what each must.
DEVICE = {"homie", "version", "nodes", "name", "type", "children", "root", "parent", "extensions"}
NODE = {"name", "type", "properties"}
PROPERTY = {"name", "datatype", "format", "settable", "retained", "unit"}
RANGE = re.compile(r"(-?[0-9.]+)?:(-?[0-9.]+)?(:[0-9.]+)?")  # "Formats"


def described():
    return json.loads(description("left"))


def properties():
    return {
        f"{node}/{name}": one
        for node, part in described()["nodes"].items()
        for name, one in part["properties"].items()
    }


def is_payload(word, one):
    """Return whether `word` may be told of a property ("Payload"); a zero byte is empty text."""
    if word == "\0":
        return True
    match one["datatype"]:
        case "integer":
            return re.fullmatch(r"-?\d+", word) is not None
        case "float":
            return re.fullmatch(r"-?\d+(\.\d+)?(e-?\d+)?", word) is not None
        case "enum":
            return word in one["format"].split(",")
        case _:
            return True


def test_the_device_is_described_as_the_convention_wants_it():
    device = described()

    assert device["homie"] == "5.0"
    assert set(device) <= DEVICE
    assert type(device["version"]) is int
    assert TOPIC_ID.fullmatch(base_of("left").rpartition("/")[2])
    assert all(TOPIC_ID.fullmatch(name) for name in device["nodes"])
    assert all(set(node) <= NODE for node in device["nodes"].values())


@pytest.mark.parametrize("path", properties())
def test_each_property_is_described_as_the_convention_wants_it(path):
    one = properties()[path]

    assert TOPIC_ID.fullmatch(path.partition("/")[2])
    assert set(one) <= PROPERTY
    assert one["datatype"] in DATATYPES
    assert (one["settable"], one["retained"]) == (False, True)
    if one["datatype"] == "enum":
        values = one["format"].split(",")
        assert all(values)
        assert len(set(values)) == len(values)
    elif one["datatype"] in ("integer", "float") and "format" in one:
        assert RANGE.fullmatch(one["format"])


@pytest.mark.parametrize("state", STATES)
def test_every_word_is_of_the_kind_that_was_described(state):
    words = values_of(snapshot(state))

    assert [path for path, word in words.items() if not is_payload(word, properties()[path])] == []


def test_another_description_has_another_version():
    assert described()["version"] != json.loads(description("right"))["version"]
    assert described() == described()


def test_our_states_are_the_convention_s():
    assert {INIT, READY, AWAY, LOST} <= DEVICE_STATES


def sent(outbox):
    words = []
    while (word := outbox.next()) is not None:
        words.append(word)
    return words


def test_a_box_is_in_its_beginning_until_all_that_is_described_has_been_told():
    # "Device Lifecycle": init comes before the description, ready when everything was published.
    outbox = Outbox(base_of("left"))
    outbox.put({STATE: READY, DESCRIPTION: description("left"), **values_of(snapshot("idle"))})

    words = sent(outbox)

    assert words[0] == ("homie/5/left/$state", "init")
    assert words[-1] == ("homie/5/left/$state", "ready")
    told = {topic for topic, _ in words[1:-1]}
    assert told >= {f"homie/5/left/{path}" for path in values_of(snapshot("idle"))}
    assert [topic for topic, _ in words].count("homie/5/left/$description") == 1


def test_a_box_whose_daemon_is_away_stays_in_its_beginning_and_begins_again_when_connected_again():
    outbox = Outbox(base_of("left"))
    outbox.put({STATE: INIT, DESCRIPTION: description("left")})
    assert [word for _, word in sent(outbox)] == ["init", description("left")]
    outbox.put({STATE: READY})
    assert sent(outbox) == [("homie/5/left/$state", "ready")]

    outbox.begin_anew()

    assert [word for topic, word in sent(outbox) if topic.endswith(STATE)] == ["init", "ready"]
