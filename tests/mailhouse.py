"""A mail house for one test: Debian's mail server on this machine, delivering into mailboxes of its own.

It runs from a folder of its own, under an account without rights, and neither it nor its folder outlives the
test. Its files are those that ``tests.machine`` laid out; nothing of it is installed.
"""

from __future__ import annotations

import mailbox
import os
import pwd
import shutil
import signal
import subprocess
import tempfile
import time
from contextlib import contextmanager
from dataclasses import dataclass
from email import message_from_bytes
from email.policy import default
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tests.machine import is_root, mail_server_program
from tests.mailserver import HOST, free_port

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from email.message import EmailMessage

DOMAIN = "tool-room.example"
# One mailbox of each common kind: a file per message, and all messages in one file (RFC 4155).
FOLDER_USER, FILE_USER = "kim", "pat"
# Whoever's name begins with ``reader-`` shares a third one.
LONGEST_MESSAGE = 200_000
# The server looks up its own account by this name; it is given whichever one runs it.
ACCOUNT = "Debian-exim"

CONFIGURATION = """
exim_path = {folder}/exim4
spool_directory = {folder}/spool
log_file_path = {folder}/log-%s
pid_file_path = {folder}/pid
keep_environment = LD_PRELOAD : LD_LIBRARY_PATH : NSS_WRAPPER_PASSWD : NSS_WRAPPER_GROUP
deliver_drop_privilege
primary_hostname = mail.{domain}
local_interfaces = {host}
message_size_limit = {longest}
{encryption}
acl_smtp_rcpt = recipient

begin acl
recipient:
  accept verify = recipient

begin routers
folder:
  driver = accept
  domains = {domain}
  local_parts = {folder_user}
  transport = folder
file:
  driver = accept
  domains = {domain}
  local_parts = {file_user}
  transport = file
readers:
  driver = accept
  domains = {domain}
  local_parts = ^reader-
  transport = readers

begin transports
readers:
  driver = appendfile
  maildir_format
  directory = {folder}/readers
  create_directory
folder:
  driver = appendfile
  maildir_format
  directory = {folder}/{folder_user}
  create_directory
file:
  driver = appendfile
  file = {folder}/{file_user}
"""


@dataclass
class MailHouse:
    """A running mail server: its port, and what lies in its mailboxes."""

    folder: Path
    port: int

    def log(self) -> str:
        """What it has written down so far."""
        return "".join(file.read_text(errors="replace") for file in sorted(self.folder.glob("log-*")))

    def settle(self, answer: str) -> None:
        """Wait until the message that was taken with this answer has been dealt with to the end."""
        number = answer.rpartition("id=")[2]
        assert number, answer
        wait_for(lambda: f" {number} Completed\n" in self.log(), self.log)

    def waiting(self) -> list[str]:
        """The messages that were taken and not delivered."""
        return [file.name for file in (self.folder / "spool" / "input").rglob("*-H")]

    def lying(self, user: str) -> list[EmailMessage]:
        """What lies in a user's mailbox, as that kind of mailbox is read."""
        place = self.folder / user
        if not place.exists():
            return []
        box: mailbox.Mailbox[Any] = mailbox.mbox(place) if user == FILE_USER else mailbox.Maildir(place)
        try:
            return [message_from_bytes(box.get_bytes(key), policy=default) for key in box.keys()]  # noqa: SIM118  It is no dict.
        finally:
            box.close()


@contextmanager
def mail_house(certificate: Path | None = None) -> Iterator[MailHouse]:
    """A mail server that delivers locally; with a certificate (and its key) it offers STARTTLS."""
    program = mail_server_program()
    assert program, "python3 -m tests fetches it"
    with tempfile.TemporaryDirectory(prefix="fleet-mail-", dir="/tmp") as place:
        house = MailHouse(Path(place), free_port())
        account = pwd.getpwnam("nobody") if is_root() else pwd.getpwuid(os.geteuid())
        environment = furnish(house.folder, program, certificate, account)
        lent: dict[str, Any] = {}
        if is_root():
            lent = {"user": account.pw_uid, "group": account.pw_gid, "extra_groups": []}
        command = [f"{place}/exim4", "-C", f"{place}/conf", "-bdf", "-oX", str(house.port)]
        with (house.folder / "log-said").open("wb") as output:
            server = subprocess.Popen(
                command, env=environment, stdout=output, stderr=output, start_new_session=True, **lent
            )
        try:
            wait_for(lambda: server.poll() is not None or "listening for SMTP" in house.log(), house.log)
            assert server.poll() is None, house.log()
            yield house
        finally:
            # With those that answer a line each: they would write into the folder that is to go.
            os.killpg(server.pid, signal.SIGKILL)
            server.wait()


def furnish(
    folder: Path, program: Path, certificate: Path | None, account: pwd.struct_passwd
) -> dict[str, str]:
    """Lay everything into the server's folder, which the account owns; answer the server's environment."""
    files = [program, *program.parents[2].glob("usr/lib/*/*.so*"), *program.parents[2].glob("lib/*/*.so*")]
    for file in files:
        shutil.copyfile(file, folder / file.name)
    # Without the mark that would make it run as root.
    (folder / program.name).chmod(0o755)
    encryption = "tls_advertise_hosts ="
    if certificate:
        shutil.copyfile(certificate, folder / "certificate.pem")
        encryption = f"tls_certificate = {folder}/certificate.pem"
    said = {
        "folder": folder,
        "encryption": encryption,
        "domain": DOMAIN,
        "host": HOST,
        "longest": LONGEST_MESSAGE,
    }
    users = {"folder_user": FOLDER_USER, "file_user": FILE_USER}
    (folder / "conf").write_text(CONFIGURATION.format(**said, **users))
    (folder / "accounts").write_text(f"{ACCOUNT}:x:{account.pw_uid}:{account.pw_gid}::/:/bin/false\n")
    (folder / "groups").write_text(f"{ACCOUNT}:x:{account.pw_gid}:\n")
    for path in (folder, *folder.iterdir()):
        os.chown(path, account.pw_uid, account.pw_gid)
    return {
        "PATH": os.environ["PATH"],
        "LD_PRELOAD": "libnss_wrapper.so",
        "LD_LIBRARY_PATH": str(folder),
        "NSS_WRAPPER_PASSWD": str(folder / "accounts"),
        "NSS_WRAPPER_GROUP": str(folder / "groups"),
    }


def wait_for(come: Callable[[], object], told: Callable[[], str]) -> None:
    """Wait until something has come; if it never does, say what was told meanwhile."""
    for _ in range(1500):
        if come():
            return
        time.sleep(0.02)
    raise AssertionError(told())
