"""What is common to all calls: how they are named, who may make them, what parameters may be."""

import re
from enum import StrEnum
from typing import Annotated, Any, ClassVar, Final, Generic, TypeVar, get_args, get_origin

from msgspec import Meta
from msgspec.structs import fields

from etchwire.plain import FURTHEST_MM, LARGEST
from etchwire.wire_value import WireValue

LARGEST_NUMBER: Final = 2**53  # beyond it JSON's readers disagree about whole numbers
_WORD_START: Final = re.compile(r"(?<!^)(?=[A-Z])")

WholeNumber = Annotated[int, Meta(ge=0, le=LARGEST_NUMBER)]
LengthMm = Annotated[float, Meta(ge=-FURTHEST_MM, le=FURTHEST_MM)]
DurationS = Annotated[float, Meta(ge=0.0, le=LARGEST["s"])]
OpenFile = Annotated[int, "descriptor"]  # goes along with the call, outside its parameters

Answer_co = TypeVar("Answer_co", covariant=True)


class Right(StrEnum):
    """Whether a call only looks at the machine, or operates it."""

    OBSERVE = "observe"
    OPERATE = "operate"


class Call(WireValue, Generic[Answer_co], frozen=True):
    """One method of the daemon's socket: its parameters are the entries, its docstring tells it.

    `is_at_once`: answered ahead of everything else the caller waits for. `patience_s`: how long
    its answer may take, where that is longer than usual.
    """

    right: ClassVar[Right] = Right.OPERATE
    is_at_once: ClassVar[bool] = False
    patience_s: ClassVar[float | None] = None

    @classmethod
    def method(cls) -> str:
        """Return the name that it has on the wire."""
        return _WORD_START.sub("_", cls.__name__).lower()

    @classmethod
    def answer_type(cls) -> Any:
        """Return the type of its answer."""
        bases = [base for kind in cls.__mro__ for base in kind.__dict__.get("__orig_bases__", ())]
        return next(get_args(base)[0] for base in bases if issubclass(get_origin(base), Call))


AnyCall = Call[object]


class Question(Call[Answer_co]):
    """A call that changes nothing."""

    right: ClassVar[Right] = Right.OBSERVE


class Done(WireValue):
    """The answer where there is nothing to tell: it is done, or under way."""


def parameters_of(call: AnyCall) -> dict[str, object]:
    """Return what goes along with `call` by name."""
    files = file_names(type(call))
    return {one.name: getattr(call, one.name) for one in fields(call) if one.name not in files}


def files_of(call: AnyCall) -> list[int]:
    """Return the descriptors that go along with `call`."""
    return [getattr(call, name) for name in file_names(type(call))]


def file_names(kind: type[AnyCall]) -> tuple[str, ...]:
    """Return the names of the open files that go along with a `kind` of call."""
    return tuple(one.name for one in fields(kind) if one.type is OpenFile)
