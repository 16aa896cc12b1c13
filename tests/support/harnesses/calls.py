"""Calls made by their names, as a client on the wire makes them, without a wire."""

import json

from etchdaemon.errors import CommandRefused
from etchdaemon.rpc.methods import find_method
from etchdaemon.rpc.parameters import fitting, made
from etchwire.calls.call import file_names
from etchwire.calls.json_values import to_json_value
from etchwire.errors import Refused


def as_table(value):
    """Return an answer as a client reads it from the wire."""
    return json.loads(json.dumps(to_json_value(value)))


def call_of(name, /, **params):
    """Return the call of that name; raise CommandRefused for a record that makes no sense."""
    kind = find_method(name)
    files = {file: params.pop(file) for file in file_names(kind)}
    try:
        return made(kind, fitting(kind, params) | files)
    except Refused as refusal:
        raise CommandRefused(refusal.message) from refusal
