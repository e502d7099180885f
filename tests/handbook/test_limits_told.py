"""What the handbook says of the largest files is what the door lets in."""

from petitpied.files.outside_files import Kind
from petitpied.files.records.record_check import MOST_POINTS, MOST_SHELLS
from petitpied.handbook.pages import pages
from petitpied.photo.decode import LONGEST_SIDES_REL, MAX_PIXELS
from petitpied.running.worker_processes import CPU_SECONDS, MEMORY_BYTES


def size(kind):
    count = kind.value
    for unit, name in ((10**9, "GB"), (10**6, "MB"), (10**3, "kB")):
        if count >= unit:
            return f"{count // unit} {name}"
    raise AssertionError(kind)


def test_every_limit_is_told():
    told = pages()["files"].markdown
    for line in (
        f"| a photo | {size(Kind.PHOTO)}, {MAX_PIXELS // 10**6} megapixels, "
        f"{LONGEST_SIDES_REL} times as long as wide |",
        f"| a record | {size(Kind.RECORD)}, {MOST_SHELLS} shells, {MOST_POINTS:,} points",
        f"| your own judgement of a tray | {size(Kind.REVIEW)} |",
        f"facts) | {size(Kind.BAKERS_OWN)}; a letterhead's picture {size(Kind.PICTURE)} |",
        f"| a table of facts, of a study | {size(Kind.TABLE)}, {size(Kind.STUDY)} |",
        f"| a lens profile | {size(Kind.LENS)} |",
        f"| a history, an archive of one | {size(Kind.DATABASE)}, {size(Kind.ARCHIVE)} |",
    ):
        assert line in told
    measure = " ".join(pages()["measure"].markdown.split())
    memory = MEMORY_BYTES // 10**9
    assert f"{CPU_SECONDS} seconds of work and {memory} GB of memory at most" in measure
