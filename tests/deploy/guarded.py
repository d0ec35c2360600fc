"""A program of its own: puts on itself what the unit asks of the kernel, then becomes the service.

Called with a JSON object and the command. What systemd does with seccomp and prctl is done here with
the same calls; mounts and users are not (`test_read_only.py` has the mounts).
"""

from __future__ import annotations

import ctypes
import errno
import json
import os
import resource
import sys

ALLOW = 0x7FFF0000
REFUSE = 0x00050000 | errno.EPERM
EQUAL = 4
PR_SET_NO_NEW_PRIVS = 38
PR_SET_MDWE = 65
MDWE_REFUSE_EXEC_GAIN = 1


class Argument(ctypes.Structure):
    """libseccomp's comparison of one argument."""

    _fields_ = [
        ("number", ctypes.c_uint),
        ("op", ctypes.c_int),
        ("first", ctypes.c_uint64),
        ("second", ctypes.c_uint64),
    ]


def restrict_calls(names: list[str], families: list[int]) -> None:
    """Refuse every system call but *names*, and sockets of other families."""
    seccomp = ctypes.CDLL("libseccomp.so.2")
    seccomp.seccomp_init.restype = ctypes.c_void_p
    seccomp.seccomp_init.argtypes = [ctypes.c_uint32]
    add = seccomp.seccomp_rule_add_array
    add.argtypes = [ctypes.c_void_p, ctypes.c_uint32, ctypes.c_int, ctypes.c_uint, ctypes.c_void_p]
    seccomp.seccomp_load.argtypes = [ctypes.c_void_p]
    context = seccomp.seccomp_init(REFUSE)
    for name in names:
        number = seccomp.seccomp_syscall_resolve_name(name.encode())
        if number < 0 or name == "socket":
            continue
        assert add(context, ALLOW, number, 0, None) == 0, name
    number = seccomp.seccomp_syscall_resolve_name(b"socket")
    for family in families:
        only = Argument(0, EQUAL, family, 0)
        assert add(context, ALLOW, number, 1, ctypes.byref(only)) == 0
    assert seccomp.seccomp_load(context) == 0


def main() -> None:
    """Put the restrictions on and run the command."""
    given = json.loads(sys.argv[1])
    libc = ctypes.CDLL(None, use_errno=True)
    assert libc.prctl(PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0) == 0
    if libc.prctl(PR_SET_MDWE, MDWE_REFUSE_EXEC_GAIN, 0, 0, 0) != 0:
        print("no MDWE in this kernel", file=sys.stderr)
    resource.setrlimit(resource.RLIMIT_NOFILE, (given["files"], given["files"]))
    os.umask(0o077)
    restrict_calls(given["calls"], given["families"])
    os.execvp(sys.argv[2], sys.argv[2:])


if __name__ == "__main__":
    main()
