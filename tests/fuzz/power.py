"""Power cuts imitated: what was written but not synced is dropped, at any moment of a command.

The command runs once under strace, which tells every write, rename and sync. From that list the
disk is put together as it may be after a cut at any place: what was synced is there; of what was
not, any writes may be missing or torn, and any names after some point. File systems that keep more
than that are kinder. (The idea: Pillai and others, "All file systems are not created equal",
OSDI 2014, from memory.)
"""

import random
import re
import shutil
import tempfile
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from tests.fuzz import kills, worlds
from tests.fuzz.files import fresh

CALLS = "openat,creat,close,dup,dup2,write,pwrite64,lseek,ftruncate,fsync,fdatasync,rename,unlink,link,linkat,unlinkat,renameat2"  # noqa: E501
ACTIONS = ("log", "import", "upgrade", "export", "inspect")
_LINE = re.compile(r"^(\d+) +(\w+)\((.*)\) += (-?\d+)")
_BEGUN = re.compile(r"^(\d+) +(\w+\(.*) <unfinished \.\.\.>$")
_ENDED = re.compile(r"^(\d+) +<\.\.\. \w+ resumed>(.*)$")
_TEXT = re.compile(r'"((?:\\x[0-9a-f]{2})*)"')


@dataclass
class Inode:
    """A file's content on the disk, and what was written since it was last synced."""

    data: bytearray = field(default_factory=bytearray)
    waiting: list = field(default_factory=list)

    def sync(self):
        for change in self.waiting:
            self.apply(change)
        self.waiting.clear()

    def apply(self, change):
        at, data = change
        if data is None:
            del self.data[at:]
            self.data.extend(bytes(at - len(self.data)))
            return
        self.data.extend(bytes(max(0, at + len(data) - len(self.data))))
        self.data[at : at + len(data)] = data

    def after_cut(self, drawn):
        """What is left: any of the waiting writes, one of them perhaps torn."""
        left = Inode(bytearray(self.data))
        keep = drawn.choice((0.0, 0.3, 0.7, 1.0))
        for at, data in self.waiting:
            if drawn.random() < keep:
                torn = data and drawn.random() < 0.1
                left.apply((at, data[: drawn.randrange(len(data))] if torn else data))
        return bytes(left.data)


class Disk:
    """The folder under test, as the calls of one run change it, up to any call."""

    def __init__(self, folder):
        self.folder = str(folder)
        self.live = {
            str(p): Inode(bytearray(p.read_bytes())) for p in folder.iterdir() if p.is_file()
        }
        self.names = dict(self.live)  # on the disk
        self.waiting = []  # names set (to an inode) or taken away (None) since the last sync
        self.open = {}  # descriptor to [inode or folder, place]

    def _name(self, path, inode):
        if inode is None:
            self.live.pop(path, None)
        else:
            self.live[path] = inode
        self.waiting.append((path, inode))

    def call(self, name, text, result):
        if result < 0:
            return
        paths = [bytes.fromhex(t.replace("\\x", "")) for t in _TEXT.findall(text)]
        number = re.match(r"(\d+)", text)
        handle = int(number[1]) if number else None
        if name in ("openat", "creat"):
            self._open(paths[0].decode(), text, result)
        elif name in ("rename", "renameat2"):
            old, new = (p.decode() for p in paths)
            if old in self.live:
                inode = self.live[old]
                self._name(new, inode)
                self._name(old, None)
        elif name in ("unlink", "unlinkat"):
            if paths[0].decode() in self.live:
                self._name(paths[0].decode(), None)
        elif name in ("link", "linkat"):
            old, new = (p.decode() for p in paths)
            if old in self.live:
                self._name(new, self.live[old])
        elif name == "close":
            self.open.pop(handle, None)
        elif handle in self.open:
            self._on_open(name, handle, text, paths, result)

    def _open(self, path, text, result):
        if path.startswith(self.folder + "/") and "O_DIRECTORY" not in text:
            if "O_CREAT" in text and path not in self.live:
                self._name(path, Inode())
            inode = self.live.get(path)
            if inode is not None:
                if "O_TRUNC" in text:
                    inode.waiting.append((0, None))
                self.open[result] = [inode, 0]
                return
        # SQLite opens the folder without O_DIRECTORY
        self.open[result] = [path, 0] if path.startswith(self.folder) else [None, 0]

    def _on_open(self, name, handle, text, paths, result):
        what, at = self.open[handle]
        if name in ("fsync", "fdatasync"):
            if isinstance(what, Inode):
                what.sync()
            elif what is not None:
                self._sync_names(what)
        if not isinstance(what, Inode):
            return
        if name == "write":
            what.waiting.append((at, paths[0]))
            self.open[handle][1] = at + result
        elif name == "pwrite64":
            what.waiting.append((int(text.rsplit(",", 1)[1]), paths[0]))
        elif name == "lseek":
            self.open[handle][1] = result
        elif name == "ftruncate":
            what.waiting.append((int(text.rsplit(",", 1)[1]), None))

    def _sync_names(self, folder):
        left = []
        for path, inode in self.waiting:
            if str(Path(path).parent) != folder.rstrip("/"):
                left.append((path, inode))
            elif inode is None:
                self.names.pop(path, None)
            else:
                self.names[path] = inode
        self.waiting = left

    def after_cut(self, drawn):
        """Path to content, as it may be found when the power is back."""
        names = dict(self.names)
        for path, inode in self.waiting[: drawn.randrange(len(self.waiting) + 1)]:
            if inode is None:
                names.pop(path, None)
            else:
                names[path] = inode
        content = {id(i): i.after_cut(drawn) for i in names.values()}
        return {path: content[id(inode)] for path, inode in names.items()}


def traced(lines):
    """Calls in order: name, arguments, result; what one thread began and another broke into is
    put together again."""
    begun = {}
    for line in lines:
        if found := _BEGUN.match(line):
            begun[found[1]] = found[2]
            continue
        if found := _ENDED.match(line):
            line = f"{found[1]} {begun.pop(found[1], '')}{found[2]}"
        if found := _LINE.match(line):
            yield found[2], found[3], int(found[4])


def _said(name, text):
    """What a call writes to standard output; "" where it does nothing of the kind."""
    if name != "write" or not text.startswith("1,"):
        return ""
    found = _TEXT.search(text)
    return bytes.fromhex(found[1].replace("\\x", "")).decode(errors="replace") if found else ""


def run(count, first):
    """So many cuts, spread over the commands; prints what was wrong, returns an exit status."""
    if shutil.which("strace") is None:
        print("strace is not installed")
        return 1
    faults, counts = [], Counter()
    with tempfile.TemporaryDirectory() as place:
        for index, action in enumerate(ACTIONS):
            share = range(first + index, first + count, len(ACTIONS))
            made, calls = _recorded(action, Path(place) / action)
            for number in share:
                drawn = random.Random(f"power/{number}")
                after = drawn.randrange(len(calls) + 1)
                folder = fresh(Path(place) / "cut")
                try:
                    said = _cut(made, calls[:after], folder, drawn)
                    counts[action] += 1
                    kills.look(action, folder, str(folder / "h.sqlite"), said, certain=False)
                except Exception as error:
                    faults.append(f"{number} ({action}): {type(error).__name__}: {error}")
    print(*(f"{action}: {n} power cuts" for action, n in counts.items()), sep="\n")
    print(*faults, f"{len(faults)} faults", sep="\n")
    return 1 if faults else 0


def _recorded(action, folder):
    """The folder as it was before the command, and all calls from "go" on."""
    fresh(folder)
    arguments = kills.prepare(action, folder, str(folder / "h.sqlite"))
    (folder / "out").mkdir(exist_ok=True)
    before = folder.with_name(f"{action}.before")
    shutil.copytree(folder, before)
    log = folder.with_name(f"{action}.calls")
    strace = ("strace", "-f", "-o", log, "-e", f"trace={CALLS}", "-xx", "-s", "100000000")
    with worlds.started(arguments, folder, before=strace) as process:
        _, err = process.communicate(timeout=600)
    assert process.returncode == 0, err
    calls = list(traced(log.read_text().splitlines()))
    start = next(i for i, (name, text, _) in enumerate(calls) if _said(name, text).startswith("go"))
    return (before, str(folder)), calls[start + 1 :]


def _cut(made, calls, folder, drawn):
    """Fills ``folder`` as it may be found after the cut; the lines that were said before it."""
    before, then = made
    shutil.copytree(before, folder, dirs_exist_ok=True)
    disk, said = Disk(folder), ""
    for sub in (p for p in folder.rglob("*") if p.is_file() and p.parent != folder):
        disk.live[str(sub)] = disk.names[str(sub)] = Inode(bytearray(sub.read_bytes()))
    for name, text, result in calls:
        said += _said(name, text)
        disk.call(name, text.replace(hexed(then), hexed(str(folder))), result)
    left = disk.after_cut(drawn)
    for path in [p for p in folder.rglob("*") if p.is_file()]:
        path.unlink()
    for path, data in left.items():
        Path(path).parent.mkdir(parents=True, exist_ok=True)
        Path(path).write_bytes(data)
    return [line for line in said.splitlines(True) if line.endswith("\n") and line.strip()]


def hexed(text):
    return "".join(f"\\x{byte:02x}" for byte in text.encode())
