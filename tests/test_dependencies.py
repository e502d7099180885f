"""The libraries: bounds at both ends, pinned versions for a bad day, and their licences told."""

import re
import tomllib
from importlib import metadata
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from packaging.version import Version

from petitpied.handbook.pages import pages

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
RUNTIME = [Requirement(text) for text in PROJECT["dependencies"]]
DEVELOPMENT = [Requirement(text) for text in PROJECT["optional-dependencies"]["dev"]]


def pinned(name):
    lines = (ROOT / ".ci" / name).read_text("utf-8").splitlines()
    pairs = (line.split("==") for line in lines if line and not line.startswith("#"))
    return {canonicalize_name(name): Version(version) for name, version in pairs}


def bound(requirement, operator):
    (found,) = [s.version for s in requirement.specifier if s.operator == operator]
    return Version(found)


def needed_by(requirements):
    """Names of all distributions that these bring along on this machine, from their metadata."""
    found, waiting = set(), list(requirements)
    while waiting:
        wanted = waiting.pop()
        name = canonicalize_name(wanted.name)
        extras = {"", *wanted.extras}
        if name in found:
            continue
        found.add(name)
        for text in metadata.requires(name) or []:
            other = Requirement(text)
            if not other.marker or any(other.marker.evaluate({"extra": e}) for e in extras):
                waiting.append(other)
    return found


@pytest.mark.parametrize("requirement", [*RUNTIME, *DEVELOPMENT], ids=lambda r: r.name)
def test_what_is_pinned_is_allowed(requirement):
    version = pinned("constraints.txt")[canonicalize_name(requirement.name)]
    assert requirement.specifier.contains(version)


def test_everything_that_is_brought_along_is_pinned():
    assert needed_by([*RUNTIME, *DEVELOPMENT]) <= set(pinned("constraints.txt"))


def test_the_lowest_versions_are_those_allowed():
    allowed = {canonicalize_name(r.name): bound(r, ">=") for r in RUNTIME}
    assert pinned("lowest.txt") == allowed


@pytest.mark.parametrize("requirement", RUNTIME, ids=lambda r: r.name)
def test_the_next_great_change_is_not_let_in(requirement):
    """A major release may break what is asked of it; it is let in once it was tried."""
    newest = pinned("constraints.txt")[canonicalize_name(requirement.name)]
    assert bound(requirement, "<").major == newest.major + 1


def test_licences_of_all_that_is_brought_along_are_told():
    rows = re.findall(r"^\| ([a-z0-9-]+) \| ([^|]+) \|$", pages()["licences"].markdown, re.M)
    told = dict(rows)
    assert needed_by(RUNTIME) <= set(told)
    for name in needed_by(RUNTIME):
        words = metadata.metadata(name)
        said = words.get("License-Expression")
        if said:  # the others say it in free text
            assert told[name] == said
