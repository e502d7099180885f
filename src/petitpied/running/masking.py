"""Secrets of a database's address, kept out of everything that is shown or written."""

import re
from collections.abc import Iterable
from typing import IO, Any
from urllib.parse import parse_qsl, quote, quote_plus, unquote, urlsplit

MASK = "***"
#: names of query parameters whose values open something (libpq's and other drivers')
_SECRET_NAME = re.compile(
    r"pass|pwd|secret|token|key|credential|auth(?!_source)|cert", re.IGNORECASE
)
#: the same inside a text, whoever wrote it: URL, query parameter, libpq's key=value
_IN_TEXT = (
    re.compile(r"(?P<before>\w+://[^\s:/@?#]*:)[^\s/?#]*(?=@)"),
    re.compile(
        r"(?P<before>\b\w*(?:pass|pwd|secret|token)\w*=)(?:'[^']*'|[^\s&'\"]+)", re.IGNORECASE
    ),
)


def secrets_of(address: str) -> frozenset[str]:
    """What of an address must not be shown, in every form in which a driver may repeat it."""
    found = set()
    if "://" in address:
        # a password may itself hold "@", "/" or "#": everything up to the last "@" counts
        user, at, _ = address.split("://", 1)[1].rpartition("@")
        if at:
            found.add(user.partition(":")[2])
        try:
            parts = urlsplit(address)
            found.add(parts.password or "")
            query = parts.query
        except ValueError:
            query = address.partition("?")[2]
        found |= {value for name, value in parse_qsl(query) if _SECRET_NAME.search(name)}
    found |= {unquote(text) for text in found}
    found |= {form(text) for text in found for form in (quote, quote_plus, _quoted)}
    return frozenset(text for text in found if text and text != MASK)


def _quoted(text: str) -> str:
    return quote(text, safe="")


def secrets_in(arguments: Iterable[str]) -> frozenset[str]:
    """Secrets of all addresses of a command line."""
    return frozenset().union(*(secrets_of(text.removeprefix("--db=")) for text in arguments))


def masked(text: str, secrets: frozenset[str] = frozenset()) -> str:
    """The text with every secret, and whatever looks like one, replaced by stars."""
    for secret in sorted(secrets, key=len, reverse=True):
        text = text.replace(secret, MASK)
    for pattern in _IN_TEXT:
        text = pattern.sub(rf"\g<before>{MASK}", text)
    return text


class MaskedStream:
    """A text stream that masks what it is given; everything else is the stream's own."""

    def __init__(self, stream: IO[str], secrets: frozenset[str]) -> None:
        self._stream, self._secrets = stream, secrets

    def write(self, text: str) -> int:
        self._stream.write(masked(text, self._secrets))
        return len(text)

    def writelines(self, lines: Iterable[str]) -> None:
        for line in lines:
            self.write(line)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)
