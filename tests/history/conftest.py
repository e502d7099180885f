
import pytest
import sqlalchemy as sa

from petitpied.history import connection
from tests.history import postgresql


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
        for table in ("event", "photo", "values", "record", "bake", "version"):
            c.execute(sa.text(f"DROP TABLE IF EXISTS petitpied_{table}"))
    return url
