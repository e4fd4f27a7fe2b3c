"""Letters to one address instead of their readers, or only to some domains: against a real mail server."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from fleet.mail.post import FolderPost, SmtpPost, nobody_elses
from fleet.mail.redirecting import RedirectingPost, post_for
from fleet.refusals import SettingsWrong
from fleet.rules.letters import Delivery, Outcome
from tests.letterdesk import Outbox
from tests.mail.facts import taken
from tests.mailserver import mail_server, mail_settings

if TYPE_CHECKING:
    from pathlib import Path

ME = "me@tool-room.example"


def test_without_limits_it_is_the_plain_post(tmp_path: Path) -> None:
    assert isinstance(post_for(mail_settings(25)), SmtpPost)
    in_folder = replace(mail_settings(25), host=None, folder=tmp_path)
    assert isinstance(post_for(in_folder), FolderPost)


def test_there_is_no_post_while_letters_are_off() -> None:
    off = replace(mail_settings(25), host=None)
    with pytest.raises(SettingsWrong, match=r"^Letters are off until mail\.host or mail\.folder is set\.$"):
        post_for(off, redirect_to=ME)


# --- One address for all ------------------------------------------------------------------------------------


@pytest.mark.parametrize("said", ["by the setting", "for one run", "for one run before the setting"])
def test_every_letter_goes_to_the_one_address_and_names_its_reader(said: str) -> None:
    with mail_server() as server:
        setting = {"by the setting": ME, "for one run": None}.get(said, "other@tool-room.example")
        mail = replace(mail_settings(server.port), redirect_to=setting)
        post = post_for(mail, redirect_to=None if said == "by the setting" else ME)
        with post.together():
            delivery = post.send(taken(), nobody_elses)

        assert delivery == Delivery(Outcome.SENT, f"redirected to {ME}: 250 2.0.0 queued as 4711")
        assert server.box.recipients == [ME]
        (letter,) = server.box.letters()
        (to,) = letter["To"].addresses
        assert to.addr_spec == ME
        assert to.display_name == "Kim Keeper, instead of kim@tool-room.example"
        assert server.box.message_ids() == [taken().message_id]


def test_what_the_server_says_is_kept_behind_where_it_went() -> None:
    outbox = Outbox([Delivery(Outcome.REFUSED, "550 5.1.1 No such user")])
    delivery = RedirectingPost(outbox, (), ME).send(taken(), nobody_elses)
    assert delivery == Delivery(Outcome.REFUSED, f"redirected to {ME}: 550 5.1.1 No such user")


def test_a_letter_that_is_no_longer_ours_goes_nowhere() -> None:
    outbox = Outbox()
    RedirectingPost(outbox, (), ME).send(taken(), lambda _letter: False)
    assert outbox.taken == []


@pytest.mark.parametrize("address", ["", "me", "me@tool-room.example, you@tool-room.example"])
def test_what_is_no_address_is_refused_before_anything_is_sent(address: str) -> None:
    with pytest.raises(SettingsWrong, match=r"Letters cannot be redirected to .*write one e-mail address"):
        post_for(replace(mail_settings(25), redirect_to=address))
    with pytest.raises(SettingsWrong, match="write one e-mail address"):
        post_for(mail_settings(25), redirect_to=address)


# --- Some domains only --------------------------------------------------------------------------------------


def limited(*domains: str) -> tuple[RedirectingPost, Outbox]:
    outbox = Outbox()
    return RedirectingPost(outbox, domains, None), outbox


@pytest.mark.parametrize("address", ["kim@tool-room.example", "kim@Tool-Room.EXAMPLE", "k@site.example"])
def test_an_address_at_an_allowed_domain_is_written_to(address: str) -> None:
    post, outbox = limited("tool-room.example", "site.example")
    assert post.send(taken(address=address), nobody_elses).outcome is Outcome.SENT
    assert [letter.address for letter in outbox.taken] == [address]


@pytest.mark.parametrize(
    "address",
    [
        "kim@elsewhere.example",
        "kim@sub.tool-room.example",
        "kim@tool-room.example.org",
        "kim@nottool-room.example",
        "kim@room.example",
        "tool-room.example@elsewhere.example",
    ],
)
def test_any_other_is_refused_plainly_and_not_tried(address: str) -> None:
    post, outbox = limited("tool-room.example")
    delivery = post.send(taken(address=address), nobody_elses)
    said = f"{address} is not at tool-room.example, and mail.allowed_domains has no other"
    assert delivery == Delivery(Outcome.REFUSED, said)
    assert outbox.taken == []


def test_all_letters_cannot_go_to_an_address_that_is_not_allowed() -> None:
    mail = replace(mail_settings(25), allowed_domains=("tool-room.example",))
    with pytest.raises(SettingsWrong, match=r"cannot be redirected to me@x\.example: mail\.allowed_domains"):
        post_for(mail, redirect_to="me@x.example")
    assert isinstance(post_for(mail, redirect_to=ME), RedirectingPost)
