"""Settings: one frozen object, read once from a TOML file and the environment.

The environment goes before the file. Secrets come from the environment or from a file of their own, never
from the settings file, so that the settings file may be shown to anybody.
"""

from __future__ import annotations

import os
import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from fleet.refusals import SettingsWrong

if TYPE_CHECKING:
    from collections.abc import Mapping

SECURITIES = ("starttls", "tls", "none")
DEFAULT_PORTS = {"starttls": 587, "tls": 465, "none": 25}


@dataclass(frozen=True, slots=True)
class MailSettings:
    """How letters leave. Without a host they go to a folder as ``.eml`` files."""

    host: str | None
    port: int
    security: str
    user: str | None
    password: str | None = field(repr=False)
    sender: str
    folder: Path
    timeout_seconds: float


@dataclass(frozen=True, slots=True)
class Settings:
    """Everything that can be set, and where each value came from."""

    database: str
    acting: str | None
    mail: MailSettings
    retention_years: Mapping[str, str]
    """As written; the rules of retention read it."""
    file: Path
    origins: Mapping[str, str] = field(default_factory=dict)


KEYS = (
    "database",
    "acting",
    "mail.host",
    "mail.port",
    "mail.security",
    "mail.user",
    "mail.password_file",
    "mail.sender",
    "mail.folder",
    "mail.timeout_seconds",
    "retention.inspections",
    "retention.proof_tests",
    "retention.calibrations",
    "retention.repairs",
    "retention.loans_and_use",
    "retention.holds_and_concessions",
    "retention.impact_reviews",
    "retention.letters",
    "retention.day_book",
)
_RETENTION = "retention."


def data_folder() -> Path:
    """The user's own folder for databases and letters."""
    import platformdirs  # noqa: PLC0415  Kept out of the start of every command.

    return Path(platformdirs.user_data_path("fleet"))


def settings_file(env: Mapping[str, str]) -> Path:
    """The settings file: ``FLEET_SETTINGS``, or ``settings.toml`` in the user's configuration folder."""
    if named := env.get("FLEET_SETTINGS"):
        return Path(named)
    import platformdirs  # noqa: PLC0415  As above.

    return Path(platformdirs.user_config_path("fleet")) / "settings.toml"


def read_settings(env: Mapping[str, str] | None = None, *, database: str | None = None) -> Settings:
    """Read the settings once. ``database`` (a URL or a file) goes before everything else."""
    env = os.environ if env is None else env
    path = settings_file(env)
    values, origins = _gather(path, env)
    if database:
        values["database"], origins["database"] = database, "the command line"
    if "database" not in values:
        values["database"], origins["database"] = str(data_folder() / "fleet.db"), "default"
    mail = _mail(values, origins, env)
    years = {
        key.removeprefix(_RETENTION): value for key, value in values.items() if key.startswith(_RETENTION)
    }
    return Settings(as_url(values["database"]), values.get("acting"), mail, years, path, origins)


def as_url(database: str) -> str:
    """A database URL from a URL or the path of an SQLite file."""
    if database.startswith("postgresql://"):
        return database.replace("postgresql://", "postgresql+psycopg://", 1)
    if "://" in database:
        if database.startswith(("sqlite://", "postgresql+psycopg://")):
            return database
        scheme = database.split("://", 1)[0]
        raise SettingsWrong(f"The database must be a file or a postgresql:// address, not {scheme}://.")
    return f"sqlite:///{Path(database).expanduser().absolute()}"


def show_database(url: str) -> str:
    """The database as people know it: the path of a file, or an address without its password."""
    from sqlalchemy.engine import make_url  # noqa: PLC0415  Kept out of the start of every command.

    found = make_url(url)
    if found.get_backend_name() == "sqlite":
        return found.database or "a database in memory"
    return found.set(drivername="postgresql").render_as_string(hide_password=True)


def _gather(path: Path, env: Mapping[str, str]) -> tuple[dict[str, str], dict[str, str]]:
    """Known keys from the file, then from the environment (``FLEET_MAIL_HOST`` for ``mail.host``)."""
    values: dict[str, str] = {}
    origins: dict[str, str] = {}
    for key, value in _flat(_read_toml(path)).items():
        if key == "mail.password":
            raise SettingsWrong(
                f"{path} holds the mail password. Put it in FLEET_MAIL_PASSWORD, or name a file in "
                f"mail.password_file, and remove it there."
            )
        if key not in KEYS:
            raise SettingsWrong(f"{path} sets {key!r}, which is not a setting. Known: {', '.join(KEYS)}.")
        values[key], origins[key] = str(value), str(path)
    for key in KEYS:
        name = "FLEET_" + key.upper().replace(".", "_")
        if env.get(name):
            values[key], origins[key] = env[name], name
    return values, origins


def _read_toml(path: Path) -> dict[str, object]:
    try:
        return tomllib.loads(path.read_text("utf-8"))
    except FileNotFoundError:
        return {}
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise SettingsWrong(f"The settings file {path} cannot be read: {error}.") from error


def _flat(tree: Mapping[str, object], prefix: str = "") -> dict[str, object]:
    flat: dict[str, object] = {}
    for key, value in tree.items():
        if isinstance(value, dict):
            flat |= _flat(value, f"{prefix}{key}.")
        else:
            flat[prefix + key] = value
    return flat


def _mail(values: Mapping[str, str], origins: dict[str, str], env: Mapping[str, str]) -> MailSettings:
    security = values.get("mail.security", "starttls")
    if security not in SECURITIES:
        raise SettingsWrong(f"mail.security is {security!r}; it must be one of {', '.join(SECURITIES)}.")
    password, origin = _password(values, env)
    if origin:
        origins["mail.password"] = origin
    return MailSettings(
        host=values.get("mail.host"),
        port=int(_number(values, "mail.port", DEFAULT_PORTS[security])),
        security=security,
        user=values.get("mail.user"),
        password=password,
        sender=values.get("mail.sender", "fleet@localhost.localdomain"),
        folder=Path(values.get("mail.folder") or data_folder() / "letters").expanduser(),
        timeout_seconds=_number(values, "mail.timeout_seconds", 60),
    )


def _password(values: Mapping[str, str], env: Mapping[str, str]) -> tuple[str | None, str | None]:
    if env.get("FLEET_MAIL_PASSWORD"):
        return env["FLEET_MAIL_PASSWORD"], "FLEET_MAIL_PASSWORD"
    if named := values.get("mail.password_file"):
        try:
            return Path(named).expanduser().read_text("utf-8").strip(), named
        except (OSError, UnicodeDecodeError) as error:
            raise SettingsWrong(f"The mail password file {named} cannot be read: {error}.") from error
    return None, None


def _number(values: Mapping[str, str], key: str, default: float) -> float:
    try:
        number = float(values.get(key, default))
    except ValueError:
        raise SettingsWrong(f"{key} must be a number, not {values[key]!r}.") from None
    if not 0 < number <= 65535:  # noqa: PLR2004  The largest port; also a sane time-out.
        raise SettingsWrong(f"{key} must be between 1 and 65535, not {values[key]!r}.")
    return number
