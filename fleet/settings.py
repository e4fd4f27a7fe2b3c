"""Settings: one frozen object, read once from a TOML file and the environment.

The environment goes before the file. Secrets come from the environment or from a file of their own, never
from the settings file, so that the settings file may be shown to anybody.
"""

from __future__ import annotations

import os
import re
import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from fleet.refusals import SettingsWrong

if TYPE_CHECKING:
    from collections.abc import Mapping

SECURITIES = ("starttls", "tls", "none")
DEFAULT_PORTS = {"starttls": 587, "tls": 465, "none": 25}
LETTERS_OFF = "Letters are off until mail.host or mail.folder is set."
# So begins the answer of a letter that went to mail.redirect_to instead of its reader.
REDIRECTED = "redirected to "
_DOMAIN = re.compile(r"[a-z0-9-]+(\.[a-z0-9-]+)*")
# It has to fit on one line of a letter.
LONGEST_ADDRESS = 60
# What a ping's address may hold: the characters of RFC 3986, and the braces of {site}.
_ADDRESS = re.compile(r"[A-Za-z0-9._~:/?#@!$&'()*+,;=%{}-]+")


@dataclass(frozen=True, slots=True)
class MailSettings:
    """How letters leave: to a host, or else into a folder as ``.eml`` files; with neither, letters are off.

    With ``allowed_domains`` an address elsewhere is refused; ``redirect_to`` gets every letter instead of
    its reader.
    """

    host: str | None
    port: int
    security: str
    user: str | None
    password: str | None = field(repr=False)
    sender: str
    folder: Path | None
    timeout_seconds: float
    allowed_domains: tuple[str, ...] = ()
    redirect_to: str | None = None

    @property
    def on(self) -> bool:
        """Whether letters are written and sent by the clock, and sent at all."""
        return self.host is not None or self.folder is not None


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
    ping: str | None = None
    """Where it is said that all letters of a week went out; ``{site}`` stands for a site's code."""
    pages: str | None = None
    """Where people reach the pages, for letters to say."""
    language: str = "en"
    """That of the pages: of the templates only, see ``fleet.pages.texts``."""


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
    "mail.allowed_domains",
    "mail.redirect_to",
    "duty.ping",
    "pages.address",
    "pages.language",
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
    ping, pages = _ping(values.get("duty.ping")), _pages(values.get("pages.address"))
    database = as_url(values["database"])
    language, acting = _language(values.get("pages.language")), values.get("acting")
    return Settings(database, acting, mail, years, path, origins, ping, pages, language)


def _language(written: str | None) -> str:
    """A language by its short name: it is part of a file's name, so nothing else may stand in it."""
    if written is None:
        return "en"
    if not re.fullmatch("[a-z]{2,3}(-[a-z]{2,4})?", written):
        raise SettingsWrong(f"pages.language is {written!r}; write a language such as en or de.")
    return written


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
        said = ", ".join(map(str, value)) if isinstance(value, list) else str(value)
        values[key], origins[key] = said, str(path)
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
        host=values.get("mail.host") or None,
        port=int(_number(values, "mail.port", DEFAULT_PORTS[security])),
        security=security,
        user=values.get("mail.user"),
        password=password,
        sender=values.get("mail.sender", "fleet@localhost.localdomain"),
        folder=Path(values["mail.folder"]).expanduser() if values.get("mail.folder") else None,
        timeout_seconds=_number(values, "mail.timeout_seconds", 60),
        allowed_domains=_domains(values.get("mail.allowed_domains")),
        redirect_to=values.get("mail.redirect_to"),
    )


def _domains(written: str | None) -> tuple[str, ...]:
    """Domains separated by commas, in small letters; an empty list would limit nothing, so it is refused."""
    if written is None:
        return ()
    found = [word.strip().removeprefix("@").lower() for word in written.split(",")]
    for domain in found:
        if not _DOMAIN.fullmatch(domain):
            raise SettingsWrong(
                f"mail.allowed_domains holds {domain!r}; write domains like tool-room.example, with commas "
                f"between them."
            )
    return tuple(dict.fromkeys(found))


def _ping(written: str | None) -> str | None:
    """The address to tell, which must be one of the web: nothing else is ever opened."""
    if not written:
        return None
    braces = written.replace("{site}", "")
    if not _of_the_web(written) or "{" in braces or "}" in braces:
        raise SettingsWrong(
            f"duty.ping is {written!r}; write an address that begins with https:// or http://, in which "
            f"{{site}} may stand for the code of the site."
        )
    return written


def _pages(written: str | None) -> str | None:
    """The address of the pages, without a slash at its end."""
    if not written:
        return None
    if not _of_the_web(written) or set("{}?#") & set(written) or len(written) > LONGEST_ADDRESS:
        raise SettingsWrong(
            f"pages.address is {written!r}; write an address like https://fleet.tool-room.example."
        )
    return written.rstrip("/")


def _of_the_web(written: str) -> bool:
    try:
        found = urlsplit(written)
        proper = found.scheme in ("http", "https") and bool(found.hostname) and found.port != 0
    except ValueError:
        return False
    return proper and bool(_ADDRESS.fullmatch(written))


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
