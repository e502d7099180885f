"""The report as a few plain lines, to be pasted into a message."""

from petitpied.report.blocks import Report
from petitpied.text.wording import printable


def report_text(report: Report) -> str:
    """Title, plain sentences, key figures; no picture, no markup."""
    name = report.letterhead.name
    head = f"{name}: {report.title}" if name else report.title
    lines = [head, report.date, "", *report.plain]
    if report.message:
        lines += ["", *report.message]
    kept = (printable(line).rstrip() for line in lines)
    return "\n".join(kept).strip() + "\n"
