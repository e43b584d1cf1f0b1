"""A person at a pseudo-terminal: waits for a question, types an answer, or presses Ctrl-C."""

from __future__ import annotations

import os
import pty
import re
import select
import signal
import subprocess
import sys
import time
from pathlib import Path

PATIENCE_S = 60.0  # a bound on hanging, not a measure of speed


class Person:
    """Runs ``chaffinch …`` on a terminal of its own."""

    def __init__(self, *arguments: str, folder: Path, stdout: Path | None = None) -> None:
        self.master, slave = pty.openpty()
        env = os.environ | {"COLUMNS": "80", "NO_COLOR": "1", "TERM": "dumb", "PYTHONIOENCODING": "utf-8"}
        env.pop("CHAFFINCH_BOOK", None)
        self.process = subprocess.Popen(
            [sys.executable, "-m", "chaffinch", *arguments],
            stdin=slave,
            stdout=slave,
            stderr=slave,
            cwd=folder,
            env=env,
            start_new_session=True,
            preexec_fn=_own_terminal,  # noqa: PLW1509 - the tests run no threads
        )
        os.close(slave)
        self.seen = ""
        self._read_to = 0

    def sees(self, pattern: str) -> str:
        """Wait until the pattern appears after what was seen before; return the text up to its end."""
        deadline = time.monotonic() + PATIENCE_S
        while True:
            match = re.search(pattern, self.seen[self._read_to :], re.DOTALL)
            if match:
                text = self.seen[self._read_to : self._read_to + match.end()]
                self._read_to += match.end()
                return text
            assert time.monotonic() < deadline, (
                f"waited for {pattern!r}; on the terminal: {self.seen[self._read_to :]!r}"
            )
            assert self._more(), f"ended before {pattern!r}; on the terminal: {self.seen[self._read_to :]!r}"

    def types(self, question: str, text: str) -> None:
        """Wait for a question, then type an answer and Enter."""
        self.sees(question)
        self.says(text)

    def says(self, text: str) -> None:
        """Type an answer and Enter."""
        os.write(self.master, text.encode() + b"\n")

    def interrupts(self, question: str) -> None:
        """Wait for a question, then press Ctrl-C."""
        self.sees(question)
        # A person needs a moment; in the instant between prompt and read a signal waits for the next key.
        time.sleep(0.3)
        os.write(self.master, b"\x03")

    def ends_input(self, question: str) -> None:
        """Wait for a question, then press Ctrl-D."""
        self.sees(question)
        os.write(self.master, b"\x04")

    def leaves(self) -> tuple[int, str]:
        """Wait for the end; return exit status and all that was not looked at yet."""
        deadline = time.monotonic() + PATIENCE_S
        while self._more():
            assert time.monotonic() < deadline, f"does not end; on the terminal: {self.seen[self._read_to :]!r}"
        status = self.process.wait(timeout=PATIENCE_S)
        os.close(self.master)
        return status, self.seen[self._read_to :].replace("\r\n", "\n")

    def _more(self) -> bool:
        ready, _, _ = select.select([self.master], [], [], 1.0)
        if not ready:
            return True
        try:
            data = os.read(self.master, 65536)
        except OSError:  # Linux: the other end was closed
            return False
        self.seen += data.decode("utf-8", "replace")
        return bool(data)


def _own_terminal() -> None:
    """Make the pseudo-terminal the controlling one, so that Ctrl-C typed there becomes a signal."""
    import fcntl
    import termios

    fcntl.ioctl(0, termios.TIOCSCTTY, 0)
    signal.signal(signal.SIGINT, signal.default_int_handler)
