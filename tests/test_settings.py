"""Settings as a keeper writes them: in a file, or in the environment."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from fleet.refusals import SettingsWrong
from fleet.settings import Settings, read_settings

if TYPE_CHECKING:
    from pathlib import Path


def read(**env: str) -> Settings:
    said = {f"FLEET_{name.upper()}": value for name, value in env.items()}
    return read_settings({"FLEET_SETTINGS": "/nowhere"} | said, database="unused.db")


def in_file(folder: Path, content: str) -> Settings:
    path = folder / "settings.toml"
    path.write_text(content, encoding="utf-8")
    return read_settings({"FLEET_SETTINGS": str(path)}, database="unused.db")


# --- On or off ----------------------------------------------------------------------------------------------


def test_letters_are_off_until_a_host_or_a_folder_is_set() -> None:
    assert not read().mail.on
    assert not read(mail_sender="fleet@tool-room.example", mail_port="2525", mail_user="fleet").mail.on
    assert read(mail_host="mail.example").mail.on
    assert read(mail_folder="/srv/letters").mail.on


def test_an_empty_host_is_none(tmp_path: Path) -> None:
    assert not in_file(tmp_path, '[mail]\nhost = ""\nfolder = ""\n').mail.on


# --- Whom letters may reach ---------------------------------------------------------------------------------


def test_domains_are_separated_by_commas_in_any_case() -> None:
    asked = read(mail_allowed_domains="Tool-Room.Example, @site.example,tool-room.example")
    assert asked.mail.allowed_domains == ("tool-room.example", "site.example")
    assert read().mail.allowed_domains == ()


def test_a_list_of_domains_may_be_a_list_in_the_file(tmp_path: Path) -> None:
    found = in_file(tmp_path, '[mail]\nallowed_domains = ["a.example", "b.example"]\n')
    assert found.mail.allowed_domains == ("a.example", "b.example")


@pytest.mark.parametrize("written", [",", "a.example,", "kim@a.example", "*.example", "a.example b.example"])
def test_a_domain_that_is_none_is_refused_and_never_means_all(written: str) -> None:
    with pytest.raises(SettingsWrong, match=r"^mail\.allowed_domains holds "):
        read(mail_allowed_domains=written)


@pytest.mark.parametrize("content", ["allowed_domains = []", 'allowed_domains = ""'])
def test_no_domain_at_all_is_refused(tmp_path: Path, content: str) -> None:
    with pytest.raises(SettingsWrong, match="write domains like"):
        in_file(tmp_path, f"[mail]\n{content}\n")


def test_another_address_for_every_letter_is_read() -> None:
    assert read().mail.redirect_to is None
    assert read(mail_redirect_to="me@tool-room.example").mail.redirect_to == "me@tool-room.example"


# --- The ping -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "written",
    [
        "https://watch.example/in/4711",
        "http://127.0.0.1:8080/",
        "https://watch.example/{site}?from=fleet",
        "https://watch.example",
    ],
)
def test_an_address_of_the_web_may_be_pinged(written: str) -> None:
    assert read(duty_ping=written).ping == written
    assert read().ping is None


@pytest.mark.parametrize(
    "written",
    [
        "file:///etc/passwd",
        "ftp://watch.example/x",
        "watch.example/x",
        "https://",
        "https:///x",
        "https://watch.example/{week}",
        "https://watch.example/{",
        "https://watch.example/a b",
        "https://watch.example/a\nHost: other",
        "https://watch.example:port/",
        "https://watch.example:0/",
        "https://[::1/",
        "javascript:alert(1)",
    ],
)
def test_anything_else_is_refused_when_it_is_read(written: str) -> None:
    with pytest.raises(SettingsWrong, match=r"^duty\.ping is .*begins with https:// or http://"):
        read(duty_ping=written)


def test_the_address_of_the_pages_is_kept_without_its_last_slash() -> None:
    assert read().pages is None
    assert read(pages_address="https://fleet.tool-room.example/").pages == "https://fleet.tool-room.example"


@pytest.mark.parametrize(
    "written",
    [
        "fleet.example",
        "javascript:alert(1)",
        "https://fleet.example/?a=1",
        "https://a b",
        "https://" + "x" * 100,
    ],
)
def test_another_address_of_the_pages_is_refused(written: str) -> None:
    with pytest.raises(SettingsWrong, match=r"^pages\.address is "):
        read(pages_address=written)


def test_the_language_of_the_pages_is_a_short_name_and_english_when_nothing_is_set() -> None:
    assert read().language == "en"
    assert read(pages_language="pt-br").language == "pt-br"
    for written in ("../de", "German", "d"):
        with pytest.raises(SettingsWrong, match="write a language such as en or de"):
            read(pages_language=written)
