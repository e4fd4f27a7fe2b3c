"""The post with what the room allows: only some domains, or one address that gets every letter instead."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from fleet.mail.post import post_of
from fleet.mail.wording import one_line
from fleet.refusals import SettingsWrong
from fleet.rules.letters import Delivery, Outcome
from fleet.rules.readers import usable_address
from fleet.settings import LETTERS_OFF, REDIRECTED

if TYPE_CHECKING:
    from contextlib import AbstractContextManager

    from fleet.mail.messages import TakenLetter
    from fleet.mail.post import Post, StillOurs
    from fleet.settings import MailSettings


def post_for(mail: MailSettings, *, redirect_to: str | None = None) -> Post:
    """The post of the room; ``redirect_to`` goes before the setting. Refused while letters are off."""
    if not mail.on:
        raise SettingsWrong(LETTERS_OFF)
    address = mail.redirect_to if redirect_to is None else redirect_to
    if address is not None:
        _check(address, mail)
    post = post_of(mail)
    if address is None and not mail.allowed_domains:
        return post
    return RedirectingPost(post, mail.allowed_domains, address)


def _check(address: str, mail: MailSettings) -> None:
    if not usable_address(address):
        raise SettingsWrong(f"Letters cannot be redirected to {address!r}; write one e-mail address.")
    if not _allowed(address, mail.allowed_domains):
        raise SettingsWrong(
            f"Letters cannot be redirected to {address}: mail.allowed_domains has only "
            f"{', '.join(mail.allowed_domains)}."
        )


def _allowed(address: str, domains: tuple[str, ...]) -> bool:
    """Whether an address is at one of these very domains; without any, all may be written to."""
    return not domains or address.strip().rpartition("@")[2].lower() in domains


class RedirectingPost:
    """Hands letters to another post, and none to a domain that is not allowed.

    With ``redirect_to`` it gets every letter. The name beside that address then says whose letter it is, and
    the answer of each attempt where it went.
    """

    def __init__(self, post: Post, domains: tuple[str, ...], redirect_to: str | None) -> None:
        self._post, self._domains, self._redirect_to = post, domains, redirect_to

    def send(self, letter: TakenLetter, still_ours: StillOurs, /) -> Delivery:
        """Hand one letter over, perhaps to another address; what is not allowed is refused and not tried."""
        if self._redirect_to is not None:
            named = replace(
                letter, address=self._redirect_to, reader=f"{letter.reader}, instead of {letter.address}"
            )
            delivery = self._post.send(named, still_ours)
            return replace(delivery, answer=f"{REDIRECTED}{self._redirect_to}: {delivery.answer}")
        if not _allowed(letter.address, self._domains):
            answer = (
                f"{one_line(letter.address)} is not at {' or '.join(self._domains)}, "
                f"and mail.allowed_domains has no other"
            )
            return Delivery(Outcome.REFUSED, answer)
        return self._post.send(letter, still_ours)

    def together(self) -> AbstractContextManager[None]:
        """As the post behind it."""
        return self._post.together()
