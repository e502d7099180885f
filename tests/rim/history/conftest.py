import sys

import pytest
import sqlalchemy as sa

from petitpied.rim.cli import main
from petitpied.rim.history import connection
from tests.rim.history import postgresql


@pytest.fixture(scope="session")
def postgresql_address():
    why = postgresql.missing()
    if why:
        pytest.skip(why)
    with postgresql.server() as address:
        yield address


@pytest.fixture(params=["sqlite", "postgresql"])
def address(request, tmp_path):
    """Where an empty history may be made: each test runs on both kinds of database."""
    if request.param == "sqlite":
        return str(tmp_path / "history.sqlite")
    url = request.getfixturevalue("postgresql_address")
    engine = connection.open_engine(url)
    with engine.begin() as c:
        for table in ("values", "record", "bake", "version"):
            c.execute(sa.text(f"DROP TABLE IF EXISTS petitpied_{table}"))
    return url


@pytest.fixture
def petitpied(monkeypatch, capsys):
    """Run a command in this process: status, standard output, standard error."""

    def command(*arguments):
        monkeypatch.setattr(sys, "argv", ["petitpied", *map(str, arguments)])
        try:
            main()
            status = 0
        except SystemExit as end:
            status = end.code or 0
        shown = capsys.readouterr()
        return int(status), shown.out, shown.err

    return command
