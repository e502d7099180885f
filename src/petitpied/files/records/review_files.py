"""The baker's own judgement of shells, kept in a file beside the record, never in it.

``NAME.review.json`` holds what the baker said of each shell, with the shell's place in the photo: a
record made again may number its shells otherwise, and a judgement follows the place.
"""

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from petitpied.domain.errors import OwnFileError, RecordError
from petitpied.domain.record import Record
from petitpied.files.output_files import write_all
from petitpied.statistics.judgements import SUBJECTS, Judged, of_shells
from petitpied.text.wording import printable

SCHEMA = "petitpied/review/1"
#: a tray of 200 shells takes 20 kB
MAX_BYTES = 2_000_000
#: as the file has them
ANSWERS = {"yes": True, "no": False}


def review_path(record: Path) -> Path:
    """Where the judgements of a record are kept."""
    return record.with_name(f"{record.name.removesuffix('.json')}.review.json")


def read_review(record_path: Path, record: Record) -> tuple[Judged, ...]:
    """The judgements kept beside a record, none where there is no file yet; untrusted.

    Raises
    ------
    OwnFileError
        If the file cannot be read, or is of another photo.
    """
    path = review_path(record_path)
    if not path.exists():
        return ()
    name = printable(path.name)
    try:
        if path.stat().st_size > MAX_BYTES:
            raise ValueError("it is too large")
        data = json.loads(path.read_bytes())
        if data["schema"] != SCHEMA:
            raise ValueError("it is not a file of judgements")
        photo = str(data["photo_sha256"])
        judged = tuple(_judged(part) for part in data["shells"])
    except (OSError, ValueError, KeyError, TypeError, RecursionError) as error:
        raise OwnFileError(
            what=f"{name} cannot be read as judgements",
            why=printable(str(error))[:120] or type(error).__name__,
            next_step="move it away and judge the shells again",
        ) from None
    if photo != record.photo.sha256:
        raise OwnFileError(
            what=f"{name} judges another photo",
            why=f"{printable(record_path.name)} is of a photo with another content",
            next_step="move it away, or give the record that it was made for",
        )
    return judged


def _judged(part: Any) -> Judged:
    x, y = (float(v) for v in part["centre_px"])
    if not np.isfinite([x, y]).all():
        raise ValueError("a place is not finite")
    answers = {str(k): ANSWERS[v] for k, v in part["answers"].items() if k in SUBJECTS}
    return Judged(str(part["id"])[:12], (x, y), answers)


def write_review(record_path: Path, record: Record, judged: Sequence[Judged]) -> None:
    """Keep judgements beside a record: written aside, then renamed.

    Raises
    ------
    OutputError
        If the file cannot be written; then nothing was changed.
    """
    words = {answer: word for word, answer in ANSWERS.items()}
    shells = [
        {
            "id": j.id,
            "centre_px": [round(v, 2) for v in j.centre_px],
            "answers": {subject: words[answer] for subject, answer in sorted(j.answers.items())},
        }
        for j in judged
    ]
    content = {"schema": SCHEMA, "photo_sha256": record.photo.sha256, "shells": shells}
    text = json.dumps(content, ensure_ascii=False, allow_nan=False, indent=1) + "\n"
    write_all({review_path(record_path): text.encode()})


def with_answers(
    record: Record, judged: Sequence[Judged], said: Mapping[str, Mapping[str, bool]]
) -> tuple[Judged, ...]:
    """All judgements after the baker ``said`` more: shell id to subject to answer.

    Raises
    ------
    RecordError
        If the record has no shell of an id.
    """
    shells = {shell.id: shell for shell in record.shells}
    answers = {i: dict(a) for i, a in of_shells(record, judged).items()}
    for number, more in said.items():
        if number not in shells:
            known = ", ".join(sorted(shells)[:8])
            raise RecordError(
                what=f"there is no shell {printable(number)[:12]} in this record",
                why=f"its shells are {known}" + (" and so on" if len(shells) > 8 else ""),
                next_step="look up the id on the annotated picture",
            )
        answers.setdefault(number, {}).update(more)
    return tuple(
        Judged(shell.id, shell.centre_px, answers[shell.id])
        for shell in record.shells
        if answers.get(shell.id)
    )
