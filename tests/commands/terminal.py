"""A terminal of 80 columns with the real program in it."""

from __future__ import annotations

import fcntl
import os
import pty
import re
import select
import signal
import struct
import subprocess
import sys
import termios
from typing import TYPE_CHECKING

from tests.commands.typed import ROOT

if TYPE_CHECKING:
    from collections.abc import Mapping

COLUMNS = 80
CTRL_C = "\x03"
# Longer than a program that heard it takes to end, also where much else runs.
PRESSED_AGAIN_S = 8.0


def on_a_terminal(
    *words: str, keys: str = "", at: str = "[y/N]", env: Mapping[str, str] | None = None
) -> tuple[int, str]:
    """Answer the exit code and all that was shown, prompts and refusals included.

    ``keys`` are typed when a question is asked, which is seen by ``at``.
    """
    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 40, COLUMNS, 0, 0))
    clean = {"PATH": os.environ["PATH"], "FLEET_SETTINGS": "/nowhere", "TERM": "xterm", **(env or {})}
    command = [sys.executable, "-m", "fleet", *words]
    started = subprocess.Popen(
        command, cwd=ROOT, env=clean, stdin=theirs, stdout=theirs, stderr=theirs, start_new_session=True
    )
    os.close(theirs)
    shown, asked = b"", False
    while True:
        if asked and keys == CTRL_C and not select.select([ours], [], [], PRESSED_AGAIN_S)[0]:
            # Between its prompt and its read a program only notes a signal: who sees nothing presses again.
            started.send_signal(signal.SIGINT)
            continue
        try:
            part = os.read(ours, 65536)
        except OSError:  # Its last writer has gone.
            break
        if not part:
            break
        shown += part
        if keys and at.encode() in shown and not asked:
            asked = True
            # Not the terminal that the process belongs to, so the signal is sent as that would send it.
            started.send_signal(signal.SIGINT) if keys == CTRL_C else os.write(ours, keys.encode())
    os.close(ours)
    text = re.sub(r"\x1b\[[0-9;?]*[a-zA-Z]", "", shown.decode()).replace("\r\n", "\n")
    return started.wait(), text
