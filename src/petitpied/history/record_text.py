"""A record's JSON text as the database keeps it: deflated, about a third of its size."""

import json
import zlib
from typing import Any

from petitpied.files.records.record_files import MAX_BYTES


def deflate(text: bytes) -> bytes:
    return zlib.compress(text, 6)


def text_of(deflated: bytes) -> bytes:
    """The record's own bytes.

    Raises
    ------
    ValueError
        If they are damaged, or more than a record can be.
    """
    unpacker = zlib.decompressobj()
    try:
        text = unpacker.decompress(deflated, MAX_BYTES)
    except zlib.error as error:
        raise ValueError(f"deflated record is damaged: {error}") from None
    if not unpacker.eof:
        raise ValueError("deflated record is cut off or too large")
    return text


def inflate(deflated: bytes) -> dict[str, Any]:
    """The record as parsed; it was checked when it was logged."""
    result: dict[str, Any] = json.loads(text_of(deflated))
    return result
