"""What gillbook rests on is named in DEVELOPERS.md, under the licences that the packages themselves tell."""

from __future__ import annotations

import re
import tomllib
from importlib.metadata import PackageNotFoundError, metadata
from pathlib import Path

HOUSE = Path(__file__).parent.parent
SECTION = (HOUSE / "DEVELOPERS.md").read_text(encoding="utf-8").split("## What it rests on\n")[1].split("\n## ")[0]
PROJECT = tomllib.loads((HOUSE / "pyproject.toml").read_text(encoding="utf-8"))
FREE = re.compile(r"MIT|BSD|ISC|Apache|PSF|Python Software Foundation|MPL|Mozilla Public")
BINDING = re.compile(r"(?<![A-Z])A?L?GPL|General Public", re.IGNORECASE)


def rows() -> dict[str, str]:
    """Each direct dependency of the table, and the licences of its row."""
    lines = [line.strip("| ").split(" | ") for line in SECTION.splitlines() if line.startswith("| ")][2:]
    return {name: licences for names, _, licences in lines for name in names.split(", ")}


def names(requirements: list[str]) -> set[str]:
    return {re.split(r"[<>=~!\[; ]", each, maxsplit=1)[0].lower() for each in requirements}


def locked(file: str) -> set[str]:
    return set(re.findall(r"^([\w.-]+)==", (HOUSE / file).read_text(encoding="utf-8"), flags=re.MULTILINE))


def licence(name: str) -> str:
    """What the package tells of its licence: an expression, or else its classifiers and the first line of its text."""
    about = metadata(name)
    classifiers = [each for each in about.get_all("Classifier") or [] if each.startswith("License")]
    return about.get("License-Expression") or "; ".join([*classifiers, (about.get("License") or "").split("\n")[0]])


def test_each_direct_dependency_is_named_with_what_it_is_for() -> None:
    project = PROJECT["project"]
    direct = names([*project["dependencies"], *PROJECT["build-system"]["requires"]])
    for extra in project["optional-dependencies"].values():
        direct |= names(extra)
    assert set(rows()) == direct


def test_the_licences_of_the_table_are_those_of_the_packages() -> None:
    for name, licences in rows().items():
        if name == "axe-playwright-python":
            # It tells of none but in its text, and is not shipped.
            continue
        families = {re.split(r"[-\s]", each)[0] for each in licences.split(", ")}
        try:
            told = licence(name)
        except PackageNotFoundError:
            # 300 MB that `make spark` installs, and then asks again.
            assert name == "pyspark"
            continue
        assert any(family in told for family in families), (name, licences, told)


def test_every_locked_package_is_in_the_tree() -> None:
    named = set(re.findall(r"[\w-]+", SECTION))
    assert locked("requirements.txt") - named == set()
    # Of a few words that are no package the tree holds nothing else.
    tree = SECTION.split("Behind them")[1].split("The licences are")[0]
    ours = set(re.findall(r"\b[a-z][a-z0-9]*(?:-[a-z0-9]+)+\b", tree))
    assert ours - locked("requirements.txt") == set()


def test_nothing_that_is_installed_binds_what_is_made_with_it() -> None:
    seen = {}
    for name in locked("requirements.txt"):
        try:
            seen[name] = licence(name)
        except PackageNotFoundError:
            # Of another operating system.
            assert name == "colorama"
    assert len(seen) > 30
    assert {name: told for name, told in seen.items() if not FREE.search(told) or BINDING.search(told)} == {}
    assert {name for name, told in seen.items() if re.search("MPL|Mozilla", told)} == {"certifi", "tqdm"}


def test_all_that_is_used_has_a_lowest_version() -> None:
    assert all(re.fullmatch(r"[a-z0-9-]+>=\d[\d.]*", each) for each in PROJECT["project"]["dependencies"])
