"""A program started with its pipes: on Linux directly, elsewhere by the standard library, whose import takes as long as
several questions to git."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from typing import IO

DIRECT = hasattr(os, "posix_spawn") and hasattr(os, "memfd_create")


SURE = 4096
"""Bytes that any pipe takes before somebody reads them."""


class Child:
    """A running program that is written to and read from; what it complains of is dropped.

    ``room`` is how many bytes may be written before its answers are read: half of what the pipe holds. A machine with many
    pipes gives small ones.
    """

    def __init__(self, command: Sequence[str], folder: str, environment: Mapping[str, str]) -> None:
        if not DIRECT:
            import subprocess

            self._popen = subprocess.Popen(
                tuple(command), cwd=folder, env=environment, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
            )
            assert self._popen.stdin is not None
            assert self._popen.stdout is not None
            self.questions: IO[bytes] = self._popen.stdin
            self.answers: IO[bytes] = self._popen.stdout
            self.room = SURE
            return
        import fcntl  # not everywhere: DIRECT is Linux

        theirs, ours = os.pipe()
        back, forth = os.pipe()
        silent = os.open(os.devnull, os.O_WRONLY)
        try:
            self._pid = _spawn(command, folder, environment, (theirs, forth, silent))
        except BaseException:
            os.close(ours)
            os.close(back)
            raise
        finally:
            for end in (theirs, forth, silent):
                os.close(end)
        self.room = max(fcntl.fcntl(ours, fcntl.F_GETPIPE_SZ) // 2, SURE) if hasattr(fcntl, "F_GETPIPE_SZ") else SURE
        self.questions = open(ours, "wb")  # noqa: SIM115 - kept open until close
        self.answers = open(back, "rb")  # noqa: SIM115

    def close(self) -> None:
        """End it without waiting for what it still has to say."""
        for pipe in (self.answers, self.questions):
            try:
                pipe.close()
            except BrokenPipeError:
                pass
        if DIRECT:
            os.waitpid(self._pid, 0)
        else:
            self._popen.wait()


def ask(command: Sequence[str], folder: str, environment: Mapping[str, str], stdin: bytes) -> tuple[int, bytes, bytes]:
    """Run a program to its end: exit status, output, complaints."""
    if DIRECT:
        return Asked(command, folder, environment, stdin).answer()
    import subprocess

    ran = subprocess.run(tuple(command), cwd=folder, env=environment, input=stdin, capture_output=True, check=False)
    return ran.returncode, ran.stdout, ran.stderr


class Asked:
    """A program that has been started and runs to its end while its caller does something else; only where ``DIRECT``."""

    def __init__(self, command: Sequence[str], folder: str, environment: Mapping[str, str], stdin: bytes = b"") -> None:
        # Files in memory: a pipe is soon full, and a program that is not read from yet would wait.
        fed, self._out, self._said = (os.memfd_create(name) for name in ("fed", "out", "said"))
        try:
            with open(fed, "wb", closefd=False) as handle:
                handle.write(stdin)
            os.lseek(fed, 0, os.SEEK_SET)
            self._pid = _spawn(command, folder, environment, (fed, self._out, self._said))
        except BaseException:
            os.close(self._out)
            os.close(self._said)
            raise
        finally:
            os.close(fed)

    def answer(self) -> tuple[int, bytes, bytes]:
        """Exit status, output, complaints, when it has ended; to be asked once."""
        try:
            status = os.waitstatus_to_exitcode(os.waitpid(self._pid, 0)[1])
            return status, _all_of(self._out), _all_of(self._said)
        finally:
            os.close(self._out)
            os.close(self._said)


def _all_of(file: int) -> bytes:
    os.lseek(file, 0, os.SEEK_SET)
    with open(file, "rb", closefd=False) as handle:
        return handle.read()


def _spawn(command: Sequence[str], folder: str, environment: Mapping[str, str], ends: tuple[int, int, int]) -> int:
    """Start git in a folder (it goes there itself) with these three files as input, output and complaints."""
    program, *rest = command
    actions = [(os.POSIX_SPAWN_DUP2, end, at) for at, end in enumerate(ends)]
    return os.posix_spawn(program, (program, "-C", folder, *rest), environment, file_actions=actions)
