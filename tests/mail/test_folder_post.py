"""The folder into which a room without a mail server puts its letters."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from fleet.mail.messages import message_of
from fleet.mail.post import FolderPost, SmtpPost, post_of
from fleet.refusals import SettingsWrong
from fleet.rules.letters import Outcome
from tests.mail.facts import taken
from tests.mailserver import SENDER, mail_settings

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def folder(tmp_path: Path) -> FolderPost:
    return FolderPost(mail_settings(25, folder=str(tmp_path / "out" / "letters")))


def lying(tmp_path: Path) -> dict[str, bytes]:
    return {file.name: file.read_bytes() for file in (tmp_path / "out" / "letters").iterdir()}


def test_a_room_without_a_server_finds_its_letters_in_the_folder(folder: FolderPost, tmp_path: Path) -> None:
    delivery = folder.send(taken())

    assert delivery.outcome is Outcome.SENT
    assert lying(tmp_path) == {"NORTH-2026-W20-12-K1.eml": message_of(taken(), SENDER).as_bytes()}
    assert delivery.answer.endswith("NORTH-2026-W20-12-K1.eml")


def test_the_same_letter_twice_lies_there_once(folder: FolderPost, tmp_path: Path) -> None:
    assert folder.send(taken()) == folder.send(taken(turn=2))
    assert len(lying(tmp_path)) == 1


def test_a_further_copy_lies_beside_the_first(folder: FolderPost, tmp_path: Path) -> None:
    folder.send(taken())
    folder.send(taken(copy_no=2, message_id="<weekly-2@tool-room.example>"))

    assert sorted(lying(tmp_path)) == ["NORTH-2026-W20-12-K1-copy2.eml", "NORTH-2026-W20-12-K1.eml"]


@pytest.mark.parametrize(
    "badge", ["../../etc/passwd", "/abs", "..", "a\x00b", "K1\nK2", "K" * 500, "CON", ""]
)
def test_a_badge_cannot_lead_out_of_the_folder(badge: str, folder: FolderPost, tmp_path: Path) -> None:
    assert folder.send(taken(badge=badge, site=badge)).outcome is Outcome.SENT
    assert len(lying(tmp_path)) == 1


def test_two_badges_that_look_alike_as_files_both_get_theirs(folder: FolderPost, tmp_path: Path) -> None:
    one = taken(badge="K/1", message_id="<weekly-1@tool-room.example>")
    two = taken(badge="K?1", message_id="<weekly-2@tool-room.example>")

    for letter in (one, two, one, two):
        assert folder.send(letter).outcome is Outcome.SENT
    assert len(lying(tmp_path)) == 2


def test_no_half_written_letter_is_ever_seen(folder: FolderPost, tmp_path: Path) -> None:
    for number in range(20):
        folder.send(taken(number=number))

    assert all(name.endswith(".eml") and not name.startswith(".") for name in lying(tmp_path))


def test_a_folder_that_cannot_be_written_to_is_our_fault(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    post = FolderPost(mail_settings(25, folder=str(tmp_path / "file" / "letters")))

    assert post.send(taken()).outcome is Outcome.OUR_CONFIGURATION


def test_what_is_no_longer_ours_is_not_put_into_the_folder(folder: FolderPost, tmp_path: Path) -> None:
    assert folder.send(taken(), lambda _letter: False).outcome is Outcome.NOT_OURS
    assert not (tmp_path / "out").exists()


def test_the_settings_decide_which_post_goes(tmp_path: Path) -> None:
    assert isinstance(post_of(mail_settings(25)), SmtpPost)
    assert isinstance(post_of(mail_settings(25, host="", folder=str(tmp_path))), FolderPost)


def test_letters_without_a_sender_do_not_go() -> None:
    with pytest.raises(SettingsWrong, match=r"mail\.sender is 'nobody'; write an address like"):
        post_of(mail_settings(25, sender="nobody"))
