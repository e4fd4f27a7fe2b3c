"""The demo opens its pages, and everybody of it can log in as it says."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pyotp

from tests.pages.browsing import Browser

FLEET = Path(sys.executable).with_name("fleet")


def test_the_demo_opens_with_a_log_in_for_each_role(tmp_path: Path) -> None:
    env = {"PATH": os.environ["PATH"], "FLEET_SETTINGS": "/nowhere", "PYTHONUNBUFFERED": "1"}
    command = [str(FLEET), "demo", "--serve", "--port", "0", "--folder", str(tmp_path / "demo")]
    with subprocess.Popen(
        command,
        env=env,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    ) as process:
        watch = threading.Timer(100, process.kill)
        watch.start()
        said = ""
        assert process.stdout
        for line in process.stdout:
            said += line
            if "key for any authenticator" in line:
                break
        address = re.search(r"Serving http://127\.0\.0\.1:(\d+)/", said)
        assert address, said
        logins = re.findall(r"badge (\S+)   password (\S+)", said)
        assert [badge for badge, _ in logins] == ["N11", "N21", "N31", "N41"]
        key = re.search(r"authenticator: ([A-Z2-7]+)", said)
        assert key
        for badge, password in logins:
            browser = Browser(int(address[1]))
            # The code of this half minute was used up when the demo was made.
            later = pyotp.TOTP(key[1]).at(time.time() + 30)
            more = {"code": later} if badge == "N31" else {}
            if badge != "N41":
                assert browser.log_in(badge, password, **more).status == 303, badge
                assert browser.get("/").status == 200
        process.send_signal(signal.SIGINT)
        assert process.stdout.read().rstrip().endswith("Stopped.")
        watch.cancel()
    assert process.returncode == 0
