"""The filter of system calls, its numbers as libseccomp knows them, its program run by hand."""

import ctypes
import errno
import struct

import pytest

from etchphoto.decoder.system_calls import ALLOWED, NoSystemCallFilter, filter_program

AUDIT_NUMBERS = {"x86_64": 0xC000003E, "aarch64": 0xC00000B7}  # libseccomp's tokens are the same
ALLOW, KILL, REFUSE, NOT_THERE = 0x7FFF0000, 0x80000000, 0x50000 | errno.EPERM, 0x50000 | 38
THREAD = 0x3D0F00
NUMBERS = range(600)  # more than any kernel has


@pytest.fixture(scope="module")
def name_of():
    library = ctypes.CDLL("libseccomp.so.2")
    resolve = library.seccomp_syscall_resolve_num_arch
    resolve.restype = ctypes.c_char_p

    def name_of(machine, number):
        return (resolve(ctypes.c_uint32(AUDIT_NUMBERS[machine]), number) or b"").decode()

    return name_of


def verdict(program, architecture, number, flags=0):
    """Run a program of classic BPF as the kernel does (its Documentation/networking/filter)."""
    call = struct.pack("<iIQ6Q", number, architecture, 0, flags, 0, 0, 0, 0, 0)
    instructions = [struct.unpack_from("=HBBI", program, at) for at in range(0, len(program), 8)]
    at, loaded = 0, 0
    while True:
        code, if_true, if_false, value = instructions[at]
        at += 1
        if code == 0x20:
            (loaded,) = struct.unpack_from("<I", call, value)
        elif code == 0x15:
            at += if_true if loaded == value else if_false
        else:
            assert code == 0x06
            return value


@pytest.mark.parametrize("machine", AUDIT_NUMBERS)
def test_the_calls_of_the_table_are_allowed_and_no_other(name_of, machine):
    program, architecture = filter_program(machine), AUDIT_NUMBERS[machine]

    allowed = {number for number in NUMBERS if verdict(program, architecture, number) == ALLOW}

    assert {name_of(machine, number) for number in allowed} == set(ALLOWED)
    assert verdict(program, architecture, 0x40000000) == REFUSE  # x32's read


@pytest.mark.parametrize("machine", AUDIT_NUMBERS)
def test_a_thread_may_be_made_and_no_process(name_of, machine):
    program, architecture = filter_program(machine), AUDIT_NUMBERS[machine]
    clone, clone3 = (
        next(number for number in NUMBERS if name_of(machine, number) == name)
        for name in ("clone", "clone3")
    )

    assert verdict(program, architecture, clone, THREAD) == ALLOW
    assert verdict(program, architecture, clone, 17) == REFUSE  # fork: SIGCHLD alone
    assert verdict(program, architecture, clone, THREAD | 0x10000000) == REFUSE  # a namespace
    assert verdict(program, architecture, clone3) == NOT_THERE


@pytest.mark.parametrize(("machine", "other"), [("x86_64", "aarch64"), ("aarch64", "x86_64")])
def test_a_call_by_anothers_numbers_ends_the_process(machine, other):
    program = filter_program(machine)

    assert {verdict(program, AUDIT_NUMBERS[other], number) for number in NUMBERS} == {KILL}


def test_where_the_numbers_are_not_known_nothing_is_decoded():
    with pytest.raises(NoSystemCallFilter, match="this is riscv64"):
        filter_program("riscv64")
