"""Bakes made by rule, logged as records: for tests of what reads the history."""

import json
from datetime import UTC, datetime, timedelta

from petitpied.domain.bake import BakeFacts
from petitpied.files.records.record_files import record_bytes
from tests.records import a_record, a_shell

START = datetime(2026, 1, 1, 9, tzinfo=UTC)


def sha_of(number):
    return f"{number:064x}"


def record_text(number, sizes_mm, **changes):
    """A record of the photo of this number, six shells a row."""
    shells = [
        a_shell(f"{'ABCDEF'[i // 6]}{i % 6 + 1}", i // 6, i % 6, size, **changes)
        for i, size in enumerate(sizes_mm)
    ]
    return with_sha(record_bytes(a_record(shells)), number)


def with_sha(text, number, **photo):
    data = json.loads(text)
    data["photo"] |= {"sha256": sha_of(number), "file": f"tray_{number}.jpg"} | photo
    return json.dumps(data).encode()


def log_bake(store, number, sizes_mm, **facts):
    """One bake a day."""
    at = START + timedelta(days=number)
    known = {"oven": "Deck", "baked_at": at} | facts
    store.add(
        record_text(number, sizes_mm), BakeFacts(photo_sha256=sha_of(number), **known), logged_at=at
    )


def round_sizes(mean_mm, spread_mm=0.5):
    """Six sizes whose mean is exactly this, and whose spread is (1.0, 0.6, 0.2) times this."""
    return [mean_mm + spread_mm * k for k in (-1, -0.6, -0.2, 0.2, 0.6, 1)]
