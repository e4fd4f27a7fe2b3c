"""The tests' own Python environment, made from the pinned list of packages. Standard library only."""

import fcntl
import hashlib
import importlib.util
import os
import shutil
import subprocess
import sys
from pathlib import Path

from tests.machine import CannotGoOn, install, say

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".test-venv"
PYTHON = VENV / "bin" / "python"
STAMP = VENV / "made-of"
LOCK = ROOT / "tests" / "requirements.lock"
PROJECT = ROOT / "pyproject.toml"


def ready() -> Path:
    """Answer the environment's Python, with every pinned package and the project itself installed.

    An environment that is broken, was changed by hand, lies elsewhere than it was made, or was made of
    another list or Python is made anew. A second start only reads the stamp; two starts at once wait for
    each other.
    """
    folder = os.open(ROOT, os.O_RDONLY)
    try:
        fcntl.flock(folder, fcntl.LOCK_EX)
        made_of, _, project = STAMP.read_text().partition("\n") if STAMP.exists() else ("", "", "")
        if not PYTHON.exists() or made_of != packages_digest():
            make()
            project = ""
        if project != digest(PROJECT.read_bytes()):
            install_project()
            stamp()
    finally:
        os.close(folder)
    return PYTHON


def digest(content: bytes) -> str:
    """Answer a digest of ``content``."""
    return hashlib.sha256(content).hexdigest()


def packages_digest() -> str:
    """Answer a digest of the list, the Python, the place, and what really lies in the environment."""
    lying_there = sorted(found.name for found in VENV.glob("lib/python*/site-packages/*"))
    facts = [digest(LOCK.read_bytes()), sys.version, str(VENV), *lying_there]
    return digest("\n".join(facts).encode())


def stamp() -> None:
    """Note in the environment what it is made of."""
    STAMP.write_text(f"{packages_digest()}\n{digest(PROJECT.read_bytes())}")


def make() -> None:
    """Make the environment in place of whatever is there, each package checked against its digest."""
    if importlib.util.find_spec("ensurepip") is None and not install("python3-venv"):
        message = "This Python cannot make environments: install the package python3-venv, then start again."
        raise CannotGoOn(message)
    say("Making the test environment in .test-venv; this takes about a minute ...")
    if VENV.exists():
        shutil.rmtree(VENV)
    run(sys.executable, "-m", "venv", str(VENV))
    pip_install("--require-hashes", "-r", str(LOCK))


def install_project() -> None:
    """Install the project itself so that its files are used where they lie."""
    pip_install("--no-deps", "--no-build-isolation", "-e", str(ROOT))


def pip_install(*what: str) -> None:
    """Install ``what`` with the environment's own pip."""
    quietly = ("-qq", "--disable-pip-version-check", "--no-input")
    run(str(PYTHON), "-m", "pip", *quietly, "install", "--no-compile", *what)


def write_lock() -> None:
    """Write the pinned list anew from the project file: one list for every Python, with no address."""
    uv = shutil.which("uv") or shutil.which("uv", path=str(Path(sys.executable).parent))
    if uv is None:
        message = "Writing the pinned list needs the program uv on the path (pip install uv)."
        raise CannotGoOn(message)
    wanted = ("--universal", "--python-version", "3.11", "--extra", "postgres", "--group", "dev", "--upgrade")
    bare = ("--generate-hashes", "--no-emit-index-url", "--no-annotate", "--no-header", "--quiet")
    run(uv, "pip", "compile", *wanted, *bare, str(PROJECT), "-o", str(LOCK))


def run(*command: str) -> None:
    """Run ``command``; if it fails, nothing further can be done."""
    no_downloads = {**os.environ, "UV_PYTHON_DOWNLOADS": "never"}
    if subprocess.run(command, cwd=ROOT, env=no_downloads, check=False).returncode != 0:
        message = f"This step failed: {' '.join(command)}"
        raise CannotGoOn(message)
