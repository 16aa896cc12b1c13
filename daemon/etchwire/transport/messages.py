"""The messages themselves: JSON-RPC 2.0 requests, notifications, results and failures."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import IntEnum
from typing import Final

from etchwire.errors import MalformedMessage

PROTOCOL: Final = 1  # said in `hello`; a change that an older end cannot live with raises it
_VERSION: Final = {"jsonrpc": "2.0"}


class Code(IntEnum):
    """JSON-RPC's numbers for what went wrong (its specification, section 5.1), and ours."""

    PARSE_ERROR = -32700
    INVALID_REQUEST = -32600
    METHOD_NOT_FOUND = -32601
    INVALID_PARAMS = -32602
    INTERNAL_ERROR = -32603
    REFUSED = -32000


@dataclass(frozen=True, slots=True)
class Request:
    """Something asked for; without a `call_id` it is a notification and gets no answer."""

    method: str
    params: Mapping[str, object]
    call_id: int | str | None = None

    def to_table(self) -> dict[str, object]:
        """Return the object that goes on the wire."""
        call = {} if self.call_id is None else {"id": self.call_id}
        return {**_VERSION, **call, "method": self.method, "params": dict(self.params)}


@dataclass(frozen=True, slots=True)
class Result:
    """The answer to a request."""

    call_id: int | str | None
    value: object

    def to_table(self) -> dict[str, object]:
        """Return the object that goes on the wire."""
        return {**_VERSION, "id": self.call_id, "result": self.value}


@dataclass(frozen=True, slots=True)
class Failure:
    """The answer to a request that was not done: a sentence, and whose business it is."""

    call_id: int | str | None
    code: int
    message: str
    kind: str

    def to_table(self) -> dict[str, object]:
        """Return the object that goes on the wire."""
        error = {"code": int(self.code), "message": self.message, "data": {"kind": self.kind}}
        return {**_VERSION, "id": self.call_id, "error": error}


Message = Request | Result | Failure


def parse_message(table: Mapping[str, object]) -> Message:
    """Return what `table` says; raise MalformedMessage when JSON-RPC 2.0 knows no such thing."""
    if table.get("jsonrpc") != "2.0":
        raise MalformedMessage("the message is not JSON-RPC 2.0")
    call_id = table.get("id")
    if isinstance(call_id, bool) or not isinstance(call_id, (int, str, type(None))):
        raise MalformedMessage("a message's id must be a number or a text")
    if "method" in table:
        return _request(table, call_id)
    if "result" in table:
        return Result(call_id, table["result"])
    error = table.get("error")
    if isinstance(error, dict):
        return _failure(error, call_id)
    raise MalformedMessage("the message is neither a request nor an answer")


def _request(table: Mapping[str, object], call_id: int | str | None) -> Request:
    method, params = table["method"], table.get("params", {})
    if not isinstance(method, str):
        raise MalformedMessage("a method's name must be a text")
    if not isinstance(params, dict):
        raise MalformedMessage("parameters go by name here: `params` must be an object")
    return Request(method, params, call_id)


def _failure(error: Mapping[str, object], call_id: int | str | None) -> Failure:
    code, data = error.get("code"), error.get("data")
    kind = data.get("kind") if isinstance(data, dict) else None
    return Failure(
        call_id,
        code if isinstance(code, int) else Code.INTERNAL_ERROR,
        str(error.get("message", "")),
        kind if isinstance(kind, str) else "internal",
    )
