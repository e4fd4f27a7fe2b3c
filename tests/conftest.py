"""What every test may ask for: the size of the proofs, and a database on each engine."""

import os
import signal
import socket
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from fleet.room import Room, open_room, upgrade_database
from fleet.settings import read_settings
from tests import postgres
from tests.databases import ENGINES, Databases, Migrate
from tests.machine import quickest_folder
from tests.shop import Clock, Shop

# --- The run ------------------------------------------------------------------------------------------------

settings.register_profile(
    "quick",
    max_examples=50,
    deadline=None,  # A test asserts no time.
    suppress_health_check=[HealthCheck.too_slow],
    derandomize="CI" in os.environ,  # The gate judges the change; luck is for the runs at the desk.
)
settings.register_profile("deep", settings.get_profile("quick"), max_examples=2000, derandomize=False)

DOORKEEPER = pytest.StashKey["subprocess.Popen[bytes]"]()


def pytest_addoption(parser: pytest.Parser) -> None:
    """Let the person at the terminal ask for the long proofs."""
    parser.addoption("--deep", action="store_true", help="run the long proofs at full size")


@pytest.hookimpl(tryfirst=True)
def pytest_configure(config: pytest.Config) -> None:
    """Set the size of the proofs, and open the door to PostgreSQL once for all processes of the run."""
    # In the background of a shell Ctrl-C is ignored, and whatever program a test starts would ignore it too.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    deep = bool(config.getoption("deep"))
    settings.load_profile("deep" if deep else "quick")
    if deep and config.option.timeout is None:
        config.option.timeout = 3600.0
    if hasattr(config, "workerinput") or postgres.NAMED in os.environ:
        return
    config.stash[DOORKEEPER] = open_door(Path(tempfile.mkdtemp(prefix="fleet-", dir=quickest_folder())))


def open_door(folder: Path) -> "subprocess.Popen[bytes]":
    """Start the process that starts PostgreSQL when a test asks; a socket's path has to be short."""
    os.environ[postgres.DOOR] = f"{folder}/door"
    with socket.socket(socket.AF_UNIX) as door:
        door.bind(os.environ[postgres.DOOR])
        door.listen()
        command = [sys.executable, "-m", "tests.postgres", str(folder), str(door.fileno())]
        return subprocess.Popen(
            command,
            cwd=Path(__file__).parent.parent,
            stdin=subprocess.PIPE,
            pass_fds=[door.fileno()],
            start_new_session=True,  # Ctrl-C is for the tests; the server goes when they have gone.
        )


def pytest_unconfigure(config: pytest.Config) -> None:
    """Let the doorkeeper go, and with it the server."""
    keeper = config.stash.get(DOORKEEPER, None)
    if keeper is not None:
        keeper.communicate()


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Say loudly what was not run: nobody may take a skipped proof for a passed one."""
    reasons = Counter(str(report.longrepr[2]) for report in terminalreporter.stats.get("skipped", []))
    for reason, number in sorted(reasons.items()):
        line = f"NOT RUN: {number} of the tests: {reason.removeprefix('Skipped: ')}"
        terminalreporter.write_line(line, red=True, bold=True)


@pytest.fixture(scope="session")
def deep(request: pytest.FixtureRequest) -> bool:
    """Whether the long proofs are to run at full size."""
    return bool(request.config.getoption("deep"))


# --- Databases ----------------------------------------------------------------------------------------------


@pytest.fixture(scope="session")
def databases() -> Iterator[Databases]:
    """Make databases for this process."""
    with tempfile.TemporaryDirectory(prefix="fleet-", dir=quickest_folder()) as folder:
        made = Databases(Path(folder))
        yield made
        made.drop_templates()


@pytest.fixture(params=ENGINES)
def engine_name(request: pytest.FixtureRequest, databases: Databases) -> str:
    """Name each engine in turn; without PostgreSQL its half is skipped, and fails where nothing may be."""
    name = str(request.param)
    if name == "postgres":
        try:
            databases.server()
        except postgres.Unavailable as reason:
            message = f"needs PostgreSQL: {reason}"
            if "CI" in os.environ:
                pytest.fail(message)
            pytest.skip(message)
    return name


@pytest.fixture
def database_url(engine_name: str, databases: Databases) -> Iterator[str]:
    """Answer the address of a fresh, empty database."""
    address = databases.empty(engine_name)
    yield address
    databases.drop(address)


@pytest.fixture
def migrated_template(databases: Databases) -> Iterator[Callable[[str, Migrate], str]]:
    """Answer a function: engine name and ``migrate`` in, address of a fresh migrated database out."""
    given: list[str] = []

    def copy(engine: str, migrate: Migrate) -> str:
        given.append(databases.copy(engine, migrate))
        return given[-1]

    yield copy
    for address in given:
        databases.drop(address)


# --- The room -----------------------------------------------------------------------------------------------


def migrate(address: str) -> None:
    """Bring an empty database to the newest schema."""
    upgrade_database(read_settings({"FLEET_SETTINGS": "/nowhere"}, database=address))


@pytest.fixture
def clock() -> Clock:
    """A clock that stands still until a test moves it."""
    return Clock()


@pytest.fixture
def room(
    engine_name: str,
    migrated_template: Callable[[str, Migrate], str],
    clock: Clock,
    tmp_path: Path,
) -> Iterator[Room]:
    """An empty tool room of the newest schema, on each engine in turn."""
    env = {"FLEET_SETTINGS": "/nowhere", "FLEET_MAIL_FOLDER": str(tmp_path / "letters")}
    opened = open_room(read_settings(env, database=migrated_template(engine_name, migrate)), clock=clock)
    yield opened
    opened.close()


@pytest.fixture
def shop(room: Room) -> Shop:
    """Something to fill the room with."""
    return Shop(room)
