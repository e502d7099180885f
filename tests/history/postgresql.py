"""A PostgreSQL server of our own for a test run: started in a temporary folder, no network."""

import getpass
import os
import pwd
import shutil
import subprocess
import tempfile
from contextlib import contextmanager
from pathlib import Path

PLACES = sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)  # Debian's


def binary(name):
    """Path of a server program, None where it is not installed."""
    found = [shutil.which(name), *(str(p / name) for p in PLACES if (p / name).exists())]
    return next((path for path in found if path), None)


def missing():
    """Why no server can be started; "" where one can."""
    for name in ("initdb", "pg_ctl", "postgres"):
        if binary(name) is None:
            return f"PostgreSQL's {name} is not installed (Debian package postgresql)"
    if os.name != "posix":
        return "starting PostgreSQL is only known for POSIX systems"
    if os.geteuid() == 0:
        if shutil.which("setpriv") is None:
            return "PostgreSQL refuses root, and setpriv is not installed"
        try:
            pwd.getpwnam("postgres")
        except KeyError:
            return "PostgreSQL refuses root, and there is no user postgres"
    return ""


@contextmanager
def server():
    """Yields the address of an empty database named postgres."""
    folder = Path(tempfile.mkdtemp(prefix="petitpied-pg-"))
    if os.geteuid() == 0:
        user = "postgres"
        entry = pwd.getpwnam(user)
        os.chown(folder, entry.pw_uid, entry.pw_gid)
        before = ["setpriv", f"--reuid={entry.pw_uid}", f"--regid={entry.pw_gid}", "--clear-groups"]
    else:
        user, before = getpass.getuser(), []

    def run(*command):
        subprocess.run(
            [*before, *command], check=True, cwd=folder, stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE, timeout=60, env={"PATH": os.environ["PATH"], "LC_ALL": "C"},
        )  # fmt: skip

    data = folder / "data"
    try:
        run(binary("initdb"), "-D", data, "-U", user, "-A", "trust", "-E", "UTF8", "--no-sync",
            "--locale=C")  # fmt: skip
        options = f"-k {folder} -c listen_addresses='' -c fsync=off"
        run(binary("pg_ctl"), "-D", data, "-w", "-t", "30", "-l", folder / "log", "-o", options,
            "start")  # fmt: skip
        try:
            yield f"postgresql://{user}@/postgres?host={folder}"
        finally:
            run(binary("pg_ctl"), "-D", data, "-m", "immediate", "-w", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)
