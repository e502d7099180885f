"""`petitpied review`: the baker's own judgement of shells, beside the tool's."""

import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from petitpied.domain.record import Record

#: "B3.crack=no"
SAID = re.compile(r"(?P<id>[A-Za-z]{1,3}\d{1,3})\.(?P<subject>\w+)=(?P<answer>\w+)")


def review(
    record: Annotated[Path, typer.Argument(metavar="RECORD", show_default=False)],
    set_: Annotated[
        list[str] | None,
        typer.Option(
            "--set",
            metavar="ID.WHAT=ANSWER",
            help='Your judgement, as "B3.crack=no"; WHAT is crack, foot or dimple, ANSWER yes or '
            "no. May be repeated.",
        ),
    ] = None,
    rest: Annotated[
        str | None,
        typer.Option(
            metavar="WHAT=ANSWER",
            help='Your judgement of all measured shells not judged so far, as "crack=no".',
        ),
    ] = None,
) -> None:
    """Keep your own judgement of shells beside a record; without options, show what is kept."""
    from petitpied.files.records.record_files import read_record
    from petitpied.files.records.review_files import (
        read_review,
        review_path,
        with_answers,
        write_review,
    )
    from petitpied.text.wording import printable

    said = _said(set_ or [])
    subject_of_rest = None if rest is None else _pair(*_split(rest), rest)
    of = read_record(record)
    judged = read_review(record, of)
    if said or subject_of_rest:
        judged = with_answers(of, judged, said)
        if subject_of_rest:
            subject, answer = subject_of_rest
            known = {j.id for j in judged if subject in j.answers}
            others = {
                s.id: {subject: answer}
                for s in of.shells
                if s.not_measured is None and s.id not in known
            }
            judged = with_answers(of, judged, others)
        write_review(record, of, judged)
        typer.echo(f"wrote {printable(str(review_path(record)))}")
    for line in _lines(of, record):
        typer.echo(line)


def _split(text: str) -> tuple[str, str]:
    subject, _, answer = text.partition("=")
    return subject.strip(), answer.strip()


def _pair(subject: str, answer: str, text: str) -> tuple[str, bool]:
    from petitpied.files.records.review_files import ANSWERS
    from petitpied.statistics.judgements import SUBJECTS
    from petitpied.text.wording import printable

    if subject not in SUBJECTS or answer not in ANSWERS:
        raise typer.BadParameter(
            f"{printable(text)[:40]}: write crack, foot or dimple, and yes or no, as in crack=no"
        )
    return subject, ANSWERS[answer]


def _said(texts: list[str]) -> dict[str, dict[str, bool]]:
    from petitpied.text.wording import printable

    said: dict[str, dict[str, bool]] = {}
    for text in texts:
        match = SAID.fullmatch(text.strip())
        if match is None:
            raise typer.BadParameter(f"{printable(text)[:40]}: write it as in B3.crack=no")
        subject, answer = _pair(match["subject"], match["answer"], text)
        said.setdefault(match["id"].upper(), {})[subject] = answer
    return said


def _lines(of: "Record", path: Path) -> list[str]:
    """What is kept, with the tool's own answer beside it."""
    from petitpied.files.records.review_files import read_review
    from petitpied.statistics.judgements import of_shells, tool_says

    words = {True: "yes", False: "no", None: "not told"}
    shells = {s.id: s for s in of.shells}
    kept = of_shells(of, read_review(path, of))
    if not kept:
        return ["no shell of this record is judged yet"]
    lines = ["shell  what    you  tool"]
    for number, answers in kept.items():
        for subject, answer in answers.items():
            tool = tool_says(shells[number], subject)
            mark = "" if tool is None or tool == answer else "  differs"
            lines.append(f"{number:<6} {subject:<7} {words[answer]:<4} {words[tool]}{mark}")
    return lines
